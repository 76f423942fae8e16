"""Ingoing nitrite: what is refused, and what adds up."""

from collections.abc import Callable

import pytest

from alerts.science.nitrite import (
    agent_in,
    curing_salt_for,
    expressed_as,
    immersion_method_one,
    immersion_method_two,
    pickle_from_gallons,
    pumped,
    rubbed_or_mixed_in,
    total_ingoing,
)

NAN = float("nan")


def test_nitrite_is_never_told_as_nitrate() -> None:
    with pytest.raises(ValueError, match="two things"):
        expressed_as(100.0, "NaNO2", "NO3")
    with pytest.raises(ValueError, match="two things"):
        expressed_as(100.0, "KNO3", "NaNO2")


def test_there_and_back_is_the_same_amount() -> None:
    assert expressed_as(expressed_as(156.0, "NaNO2", "KNO2"), "KNO2", "NaNO2") == pytest.approx(156.0)


@pytest.mark.parametrize(
    "reckoned",
    [
        lambda: agent_in(0.03, 101.0),
        lambda: agent_in(0.03, NAN),
        lambda: agent_in(-0.03, 6.25),
        lambda: pumped(0.001, 0.0, 10.0),
        lambda: pumped(0.001, 1.0, -1.0),
        lambda: pumped(2.0, 1.0, 10.0),
        lambda: immersion_method_one(0.001, 1.0, NAN),
        lambda: immersion_method_two(0.001, 1.0, 0.0),
        lambda: immersion_method_two(2.0, 1.0, 1.0),
        lambda: rubbed_or_mixed_in(0.001, 0.0),
        lambda: rubbed_or_mixed_in(NAN, 1.0),
        lambda: total_ingoing([100.0, NAN]),
        lambda: curing_salt_for(100.0, 0.0, 1.0),
        lambda: curing_salt_for(100.0, 6.25, 0.0),
        lambda: pickle_from_gallons(0.0, 10.0),
    ],
)
def test_what_is_no_amount_is_refused(reckoned: Callable[[], float]) -> None:
    with pytest.raises(ValueError, match=r"no amount|nothing to reckon|cannot hold|gives no nitrite"):
        reckoned()


def test_steps_on_one_piece_add_up() -> None:
    steps = [pumped(0.001, 1.0, 10.0), immersion_method_one(0.001, 1.0, 5.0)]
    assert total_ingoing(steps) == pytest.approx(150.0)
    assert total_ingoing([]) == 0.0


def test_more_meat_in_the_same_brine_needs_its_nitrite_reckoned_anew() -> None:
    assert immersion_method_two(0.001, 2.0, 4.0) < immersion_method_two(0.001, 2.0, 2.0)
    # By Method One nothing of it is seen.
    assert immersion_method_one(0.001, 2.0, 10.0) == pytest.approx(50.0)

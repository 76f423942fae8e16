"""Cold that is on its way to ice, and cures that stand still, each beside what nearly is."""

import math

import pytest

from alerts.conditions_cold import Cold, cold_since, cure_stalled, stop_line_c, too_cold
from collector.batches import AsMade, Batch, Method, Packing, Placement, Plan, Route, Stage, StageSpan

HOUR, DAY, TAU = 3600.0, 86_400.0, 21_600.0
ABOUT: dict[str, float | int | str | None] = {"unit_name": "Room", "lots": "B1"}


def tub(product_c: float, hours: float, cure_s: float = 5 * DAY, *, cures: bool = True) -> Cold:
    return Cold("B1", product_c, TAU, 0.0, 0.0 if cures else None, cure_s, hours * HOUR)


def cold(one: Cold, usual_c: float | None = 3.0, air_c: float = -1.0, *, stands: bool = False) -> bool:
    return too_cold(ABOUT, "room", [one], usual_c, air_c, stands=stands) is not None


def test_three_hours_far_below_what_is_usual_are_too_cold_and_less_is_not() -> None:
    assert cold(tub(1.0, 3.0))
    assert not cold(tub(1.0, 2.9))


def test_a_unit_that_is_always_as_cold_is_told_only_at_the_freezing_point() -> None:
    assert not cold(tub(0.9, 9.0), usual_c=0.8)
    assert not cold(tub(0.9, 9.0), usual_c=None)
    assert cold(tub(-0.1, 9.0), usual_c=0.8)


def test_told_already_it_stays_until_the_cold_is_over() -> None:
    assert cold(tub(1.3, 9.0), usual_c=1.4, stands=True)
    assert cold_since(0.0, HOUR, 1.3, 1.1) == 0.0
    assert cold_since(0.0, HOUR, 1.5, 1.1) is None
    assert cold_since(None, HOUR, 1.2, 1.1) is None


def test_it_says_when_its_air_would_freeze_it_and_nothing_where_it_would_not() -> None:
    warmer = too_cold(ABOUT, "room", [tub(0.5, 4.0)], 3.0, -1.0, stands=False)
    colder = too_cold(ABOUT, "room", [tub(0.5, 4.0)], 3.0, -3.5, stands=False)
    assert warmer is not None and colder is not None
    assert warmer.parameters["ice_at"] is None
    # -3.5 + (0.5 + 3.5) e^(-t/tau) = -1.5 at t = tau ln 2.
    assert colder.parameters["ice_at"] == pytest.approx(4 * HOUR + TAU * math.log(2.0), abs=1.0)
    assert not colder.wakes and colder.lots == ("B1",)


def test_a_cure_stands_still_once_more_is_lost_than_its_plan_bears() -> None:
    def told(one: Cold) -> bool:
        return cure_stalled(ABOUT, "room", [one]) is not None

    assert told(tub(1.0, 6.0, 5 * DAY))
    assert not told(tub(1.0, 5.9, 5 * DAY))
    assert not told(tub(1.0, 20.0, 20 * DAY))
    assert told(tub(1.0, 24.0, 20 * DAY))
    assert not told(tub(1.0, 24.0, 5 * DAY, cures=False))


def batch(stage: Stage, *, published: bool = False) -> Batch:
    plan = Plan(
        "x", "beef", "brisket", Method.IMMERSION, Packing.UNDER_BRINE, Route.COOKED, 5 * DAY, 55.0, 3.0,
        published_days=published,
    )  # fmt: skip
    return Batch("B1", plan, AsMade(3.0), 0.0, (Placement("1", "room", 0.0),), (StageSpan(stage, 0.0, 100.0),))


def test_only_what_cures_can_stand_still_and_published_days_count_from_2_2() -> None:
    assert stop_line_c(batch(Stage.CURE), 50.0) == 1.1
    assert stop_line_c(batch(Stage.CURE, published=True), 50.0) == 2.2
    assert stop_line_c(batch(Stage.CURE), 150.0) == -math.inf
    assert stop_line_c(batch(Stage.STORE), 50.0) == -math.inf

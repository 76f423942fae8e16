"""Water activity: ranges and refusals."""

import pytest

from alerts.science.water_activity import (
    molality,
    water_activity,
    water_activity_polynomial,
    water_activity_saturated,
    water_activity_with_sucrose,
)


@pytest.mark.parametrize("strength_percent", [-0.01, 26.1, float("nan")])
def test_the_table_refuses_what_lies_past_its_ends(strength_percent: float) -> None:
    with pytest.raises(ValueError, match="where the figures hold"):
        water_activity(strength_percent)


@pytest.mark.parametrize("strength_percent", [-0.01, 12.01, 16.0, float("nan")])
def test_the_short_equation_refuses_strong_brine(strength_percent: float) -> None:
    with pytest.raises(ValueError, match="where the figures hold"):
        water_activity_polynomial(strength_percent)


def test_three_and_a_half_per_cent_and_0_97_are_not_the_same_limit() -> None:
    # Two factors of the guidance on vacuum packs that are often taken for one another.
    assert float(water_activity(3.5)) == pytest.approx(0.980, abs=5e-4)
    assert float(water_activity(5.0)) == pytest.approx(0.970, abs=5e-4)


def test_molality_and_saturation_refuse_nonsense() -> None:
    with pytest.raises(ValueError, match="below 100"):
        molality(100.0)
    with pytest.raises(ValueError, match="outside 0 to 50"):
        water_activity_saturated(60.0)


@pytest.mark.parametrize("masses", [(0.1, 0.0, 0.0), (-0.1, 0.0, 1.0), (0.1, 1.1, 1.0), (float("nan"), 0.0, 1.0)])
def test_a_mixture_that_is_no_brine_is_refused(masses: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="no mass below zero"):
        water_activity_with_sucrose(*masses)

"""When the product of a unit may pass its limit."""

import math
from dataclasses import replace

import pytest

from alerts.learned_unit import LearnedUnit, Usual
from alerts.outlook import (
    LONGEST_S,
    NO_PAUSE,
    SHORTEST_S,
    Outlook,
    is_due,
    is_on_its_way,
    is_urgent,
    longest_wait_s,
    may_be_due,
    outlook,
    outlook_by_mean,
    peak_in_falling_air,
    slope_c_per_s,
    sooner,
)

HOUR = 3600.0


def ramp(rise_c_per_h: float, start_c: float = 6.0) -> list[tuple[float, float]]:
    return [(m * 60.0, start_c + rise_c_per_h * m / 60.0) for m in range(61)]


def test_the_slope_is_that_of_the_last_half_hour() -> None:
    level, slope = slope_c_per_s(ramp(1.2))
    assert slope * HOUR == pytest.approx(1.2)
    assert level == pytest.approx(7.2)


def test_one_wild_value_moves_neither_level_nor_slope() -> None:
    air = ramp(1.2)
    air[45] = (air[45][0], 40.0)
    level, slope = slope_c_per_s(air)
    assert slope * HOUR == pytest.approx(1.2, abs=0.1)
    assert level == pytest.approx(7.2, abs=0.1)


def test_steady_warm_air_passes_as_the_closed_form_says() -> None:
    # Models 5.1: from 3 °C under 9 °C at tau 6 h to 5 °C in 2.433 h.
    seen = outlook([(m * 60.0, 9.0) for m in range(40)], 5.0, 25.0, (3.0, 6 * HOUR))
    assert seen.likely_s / HOUR == pytest.approx(2.433, abs=0.001)
    assert 0 < seen.early_s < seen.likely_s < seen.late_s


def test_cold_air_never_passes() -> None:
    seen = outlook([(m * 60.0, 3.0) for m in range(40)], 5.0, 25.0, (3.0, 6 * HOUR))
    assert math.isinf(seen.likely_s)


def test_no_air_is_no_outlook() -> None:
    with pytest.raises(ValueError, match="no air"):
        slope_c_per_s([])


def usual(high_c: float = 3.5, warming_min: float = 30.0) -> Usual:
    return Usual(7, 3.0, 0.05, high_c, 0.05, warming_min * 60.0, 1200.0, 40.0, 1.0, (3.0,) * 24, ())


def air(known: Usual | None, warming_min: float = 0.0, slow_c: float = 3.2) -> LearnedUnit:
    made = LearnedUnit(5.0, at=0.0, slow_c=slow_c, warming_since=-warming_min * 60.0)
    made._usual = known
    return made


def in_hours(likely: float, *, cools: bool = False) -> Outlook:
    return Outlook(likely * HOUR * 0.7, likely * HOUR, math.inf, cools)


NEVER = Outlook(math.inf, math.inf, math.inf)


def due(warm_min: float, seen: Outlook, by_mean: Outlook, unit: LearnedUnit) -> bool:
    told = is_due(warm_min * 60.0, seen, by_mean, unit)
    assert may_be_due(warm_min * 60.0, 0.0, unit) or not told, "what is told must have been worth looking ahead"
    return told


def urgent(warm_min: float, far_min: float, seen: Outlook, below_c: float) -> bool:
    told = is_urgent(warm_min * 60.0, far_min * 60.0, seen, below_c)
    assert may_be_due(warm_min * 60.0, far_min * 60.0, LearnedUnit(5.0)) or not told
    return told


@pytest.mark.parametrize(("warm_min", "likely_h", "told"), [(55, 5.9, True), (54, 0.1, False), (90, 6.1, False)])
def test_before_anything_is_usual_air_above_the_limit_is_waited_for_as_long_as_everywhere(
    warm_min: float, likely_h: float, told: bool
) -> None:
    assert due(warm_min, in_hours(likely_h), NEVER, air(None, 600.0)) is told


def test_a_unit_of_short_defrosts_is_told_of_sooner_than_one_of_long_ones() -> None:
    seen = in_hours(4.0)
    assert due(0.0, seen, NEVER, air(usual(warming_min=25.0), 50.0))
    assert not due(54.0, seen, NEVER, air(usual(warming_min=45.0), 89.0))
    assert due(54.0, seen, NEVER, air(usual(warming_min=45.0), 90.0))


def test_no_habit_makes_the_wait_shorter_or_longer_without_end() -> None:
    assert longest_wait_s(usual(warming_min=1.0)) == NO_PAUSE * SHORTEST_S
    assert longest_wait_s(usual(warming_min=600.0)) == NO_PAUSE * LONGEST_S


def test_a_mean_that_is_unusual_is_told_although_the_air_comes_back_every_time() -> None:
    unusual, same = air(usual(), slow_c=3.8), air(usual(), slow_c=3.7)
    assert due(0.0, NEVER, in_hours(1.9), unusual)
    assert not due(0.0, NEVER, in_hours(2.1), unusual)
    assert not due(0.0, NEVER, in_hours(1.0), same)


def test_meat_close_to_its_limit_that_goes_on_is_told_whatever_is_usual() -> None:
    assert urgent(55.0, 0.0, in_hours(0.4), below_c=0.2)
    assert not urgent(55.0, 0.0, in_hours(0.4), below_c=0.4)
    assert not urgent(54.0, 0.0, in_hours(0.4), below_c=0.2)
    turns = replace(in_hours(0.4), turns=True)
    assert not urgent(55.0, 0.0, turns, below_c=0.2), "the air falls so fast that it will not pass"


def test_meat_that_soon_passes_in_air_far_above_its_limit_is_told_whatever_is_usual() -> None:
    assert urgent(41.0, 40.0, in_hours(0.5), below_c=0.7)
    assert not urgent(50.0, 39.0, in_hours(0.5), below_c=0.7), "a defrost is back by then"
    assert not urgent(50.0, 40.0, in_hours(0.6), below_c=0.7), "there is time to see whether it comes back"
    assert not urgent(50.0, 40.0, replace(in_hours(0.4), turns=True), below_c=0.7)


def test_what_was_told_stands_while_product_still_warms_and_may_pass_although_the_air_is_below_its_limit() -> None:
    assert is_on_its_way(in_hours(8.0), air(usual(), 5.0))
    assert not is_on_its_way(in_hours(9.0), air(usual(), 5.0)), "not even the early time is near"
    assert not is_on_its_way(in_hours(1.0), LearnedUnit(5.0)), "the air is below its slow self"


def test_air_that_falls_fast_enough_is_waited_for() -> None:
    unit = air(usual(), 90.0)
    assert not due(60.0, in_hours(2.0, cools=True), NEVER, unit)
    assert due(60.0, in_hours(2.0), NEVER, unit)


def test_falling_air_cools_only_meat_that_stays_well_below_its_limit() -> None:
    falling = ramp(-6.0, 12.0)
    assert outlook(falling, 5.0, 25.0, (3.0, 6 * HOUR), 3.0).cools
    close = outlook(falling, 5.0, 25.0, (4.75, 6 * HOUR), 3.0)
    assert (close.cools, close.turns) == (False, True)
    assert not outlook(falling, 5.0, 25.0, (4.97, 6 * HOUR), 3.0).turns
    assert not outlook(ramp(-2.0, 12.0), 5.0, 25.0, (3.0, 6 * HOUR), 3.0).cools, "it does not fall fast enough"
    assert not outlook(ramp(0.0, 9.0), 5.0, 25.0, (3.0, 6 * HOUR), 3.0).cools


def test_the_peak_in_falling_air_is_that_of_the_closed_form() -> None:
    # dP/dt = (A - P)/tau, A = U + (A0 - U) exp(-k t): P - U = c exp(-k t) + (P0 - U - c) exp(-t/tau), c from the rates.
    tau, rate, towards, air_c, product = 6 * HOUR, 1.0 / HOUR, 3.0, 10.0, 4.0
    c = (air_c - towards) * (1 / tau) / (1 / tau - rate)
    peak = max(
        towards + c * math.exp(-rate * t) + (product - towards - c) * math.exp(-t / tau) for t in range(0, 21600, 60)
    )
    found = peak_in_falling_air(product, air_c, -rate * (air_c - towards), towards, tau)
    assert found == pytest.approx(peak, abs=0.01)


def test_the_sooner_of_two_outlooks_is_said() -> None:
    both = sooner(Outlook(5.0, 9.0, 20.0, cools=True), Outlook(6.0, 8.0, math.inf))
    assert both == Outlook(5.0, 8.0, 20.0, cools=True)


def test_a_sawtooth_passes_by_its_mean() -> None:
    seen = outlook_by_mean(6.5, 5.0, 25.0, (4.0, 6 * HOUR))
    assert seen.likely_s == pytest.approx(6 * HOUR * math.log(2.5 / 1.5), rel=1e-6)

"""When the product of a unit may pass its limit."""

import math

import pytest

from alerts.outlook import Outlook, is_due, outlook, slope_c_per_s

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


@pytest.mark.parametrize(
    ("warm_min", "early_h", "likely_h", "told"),
    [(40, 0.1, 0.4, True), (39, 0.1, 0.4, False), (40, 0.4, 0.6, False), (55, 2.0, 4.0, True), (90, 6.1, 9.0, False)],
)
def test_little_time_is_told_early_and_much_time_only_once_the_air_does_not_come_back(
    warm_min: float, early_h: float, likely_h: float, told: bool
) -> None:
    assert is_due(warm_min * 60.0, Outlook(early_h * HOUR, likely_h * HOUR, math.inf)) is told

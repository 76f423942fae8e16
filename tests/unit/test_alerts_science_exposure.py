"""Sums over a record that is straight between its samples, against numerical integration."""

import numpy as np
import pytest
from scipy.integrate import quad

from alerts.science.exposure import (
    Stretch,
    degree_time_above,
    longest_above,
    share_of_budget,
    stretches_above,
    time_above,
    time_below,
    time_in_band,
)
from alerts.science.integral import integral_over, mean_kinetic_temperature
from alerts.science.record import FloatArray

MINUTE = 60.0


def wandering(seed: int) -> tuple[FloatArray, FloatArray]:
    rng = np.random.default_rng(seed)
    return np.cumsum(rng.exponential(10.0, 40)), rng.normal(5.0, 3.0, 40)


@pytest.mark.parametrize("threshold_c", [-10.0, 3.0, 5.0, 20.0])
def test_time_and_degrees_above_agree_with_quadrature(threshold_c: float) -> None:
    times, temps = wandering(8)

    def summed(of: str) -> float:
        def integrand(t: float) -> float:
            over = float(np.interp(t, times, temps)) - threshold_c
            return max(0.0, over) if of == "degrees" else float(over > 0.0)

        parts = []
        for begin, end in zip(times[:-1], times[1:], strict=True):
            at = np.interp([begin, end], times, temps) - threshold_c
            inner = [begin + (end - begin) * at[0] / (at[0] - at[1])] if at[0] * at[1] < 0 else None
            parts.append(quad(integrand, begin, end, points=inner)[0])
        return float(sum(parts))

    assert time_above(times, temps, threshold_c) == pytest.approx(summed("time"), abs=1e-6)
    assert degree_time_above(times, temps, threshold_c) == pytest.approx(summed("degrees"), abs=1e-6)


def test_standing_exactly_at_the_threshold_is_below_it() -> None:
    assert time_above([0.0, 60.0], [5.0, 5.0], 5.0) == 0.0
    assert time_below([0.0, 60.0], [5.0, 5.0], 5.0) == 60.0


def test_a_band_is_open_below_and_closed_above() -> None:
    assert time_in_band([0.0, 60.0], [5.0, 5.0], 5.0, 10.0) == 0.0
    assert time_in_band([0.0, 60.0], [10.0, 10.0], 5.0, 10.0) == 60.0
    assert time_in_band([0.0, 60.0], [99.0, 99.0], 21.0, float("inf")) == 60.0


@pytest.mark.parametrize(("temp_c", "limit_s"), [(10.3, 18000.0), (21.05, 7200.0)])
def test_a_reading_between_two_printed_bands_belongs_to_the_warmer(temp_c: float, limit_s: float) -> None:
    # FDA appendix 4 table A-2 prints whole degrees: 10 then 11 °C, 21 then "above 21" (memory).
    bands = [(5.2, 10.0, 172800.0), (10.0, 21.0, 18000.0), (21.0, float("inf"), 7200.0)]
    assert share_of_budget([0.0, 3600.0], [temp_c, temp_c], bands) == pytest.approx(3600.0 / limit_s)


def test_shares_add_over_bands_and_cold_time_counts_nothing() -> None:
    bands = [(10.0, 21.0, 100.0), (5.0, 10.0, 1000.0)]
    record = [0.0, 50.0, 50.0, 150.0, 150.0, 250.0], [4.0, 4.0, 8.0, 8.0, 15.0, 15.0]
    assert share_of_budget(*record, bands) == pytest.approx(0.1 + 1.0)
    assert share_of_budget(*record, []) == 0.0


@pytest.mark.parametrize(
    ("bands", "why"),
    [
        ([(5.0, 10.0, 0.0)], "above zero"),
        ([(5.0, 10.0, 1.0), (9.0, 21.0, 1.0)], "overlap"),
        ([(10.0, 5.0, 1.0)], "upside down"),
    ],
)
def test_a_budget_that_makes_no_sense_is_refused(bands: list[tuple[float, float, float]], why: str) -> None:
    with pytest.raises(ValueError, match=why):
        share_of_budget([0.0, 1.0], [3.0, 3.0], bands)


def square(*stretches: tuple[float, float]) -> tuple[list[float], list[float]]:
    """Return a record of (minutes, °C), with square steps."""
    times, temps, now = [], [], 0.0
    for minutes, temp_c in stretches:
        times += [now, now + minutes * MINUTE]
        temps += [temp_c, temp_c]
        now = times[-1]
    return times, temps


def excursions(*stretches: tuple[float, float]) -> list[tuple[float, float, float]]:
    """Return the excursions above 5 °C of at least 15 minutes, one if less than an hour apart, in minutes."""
    found = stretches_above(*square(*stretches), 5.0, at_least_s=15 * MINUTE, join_s=60 * MINUTE)
    return [(stretch.from_at / MINUTE, stretch.until_at / MINUTE, stretch.peak_c) for stretch in found]


def test_fifteen_minutes_is_an_excursion_and_less_is_none() -> None:
    assert excursions((10, 4.0), (15, 6.0), (10, 4.0)) == [(10, 25, 6.0)]
    assert excursions((10, 4.0), (14.9, 6.0), (10, 4.0)) == []


def test_two_excursions_less_than_an_hour_apart_are_one() -> None:
    assert excursions((20, 6.0), (59, 4.0), (20, 7.0), (10, 4.0)) == [(0, 99, 7.0)]
    assert excursions((20, 6.0), (60, 4.0), (20, 7.0), (10, 4.0)) == [(0, 20, 6.0), (80, 100, 7.0)]


def test_short_blips_are_dropped_before_what_is_left_is_joined() -> None:
    assert excursions((14, 6.0), (5, 4.0), (14, 6.0), (10, 4.0)) == []
    assert excursions((20, 6.0), (5, 4.0), (5, 9.0), (50, 4.0), (20, 6.0), (10, 4.0)) == [(0, 20, 6.0), (80, 100, 6.0)]


def test_touching_the_limit_for_an_instant_does_not_end_a_stretch() -> None:
    found = stretches_above([0.0, 600.0, 1200.0, 1200.0], [6.0, 5.0, 6.0, 4.0], 5.0, at_least_s=900.0, join_s=0.0)
    assert found == [Stretch(0.0, 1200.0, 6.0)]


def test_an_excursion_that_has_not_ended_runs_to_the_last_sample() -> None:
    assert excursions((10, 4.0), (20, 6.0)) == [(10, 30, 6.0)]
    assert stretches_above([7.0], [6.0], 5.0, at_least_s=0.0, join_s=0.0) == [Stretch(7.0, 7.0, 6.0)]


def test_standing_at_the_limit_is_no_part_of_an_excursion() -> None:
    record = [0.0, 600.0, 1200.0, 1800.0, 2400.0], [5.0, 5.0, 6.0, 5.0, 5.0]
    assert stretches_above(*record, 5.0, at_least_s=0.0, join_s=0.0) == [Stretch(600.0, 1800.0, 6.0)]


def test_a_joined_excursion_keeps_the_warmest_of_its_parts() -> None:
    assert excursions((20, 7.0), (30, 4.0), (20, 6.0), (10, 4.0)) == [(0, 70, 7.0)]


def test_crossings_are_interpolated() -> None:
    found = stretches_above([0.0, 100.0, 200.0], [4.0, 8.0, 4.0], 5.0, at_least_s=0.0, join_s=0.0)
    assert found == [Stretch(25.0, 175.0, 8.0)]


def test_the_longest_stretch_is_not_the_sum() -> None:
    record = square((10, 4.0), (20, 11.0), (5, 9.0), (29, 12.0), (5, 4.0))
    assert longest_above(*record, 10.0) == 29 * MINUTE
    assert longest_above(*record, 20.0) == 0.0


def test_an_integral_is_split_where_its_rate_jumps() -> None:
    def jumping(temps: FloatArray) -> FloatArray:
        return np.where(temps > 1.1, temps**5, 0.0)

    # From 0 to 2 °C in 10 s, 5 s a kelvin: 5 (2^6 - 1.1^6) / 6.
    assert integral_over([0.0, 10.0], [0.0, 2.0], jumping, breaks_c=(1.1,)) == pytest.approx(5 * (64 - 1.1**6) / 6)
    assert integral_over([0.0, 10.0], [2.0, 0.0], jumping, breaks_c=(1.1,)) == pytest.approx(5 * (64 - 1.1**6) / 6)


def test_a_kinetic_mean_lies_between_mean_and_maximum_only_above_a_small_activation_energy() -> None:
    times, temps = [0.0, 10.0, 10.0, 20.0], [5.0, 5.0, 15.0, 15.0]
    for activation in (6_000.0, 83_144.0, 1e9):
        assert 10.0 <= mean_kinetic_temperature(times, temps, activation_j_mol=activation) <= 15.0
    assert 5.0 <= mean_kinetic_temperature(times, temps, activation_j_mol=1.0) < 10.0


@pytest.mark.parametrize(
    ("times", "temps", "activation", "why"),
    [
        ([0.0], [5.0], 83_144.0, "without length"),
        ([0.0, 1.0], [-274.0, 5.0], 83_144.0, "above zero"),
        ([0.0, 1.0], [5.0, 5.0], 0.0, "above zero"),
    ],
)
def test_a_kinetic_mean_that_makes_no_sense_is_refused(
    times: list[float], temps: list[float], activation: float, why: str
) -> None:
    with pytest.raises(ValueError, match=why):
        mean_kinetic_temperature(times, temps, activation_j_mol=activation)

"""The cure clock and the uptake of salt."""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import j1, jn_zeros

from alerts.science.salt import (
    FULL_C,
    STOP_C,
    Shape,
    _series,
    cure_clock,
    cure_rate_practice,
    diffusivity_ratio,
    hours_lost,
    penetration,
    penetration_band,
    time_to_add,
)

HOUR = 3600.0


def test_the_practice_rate_is_nothing_up_to_34_f_and_all_from_36_f() -> None:
    assert cure_rate_practice([-5.0, 1.1, 2.2, 4.0, 15.0]).tolist() == [0.0, 0.0, 1.0, 1.0, 1.0]
    assert float(cure_rate_practice(1.6)) == pytest.approx(float(diffusivity_ratio(1.6, 2.2, 25_000.0)))


def test_published_days_count_nothing_below_36_f() -> None:
    assert cure_rate_practice([2.19, 2.2], published_days=True).tolist() == [0.0, 1.0]


def test_a_stop_above_the_full_rate_is_refused() -> None:
    with pytest.raises(ValueError, match="cannot stop"):
        cure_rate_practice(3.0, stop_c=3.0, full_c=2.0)


def test_the_clock_agrees_with_quadrature_across_its_jumps() -> None:
    times, temps = np.array([0.0, 10.0, 25.0, 40.0]) * HOUR, np.array([3.0, 0.2, 2.9, 1.4])

    def rate(t: float) -> float:
        return float(cure_rate_practice(float(np.interp(t, times, temps))))

    jumps = []
    for begin in range(3):
        a, b = temps[begin], temps[begin + 1]
        for level in (STOP_C, FULL_C):
            if (a - level) * (b - level) < 0:
                jumps.append(times[begin] + (times[begin + 1] - times[begin]) * (level - a) / (b - a))
    expected = quad(rate, 0.0, times[-1], points=sorted([*jumps, *times[1:-1]]), limit=200)[0]
    counted = cure_clock(times, temps, cure_rate_practice)
    assert counted == pytest.approx(expected, abs=1e-3)
    assert hours_lost(times, temps, cure_rate_practice) == pytest.approx(40.0 - counted / HOUR)


def test_standing_exactly_at_the_stop_counts_nothing() -> None:
    assert cure_clock([0.0, HOUR], [1.1, 1.1], cure_rate_practice) == 0.0


def test_warmth_earns_nothing_back() -> None:
    record = [0.0, 10 * HOUR, 10 * HOUR, 20 * HOUR], [0.5, 0.5, 12.0, 12.0]
    assert hours_lost(*record, cure_rate_practice) == pytest.approx(10.0)


@pytest.mark.parametrize(
    ("plan_h", "counted_h", "elapsed_h", "ahead", "hours"),
    [
        (120.0, 72.0, 72.0, 1.0, 0.0),
        (120.0, 60.0, 72.0, 1.0, 12.0),
        (120.0, 60.0, 72.0, 0.8, 27.0),
        (120.0, 120.0, 120.0, 0.0, 0.0),
        (120.0, 60.0, 72.0, 0.0, math.inf),
        (120.0, 130.0, 110.0, 1.0, 0.0),
    ],
)
def test_what_is_missing_is_added_at_the_rate_to_come(
    plan_h: float, counted_h: float, elapsed_h: float, ahead: float, hours: float
) -> None:
    assert time_to_add(plan_h * HOUR, counted_h * HOUR, elapsed_h * HOUR, ahead) / HOUR == pytest.approx(hours)


def test_the_roots_of_the_cylinder_are_those_of_bessels_function() -> None:
    roots, _, centre_weights = _series("cylinder")
    assert np.allclose(roots, jn_zeros(0, 40), rtol=0, atol=1e-12)
    assert np.allclose(centre_weights, 2 / (roots * j1(roots)), rtol=0, atol=1e-12)


SHAPES: list[Shape] = ["slab", "cylinder", "sphere"]


@pytest.mark.parametrize("shape", SHAPES)
def test_the_short_time_form_meets_the_series(shape: Shape) -> None:
    before, after = penetration(0.002 - 1e-12, shape), penetration(0.002 + 1e-12, shape)
    assert before.mean == pytest.approx(after.mean, abs=1e-7)
    assert before.centre == pytest.approx(after.centre, abs=1e-12)


@pytest.mark.parametrize("shape", SHAPES)
def test_uptake_begins_at_nothing_only_grows_and_ends_at_equilibrium(shape: Shape) -> None:
    found = [penetration(float(fo), shape) for fo in [0.0, *np.geomspace(1e-6, 20.0, 400)]]
    assert found[0] == (0.0, 0.0)
    assert (np.diff(found, axis=0) >= -1e-12).all()
    assert found[-1] == pytest.approx((1.0, 1.0))
    assert all(centre <= mean for mean, centre in found)


def test_uptake_that_makes_no_sense_is_refused() -> None:
    with pytest.raises(ValueError, match="negative"):
        penetration(-0.1, "slab")
    for fo in (0.001, 0.1):
        with pytest.raises(ValueError, match="unknown shape"):
            penetration(fo, "cube")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="thickness"):
        penetration_band([0.0, 1.0], [4.0, 4.0], 0.0, "slab")


def test_frozen_meat_takes_up_nothing() -> None:
    low, high = penetration_band([0.0, 10 * 86400.0], [-3.0, -3.0], 0.02, "slab")
    assert low == high == (0.0, 0.0)


def test_the_band_has_its_low_end_below_its_high_end() -> None:
    low, high = penetration_band([0.0, 5 * 86400.0], [4.0, 4.0], 0.0275, "slab")
    assert low.mean < high.mean
    assert low.centre < high.centre

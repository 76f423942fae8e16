"""Times to the limit against root finding on the exact path."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import lambertw

from alerts.science.forecast import (
    Crossing,
    Spread,
    early_likely_late,
    lambert_w0,
    lambert_w0_of_exp,
    time_to_limit_constant,
    time_to_limit_ramp,
)
from alerts.science.heat import filter_step

HOUR = 3600.0
AMBIENT_C = 25.0
CERTAIN = Spread(0.0, 0.0, 0.0, 0.0)


def path(product_c: float, air_c: float, slope: float, tau: float, at: float) -> float:
    """Return the product at an instant while the air rises to ambient and stays there."""
    rising = min(at, (AMBIENT_C - air_c) / slope)
    top_c = air_c + slope * rising
    return filter_step(filter_step(product_c, air_c, top_c, rising, tau), top_c, top_c, at - rising, tau)


def test_a_ramp_with_its_cap_agrees_with_root_finding_on_500_random_cases() -> None:
    rng = np.random.default_rng(11)
    for _ in range(500):
        product_c, air_c = float(rng.uniform(-3.0, 4.99)), float(rng.uniform(-5.0, 24.0))
        slope, tau = float(10 ** rng.uniform(-2.5, 1.5)) / HOUR, float(rng.uniform(1.0, 20.0)) * HOUR
        found = time_to_limit_ramp(product_c, air_c, slope, 5.0, tau, AMBIENT_C)
        # From the coldest point on the path is rising, so its crossing is the only one.
        grid = np.linspace(0.0, (AMBIENT_C - air_c) / slope + 10 * tau, 4001)
        above = np.flatnonzero([path(product_c, air_c, slope, tau, float(at)) > 5.0 for at in grid[::40]])
        upper = float(grid[::40][above[0]])
        root = brentq(lambda at: path(product_c, air_c, slope, tau, at) - 5.0, 0.0, upper, xtol=1e-9, rtol=1e-15)  # noqa: B023
        assert found == pytest.approx(root, rel=1e-7, abs=1e-3)


@pytest.mark.parametrize("z", [-0.3678794, -0.3678, -0.3, -1e-3, -1e-9, 0.0, 1e-300, 1e-7, 0.4, 0.6, 1.0, 50.0, 1e300])
def test_lamberts_w_agrees_with_scipy(z: float) -> None:
    assert lambert_w0(z) == pytest.approx(float(lambertw(z).real), rel=1e-13, abs=1e-7 if z < -0.367 else 1e-15)


@pytest.mark.parametrize("log_z", [-700.0, -30.0, -1.0, 0.0, 0.9, 1.1, 10.0, 700.0])
def test_lamberts_w_of_a_logarithm_agrees_with_scipy(log_z: float) -> None:
    assert lambert_w0_of_exp(log_z) == pytest.approx(float(lambertw(math.exp(log_z)).real), rel=1e-13)


def test_lamberts_w_of_a_huge_logarithm_meets_its_equation() -> None:
    w = lambert_w0_of_exp(1e9)
    assert w + math.log(w) == pytest.approx(1e9, rel=1e-14)


def test_lamberts_w_is_minus_one_at_its_branch_point_whatever_the_last_bit() -> None:
    assert lambert_w0(-1 / math.e) == pytest.approx(-1.0, abs=1e-7)
    assert lambert_w0(math.nextafter(-1 / math.e, -1.0)) == -1.0


def test_lamberts_w_below_its_branch_point_is_refused() -> None:
    with pytest.raises(ValueError, match="no real value"):
        lambert_w0(-0.4)


def test_product_over_the_limit_has_passed_it() -> None:
    assert time_to_limit_constant(5.1, 3.0, 5.0, 6 * HOUR) == 0.0
    assert time_to_limit_ramp(5.1, 3.0, 1.0 / HOUR, 5.0, 6 * HOUR, AMBIENT_C) == 0.0
    assert early_likely_late(5.1, 3.0, 1.0 / HOUR, 5.0, 6 * HOUR, AMBIENT_C, CERTAIN) == Crossing(0.0, 0.0, 0.0)


def test_product_at_the_limit_passes_at_once_in_warmer_air_and_never_in_colder() -> None:
    assert time_to_limit_constant(5.0, 9.0, 5.0, 6 * HOUR) == 0.0
    assert time_to_limit_constant(5.0, 5.0, 5.0, 6 * HOUR) == math.inf
    assert time_to_limit_ramp(5.0, 9.0, 1.0 / HOUR, 5.0, 6 * HOUR, AMBIENT_C) == 0.0


def test_product_at_the_limit_in_colder_rising_air_dips_and_comes_back() -> None:
    found = time_to_limit_ramp(5.0, 3.0, 1.0 / HOUR, 5.0, 6 * HOUR, AMBIENT_C)
    assert found > 2 * HOUR
    assert path(5.0, 3.0, 1.0 / HOUR, 6 * HOUR, found) == pytest.approx(5.0)


def test_air_that_stays_under_the_limit_never_brings_the_product_over_it() -> None:
    assert time_to_limit_constant(3.0, 5.0, 5.0, 6 * HOUR) == math.inf
    assert time_to_limit_ramp(3.0, 4.0, 1.0 / HOUR, 5.0, 6 * HOUR, 4.5) == math.inf


def test_a_fall_and_air_over_ambient_are_taken_as_air_that_stays() -> None:
    stays = time_to_limit_constant(3.0, 9.0, 5.0, 6 * HOUR)
    assert time_to_limit_ramp(3.0, 9.0, -1.0 / HOUR, 5.0, 6 * HOUR, AMBIENT_C) == stays
    assert time_to_limit_ramp(3.0, 9.0, 1.0 / HOUR, 5.0, 6 * HOUR, 8.0) == stays


def test_a_rise_too_slow_to_tell_is_that_of_air_that_stays() -> None:
    stays = time_to_limit_constant(3.0, 9.0, 5.0, 6 * HOUR)
    for slope in (1e-9, 1e-15, 1e-30):
        assert time_to_limit_ramp(3.0, 9.0, slope, 5.0, 6 * HOUR, AMBIENT_C) == pytest.approx(stays, rel=2e-5)
    # Just above what counts as none: the closed form must keep its digits here.
    assert time_to_limit_ramp(3.0, 9.0, 1e-13, 5.0, 6 * HOUR, AMBIENT_C) == pytest.approx(stays, rel=1e-8)


def test_a_very_slow_rise_takes_the_lag_more_than_the_air_itself() -> None:
    slope, tau = 1e-3 / HOUR, 1.0 * HOUR
    assert time_to_limit_ramp(3.0, 3.0, slope, 5.0, tau, AMBIENT_C) == pytest.approx(2.0 / slope + tau)


def test_certainty_leaves_no_band() -> None:
    crossing = early_likely_late(3.0, 4.0, 0.8 / HOUR, 5.0, 6 * HOUR, AMBIENT_C, CERTAIN)
    assert crossing.early_s == crossing.likely_s == crossing.late_s


def test_the_band_of_air_that_stays_comes_from_product_air_and_lag() -> None:
    spread = Spread(0.2, 0.0, 0.0, 0.0)
    crossing = early_likely_late(3.0, 9.0, 0.0, 5.0, 6 * HOUR, AMBIENT_C, spread)
    # d t / d T0 = -tau / (Ta - T0).
    assert crossing.likely_s - crossing.early_s == pytest.approx(1.2816 * 0.2 * HOUR, rel=1e-3)
    lag_only = early_likely_late(3.0, 9.0, 0.0, 5.0, 6 * HOUR, AMBIENT_C, Spread(0.0, 0.0, 0.0, 0.1))
    assert lag_only.late_s / lag_only.likely_s == pytest.approx(1 + 1.2816 * 0.1, rel=1e-3)


def test_the_early_end_is_never_before_now() -> None:
    wide = Spread(5.0, 5.0, 5.0 / HOUR, 1.0)
    assert early_likely_late(3.0, 6.0, 1.0 / HOUR, 5.0, 6 * HOUR, AMBIENT_C, wide).early_s == 0.0


def test_air_just_under_the_limit_could_be_over_it() -> None:
    crossing = early_likely_late(3.0, 4.9, 0.0, 5.0, 6 * HOUR, AMBIENT_C, Spread(0.2, 0.3, 0.0, 0.2))
    assert crossing.early_s < math.inf
    assert crossing.likely_s == crossing.late_s == math.inf


def test_a_steady_cold_room_is_given_no_rise() -> None:
    crossing = early_likely_late(3.0, 3.0, 0.0, 5.0, 6 * HOUR, AMBIENT_C, Spread(0.2, 0.15, 0.1 / HOUR, 0.2))
    assert crossing == Crossing(math.inf, math.inf, math.inf)


def test_an_unknown_temperature_gives_no_forecast() -> None:
    with pytest.raises(ValueError, match="unknown"):
        time_to_limit_constant(float("nan"), 9.0, 5.0, HOUR)
    with pytest.raises(ValueError, match="above zero"):
        time_to_limit_ramp(3.0, 9.0, 0.0, 5.0, 0.0, AMBIENT_C)

"""Two states, exact on irregular samples, against an ODE solver; and their bounds through gaps."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from alerts.science.cascade import (
    passed_on,
    two_state_before,
    two_state_lower,
    two_state_temperature,
    two_state_upper,
)
from alerts.science.heat import forward_bound, product_temperature
from alerts.science.record import FloatArray

HOUR = 3600.0
TAUS = [(5 * HOUR, 2800.0), (2800.0, 5 * HOUR), (3 * HOUR, 3 * HOUR), (3 * HOUR, 3 * HOUR * (1 + 1e-7))]


def solved(times: FloatArray, air: FloatArray, taus: tuple[float, float], start: tuple[float, float]) -> FloatArray:
    """Return surface and core at every sample, by a general solver restarted at each sample."""
    found = [np.array(start)]
    for at in range(1, times.size):
        ends, temps = times[at - 1 : at + 1], air[at - 1 : at + 1]

        def slope(t: float, y: FloatArray, ends: FloatArray = ends, temps: FloatArray = temps) -> FloatArray:
            u = float(np.interp(t, ends, temps))
            return np.array([(u - y[0]) / taus[0], (y[0] - y[1]) / taus[1]])

        found.append(solve_ivp(slope, (ends[0], ends[1]), found[-1], rtol=1e-10, atol=1e-10).y[:, -1])
    return np.array(found).T


@pytest.mark.parametrize("taus", TAUS)
def test_two_states_agree_with_an_ode_solver_on_irregular_samples_and_a_gap(taus: tuple[float, float]) -> None:
    rng = np.random.default_rng(11)
    spans = rng.exponential(300.0, 150)
    spans[70] = 4 * HOUR
    times, air = np.concatenate(([0.0], np.cumsum(spans))), rng.normal(4.0, 2.0, 151)
    found = two_state_temperature(times, air, *taus, 3.0, 2.0)
    surface, core = solved(times, air, taus, (3.0, 2.0))
    assert np.abs(found.surface_c - surface).max() < 1e-6
    assert np.abs(found.core_c - core).max() < 1e-6


def test_a_step_of_no_length_or_of_years_stays_right() -> None:
    found = two_state_temperature([0.0, 0.0, 1e-6, 1e9], [2.0, 9.0, 9.0, 9.0], 5 * HOUR, HOUR, 3.0, 4.0)
    assert found.core_c.tolist()[:2] == [4.0, 4.0]
    assert found.core_c[2] == pytest.approx(4.0, abs=1e-8)
    assert found.core_c[3] == pytest.approx(9.0, abs=1e-9)


def test_a_core_without_lag_is_its_surface_and_a_surface_without_lag_is_the_air() -> None:
    times = np.arange(0.0, 10 * HOUR, 300.0)
    air = 4.0 + np.sin(times / HOUR)
    one = product_temperature(times, air, 4 * HOUR, 3.0)
    assert np.allclose(two_state_temperature(times, air, 4 * HOUR, 1e-3, 3.0, 3.0).core_c, one, atol=1e-5)
    assert np.allclose(two_state_temperature(times, air, 1e-3, 4 * HOUR, 3.0, 3.0).core_c, one, atol=1e-5)


def test_rows_of_air_starts_and_time_constants_are_taken_side_by_side() -> None:
    times = np.arange(0.0, 5 * HOUR, 600.0)
    air = np.stack((4 + np.cos(times / HOUR), 6 + np.sin(times / HOUR)))
    taus = np.array([2 * HOUR, 6 * HOUR])
    found = two_state_temperature(times, air, taus, HOUR, [3.0, 4.0], [2.0, 5.0])
    for row in range(2):
        alone = two_state_temperature(times, air[row], taus[row], HOUR, [3.0, 4.0][row], [2.0, 5.0][row])
        assert np.allclose(found.core_c[row], alone.core_c, atol=1e-12)
        assert np.allclose(found.surface_c[row], alone.surface_c, atol=1e-12)


@pytest.mark.parametrize("taus", TAUS)
@pytest.mark.parametrize("unit_tau_s", [None, 6 * HOUR, 3 * HOUR, 2800.0, 60.0])
def test_the_upper_bound_is_the_cascade_behind_warming_air(taus: tuple[float, float], unit_tau_s: float | None) -> None:
    elapsed = np.linspace(0.0, 30 * HOUR, 61)

    def slope(t: float, y: FloatArray) -> FloatArray:
        air = 25.0 if unit_tau_s is None else 25.0 - (25.0 - 3.2) * math.exp(-t / unit_tau_s)
        return np.array([(air - y[0]) / taus[0], (y[0] - y[1]) / taus[1]])

    exact = solve_ivp(slope, (0.0, elapsed[-1]), [4.0, 3.0], t_eval=elapsed, rtol=1e-10, atol=1e-10).y
    bound = two_state_upper((4.0, 3.0), 3.2, 25.0, elapsed, taus, unit_tau_s)
    assert np.abs(bound.surface_c - exact[0]).max() < 1e-6
    assert np.abs(bound.core_c - exact[1]).max() < 1e-6


def test_the_upper_bound_hardly_moves_where_its_way_of_computing_changes() -> None:
    # Three time constants closer and closer together: the quotient hands over to the series.
    parts = np.array([2e-3, 1e-3, 6e-4, 5.1e-4, 4.9e-4, 3e-4, 1e-6, 0.0])
    found = [
        float(two_state_upper((4.0, 3.0), 3.2, 25.0, 5 * HOUR, (5 * HOUR * (1 + d), 5 * HOUR * (1 - d)), 5 * HOUR)[1])
        for d in parts
    ]
    assert np.abs(np.polyval(np.polyfit(parts, found, 3), parts) - found).max() < 1e-9


def test_air_that_was_warmer_than_ambient_is_the_bound() -> None:
    bound = two_state_upper((4.0, 3.0), 30.0, 25.0, [HOUR], (HOUR, HOUR))
    assert bound.surface_c[0] == pytest.approx(float(forward_bound(4.0, 30.0, 25.0, HOUR, HOUR)))
    assert bound.core_c[0] == pytest.approx(30 - 27 * math.exp(-1) - 26 * math.exp(-1))


def test_the_lower_bound_is_the_cascade_in_the_coldest_air() -> None:
    times = np.linspace(0.0, 20 * HOUR, 41)
    really = two_state_temperature(times, np.full(41, 1.0), 5 * HOUR, HOUR, 4.0, 6.0)
    bound = two_state_lower((4.0, 6.0), 1.0, times, (5 * HOUR, HOUR))
    assert np.allclose(bound.surface_c, really.surface_c, atol=1e-9)
    assert np.allclose(bound.core_c, really.core_c, atol=1e-9)


def test_the_bound_before_a_hand_reading_covers_every_cascade_that_leads_to_it() -> None:
    rng = np.random.default_rng(5)
    times = np.linspace(0.0, 6 * HOUR, 73)
    for _ in range(50):
        air = rng.uniform(1.0, 20.0, times.size)
        start = rng.uniform(1.0, 25.0, 2)
        taus = (float(rng.uniform(0.5, 8)) * HOUR, float(rng.uniform(0.5, 8)) * HOUR)
        really = two_state_temperature(times, air, *taus, *start)
        bound = two_state_before(float(really.core_c[-1]), 1.0, times[-1] - times, taus)
        assert (really.core_c <= bound.core_c + 1e-6).all()
        assert (really.surface_c <= bound.surface_c + 1e-6).all()


def test_a_hand_reading_colder_than_the_coldest_air_says_nothing() -> None:
    bound = two_state_before(0.5, 1.0, [0.0, HOUR], (HOUR, HOUR))
    assert np.isinf(bound.core_c).all()
    assert np.isinf(bound.surface_c).all()


def test_a_hand_reading_as_cold_as_the_coldest_air_holds_the_core_for_any_time() -> None:
    bound = two_state_before(1.0, 1.0, [HOUR, 1e4 * HOUR], (HOUR, HOUR))
    assert bound.core_c.tolist() == [1.0, 1.0]
    assert bound.surface_c[0] == 1.0


@pytest.mark.parametrize(("elapsed", "first", "second"), [(-1.0, 1.0, 1.0), (1.0, 0.0, 1.0), (1.0, 1.0, math.nan)])
def test_a_span_or_time_constant_that_is_none_is_refused(elapsed: float, first: float, second: float) -> None:
    with pytest.raises(ValueError, match="above zero"):
        passed_on(elapsed, first, second)
    with pytest.raises(ValueError, match="above zero"):
        two_state_temperature([0.0, 1.0], [3.0, 3.0], first, second if elapsed > 0 else 0.0, 3.0, 3.0)


def test_a_start_that_is_no_number_is_refused() -> None:
    for start in ((math.nan, 3.0), (3.0, math.inf)):
        with pytest.raises(ValueError, match="finite"):
            two_state_temperature([0.0, 1.0], [3.0, 3.0], HOUR, HOUR, *start)

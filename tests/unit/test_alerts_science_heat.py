"""The exact filter and the bounds through gaps, against independent numerical methods."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.signal import lsim

from alerts.science.heat import (
    backward_bound,
    filter_step,
    forward_bound,
    lower_bound,
    product_temperature,
    time_constant_prior,
)
from alerts.science.record import FloatArray, checked_record, single_record
from alerts.science.warmest import mixed_temperature

HOUR = 3600.0


def irregular(count: int, seed: int) -> tuple[FloatArray, FloatArray]:
    """Return samples at random instants, with one gap of four hours in the middle."""
    rng = np.random.default_rng(seed)
    spans = rng.exponential(300.0, count - 1)
    spans[(count - 1) // 2] = 4 * HOUR
    return np.concatenate(([0.0], np.cumsum(spans))), rng.normal(4.0, 2.0, count)


def plain_loop(times: FloatArray, air: FloatArray, tau_s: float, start_c: float) -> FloatArray:
    temps = [start_c]
    for at in range(1, times.size):
        span = float(times[at] - times[at - 1])
        temps.append(filter_step(temps[-1], float(air[at - 1]), float(air[at]), span, tau_s))
    return np.array(temps)


def test_the_filter_agrees_with_an_ode_solver_on_irregular_samples_and_a_gap() -> None:
    times, air = irregular(200, 3)
    tau = 5 * HOUR
    found = product_temperature(times, air, tau, 3.0)
    temp = np.array([3.0])
    for at in range(1, times.size):
        ends = times[at - 1 : at + 1]

        def slope(t: float, y: FloatArray, ends: FloatArray = ends, at: int = at) -> FloatArray:
            return np.asarray((np.interp(t, ends, air[at - 1 : at + 1]) - y) / tau)

        temp = solve_ivp(slope, (ends[0], ends[1]), temp, rtol=1e-10, atol=1e-10).y[:, -1]
        assert found[at] == pytest.approx(temp[0], abs=1e-6)


def test_the_filter_agrees_with_a_linear_system_simulator_on_a_regular_grid() -> None:
    times = np.arange(0.0, 10 * HOUR, 60.0)
    air = np.random.default_rng(4).normal(4.0, 2.0, times.size)
    tau = 4 * HOUR
    system = ([[-1 / tau]], [[1 / tau]], [[1.0]], [[0.0]])
    assert np.allclose(product_temperature(times, air, tau, 3.0), lsim(system, air, times, X0=[3.0])[1], atol=1e-9)


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5, 9, 10, 16, 17, 200])
def test_the_blocked_scan_is_the_plain_loop_whatever_the_length(count: int) -> None:
    times, air = irregular(count, count) if count > 1 else (np.zeros(1), np.ones(1))
    found = product_temperature(times, air, 6 * HOUR, 3.0)
    assert np.abs(found - plain_loop(times, air, 6 * HOUR, 3.0)).max() < 1e-12


def test_rows_of_air_time_constants_and_starts_go_together() -> None:
    times, air = irregular(50, 5)
    both = np.stack([air, air + 1.0])
    found = product_temperature(times, both, [4 * HOUR, 6 * HOUR], [3.0, 5.0])
    assert np.allclose(found[0], product_temperature(times, air, 4 * HOUR, 3.0), atol=1e-12)
    assert np.allclose(found[1], product_temperature(times, air + 1.0, 6 * HOUR, 5.0), atol=1e-12)


def test_one_row_of_air_serves_two_starts_that_merge_after_a_gap() -> None:
    times = np.arange(0.0, 24 * HOUR, 60.0)
    upper, lower = product_temperature(times, np.full(times.size, 3.0), 4 * HOUR, [9.0, 1.0])
    assert (upper - lower)[-1] == pytest.approx(8.0 * np.exp(-times[-1] / (4 * HOUR)))


@pytest.mark.parametrize("ratio", [0.0, 1e-12, 1e-8, 1e-3, 1.0, 1e6, 1e300])
def test_a_step_of_any_length_stays_between_what_it_is_made_from(ratio: float) -> None:
    moved = filter_step(3.0, 9.0, 10.0, ratio, 1.0)
    assert 3.0 <= moved <= 10.0
    assert filter_step([3.0], 9.0, 10.0, ratio, 1.0)[0] == pytest.approx(moved, abs=1e-12)
    assert filter_step(5.0, 5.0, 5.0, ratio, 1.0) == pytest.approx(5.0, abs=1e-12)


def test_a_tiny_step_moves_by_its_first_order() -> None:
    assert (filter_step(0.0, 1.0, 1.0, 1e-12, 1.0)) == pytest.approx(1e-12, rel=1e-3)


def test_two_samples_of_one_instant_are_a_step() -> None:
    found = product_temperature([0.0, 60.0, 60.0, 120.0], [3.0, 3.0, 9.0, 9.0], 600.0, 3.0)
    assert found[2] == found[1] == 3.0
    assert found[3] == pytest.approx(filter_step(3.0, 9.0, 9.0, 60.0, 600.0))


@pytest.mark.parametrize("unit_tau_h", [0.5, 5.999, 6.0, 6.001, 27.0, 1e6])
def test_the_warm_up_of_a_learned_unit_agrees_with_an_ode_solver(unit_tau_h: float) -> None:
    tau, unit_tau = 6 * HOUR, unit_tau_h * HOUR
    times = np.linspace(0.0, 48 * HOUR, 25)

    def slope(t: float, y: FloatArray) -> FloatArray:
        return np.asarray([(y[1] - y[0]) / tau, (25.0 - y[1]) / unit_tau])

    solved = solve_ivp(slope, (0.0, times[-1]), [3.2, 4.0], t_eval=times, rtol=1e-10, atol=1e-10).y[0]
    assert np.allclose(forward_bound(3.2, 4.0, 25.0, times, tau, unit_tau), solved, atol=1e-6)


def test_an_unlearned_unit_is_bounded_by_ambient_at_once() -> None:
    times = np.array([0.0, 6 * HOUR, 1e9])
    assert forward_bound(3.2, 3.2, 25.0, times, 6 * HOUR) == pytest.approx([3.2, 16.98, 25.0], abs=0.005)


def test_air_that_was_warmer_than_ambient_is_not_taken_to_cool() -> None:
    assert float(forward_bound(3.0, 12.0, 8.0, 1e9, 6 * HOUR)) == pytest.approx(12.0)
    assert float(forward_bound(3.0, 12.0, 8.0, 1e9, 6 * HOUR, 2 * HOUR)) == pytest.approx(12.0)


def test_a_hand_reading_colder_than_the_coldest_air_bounds_nothing() -> None:
    assert backward_bound([0.9, 1.0, 1.1], 1.0, 1e9, 6 * HOUR)[0] == np.inf
    assert backward_bound([0.9, 1.0, 1.1], 1.0, 1e9, 6 * HOUR)[1] == 1.0


def test_the_lower_bound_falls_to_the_coldest_air() -> None:
    assert lower_bound(3.2, 1.0, [0.0, 1e9], 6 * HOUR).tolist() == [3.2, 1.0]


@pytest.mark.parametrize(
    ("mass_kg", "arrangement", "hours"),
    [(3.0, "hung", 4.0), (3.0, "racked", 4.0), (1.0, "tub", 6.0), (10.0, "tub", 6.0), (80.0, "tub", 12.0)],
)
def test_the_prior_time_constant_is_the_stated_one(mass_kg: float, arrangement: str, hours: float) -> None:
    assert time_constant_prior(mass_kg, arrangement) == pytest.approx(hours * HOUR)  # type: ignore[arg-type]


def test_no_mass_and_unknown_arrangements_are_refused() -> None:
    with pytest.raises(ValueError, match="no time constant"):
        time_constant_prior(0.0, "tub")
    with pytest.raises(ValueError, match="arrangement"):
        time_constant_prior(3.0, "heap")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="cannot be mixed"):
        mixed_temperature(0.0, 3.0, 0.0, 3.0)


@pytest.mark.parametrize(
    ("times", "temps", "why"),
    [
        ([], [], "at least one"),
        ([0.0, 60.0], [3.0], "do not fit"),
        ([0.0, 60.0], [3.0, float("nan")], "finite"),
        ([0.0, float("inf")], [3.0, 3.0], "finite"),
        ([60.0, 0.0], [3.0, 3.0], "go back"),
    ],
)
def test_a_record_that_cannot_be_judged_is_refused(times: list[float], temps: list[float], why: str) -> None:
    with pytest.raises(ValueError, match=why):
        checked_record(times, temps)
    with pytest.raises(ValueError, match=why):
        product_temperature(times, temps, 6 * HOUR, 3.0)


def test_several_rows_are_refused_where_one_is_measured() -> None:
    with pytest.raises(ValueError, match="one record"):
        single_record([0.0, 1.0], [[3.0, 3.0], [4.0, 4.0]])


def test_spans_and_time_constants_that_make_no_sense_are_refused() -> None:
    for span, tau in ((-1.0, 1.0), (1.0, 0.0), (float("nan"), 1.0), (1.0, float("nan"))):
        for bound in (lower_bound, backward_bound):
            with pytest.raises(ValueError, match="time constant"):
                bound(3.0, 1.0, span, tau)
        with pytest.raises(ValueError, match="time constant"):
            filter_step(3.0, 3.0, 3.0, span, tau)
        with pytest.raises(ValueError, match="time constant"):
            filter_step([3.0], 3.0, 3.0, span, tau)
        with pytest.raises(ValueError, match="time constant"):
            forward_bound(3.0, 3.0, 25.0, span, tau)
    with pytest.raises(ValueError, match="start temperature"):
        product_temperature([0.0, 1.0], [3.0, 3.0], 6 * HOUR, float("nan"))

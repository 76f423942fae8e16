"""Fitting a lag to paired records: what is found, how sure it is, and when it is refused."""

import math

import numpy as np
import pytest
from scipy.optimize import least_squares

from alerts.science.cascade import two_state_temperature
from alerts.science.fit import LEAST_SIGMA_LN, LagFit, NoFit, Why, fit_lag
from alerts.science.heat import product_temperature
from alerts.science.record import FloatArray

HOUR = 3600.0


def air_record(seed: int = 1, hours: float = 51.0, samples: int = 600) -> tuple[FloatArray, FloatArray]:
    """Return irregular samples of air that cycles, is defrosted, and stands warm for some hours."""
    rng = np.random.default_rng(seed)
    times = np.sort(rng.uniform(0.0, hours * HOUR, samples))
    air = 3.5 + 1.0 * np.sin(times / 700.0) + 2.5 * np.sin(times / (3 * HOUR))
    return times, air + 5.0 * ((times > 20 * HOUR) & (times < 24 * HOUR))


def noisy(core: FloatArray, seed: int = 2, noise_k: float = 0.1, outliers: int = 5) -> FloatArray:
    rng = np.random.default_rng(seed)
    found = core + rng.normal(0.0, noise_k, core.size)
    found[rng.choice(core.size, outliers, replace=False)] += 4.0
    return np.asarray(found)


def fitted(found: LagFit | NoFit) -> LagFit:
    assert isinstance(found, LagFit), found
    return found


def refused(found: LagFit | NoFit) -> Why:
    assert isinstance(found, NoFit), found
    assert ": " in found.words  # what is wrong, and how to mend it
    return found.why


@pytest.mark.parametrize("seed", range(5))
def test_a_noisy_record_with_outliers_gives_back_its_time_constant_and_offset(seed: int) -> None:
    # As worked: 600 irregular samples over 51 h, 0.1 K noise, 5 outliers of +4 K, 0.4 K offset, 5.2 h.
    times, air = air_record(seed)
    core = noisy(product_temperature(times, air + 0.4, 5.2 * HOUR, 6.0), seed + 10)
    found = fitted(fit_lag(times, air, times, core))
    assert found.tau_s / HOUR == pytest.approx(5.2, abs=0.15)
    assert found.offset_k == pytest.approx(0.4, abs=0.03)
    assert found.start_c == pytest.approx(6.0, abs=0.1)
    assert found.two_taus_s is None
    assert LEAST_SIGMA_LN <= found.sigma_ln < 0.16


@pytest.mark.parametrize("tau_h", [1.0, 2.0, 5.2, 14.0])
def test_the_fit_is_that_of_a_general_least_squares_solver(tau_h: float) -> None:
    times, air = air_record(4)
    core = noisy(product_temperature(times, air - 0.3, tau_h * HOUR, 2.0))

    def left(values: FloatArray) -> FloatArray:
        model = product_temperature(times, air + values[1], math.exp(values[0]), float(values[2]))
        return np.asarray(model - core)

    theirs = least_squares(left, [math.log(4 * HOUR), 0.0, 3.0], loss="soft_l1", f_scale=0.2, xtol=1e-12, ftol=1e-12)
    ours = fitted(fit_lag(times, air, times, core, noise_k=0.1))
    assert math.log(ours.tau_s) == pytest.approx(theirs.x[0], abs=1e-5)
    assert ours.offset_k == pytest.approx(theirs.x[1], abs=1e-5)
    assert ours.start_c == pytest.approx(theirs.x[2], abs=1e-4)
    assert ours.residual_k == pytest.approx(math.sqrt(2 * theirs.cost / core.size), rel=1e-6)


def test_air_and_core_need_not_be_read_at_the_same_instants() -> None:
    times, air = air_record(6, samples=2000)
    core = product_temperature(times, air, 5 * HOUR, 4.0)
    at = np.arange(2 * HOUR, 60 * HOUR, 420.0)
    found = fitted(fit_lag(times, air, at, np.interp(at, times, core)))
    assert found.tau_s / HOUR == pytest.approx(5.0, abs=0.05)
    # What was read after the air record ended is left out.
    assert found.samples == np.count_nonzero(at <= times[-1])


def test_two_states_are_kept_where_they_fit_clearly_better_and_not_where_one_does() -> None:
    times, air = air_record(7)
    core = two_state_temperature(times, air, 5 * HOUR, 1.5 * HOUR, 4.0, 4.0).core_c
    found = fitted(fit_lag(times, air, times, noisy(core, noise_k=0.05), noise_k=0.05))
    assert found.two_taus_s is not None
    assert found.two_residual_k is not None
    assert found.two_residual_k < 0.8 * found.residual_k
    assert found.two_taus_s[0] / HOUR == pytest.approx(1.5, rel=0.15)
    assert found.two_taus_s[1] / HOUR == pytest.approx(5.0, rel=0.1)
    # One state must then stand for both: near their sum.
    assert found.tau_s / HOUR == pytest.approx(6.5, rel=0.2)


def test_scattered_and_clustered_noise_are_told_apart_in_the_uncertainty() -> None:
    times, air = air_record(8)
    core = product_temperature(times, air, 5 * HOUR, 4.0)
    scattered = fitted(fit_lag(times, air, times, noisy(core, outliers=0)))
    wander = 0.5 * np.sin(times / (2 * HOUR))
    wandering = fitted(fit_lag(times, air, times, noisy(core + wander, outliers=0)))
    assert wandering.sigma_ln > scattered.sigma_ln


def test_air_that_hardly_moved_is_refused() -> None:
    times, air = air_record()
    core = product_temperature(times, air, 5 * HOUR, 12.0)
    calm = 4.0 + 0.2 * (air - air.mean())
    assert refused(fit_lag(times, calm, times, core)) is Why.AIR_STILL
    # A door that opens once is no movement either.
    once = np.full(times.size, 4.0)
    once[300] = 20.0
    assert refused(fit_lag(times, once, times, core)) is Why.AIR_STILL


def test_a_record_shorter_than_three_time_constants_is_refused() -> None:
    times, air = air_record(hours=20.0)
    core = product_temperature(times, air, 9 * HOUR, 4.0)
    assert refused(fit_lag(times, air, times, core)) is Why.TOO_SHORT


def test_too_few_readings_are_refused() -> None:
    times, air = air_record()
    core = product_temperature(times, air, 5 * HOUR, 4.0)
    assert refused(fit_lag(times, air, times[:20], core[:20])) is Why.TOO_FEW
    assert refused(fit_lag(times, air, times + 1e6, core)) is Why.TOO_FEW
    assert refused(fit_lag(times, air, np.full(100, times[5]), np.full(100, 4.0))) is Why.TOO_FEW


def test_a_gap_in_the_air_is_refused_and_one_in_the_core_is_not() -> None:
    times, air = air_record(9)
    core = product_temperature(times, air, 5 * HOUR, 4.0)
    known = (times < 15 * HOUR) | (times > 22 * HOUR)
    assert refused(fit_lag(times[known], air[known], times, core)) is Why.AIR_GAP
    assert fitted(fit_lag(times, air, times[known], core[known])).tau_s / HOUR == pytest.approx(5.0, abs=0.05)


def test_a_core_that_does_not_follow_this_air_is_refused() -> None:
    times, air = air_record()
    other = 3.0 + 3.0 * np.sin(times / 7000.0 + 2.0)
    assert refused(fit_lag(times, air, times, other)) in {Why.NOT_FOLLOWED, Why.OUT_OF_RANGE, Why.TOO_SHORT}
    elsewhere = product_temperature(times, air + 12.0, 5 * HOUR, 15.0)
    assert refused(fit_lag(times, air, times, elsewhere)) is Why.NOT_FOLLOWED


def test_the_air_itself_is_refused_as_its_core() -> None:
    times, air = air_record()
    assert refused(fit_lag(times, air, times, air)) is Why.OUT_OF_RANGE


def test_a_core_that_noise_hides_is_refused() -> None:
    times, air = air_record(hours=30.0, samples=60)
    rng = np.random.default_rng(3)
    core = product_temperature(times, air, 5 * HOUR, 4.0) + rng.normal(0.0, 4.0, times.size)
    assert refused(fit_lag(times, air, times, core, noise_k=4.0)) is Why.LOOSE


def test_a_record_with_a_hole_of_not_a_number_is_refused_as_a_mistake_in_code() -> None:
    times, air = air_record()
    with pytest.raises(ValueError, match="finite"):
        fit_lag(times, air, times, np.where(times > HOUR, np.nan, 3.0))
    with pytest.raises(ValueError, match="noise"):
        fit_lag(times, air, times, air, noise_k=0.0)

"""The time constant of a product, fitted to a record of its air and of a probe in its core. Pure: no clock, no I/O."""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from alerts.science.cascade import passed_on, two_state_temperature
from alerts.science.heat import product_temperature
from alerts.science.record import FloatArray, single_record

LEAST_SAMPLES = 30
"""Core readings that a fit needs. House."""

LEAST_AIR_K = 2.0
"""The air must have moved by this much, between its 5th and its 95th percentile in time. House."""

LEAST_SPANS = 3.0
"""The record must be this many time constants long. House."""

LEAST_SIGMA_LN = 0.15
"""Uncertainty that no fit goes below, natural log. House: the formal one was 0.9 % on a simulated record, and what is
really uncertain is the model (place, load, air movement)."""

LOOSE_SIGMA_LN = 0.3
"""Above this formal uncertainty the record does not hold the time constant. House."""

FARTHEST_OFFSET_K = 5.0
"""A probe that settles farther from the air does not stand in it. House."""

TWO_STATES_DROP = 0.2
"""Two states are kept where the residual falls by more than this share. House."""

QUICKEST_S, SLOWEST_S = 300.0, 200 * 3600.0
"""Range in which a time constant is looked for. House."""

_STEP_LN = 1e-4
_ROUNDS = 80


class Why(StrEnum):
    """Why a record holds no time constant."""

    TOO_FEW = "too few readings"
    AIR_STILL = "air hardly moved"
    TOO_SHORT = "too short"
    AIR_GAP = "gap in the air"
    OUT_OF_RANGE = "out of range"
    NOT_FOLLOWED = "core does not follow this air"
    LOOSE = "not determined"


@dataclass(frozen=True, slots=True)
class NoFit:
    """A record from which no time constant can be had: why, the figure found and the figure needed, in words too."""

    why: Why
    found: float
    needed: float
    words: str
    """What is wrong and how to mend it, in one sentence."""


@dataclass(frozen=True, slots=True)
class LagFit:
    """A fitted time constant, with what is uncertain about it."""

    tau_s: float
    """Of the one-state estimate. [s]"""
    sigma_ln: float
    """Its uncertainty, natural log, model error included; at least `LEAST_SIGMA_LN`. [1]"""
    offset_k: float
    """How much warmer the air round the product is than the air probe says. [K]"""
    start_c: float
    """Core at the first core reading. [°C]"""
    residual_k: float
    """Root of the mean softened square of what is left, one state. [K]"""
    samples: int
    two_taus_s: tuple[float, float] | None
    """Time constants of two states, the quicker first, where they fit clearly better; the core alone cannot tell
    which of the two is the surface's, and the quicker surface is the warmer one while the room warms. [s]"""
    two_residual_k: float | None
    """What two states leave, where they are kept. [K]"""


class _Pair(NamedTuple):
    times: FloatArray
    air: FloatArray
    at: FloatArray
    core: FloatArray
    which: NDArray[np.intp]


class _Found(NamedTuple):
    values: FloatArray
    cost: float
    formal_ln: float


def fit_lag(
    air_times_at: ArrayLike, air_c: ArrayLike, core_times_at: ArrayLike, core_c: ArrayLike, *, noise_k: float = 0.1
) -> LagFit | NoFit:
    """Return the time constant with which a core followed its air, or why the record does not hold one. [s]

    Parameters
    ----------
    air_times_at, core_times_at : array of float, shapes (n,) and (m,), n, m >= 1
        Instants of the air and of the core readings, never going back. [s since 1970 UTC]
    air_c, core_c : array of float, shapes (n,) and (m,)
        Trusted readings of the air, and of a probe in the core. [°C]
    noise_k : float, > 0
        Noise of the core probe; errors beyond twice of it count less and less. [K]

    Returns
    -------
    LagFit or NoFit
        Time constant, offset, start and uncertainty. [s], [K], [°C], [1]

    Raises
    ------
    ValueError
        If a record cannot be judged (see `single_record`), or the noise is not above zero.

    Notes
    -----
    Least sum of 2 f^2 (sqrt(1 + (r/f)^2) - 1), f = 2 noise, over ln tau, offset and start, by Levenberg and
    Marquardt's damped Gauss-Newton steps with weights 1/sqrt(1 + (r/f)^2). It begins at the best of a row of time
    constants. Core readings outside the air record are left out. Formal uncertainty from s^2 (J'WJ)^-1, widened for
    residuals that follow one another, and at least `LEAST_SIGMA_LN` of model error added in quadrature. Fit anew when
    load or place changes.

    Examples
    --------
    >>> times = np.arange(0.0, 48 * 3600.0, 300.0)
    >>> air = 4.0 + 3.0 * np.sin(times / 9000.0)
    >>> core = product_temperature(times, air + 0.4, 5 * 3600.0, 6.0)
    >>> fit = fit_lag(times, air, times, core)
    >>> isinstance(fit, LagFit) and (round(fit.tau_s / 3600, 2), round(fit.offset_k, 2), fit.sigma_ln)
    (5.0, 0.4, 0.15)
    >>> still = fit_lag(times, 0 * air + 4.0, times, core)
    >>> isinstance(still, NoFit) and still.words
    'the air moved by 0.0 K only, 2 K are needed: record over a door-rich day or a defrost'

    References
    ----------
    [1] Levenberg 1944, Marquardt 1963 (from memory); compared with scipy.optimize.least_squares in the tests. The
        limits for refusing are house.
    """
    air_times, air = single_record(air_times_at, air_c)
    core_times, core = single_record(core_times_at, core_c)
    if not noise_k > 0:
        raise ValueError(f"a noise of {noise_k} K is not above zero")
    inside = (core_times >= air_times[0]) & (core_times <= air_times[-1])
    core_times, core = core_times[inside], core[inside]
    refused = _unfit_before(air_times, air, core_times)
    if refused is not None:
        return refused
    times = np.union1d(air_times, core_times)
    times = times[times >= core_times[0]]
    pair = _Pair(
        times, np.interp(times, air_times, air), core_times, core, np.searchsorted(times, core_times).astype(np.intp)
    )
    one = _fitted(pair, 2 * noise_k, _first_guess(pair, 2 * noise_k))
    tau_s = math.exp(float(one.values[0]))
    left = core - _model(pair, one.values)[0]
    refused = _unfit_after(pair, air_times, one, left, noise_k)
    if refused is not None:
        return refused
    residual = math.sqrt(2 * one.cost / core.size)
    two = _two_states(pair, 2 * noise_k, one)
    sigma = math.hypot(one.formal_ln, LEAST_SIGMA_LN)
    offset, start = float(one.values[-2]), float(one.values[-1])
    if two is None:
        return LagFit(tau_s, sigma, offset, start, residual, core.size, None, None)
    quick, slow = sorted(math.exp(float(value)) for value in two.values[:2])
    two_residual = math.sqrt(2 * two.cost / core.size)
    return LagFit(tau_s, sigma, offset, start, residual, core.size, (quick, slow), two_residual)


def _unfit_before(air_times: FloatArray, air: FloatArray, core_times: FloatArray) -> NoFit | None:
    if core_times.size < LEAST_SAMPLES or air_times.size < LEAST_SAMPLES or core_times[-1] <= core_times[0]:
        count = min(core_times.size, air_times.size)
        words = f"{count} readings of core and air at the same time, {LEAST_SAMPLES} are needed: record for longer"
        return NoFit(Why.TOO_FEW, float(count), float(LEAST_SAMPLES), words)
    even = np.interp(np.linspace(core_times[0], core_times[-1], 1000), air_times, air)
    moved = float(np.subtract(*np.percentile(even, (95, 5))))
    if moved < LEAST_AIR_K:
        words = (
            f"the air moved by {moved:.1f} K only, {LEAST_AIR_K:g} K are needed: "
            "record over a door-rich day or a defrost"
        )
        return NoFit(Why.AIR_STILL, moved, LEAST_AIR_K, words)
    return None


def _unfit_after(pair: _Pair, air_times: FloatArray, one: _Found, left: FloatArray, noise_k: float) -> NoFit | None:
    tau_s, span_s = math.exp(float(one.values[0])), float(pair.at[-1] - pair.at[0])
    if not 1.01 * QUICKEST_S < tau_s < 0.99 * SLOWEST_S:
        words = "no time constant between 5 min and 200 h fits: look at which probe is the air and which the core"
        return NoFit(Why.OUT_OF_RANGE, tau_s, SLOWEST_S, words)
    if span_s < LEAST_SPANS * tau_s:
        words = (
            f"{span_s / 3600:.0f} h of record for a time constant near {tau_s / 3600:.0f} h, "
            f"{LEAST_SPANS:g} time constants are needed: record for longer"
        )
        return NoFit(Why.TOO_SHORT, span_s, LEAST_SPANS * tau_s, words)
    gap_s = float(np.diff(air_times[np.searchsorted(air_times, pair.at[0], "right") - 1 :]).max())
    if gap_s > tau_s:
        words = f"the air is unknown for {gap_s / 3600:.1f} h on end: choose a stretch without the gap"
        return NoFit(Why.AIR_GAP, gap_s, tau_s, words)
    spread = 1.4826 * float(np.median(np.abs(left - np.median(left))))
    moved = float(np.subtract(*np.percentile(pair.core, (95, 5))))
    most = max(3 * noise_k, moved / 4)
    if spread > most or abs(float(one.values[-2])) > FARTHEST_OFFSET_K:
        words = "the core does not follow this air: look at which channel stands where, and whether the tub was moved"
        return NoFit(Why.NOT_FOLLOWED, spread, most, words)
    if not one.formal_ln <= LOOSE_SIGMA_LN:
        words = f"the core moved by {moved:.1f} K, too little to tell its lag from noise: record a larger change"
        return NoFit(Why.LOOSE, one.formal_ln, LOOSE_SIGMA_LN, words)
    return None


def _model(pair: _Pair, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the core at its readings, and its derivatives by the offset and by the start."""
    elapsed = pair.at - pair.at[0]
    taus = np.exp(values[:-2])
    if taus.size == 1:
        base = product_temperature(pair.times, pair.air, taus[0], 0.0)
        kept = np.exp(-elapsed / taus[0])
    else:
        base = two_state_temperature(pair.times, pair.air, taus[0], taus[1], 0.0, 0.0).core_c
        kept = np.exp(-elapsed / taus[1]) + passed_on(elapsed, taus[0], taus[1])
    linear = np.stack((1.0 - kept, kept))
    return base[pair.which] + values[-2] * linear[0] + values[-1] * linear[1], linear


def _jacobian(pair: _Pair, values: FloatArray, linear: FloatArray) -> FloatArray:
    """Return the derivatives by every value, one row each."""
    rows = []
    for at in range(values.size - 2):
        step = np.zeros(values.size)
        step[at] = _STEP_LN
        rows.append((_model(pair, values + step)[0] - _model(pair, values - step)[0]) / (2 * _STEP_LN))
    return np.concatenate((np.array(rows).reshape(-1, pair.at.size), linear))


def _cost(left: FloatArray, soft_k: float) -> float:
    return float(np.sum(soft_k**2 * (np.sqrt(1 + (left / soft_k) ** 2) - 1)))


def _normal(rows: FloatArray, weight: FloatArray, left: FloatArray) -> tuple[FloatArray, FloatArray]:
    # Summed by numpy, not by BLAS: the same digits on every machine.
    square = np.sum(rows[:, np.newaxis, :] * rows[np.newaxis, :, :] * weight, axis=-1)
    return square, np.sum(rows * weight * left, axis=-1)


def _first_guess(pair: _Pair, soft_k: float) -> FloatArray:
    best, least = np.zeros(3), math.inf
    for log_tau in np.linspace(math.log(QUICKEST_S), math.log(SLOWEST_S), 32):
        values = np.array([log_tau, 0.0, pair.core[0]])
        for _ in range(4):
            found, linear = _model(pair, values)
            left = pair.core - found
            square, side = _normal(linear, 1 / np.sqrt(1 + (left / soft_k) ** 2), left)
            values[-2:] += np.linalg.lstsq(square, side, rcond=None)[0]
        cost = _cost(pair.core - _model(pair, values)[0], soft_k)
        if cost < least:
            best, least = values, cost
    return best


def _fitted(pair: _Pair, soft_k: float, values: FloatArray) -> _Found:
    low, high = math.log(QUICKEST_S), math.log(SLOWEST_S)
    damping = 1e-3
    found, linear = _model(pair, values)
    cost = _cost(pair.core - found, soft_k)
    for _ in range(_ROUNDS):
        left = pair.core - found
        rows = _jacobian(pair, values, linear)
        square, side = _normal(rows, 1 / np.sqrt(1 + (left / soft_k) ** 2), left)
        damped = square + damping * np.diag(np.diag(square) + 1e-12)
        step = np.linalg.lstsq(damped, side, rcond=None)[0]
        tried = values + step
        tried[:-2] = np.clip(tried[:-2], low, high)
        again, again_linear = _model(pair, tried)
        new_cost = _cost(pair.core - again, soft_k)
        if new_cost > cost:
            damping *= 5
            if damping > 1e12:
                break
            continue
        done = float(np.abs(tried - values).max()) < 1e-9
        values, found, linear, cost, damping = tried, again, again_linear, new_cost, damping / 5
        if done:
            break
    return _Found(values, cost, _formal(pair, values, soft_k))


def _formal(pair: _Pair, values: FloatArray, soft_k: float) -> float:
    """Return the largest formal uncertainty of a time constant, natural log."""
    found, linear = _model(pair, values)
    left = pair.core - found
    weight = 1 / np.sqrt(1 + (left / soft_k) ** 2)
    square, _ = _normal(_jacobian(pair, values, linear), weight, left)
    free = max(pair.core.size - values.size, 1)
    variance = float(np.sum(weight * left**2)) / free
    soft = np.sqrt(weight) * left
    energy = float(np.sum(soft * soft))
    follow = float(np.sum(soft[1:] * soft[:-1])) / energy if energy > 0 else 0.0
    follow = min(max(follow, 0.0), 0.99)
    try:
        spread = np.diag(np.linalg.inv(square)) * variance * (1 + follow) / (1 - follow)
    except np.linalg.LinAlgError:
        return math.inf
    most = float(spread[: values.size - 2].max())
    return math.sqrt(most) if most >= 0 else math.inf


def _two_states(pair: _Pair, soft_k: float, one: _Found) -> _Found | None:
    log_tau = float(one.values[0])
    guesses = [(log_tau + math.log(a), log_tau + math.log(b)) for a, b in ((0.2, 0.8), (0.05, 0.95), (0.4, 0.6))]
    tried = [_fitted(pair, soft_k, np.array([a, b, *one.values[-2:]])) for a, b in guesses]
    best = min(tried, key=lambda found: found.cost)
    clear = math.sqrt(best.cost) < (1 - TWO_STATES_DROP) * math.sqrt(one.cost)
    return best if clear and best.formal_ln <= 2 * LOOSE_SIGMA_LN else None

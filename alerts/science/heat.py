"""The temperature of the product from the air round it. Pure: no clock, no I/O."""

import math
from typing import Literal, TypeAlias, overload

import numpy as np
from numpy.typing import ArrayLike

from alerts.science.record import FloatArray, checked_record
from alerts.science.scan import scan

Arrangement: TypeAlias = Literal["tub", "hung", "racked"]

TIME_CONSTANT_SIGMA_LN = 0.5
"""Spread of the prior time constant, natural log. House: no source; covers heat transfer from still to stirred air."""

_SMALL = 1e-8


@overload
def filter_step(t0_c: float, u0_c: float, u1_c: float, dt_s: float, tau_s: float) -> float: ...
@overload
def filter_step(t0_c: ArrayLike, u0_c: ArrayLike, u1_c: ArrayLike, dt_s: ArrayLike, tau_s: ArrayLike) -> FloatArray: ...
def filter_step(
    t0_c: ArrayLike, u0_c: ArrayLike, u1_c: ArrayLike, dt_s: ArrayLike, tau_s: ArrayLike
) -> float | FloatArray:
    """Return the product temperature one span later, exact for air that is straight in between. [°C]

    Parameters
    ----------
    t0_c : float or array
        Product temperature at the start of the span. [°C]
    u0_c, u1_c : float or array
        Air temperature at the start and the end of the span. [°C]
    dt_s : float or array, >= 0
        Length of the span. [s]
    tau_s : float or array, > 0
        Time constant of the product. [s]

    Returns
    -------
    float, or ndarray of the common shape of the arguments
        Between the least and the greatest of the three temperatures. [°C]

    Raises
    ------
    ValueError
        If a span is negative or a time constant is not above zero.

    Notes
    -----
    dT/dt = (u - T)/tau. With x = dt/tau, E = 1 - exp(-x), r = E/x: T1 = T0 (1 - E) + u0 (r - (1 - E)) + u1 (1 - r).
    r = 1 - x/2 below x = 1e-8. Stable for every dt. No latent heat: below the freezing point it reads too cold.

    Examples
    --------
    >>> round(filter_step(3.0, 9.0, 9.0, 7200.0, 21600.0), 2)
    4.7
    >>> filter_step([3.0, 4.0], 9.0, 9.0, 7200.0, 21600.0).round(2).tolist()
    [4.7, 5.42]

    References
    ----------
    [1] First-order hold of a linear system; derived here, checked against scipy.signal.lsim and solve_ivp in the tests.
    """
    if (
        isinstance(t0_c, float)
        and isinstance(u0_c, float)
        and isinstance(u1_c, float)
        and isinstance(dt_s, float)
        and isinstance(tau_s, float)
    ):
        return _scalar_step(t0_c, u0_c, u1_c, dt_s, tau_s)
    dt, tau = np.asarray(dt_s, dtype=np.float64), np.asarray(tau_s, dtype=np.float64)
    if not (dt >= 0).all() or not (tau > 0).all():
        raise ValueError("a span is not negative, and a time constant is above zero")
    decay, from_then, from_now = _weights(dt / tau)
    t0, u0, u1 = (np.asarray(value, dtype=np.float64) for value in (t0_c, u0_c, u1_c))
    return np.asarray(decay * t0 + from_then * u0 + from_now * u1, dtype=np.float64)


def _scalar_step(t0_c: float, u0_c: float, u1_c: float, dt_s: float, tau_s: float) -> float:
    # The watch takes one step per batch and tick: numpy on single numbers costs ten times as much.
    if not dt_s >= 0 or not tau_s > 0:
        raise ValueError("a span is not negative, and a time constant is above zero")
    x = dt_s / tau_s
    gone = -math.expm1(-x)
    ratio = gone / x if x >= _SMALL else 1.0 - x / 2.0
    return t0_c * (1.0 - gone) + u0_c * (ratio - (1.0 - gone)) + u1_c * (1.0 - ratio)


def _weights(x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    gone = -np.expm1(-x)
    ratio = np.divide(gone, x, out=np.asarray(1.0 - x / 2.0), where=x >= _SMALL)
    decay = 1.0 - gone
    return decay, ratio - decay, 1.0 - ratio


def product_temperature(times_at: ArrayLike, air_c: ArrayLike, tau_s: ArrayLike, start_c: ArrayLike) -> FloatArray:
    """Return the estimated product temperature at each sample of the air. [°C]

    Parameters
    ----------
    times_at : array of float, shape (n,), n >= 1
        Instants of the samples, never going back. [s since 1970 UTC]
    air_c : array of float, shape (n,) or (k, n)
        Air temperature, taken as straight between samples. [°C]
    tau_s : float or array of shape (k,), > 0
        Time constant of the product. [s]
    start_c : float or array of shape (k,)
        Product temperature at the first sample. [°C]

    Returns
    -------
    ndarray, shape (n,) or (k, n)
        Product temperature; the first is `start_c`. [°C]

    Raises
    ------
    ValueError
        If the record cannot be judged (see `checked_record`) or a time constant is not above zero.

    Notes
    -----
    The recursion of `filter_step`, run by `scan.scan`: any mixture of short steps and long gaps is stable. A gap is
    bridged by a straight line: bounds through gaps are
    `forward_bound`, `backward_bound` and `lower_bound`; bridging is the caller's to refuse.

    Examples
    --------
    >>> product_temperature([0.0, 3600.0, 7200.0], [9.0, 9.0, 9.0], 21600.0, 3.0).round(2).tolist()
    [3.0, 3.92, 4.7]
    >>> product_temperature([0.0, 7200.0], [9.0, 9.0], 21600.0, [2.0, 4.0]).round(2).tolist()
    [[2.0, 3.98], [4.0, 5.42]]

    References
    ----------
    [1] First-order hold of a linear system; derived here, checked against scipy.integrate.solve_ivp in the tests.
    """
    times, air = checked_record(times_at, air_c)
    tau = np.asarray(tau_s, dtype=np.float64)
    start = np.asarray(start_c, dtype=np.float64)
    if not (tau > 0).all() or not np.isfinite(start).all():
        raise ValueError("a time constant is above zero, and a start temperature is a finite number")
    rows = np.broadcast_shapes(air.shape[:-1], tau.shape, start.shape)
    found = np.empty((*rows, times.size))
    found[..., 0] = start
    if times.size > 1:
        decay, from_then, from_now = _weights(np.diff(times) / tau[..., np.newaxis])
        drive = from_then * air[..., :-1] + from_now * air[..., 1:]
        found[..., 1:] = scan(decay, drive, np.broadcast_to(start, rows))
    return found


def forward_bound(
    start_c: ArrayLike,
    air_start_c: ArrayLike,
    ambient_c: ArrayLike,
    elapsed_s: ArrayLike,
    tau_s: ArrayLike,
    unit_tau_s: ArrayLike | None = None,
) -> FloatArray:
    """Return the warmest the product can be, so long after its air was last known. [°C]

    Parameters
    ----------
    start_c : float or array
        Product temperature when the gap began. [°C]
    air_start_c : float or array
        Air temperature when the gap began. [°C]
    ambient_c : float or array
        Temperature outside the unit. [°C]
    elapsed_s : float or array, >= 0
        Time since the gap began. [s]
    tau_s : float or array, > 0
        Time constant of the product. [s]
    unit_tau_s : float or array, > 0, or None
        Learned time constant with which the unit's air warms without cooling; None where it is not
        learned or a door is known to be open: the air is then at ambient at once. [s]

    Returns
    -------
    ndarray of the common shape of the arguments
        Upper bound of the product temperature. [°C]

    Raises
    ------
    ValueError
        If a span is negative or a time constant is not above zero.

    Notes
    -----
    Air u = A - (A - u0) exp(-t/tau_u) gives T = A + (T0 - A) e^(-t/tau) - (A - u0) k,
    k = tau_u/(tau_u - tau) (e^(-t/tau_u) - e^(-t/tau)), written so that tau_u = tau needs no case of its own.
    A is the ambient, or the air at the start where that was warmer. First-order lag keeps order: air that is never
    warmer than assumed never gives product that is warmer.

    Examples
    --------
    >>> round(float(forward_bound(3.2, 3.2, 25.0, 6 * 3600.0, 6 * 3600.0)), 1)
    17.0
    >>> round(float(forward_bound(3.2, 3.2, 25.0, 6 * 3600.0, 6 * 3600.0, 6 * 3600.0)), 1)
    9.0

    References
    ----------
    [1] Linear first-order cascade; derived here, checked against scipy.integrate.solve_ivp in the tests.
    """
    start, air, ambient, elapsed, tau = _floats(start_c, air_start_c, ambient_c, elapsed_s, tau_s)
    _check_span(elapsed, tau)
    warmest = np.maximum(ambient, air)
    kept = np.exp(-elapsed / tau)
    jump = warmest + (start - warmest) * kept
    if unit_tau_s is None:
        return np.asarray(jump)
    unit_tau = np.asarray(unit_tau_s, dtype=np.float64)
    _check_span(elapsed, unit_tau)
    apart = np.abs(elapsed * (1.0 / tau - 1.0 / unit_tau))
    ratio = np.divide(-np.expm1(-apart), apart, out=np.asarray(1.0 - apart / 2.0), where=apart >= _SMALL)
    lag = elapsed / tau * np.exp(-elapsed / np.maximum(tau, unit_tau)) * ratio
    return np.asarray(jump - (warmest - air) * lag)


def backward_bound(hand_c: ArrayLike, air_min_c: ArrayLike, before_end_s: ArrayLike, tau_s: ArrayLike) -> FloatArray:
    """Return the warmest the product can have been, so long before a hand reading in its warmest part. [°C]

    Parameters
    ----------
    hand_c : float or array
        Hand reading in the warmest part. [°C]
    air_min_c : float or array
        The coldest air that the unit makes. [°C]
    before_end_s : float or array, >= 0
        Time from the instant asked about to the hand reading. [s]
    tau_s : float or array, > 0
        Time constant of the product, at the low end of what is possible. [s]

    Returns
    -------
    ndarray of the common shape of the arguments
        Upper bound; infinite where the hand reading is colder than the air was said to get, since that
        contradicts `air_min_c` and nothing follows from it. [°C]

    Raises
    ------
    ValueError
        If a span is negative or a time constant is not above zero.

    Notes
    -----
    T(t) <= Ta,min + (T_hand - Ta,min) exp((t_end - t)/tau): warmer product could not have cooled to the reading.
    A too low `air_min_c` or `tau_s` raises the bound, so both belong at their low end.

    Examples
    --------
    >>> backward_bound(3.4, 1.0, [0.0, 3600.0, 6 * 3600.0], 6 * 3600.0).round(2).tolist()
    [3.4, 3.84, 7.52]
    >>> float(backward_bound(0.5, 1.0, 3600.0, 6 * 3600.0))
    inf

    References
    ----------
    [1] The lag of `filter_step` solved backwards under the coldest air; derived here.
    """
    hand, air_min, before, tau = _floats(hand_c, air_min_c, before_end_s, tau_s)
    _check_span(before, tau)
    # exp(700) is still a float; beyond it a hand reading equal to the coldest air would give 0 times infinity.
    grown = np.exp(np.minimum(before / tau, 700.0))
    return np.asarray(np.where(hand < air_min, np.inf, air_min + (hand - air_min) * grown))


def lower_bound(start_c: ArrayLike, air_min_c: ArrayLike, elapsed_s: ArrayLike, tau_s: ArrayLike) -> FloatArray:
    """Return the coldest the product can be, so long after its air was last known. [°C]

    Parameters
    ----------
    start_c : float or array
        Product temperature when the gap began. [°C]
    air_min_c : float or array
        The coldest air that the unit makes. [°C]
    elapsed_s : float or array, >= 0
        Time since the gap began. [s]
    tau_s : float or array, > 0
        Time constant of the product, at the low end of what is possible. [s]

    Returns
    -------
    ndarray of the common shape of the arguments
        Lower bound of the product temperature, for the cure clock. [°C]

    Raises
    ------
    ValueError
        If a span is negative or a time constant is not above zero.

    Notes
    -----
    T = Ta,min + (T0 - Ta,min) exp(-t/tau).

    Examples
    --------
    >>> round(float(lower_bound(3.2, 1.0, 6 * 3600.0, 6 * 3600.0)), 2)
    1.81

    References
    ----------
    [1] The lag of `filter_step` under constant air; derived here.
    """
    start, air_min, elapsed, tau = _floats(start_c, air_min_c, elapsed_s, tau_s)
    _check_span(elapsed, tau)
    return np.asarray(air_min + (start - air_min) * np.exp(-elapsed / tau))


def time_constant_prior(mass_kg: float, arrangement: Arrangement) -> float:
    """Return the likely time constant of a product whose own has not been learned yet. [s]

    Parameters
    ----------
    mass_kg : float, > 0
        Mass of the tub with meat and brine, or of the piece. [kg]
    arrangement : {"tub", "hung", "racked"}
        How the product stands in the unit.

    Returns
    -------
    float
        Median of a log-normal prior of spread `TIME_CONSTANT_SIGMA_LN`. [s]

    Raises
    ------
    ValueError
        If the mass is not above zero or the arrangement is unknown.

    Notes
    -----
    House, from worked heat balances: 4 h hung or racked; 6 h for a tub up to 10 kg, and in proportion to
    m^(1/3) above. No published lag of meat behind cold-room air was found; fit it from paired readings.

    Examples
    --------
    >>> time_constant_prior(8.0, "tub") / 3600
    6.0
    >>> round(time_constant_prior(80.0, "tub") / 3600, 1)
    12.0

    References
    ----------
    [1] House. The worked values it rests on are reproduced in the published tests: 4.1 h for a 55 mm slab in air
        at h = 8 W/m2K, 5.0 h for a 9 kg tub.
    """
    if not mass_kg > 0:
        raise ValueError(f"a mass of {mass_kg} kg has no time constant")
    if arrangement in ("hung", "racked"):
        return 4 * 3600.0
    if arrangement != "tub":
        raise ValueError(f"unknown arrangement: {arrangement}")
    return float(6 * 3600.0 * max(1.0, mass_kg / 10.0) ** (1 / 3))


def _floats(*values: ArrayLike) -> tuple[FloatArray, ...]:
    return tuple(np.asarray(value, dtype=np.float64) for value in values)


def _check_span(span_s: FloatArray, tau_s: FloatArray) -> None:
    if not (span_s >= 0).all() or not (tau_s > 0).all():
        raise ValueError("a span is not negative, and a time constant is above zero")

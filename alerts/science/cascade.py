"""Two states: surface or brine follows the air, and the core follows it. Pure: no clock, no I/O."""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from alerts.science.heat import forward_bound, lower_bound, product_temperature
from alerts.science.record import FloatArray, checked_record
from alerts.science.scan import scan

_SMALL = 1e-8
_NEAR = 1e-3


class TwoStates(NamedTuple):
    """Temperatures of the surface (or the brine) and of the core, arrays of one shape. [°C]"""

    surface_c: FloatArray
    core_c: FloatArray


def two_state_temperature(
    times_at: ArrayLike,
    air_c: ArrayLike,
    surface_tau_s: ArrayLike,
    core_tau_s: ArrayLike,
    start_surface_c: ArrayLike,
    start_core_c: ArrayLike,
) -> TwoStates:
    """Return surface and core temperature at each sample of the air. [°C]

    Parameters
    ----------
    times_at : array of float, shape (n,), n >= 1
        Instants of the samples, never going back. [s since 1970 UTC]
    air_c : array of float, shape (n,) or (k, n)
        Air temperature, taken as straight between samples. [°C]
    surface_tau_s : float or array of shape (k,), > 0
        Time constant with which surface or brine follows the air. [s]
    core_tau_s : float or array of shape (k,), > 0
        Time constant with which the core follows surface or brine. [s]
    start_surface_c, start_core_c : float or array of shape (k,)
        Temperatures at the first sample. [°C]

    Returns
    -------
    TwoStates
        Arrays of shape (n,) or (k, n). [°C]

    Raises
    ------
    ValueError
        If the record cannot be judged (see `checked_record`), a time constant is not above zero, or a start is not
        finite.

    Notes
    -----
    dS/dt = (u - S)/a, dC/dt = (S - C)/b, exact for every step: C1 = e C0 + K S0 + p u0 + q u1 with e = exp(-dt/b),
    K = (exp(-dt/a) - exp(-dt/b)) a/(a - b) (see `passed_on`), q = 1 - r(dt/a) - r(dt/b) + K b/dt,
    p = 1 - e - K - q, r(x) = (1 - exp(-x))/x. All four lie in 0..1 and sum to 1, so warmer air never gives a colder
    core. A gap is bridged by a straight line; for bounds see `two_state_upper`.

    Examples
    --------
    >>> found = two_state_temperature([0.0, 3600.0, 7200.0], [9.0, 9.0, 9.0], 18000.0, 2800.0, 3.0, 3.0)
    >>> found.surface_c.round(2).tolist(), found.core_c.round(2).tolist()
    ([3.0, 4.09, 4.98], [3.0, 3.49, 4.32])

    References
    ----------
    [1] First-order hold of a linear cascade; derived here, checked against scipy.integrate.solve_ivp in the tests.
    """
    times, air = checked_record(times_at, air_c)
    first, second = np.asarray(surface_tau_s, dtype=np.float64), np.asarray(core_tau_s, dtype=np.float64)
    start = np.asarray(start_core_c, dtype=np.float64)
    if not (first > 0).all() or not (second > 0).all() or not np.isfinite(start).all():
        raise ValueError("a time constant is above zero, and a start temperature is a finite number")
    surface = product_temperature(times, air, first, start_surface_c)
    rows = np.broadcast_shapes(surface.shape[:-1], second.shape, start.shape)
    surface = np.broadcast_to(surface, (*rows, times.size))
    core = np.empty((*rows, times.size))
    core[..., 0] = start
    if times.size > 1:
        kept, passed, then, now = _core_weights(np.diff(times), first[..., np.newaxis], second[..., np.newaxis])
        drive = passed * surface[..., :-1] + then * air[..., :-1] + now * air[..., 1:]
        core[..., 1:] = scan(kept, np.broadcast_to(drive, (*rows, times.size - 1)), np.broadcast_to(start, rows))
    return TwoStates(surface, core)


def _core_weights(dt: FloatArray, first: FloatArray, second: FloatArray) -> tuple[FloatArray, ...]:
    x, y = dt / first, dt / second
    kept, passed = np.exp(-y), passed_on(dt, first, second)
    # The mean of K over the step is what a steadily rising air has not reached the core with.
    over = np.divide(passed, y, out=np.ones_like(passed), where=y >= _SMALL)
    now = np.where(y >= _SMALL, 1.0 - _ratio(x) - _ratio(y) + over, 0.0)
    # Rounding alone could make a weight negative, and then warmer air would give a colder core by its last bit.
    now = np.clip(now, 0.0, 1.0 - kept - passed)
    return kept, passed, np.maximum(1.0 - kept - passed - now, 0.0), now


def _ratio(x: FloatArray) -> FloatArray:
    return np.divide(-np.expm1(-x), x, out=np.asarray(1.0 - x / 2.0), where=x >= _SMALL)


def passed_on(elapsed_s: ArrayLike, first_tau_s: ArrayLike, second_tau_s: ArrayLike) -> FloatArray:
    """Return how much of a start of the first state is found in the second one later. [1]

    Parameters
    ----------
    elapsed_s : float or array, >= 0
        Time since then. [s]
    first_tau_s, second_tau_s : float or array, > 0
        Time constants of the two states. [s]

    Returns
    -------
    ndarray of the common shape of the arguments
        0 to 1, 0 at the start and at the end. [1]

    Raises
    ------
    ValueError
        If a span is negative or a time constant is not above zero.

    Notes
    -----
    K = a/(a - b) (exp(-t/a) - exp(-t/b)), written so that a = b needs no case of its own.

    Examples
    --------
    >>> passed_on(3600.0, 7200.0, [3600.0, 7200.0]).round(4).tolist()
    [0.4773, 0.3033]

    References
    ----------
    [1] Linear first-order cascade; derived here, checked against scipy.integrate.solve_ivp in the tests.
    """
    elapsed, first, second = (np.asarray(v, dtype=np.float64) for v in (elapsed_s, first_tau_s, second_tau_s))
    if not (elapsed >= 0).all() or not (first > 0).all() or not (second > 0).all():
        raise ValueError("a span is not negative, and a time constant is above zero")
    apart = np.abs(elapsed / first - elapsed / second)
    return np.asarray(elapsed / second * np.exp(-elapsed / np.maximum(first, second)) * _ratio(apart))


def two_state_upper(
    start: tuple[float, float],
    air_start_c: float,
    ambient_c: float,
    elapsed_s: ArrayLike,
    taus_s: tuple[float, float],
    unit_tau_s: float | None = None,
) -> TwoStates:
    """Return the warmest surface and core can be, so long after their air was last known. [°C]

    Parameters
    ----------
    start : tuple of float
        Temperatures of surface and core when the gap began. [°C]
    air_start_c, ambient_c : float
        Air when the gap began, and outside the unit. [°C]
    elapsed_s : float or array, >= 0
        Time since the gap began. [s]
    taus_s : tuple of float, > 0
        Time constants of surface and core. [s]
    unit_tau_s : float, > 0, or None
        As for `forward_bound`: None where the air may be at ambient at once. [s]

    Returns
    -------
    TwoStates
        Upper bounds, of the shape of `elapsed_s`. [°C]

    Raises
    ------
    ValueError
        If a span is negative or a time constant is not above zero.

    Notes
    -----
    The surface is `forward_bound`. With A the ambient (or the air, where warmer), C = A + (C0 - A) e + (S0 - A) K
    - (A - u0) K3, K3 the share of the unit's own coldness that has come through two states: the second divided
    difference of exp over -t/tau_u, -t/a, -t/b, times t^2/(a b).

    Examples
    --------
    >>> bound = two_state_upper((3.2, 3.2), 3.2, 25.0, 6 * 3600.0, (18000.0, 2800.0))
    >>> float(bound.surface_c.round(1)), float(bound.core_c.round(1))
    (18.4, 17.2)
    >>> float(two_state_upper((3.2, 3.2), 3.2, 25.0, 6 * 3600.0, (18000.0, 2800.0), 21600.0).core_c.round(1))
    8.6

    References
    ----------
    [1] Linear cascade; derived here, checked against scipy.integrate.solve_ivp in the tests.
    """
    surface_c, core_c = start
    first, second = taus_s
    elapsed = np.asarray(elapsed_s, dtype=np.float64)
    warmest = max(ambient_c, air_start_c)
    surface = forward_bound(surface_c, air_start_c, ambient_c, elapsed, first, unit_tau_s)
    kept, passed = np.exp(-elapsed / second), passed_on(elapsed, first, second)
    core = warmest + (core_c - warmest) * kept + (surface_c - warmest) * passed
    if unit_tau_s is not None:
        through = _divided(-elapsed / unit_tau_s, -elapsed / first, -elapsed / second)
        core = core - (warmest - air_start_c) * elapsed**2 / (first * second) * through
    return TwoStates(surface, np.asarray(core))


def _divided(*exponents: FloatArray) -> FloatArray:
    """Return the second divided difference of exp over three arrays of exponents, none above zero."""
    low, middle, high = np.sort(np.stack(exponents), axis=0)
    spread = high - low
    apart = np.where(spread > _NEAR, spread, 1.0)
    upper = np.exp(high) * _ratio(high - middle)
    lower = np.exp(middle) * _ratio(middle - low)
    # Near each other the quotient loses its digits: the series about their mean, its next term below 1e-14.
    mean = (low + middle + high) / 3
    second, third = (sum((e - mean) ** power for e in (low, middle, high)) for power in (2, 3))
    near = np.exp(mean) * (0.5 + second / 48 + third / 360)
    return np.asarray(np.where(spread > _NEAR, (upper - lower) / apart, near), dtype=np.float64)


def two_state_lower(
    start: tuple[float, float], air_min_c: float, elapsed_s: ArrayLike, taus_s: tuple[float, float]
) -> TwoStates:
    """Return the coldest surface and core can be, so long after their air was last known. [°C]

    Parameters
    ----------
    start : tuple of float
        Temperatures of surface and core when the gap began. [°C]
    air_min_c : float
        The coldest air that the unit makes. [°C]
    elapsed_s : float or array, >= 0
        Time since the gap began. [s]
    taus_s : tuple of float, > 0
        Time constants of surface and core. [s]

    Returns
    -------
    TwoStates
        Lower bounds, of the shape of `elapsed_s`. [°C]

    Raises
    ------
    ValueError
        If a span is negative or a time constant is not above zero.

    Examples
    --------
    >>> bound = two_state_lower((3.2, 3.2), 1.0, 6 * 3600.0, (18000.0, 2800.0))
    >>> float(bound.surface_c.round(2)), float(bound.core_c.round(2))
    (1.66, 1.78)

    References
    ----------
    [1] Linear cascade under constant air; derived here, checked against scipy.integrate.solve_ivp in the tests.
    """
    surface_c, core_c = start
    first, second = taus_s
    elapsed = np.asarray(elapsed_s, dtype=np.float64)
    passed = passed_on(elapsed, first, second)
    core = air_min_c + (core_c - air_min_c) * np.exp(-elapsed / second) + (surface_c - air_min_c) * passed
    return TwoStates(lower_bound(surface_c, air_min_c, elapsed, first), np.asarray(core))


def two_state_before(
    hand_core_c: float, air_min_c: float, before_end_s: ArrayLike, taus_s: tuple[float, float]
) -> TwoStates:
    """Return the warmest surface and core can have been, so long before a hand reading in the core. [°C]

    Parameters
    ----------
    hand_core_c : float
        Hand reading in the core. [°C]
    air_min_c : float
        The coldest air that the unit makes; surface and core were never colder. [°C]
    before_end_s : float or array, >= 0
        Time from the instant asked about to the hand reading. [s]
    taus_s : tuple of float, > 0
        Time constants of surface and core, at the low end of what is possible. [s]

    Returns
    -------
    TwoStates
        Upper bounds; infinite for both where the reading is colder than the air was said to get, and for the surface
        at the instant of the reading itself, of which the core says nothing. [°C]

    Raises
    ------
    ValueError
        If a span is negative or a time constant is not above zero.

    Notes
    -----
    Each state alone, the other at its coldest: C <= m + (hand - m)/e and S <= m + (hand - m)/K.

    Examples
    --------
    >>> bound = two_state_before(3.4, 1.0, [0.0, 3600.0], (18000.0, 2800.0))
    >>> bound.core_c.round(2).tolist(), bound.surface_c.round(2).tolist()
    ([3.4, 9.68], [inf, 4.73])

    References
    ----------
    [1] The cascade solved backwards under the coldest air; derived here.
    """
    first, second = taus_s
    elapsed = np.asarray(before_end_s, dtype=np.float64)
    passed = passed_on(elapsed, first, second)
    if hand_core_c < air_min_c:
        nothing = np.full(elapsed.shape, np.inf)
        return TwoStates(nothing, nothing.copy())
    # exp(700) is still a float; beyond it a hand reading equal to the coldest air would give 0 times infinity.
    grown = np.exp(np.minimum(elapsed / second, 700.0))
    over = np.divide(1.0, passed, out=np.full(elapsed.shape, np.inf), where=passed > 0)
    above = hand_core_c - air_min_c
    surface = np.where(np.isinf(over), np.inf, air_min_c + above * np.where(np.isinf(over), 0.0, over))
    return TwoStates(surface, np.asarray(air_min_c + above * grown))

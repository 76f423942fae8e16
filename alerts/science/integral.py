"""Integrals of a rate over a temperature record that is straight between its samples. Pure: no clock, no I/O."""

import math
from collections.abc import Callable, Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from alerts.science.record import FloatArray, single_record

Rate: TypeAlias = Callable[[FloatArray], FloatArray]
"""Temperatures [°C] to a rate, elementwise."""

GAS_CONSTANT_J_MOL_K = 8.314462618
"""CODATA 2018, exact by the definition of the units."""

ZERO_C_K = 273.15
"""0 °C in kelvin, by definition."""

_NODES = ((0.5 - math.sqrt(0.15), 5 / 18), (0.5, 8 / 18), (0.5 + math.sqrt(0.15), 5 / 18))


def integral_over(times_at: ArrayLike, temps_c: ArrayLike, rate: Rate, *, breaks_c: Sequence[float] = ()) -> float:
    """Return the integral of `rate(T(t))` over the record. [unit of the rate times s]

    Parameters
    ----------
    times_at : array of float, shape (n,), n >= 1
        Instants, never going back. [s since 1970 UTC]
    temps_c : array of float, shape (n,)
        Temperatures, straight in between. [°C]
    rate : callable
        Temperatures [°C] to rates, elementwise.
    breaks_c : sequence of float
        Temperatures at which the rate jumps or bends; segments are split there. [°C]

    Returns
    -------
    float
        The integral. [unit of the rate times s]

    Raises
    ------
    ValueError
        If the record cannot be judged (see `single_record`).

    Notes
    -----
    Three-point Gauss-Legendre on each piece: exact for rates up to the fifth power of temperature between breaks.
    The nodes lie inside the pieces, so the value of the rate exactly at a break matters only where the temperature
    stands still there.

    Examples
    --------
    >>> integral_over([0.0, 10.0], [0.0, 2.0], lambda temps_c: temps_c**2)
    13.333333
    >>> integral_over([0.0, 10.0], [0.0, 2.0], lambda temps_c: (temps_c > 0.5) * 1.0, breaks_c=[0.5])
    7.5

    References
    ----------
    [1] Abramowitz and Stegun, *Handbook of Mathematical Functions*, table 25.4, n = 3. (From memory; the rule is
        checked against scipy.integrate.quad in the tests.)
    """
    times, temps = single_record(times_at, temps_c)
    for break_c in breaks_c:
        times, temps = _split(times, temps, break_c)
    spans = np.diff(times)
    rise = np.diff(temps)
    # A product of vectors would go through BLAS: its threads stall on a busy machine, and its digits vary by machine.
    return math.fsum(weight * float(np.sum(rate(temps[:-1] + node * rise) * spans)) for node, weight in _NODES)


def _split(times: FloatArray, temps: FloatArray, break_c: float) -> tuple[FloatArray, FloatArray]:
    side = np.sign(temps - break_c)
    crossed = np.flatnonzero(side[:-1] * side[1:] < 0)
    if crossed.size == 0:
        return times, temps
    share = (break_c - temps[crossed]) / (temps[crossed + 1] - temps[crossed])
    at = times[crossed] + share * (times[crossed + 1] - times[crossed])
    return np.insert(times, crossed + 1, at), np.insert(temps, crossed + 1, break_c)


def mean_kinetic_temperature(times_at: ArrayLike, temps_c: ArrayLike, *, activation_j_mol: float) -> float:
    """Return the one steady temperature that does the same first-order harm; information, never a release rule. [°C]

    Parameters
    ----------
    times_at : array of float, shape (n,), n >= 2
        Instants, never going back, the last after the first. [s since 1970 UTC]
    temps_c : array of float, shape (n,)
        Temperatures, straight in between, each above -273.15. [°C]
    activation_j_mol : float, > 0
        Activation energy of the harm. [J/mol]

    Returns
    -------
    float
        Between the least and the greatest; at least the mean over time where the activation energy is above
        2 R T, about 5 kJ/mol. [°C]

    Raises
    ------
    ValueError
        If the record cannot be judged (see `single_record`), has no length, or reaches absolute zero, or the
        activation energy is not above zero.

    Notes
    -----
    T = (E/R) / -ln(mean over time of exp(-E / (R T))), T in kelvin. It describes chemical degradation; no source
    supports it as a measure of microbial safety of meat.

    Examples
    --------
    >>> hours = [0.0, 18.0, 18.0, 24.0]
    >>> mean_kinetic_temperature([3600 * h for h in hours], [5.0, 5.0, 14.0, 14.0], activation_j_mol=83_144.0)
    8.285

    References
    ----------
    [1] USP, general chapter 1160, mean kinetic temperature. (Equation as quoted in pages read; no worked example
        of the document was seen.)
    """
    times, temps = single_record(times_at, temps_c)
    span_s = float(times[-1] - times[0])
    if span_s <= 0:
        raise ValueError("a record without length has no mean kinetic temperature")
    if not activation_j_mol > 0 or temps.min() + ZERO_C_K <= 0:
        raise ValueError("the activation energy and every absolute temperature are above zero")
    e_over_r = activation_j_mol / GAS_CONSTANT_J_MOL_K
    # Measured against the warmest: without it exp() underflows for a large activation energy.
    warmest = float(temps.max()) + ZERO_C_K
    mean = integral_over(times, temps, lambda c: np.exp(e_over_r * (1 / warmest - 1 / (c + ZERO_C_K)))) / span_s
    return e_over_r / (e_over_r / warmest - math.log(mean)) - ZERO_C_K

"""What a stretch of temperature did to the product: hours, excursions, shares of a budget. Pure: no clock, no I/O."""

import math
from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from alerts.science.record import FloatArray, single_record


class Stretch(NamedTuple):
    """A stretch of time above a limit: from, until [s since 1970 UTC] and the warmest in it [°C]."""

    from_at: float
    until_at: float
    peak_c: float


class Band(NamedTuple):
    """A temperature band, open below and closed above, and the time that may be spent in it: [°C], [°C], [s]."""

    low_c: float
    high_c: float
    limit_s: float


def time_above(times_at: ArrayLike, temps_c: ArrayLike, threshold_c: float) -> float:
    """Return the time spent above a threshold. [s]

    Parameters
    ----------
    times_at : array of float, shape (n,), n >= 1
        Instants, never going back. [s since 1970 UTC]
    temps_c : array of float, shape (n,)
        Temperatures, straight in between. [°C]
    threshold_c : float
        Exactly at the threshold is not above it. [°C]

    Returns
    -------
    float
        Between 0 and the length of the record. [s]

    Raises
    ------
    ValueError
        If the record cannot be judged (see `single_record`).

    Notes
    -----
    With a, b the ends of a segment less the threshold: dt if neither is below; on a change of sign dt max(a,b)/|b-a|.

    Examples
    --------
    >>> time_above([0.0, 60.0, 120.0], [4.0, 6.0, 5.0], 5.0)
    90.0

    References
    ----------
    [1] Elementary; checked against scipy.integrate.quad in the tests.
    """
    times, temps = single_record(times_at, temps_c)
    if temps.max() <= threshold_c:
        return 0.0
    if temps.min() > threshold_c:
        return float(times[-1] - times[0])
    # Not a product of vectors, which would go through BLAS: its threads stall on a busy machine.
    return float(np.sum(_shares_above(temps, threshold_c) * np.diff(times)))


def _shares_above(temps: FloatArray, threshold_c: float) -> FloatArray:
    over = np.maximum(temps - threshold_c, 0.0)
    under = np.maximum(threshold_c - temps, 0.0)
    warmest = np.maximum(over[:-1], over[1:])
    span = warmest + np.maximum(under[:-1], under[1:])
    return np.asarray(np.divide(warmest, span, out=np.zeros_like(span), where=span > 0), dtype=np.float64)


def time_below(times_at: ArrayLike, temps_c: ArrayLike, threshold_c: float) -> float:
    """Return the time spent at or below a threshold. [s]

    Parameters
    ----------
    times_at : array of float, shape (n,), n >= 1
        Instants, never going back. [s since 1970 UTC]
    temps_c : array of float, shape (n,)
        Temperatures, straight in between. [°C]
    threshold_c : float
        Exactly at the threshold counts. [°C]

    Returns
    -------
    float
        The length of the record less `time_above`. [s]

    Raises
    ------
    ValueError
        If the record cannot be judged (see `single_record`).

    Examples
    --------
    >>> time_below([0.0, 60.0, 120.0], [4.0, 6.0, 5.0], 5.0)
    30.0

    References
    ----------
    [1] Elementary; checked against scipy.integrate.quad in the tests.
    """
    times, temps = single_record(times_at, temps_c)
    return float(times[-1] - times[0]) - time_above(times, temps, threshold_c)


def time_in_band(times_at: ArrayLike, temps_c: ArrayLike, low_c: float, high_c: float) -> float:
    """Return the time spent above `low_c` and at or below `high_c`. [s]

    Parameters
    ----------
    times_at : array of float, shape (n,), n >= 1
        Instants, never going back. [s since 1970 UTC]
    temps_c : array of float, shape (n,)
        Temperatures, straight in between. [°C]
    low_c, high_c : float, low_c <= high_c
        Band, open below and closed above; `high_c` may be infinite. [°C]

    Returns
    -------
    float
        Between 0 and the length of the record. [s]

    Raises
    ------
    ValueError
        If the record cannot be judged (see `single_record`), or the band is upside down.

    Examples
    --------
    >>> time_in_band([0.0, 60.0, 120.0], [4.0, 6.0, 5.0], 5.0, 5.5)
    45.0

    References
    ----------
    [1] Elementary; checked against scipy.integrate.quad in the tests.
    """
    if not low_c <= high_c:
        raise ValueError(f"a band from {low_c} to {high_c} °C is upside down")
    return max(0.0, time_above(times_at, temps_c, low_c) - time_above(times_at, temps_c, high_c))


def degree_time_above(times_at: ArrayLike, temps_c: ArrayLike, threshold_c: float) -> float:
    """Return the integral of the excess over a threshold; information, no rule rests on it. [K s]

    Parameters
    ----------
    times_at : array of float, shape (n,), n >= 1
        Instants, never going back. [s since 1970 UTC]
    temps_c : array of float, shape (n,)
        Temperatures, straight in between. [°C]
    threshold_c : float
        Threshold. [°C]

    Returns
    -------
    float
        At least 0. [K s]

    Raises
    ------
    ValueError
        If the record cannot be judged (see `single_record`).

    Notes
    -----
    With a, b the ends of a segment less the threshold and p = max(a, b): (a + b)/2 dt if neither is below, on a
    change of sign p^2/(2 |b - a|) dt.

    Examples
    --------
    >>> degree_time_above([0.0, 60.0, 120.0], [4.0, 6.0, 5.0], 5.0)
    45.0

    References
    ----------
    [1] Elementary; checked against scipy.integrate.quad in the tests.
    """
    times, temps = single_record(times_at, temps_c)
    over = np.maximum(temps - threshold_c, 0.0)
    return float(np.sum(_shares_above(temps, threshold_c) * (over[:-1] + over[1:]) / 2 * np.diff(times)))


def stretches_above(
    times_at: ArrayLike, temps_c: ArrayLike, limit_c: float, *, at_least_s: float, join_s: float
) -> list[Stretch]:
    """Return the excursions above a limit, in order of time. [s since 1970 UTC], [°C]

    Parameters
    ----------
    times_at : array of float, shape (n,), n >= 1
        Instants, never going back. [s since 1970 UTC]
    temps_c : array of float, shape (n,)
        Temperatures, straight in between. [°C]
    limit_c : float
        Exactly at the limit is not above it. [°C]
    at_least_s : float, >= 0
        A stretch shorter than this is none. [s]
    join_s : float, >= 0
        Two excursions less than this apart are one. [s]

    Returns
    -------
    list of Stretch
        From crossing to crossing, interpolated; a joined excursion runs from the first to the last of its parts,
        the pause included. [s since 1970 UTC], [°C]

    Raises
    ------
    ValueError
        If the record cannot be judged (see `single_record`).

    Notes
    -----
    In the order of the rule's words, "above for at least so long; two less than so far apart are one": what is too
    short is dropped first, and what is left is joined. Short blips therefore never add up to an excursion here; the
    time budgets count every second of them.

    Examples
    --------
    >>> stretches_above([0.0, 60.0, 180.0], [4.0, 6.0, 4.0], 5.0, at_least_s=60.0, join_s=0.0)
    [Stretch(from_at=30.0, until_at=120.0, peak_c=6.0)]
    >>> stretches_above([0.0, 60.0, 180.0], [4.0, 6.0, 4.0], 5.0, at_least_s=91.0, join_s=0.0)
    []

    References
    ----------
    [1] House.
    """
    times, temps = single_record(times_at, temps_c)
    if temps.max() <= limit_c:
        return []
    # Touching the limit for an instant does not end a stretch: what has no length between is joined before all else.
    whole = _joined(_crossed(times, temps, limit_c), lambda apart_s: apart_s <= 0)
    long_enough = [stretch for stretch in whole if stretch.until_at - stretch.from_at >= at_least_s]
    return _joined(long_enough, lambda apart_s: apart_s < join_s)


def _crossed(times: FloatArray, temps: FloatArray, limit_c: float) -> list[Stretch]:
    above = np.concatenate(([False], temps > limit_c, [False]))
    first = np.flatnonzero(above[1:] & ~above[:-1])
    after = np.flatnonzero(above[:-1] & ~above[1:])
    return [
        Stretch(
            _crossing(times, temps, int(begin) - 1, limit_c) if begin else float(times[0]),
            _crossing(times, temps, int(end) - 1, limit_c) if end < times.size else float(times[-1]),
            float(temps[begin:end].max()),
        )
        for begin, end in zip(first, after, strict=True)
    ]


def _crossing(times: FloatArray, temps: FloatArray, at: int, limit_c: float) -> float:
    share = (limit_c - temps[at]) / (temps[at + 1] - temps[at])
    return float(times[at] + share * (times[at + 1] - times[at]))


def _joined(stretches: Iterable[Stretch], close: Callable[[float], bool]) -> list[Stretch]:
    joined: list[Stretch] = []
    for stretch in stretches:
        if joined and close(stretch.from_at - joined[-1].until_at):
            last = joined.pop()
            stretch = Stretch(last.from_at, stretch.until_at, max(last.peak_c, stretch.peak_c))
        joined.append(stretch)
    return joined


def longest_above(times_at: ArrayLike, temps_c: ArrayLike, limit_c: float) -> float:
    """Return the length of the longest unbroken stretch above a limit. [s]

    Parameters
    ----------
    times_at : array of float, shape (n,), n >= 1
        Instants, never going back. [s since 1970 UTC]
    temps_c : array of float, shape (n,)
        Temperatures, straight in between. [°C]
    limit_c : float
        Exactly at the limit is not above it. [°C]

    Returns
    -------
    float
        0 if it was never above. [s]

    Raises
    ------
    ValueError
        If the record cannot be judged (see `single_record`).

    Examples
    --------
    >>> longest_above([0.0, 60.0, 180.0], [4.0, 6.0, 4.0], 5.0)
    90.0

    References
    ----------
    [1] Elementary.
    """
    stretches = stretches_above(times_at, temps_c, limit_c, at_least_s=0.0, join_s=0.0)
    return max((stretch.until_at - stretch.from_at for stretch in stretches), default=0.0)


def share_of_budget(
    times_at: ArrayLike, temps_c: ArrayLike, bands: Sequence[Band | tuple[float, float, float]]
) -> float:
    """Return the used share of a time budget over temperature bands, 1 being all of it. [1]

    Parameters
    ----------
    times_at : array of float, shape (n,), n >= 1
        Instants, never going back. [s since 1970 UTC]
    temps_c : array of float, shape (n,)
        Temperatures, straight in between. [°C]
    bands : sequence of (low_c, high_c, limit_s)
        Bands, open below and closed above, that do not overlap; the last may end at infinity. The counting base is
        the caller's: begin the first band there. [°C], [°C], [s]

    Returns
    -------
    float
        Sum of time in band / limit of band, at least 0. [1]

    Raises
    ------
    ValueError
        If the record cannot be judged (see `single_record`), a band is upside down or overlaps the next, or a limit
        is not above zero.

    Notes
    -----
    The bands are rows of a published table; adding their shares over bands and over the whole life is house. Printed
    whole-number bands leave gaps between them: bands closed above give a reading in a gap to the warmer band.

    Examples
    --------
    >>> day = [0.0, 86400.0]
    >>> share_of_budget(day, [7.0, 7.0], [(5.0, 10.0, 2 * 86400.0), (10.0, 21.0, 18000.0)])
    0.5

    References
    ----------
    [1] FDA, *Fish and Fishery Products Hazards and Controls Guidance*, appendix 4, table A-2, 2011 and later
        editions. (From memory, not checked against the document; the limits are arguments, none is held here.)
    """
    ordered = sorted(bands)
    if any(not limit_s > 0 for _, _, limit_s in ordered):
        raise ValueError("the limit of a band is above zero")
    if any(low_c < high_c for (_, high_c, _), (low_c, _, _) in pairwise(ordered)):
        raise ValueError("the bands of a budget overlap")
    return math.fsum(time_in_band(times_at, temps_c, low_c, high_c) / limit_s for low_c, high_c, limit_s in ordered)

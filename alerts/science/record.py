"""A temperature record: instants and temperatures, straight between them. Pure: no clock, no I/O."""

from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray: TypeAlias = NDArray[np.float64]


def checked_record(times_at: ArrayLike, temps_c: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return instants [s] and temperatures [°C] as arrays of floats, or refuse a record that cannot be judged.

    Parameters
    ----------
    times_at : array of float, shape (n,), n >= 1
        Instants, never going back; two equal instants are a step. [s since 1970 UTC]
    temps_c : array of float, shape (n,) or (k, n)
        Temperature at each instant. [°C]

    Returns
    -------
    tuple of ndarray, shapes (n,) and (n,) or (k, n)
        The same values as 64-bit floats. [s], [°C]

    Raises
    ------
    ValueError
        If the record is empty, the lengths differ, time goes back, or a value is not finite.

    Notes
    -----
    Not-a-number is refused rather than passed on: every comparison with it is false, so it would read as good.

    Examples
    --------
    >>> times, temps = checked_record([0, 60], [3, 4])
    >>> temps.tolist()
    [3.0, 4.0]
    >>> checked_record([60, 0], [3, 4])
    Traceback (most recent call last):
        ...
    ValueError: the instants of a record never go back
    """
    times = np.asarray(times_at, dtype=np.float64)
    temps = np.asarray(temps_c, dtype=np.float64)
    if times.ndim != 1 or times.size == 0:
        raise ValueError("a record needs at least one instant")
    if temps.ndim not in (1, 2) or temps.shape[-1] != times.size:
        raise ValueError(f"{times.size} instants do not fit temperatures of shape {temps.shape}")
    if not np.isfinite(times).all() or not np.isfinite(temps).all():
        raise ValueError("a record holds finite numbers only")
    if (np.diff(times) < 0).any():
        raise ValueError("the instants of a record never go back")
    return times, temps


def single_record(times_at: ArrayLike, temps_c: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return instants [s] and temperatures [°C] of one record as arrays of floats, or refuse it.

    Parameters
    ----------
    times_at : array of float, shape (n,), n >= 1
        Instants, never going back; two equal instants are a step. [s since 1970 UTC]
    temps_c : array of float, shape (n,)
        Temperature at each instant. [°C]

    Returns
    -------
    tuple of ndarray, shapes (n,) and (n,)
        The same values as 64-bit floats. [s], [°C]

    Raises
    ------
    ValueError
        As `checked_record`, and if there are several rows of temperatures.

    Examples
    --------
    >>> times, temps = single_record([0, 60], [3, 4])
    >>> temps.tolist()
    [3.0, 4.0]
    """
    times, temps = checked_record(times_at, temps_c)
    if temps.ndim != 1:
        raise ValueError("this measure takes one record at a time")
    return times, temps

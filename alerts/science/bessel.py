"""Bessel functions of the first kind and their zeros, and where a function crosses zero. Pure: no clock, no I/O."""

from collections.abc import Callable
from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from alerts.science.record import FloatArray

MOST_ZEROS = 60
"""More zeros would leave the range in which the midpoint rule of `bessel_j` has all its digits. House."""

_POINTS = 256
_HALVINGS = 60


def bessel_j(order: int, x: ArrayLike) -> FloatArray:
    """Return the Bessel function of the first kind. [1]

    Parameters
    ----------
    order : int, 0 or 1
        Order. [1]
    x : float or array, any shape, 0 to 200
        Argument. [1]

    Returns
    -------
    ndarray of the shape of `x`
        Between -1 and 1, right to about 1e-14. [1]

    Raises
    ------
    ValueError
        If the order is neither 0 nor 1, or an argument lies outside 0 to 200.

    Notes
    -----
    Bessel's integral J_n(x) = (1/pi) * integral over 0..pi of cos(n a - x sin a) by the midpoint rule: the integrand
    is periodic, so 256 points give all digits for x below 200.

    Examples
    --------
    >>> bessel_j(0, [0.0, 1.0, 2.4048]).round(4).tolist()
    [1.0, 0.7652, 0.0]

    References
    ----------
    [1] Abramowitz and Stegun, *Handbook of Mathematical Functions*, 9.1.21. (From memory; checked against
        scipy.special in the tests.)
    """
    argument = np.asarray(x, dtype=np.float64)
    if order not in (0, 1):
        raise ValueError(f"the order {order} is neither 0 nor 1")
    if not ((argument >= 0) & (argument <= 200)).all():
        raise ValueError("an argument outside 0 to 200 is not computed")
    angle = (np.arange(_POINTS) + 0.5) * np.pi / _POINTS
    return np.asarray(np.cos(order * angle - argument[..., np.newaxis] * np.sin(angle)).mean(axis=-1))


@cache
def bessel_zeros(order: int) -> FloatArray:
    """Return the first positive zeros of a Bessel function of the first kind. [1]

    Parameters
    ----------
    order : int, 0 or 1
        Order. [1]

    Returns
    -------
    ndarray, shape (MOST_ZEROS,)
        In rising order; not to be written to. [1]

    Raises
    ------
    ValueError
        If the order is neither 0 nor 1.

    Notes
    -----
    Between (n - 1/2 + order/2) pi and (n + order/2) pi there is just one zero. (Its large-argument place is
    (n - 1/4 + order/2) pi.)

    Examples
    --------
    >>> bessel_zeros(0)[:3].round(4).tolist()
    [2.4048, 5.5201, 8.6537]
    >>> bessel_zeros(1)[:2].round(4).tolist()
    [3.8317, 7.0156]

    References
    ----------
    [1] Abramowitz and Stegun, *Handbook of Mathematical Functions*, 9.5.12, for their places. (From memory; checked
        against scipy.special in the tests.)
    """
    number = np.arange(1.0, MOST_ZEROS + 1) + order / 2
    zeros = crossings(lambda x: bessel_j(order, x), (number - 0.5) * np.pi, number * np.pi)
    zeros.flags.writeable = False
    return zeros


def crossings(function: Callable[[FloatArray], FloatArray], low: ArrayLike, high: ArrayLike) -> FloatArray:
    """Return where a function crosses zero, one crossing in each of several brackets. [unit of the bracket]

    Parameters
    ----------
    function : callable
        Elementwise and continuous over every bracket. [any unit]
    low, high : float or array of one shape, low <= high
        Ends of the brackets; the function has opposite signs there, or is zero at one. [any unit]

    Returns
    -------
    ndarray of the shape of the brackets
        Within the brackets, right to the last few bits. [unit of the bracket]

    Raises
    ------
    ValueError
        If a bracket is upside down, not finite, or holds no change of sign.

    Notes
    -----
    Bisection, 60 halvings: slower than other methods, and it cannot leave its bracket.

    Examples
    --------
    >>> crossings(lambda x: x * x - 2.0, [0.0, -2.0], [2.0, 0.0]).round(6).tolist()
    [1.414214, -1.414214]

    References
    ----------
    [1] Bisection; checked against scipy.optimize.brentq in the tests.
    """
    begin = np.array(low, dtype=np.float64)
    end = np.array(high, dtype=np.float64)
    if not np.isfinite(begin).all() or not np.isfinite(end).all() or (begin > end).any():
        raise ValueError("a bracket has two finite ends, the lower one first")
    side = np.sign(function(begin))
    if not (side * np.sign(function(end)) <= 0).all():
        raise ValueError("a bracket without a change of sign holds no root that can be found")
    for _ in range(_HALVINGS):
        middle = 0.5 * (begin + end)
        before = np.sign(function(middle)) == side
        begin = np.where(before, middle, begin)
        end = np.where(before, end, middle)
    return 0.5 * (begin + end)

"""Salt on its way into a piece: from a bath that loses it, into bricks, and to a depth. Pure: no clock, no I/O."""

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from alerts.science.bessel import MOST_ZEROS, bessel_j, bessel_zeros, crossings
from alerts.science.conduction import LEAST_FO, Shape, step_left
from alerts.science.integral import integral_over
from alerts.science.record import FloatArray
from alerts.science.salt import (
    ACTIVATION_J_MOL,
    DIFFUSIVITY_AT_C,
    DIFFUSIVITY_BAND_M2_S,
    FREEZES_C,
    Penetration,
    diffusivity_ratio,
    penetration,
)

DIFFUSIVITY_M2_S = 1.9e-10
"""Salt in pork loin slices at 5 +- 1 °C: (1.90 +- 0.28)e-10 m2/s, DOI 10.1007/978-1-4939-2578-0_47 (abstract read)."""

ENDLESS = 1e6
"""A bath so many times the meat is computed as one that never loses salt. House."""

_DIMENSIONS = {"slab": 1.0, "cylinder": 2.0, "sphere": 3.0}
_THIN = 0.01


def limited_penetration(fo: float, shape: Shape, bath_ratio: float) -> Penetration:
    """Return the salt taken up from a bath that is losing it, as a share of what it ends at. [1]

    Parameters
    ----------
    fo : float, >= 0
        Fourier number, diffusivity times time / (half thickness or radius)^2. [1]
    shape : {"slab", "cylinder", "sphere"}
        The body; a slab's edges and a cylinder's ends are left out.
    bath_ratio : float, > 0, may be infinite
        Water of the brine / water of the meat. [1]

    Returns
    -------
    Penetration
        Mean and centre, each 0 to 1, of the salt at equilibrium, which is ratio/(1 + ratio) of the brine's. [1]

    Raises
    ------
    ValueError
        If the Fourier number is negative, the ratio not above zero, or the shape unknown.

    Notes
    -----
    With n = 1, 2, 3 for slab, cylinder, sphere and a the ratio: mean = 1 - sum 2 n a (1 + a)/(n^2 (1 + a) + a^2 q^2)
    exp(-q^2 Fo), the centre alike; tan q = -a q; a q J0(q) = -2 J1(q); tan q = 3 q/(3 + a q^2). The bath is stirred
    (turned). Below `LEAST_FO` the mean goes by the root of time from there, a little low, and the centre is 0. A share
    of its end comes sooner than from an endless bath, and yet less salt: multiply by ratio/(1 + ratio).

    Examples
    --------
    >>> mean, centre = limited_penetration(0.1, "slab", 1.0)
    >>> (round(mean, 4), round(centre, 4))
    (0.5528, 0.0876)
    >>> limited_penetration(0.1, "slab", float("inf")) == penetration(0.1, "slab")
    True

    References
    ----------
    [1] Crank, *The Mathematics of Diffusion*, 2nd edition, 1975, diffusion from a stirred solution of limited volume.
        (From memory; solved independently by finite volumes with a bath in the tests.)
    """
    if not fo >= 0:
        raise ValueError(f"a Fourier number of {fo} is negative")
    if not bath_ratio > 0:
        raise ValueError(f"a bath of {bath_ratio} times the meat holds no salt")
    if shape not in _DIMENSIONS:
        raise ValueError(f"unknown shape: {shape}")
    if bath_ratio >= ENDLESS:
        return penetration(fo, shape)
    roots, means, centres = _limited_series(shape, bath_ratio)
    fading = np.exp(-(roots**2) * max(fo, LEAST_FO))
    mean, centre = 1 - float(np.sum(means * fading)), 1 - float(np.sum(centres * fading))
    if fo < LEAST_FO:
        return Penetration(min(max(mean, 0.0), 1.0) * math.sqrt(fo / LEAST_FO), 0.0)
    return Penetration(min(max(mean, 0.0), 1.0), min(max(centre, 0.0), 1.0))


@lru_cache(maxsize=256)
def _limited_series(shape: Shape, ratio: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    number = np.arange(1.0, MOST_ZEROS + 1)
    sign = np.where(number % 2 == 1, -1.0, 1.0)
    # The profile at the surface from the condition itself: near its zeros the function would lose its digits.
    if shape == "slab":
        q = crossings(lambda x: np.sin(x) + ratio * x * np.cos(x), (number - 0.5) * np.pi, number * np.pi)
        surface = sign / np.sqrt(1 + (ratio * q) ** 2)
    elif shape == "cylinder":
        q = crossings(lambda x: ratio * x * bessel_j(0, x) + 2 * bessel_j(1, x), bessel_zeros(0), bessel_zeros(1))
        surface = -2 * bessel_j(1, q) / (ratio * q)
    else:
        low, high = number * np.pi, (number + 1) * np.pi
        q = crossings(lambda x: (3 + ratio * x * x) * np.sin(x) - 3 * x * np.cos(x), low, high)
        surface = sign * 3 / np.sqrt((3 + ratio * q * q) ** 2 + 9 * q * q)
    n = _DIMENSIONS[shape]
    weights = 2 * n * (1 + ratio) / (n * n * (1 + ratio) + (ratio * q) ** 2)
    return q, ratio * weights, -weights / surface


def combined_penetration(parts: Sequence[tuple[Shape, float]]) -> Penetration:
    """Return the salt taken up from an endless brine through all faces of a cut piece, as a share of equilibrium. [1]

    Parameters
    ----------
    parts : sequence of (shape, fo), at least one
        Three slabs for a brick, cylinder and slab for a finite cylinder, each with its own Fourier number. [1]

    Returns
    -------
    Penetration
        Mean and centre, each 0 to 1; never less than through any one pair of faces. [1]

    Raises
    ------
    ValueError
        If nothing is given, a Fourier number is negative, or a shape unknown.

    Notes
    -----
    What is missing multiplies over the directions. It does not for a bath that loses salt: take the endless bath's
    share of equilibrium then, which is low.

    Examples
    --------
    >>> mean, centre = combined_penetration([("slab", 0.1), ("slab", 0.02), ("slab", 0.005)])
    >>> (round(mean, 4), round(centre, 4))
    (0.5026, 0.0507)

    References
    ----------
    [1] Product solution of the diffusion equation, as in `conduction.centre_temperature`.
    """
    if not parts:
        raise ValueError("a piece has at least one direction")
    found = [penetration(fo, shape) for shape, fo in parts]
    return Penetration(1 - math.prod(1 - p.mean for p in found), 1 - math.prod(1 - p.centre for p in found))


def share_at_depth(fo: float, below_surface: float) -> float:
    """Return the salt at some depth of a slab in endless brine, as a share of the brine's. [1]

    Parameters
    ----------
    fo : float, >= 0
        Fourier number by the half thickness. [1]
    below_surface : float, 0 to 1
        Depth below the nearer face as a share of the half thickness: 0 the face, 1 the centre. [1]

    Returns
    -------
    float
        0 to 1. [1]

    Raises
    ------
    ValueError
        If the Fourier number is negative or the depth out of range.

    Notes
    -----
    Below Fo = 0.01 the two faces do not know of each other: erfc(depth / (2 sqrt(Fo))).

    Examples
    --------
    >>> round(share_at_depth(0.1, 0.5), 4), share_at_depth(0.0, 0.5)
    (0.2643, 0.0)

    References
    ----------
    [1] Crank, *The Mathematics of Diffusion*, 2nd edition, 1975, half-space and plane sheet (from memory; checked
        against finite volumes in the tests).
    """
    if not fo >= 0:
        raise ValueError(f"a Fourier number of {fo} is negative")
    if not 0 <= below_surface <= 1:
        raise ValueError(f"a depth of {below_surface} lies outside 0 (face) to 1 (centre)")
    if fo >= _THIN:
        return 1 - step_left("slab", math.inf, fo, 1 - below_surface)
    if below_surface == 0:
        return 1.0
    return math.erfc(below_surface / (2 * math.sqrt(fo))) if fo > 0 else 0.0


def front_depth(fo: float, half_thickness_m: float, share: float) -> float:
    """Return how far below the face the salt has reached a share of the brine's. [m]

    Parameters
    ----------
    fo : float, >= 0
        Fourier number by the half thickness. [1]
    half_thickness_m : float, > 0
        Half the thickness of the slab. [m]
    share : float, above 0, below 1
        Share of the brine's salt. [1]

    Returns
    -------
    float
        0 to the half thickness, which means that it has reached the centre. [m]

    Raises
    ------
    ValueError
        If an argument is out of range.

    Examples
    --------
    >>> round(1000 * front_depth(0.1, 0.0275, 2.0 / 9.5), 1)
    15.5

    References
    ----------
    [1] `share_at_depth` solved for the depth by bisection.
    """
    if not half_thickness_m > 0 or not 0 < share < 1:
        raise ValueError("the half thickness is above zero, and the share lies between 0 and 1")
    if share_at_depth(fo, 1.0) >= share:
        return half_thickness_m
    if fo == 0:
        return 0.0
    short, far = 0.0, 1.0
    for _ in range(50):
        middle = 0.5 * (short + far)
        if share_at_depth(fo, middle) >= share:
            short = middle
        else:
            far = middle
    return short * half_thickness_m


def diffused_m2(times_at: ArrayLike, product_c: ArrayLike) -> tuple[float, float, float]:
    """Return what salt has diffused over a record, low, likely and high: the integral of its diffusivity. [m2]

    Parameters
    ----------
    times_at : array of float, shape (n,), n >= 1
        Instants, never going back. [s since 1970 UTC]
    product_c : array of float, shape (n,)
        Product temperatures, straight in between. [°C]

    Returns
    -------
    tuple of float
        Divide by the square of a half thickness or radius for a Fourier number. [m2]

    Raises
    ------
    ValueError
        If the record cannot be judged (see `single_record`).

    Notes
    -----
    Diffusivity `DIFFUSIVITY_BAND_M2_S` and `DIFFUSIVITY_M2_S` at 5 °C, Arrhenius with `ACTIVATION_J_MOL`, zero at or
    below `FREEZES_C`. Exact for a piece of one temperature, since diffusivity depends on time only through it.

    Examples
    --------
    >>> [round(1e6 * value, 1) for value in diffused_m2([0.0, 5 * 86400.0], [4.0, 4.0])]
    [54.0, 78.9, 103.9]

    References
    ----------
    [1] DOI 10.1007/978-1-4939-2578-0_47 (abstract) for the diffusivity at 5 °C; the band is house.
    """

    def rate(temps_c: FloatArray) -> FloatArray:
        moving = temps_c > FREEZES_C
        return np.where(moving, diffusivity_ratio(temps_c, DIFFUSIVITY_AT_C, ACTIVATION_J_MOL), 0.0)

    equivalent_s = integral_over(times_at, product_c, rate, breaks_c=(FREEZES_C,))
    low, high = DIFFUSIVITY_BAND_M2_S
    return low * equivalent_s, DIFFUSIVITY_M2_S * equivalent_s, high * equivalent_s

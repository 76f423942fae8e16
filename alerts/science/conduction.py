"""Heat on its way into a body: slab, cylinder, sphere, and what is cut from them. Pure: no clock, no I/O."""

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Literal, NamedTuple, TypeAlias

import numpy as np

from alerts.science.bessel import MOST_ZEROS, bessel_j, bessel_zeros, crossings
from alerts.science.record import FloatArray

Shape: TypeAlias = Literal["slab", "cylinder", "sphere"]

LEAST_FO = 0.002
"""Below it 60 terms no longer carry the series everywhere in the body; the centre has then not moved by 1e-10."""

_NEAR_LUMPED = 1e-6
_DIMENSIONS = {"slab": 1.0, "cylinder": 2.0, "sphere": 3.0}
_CURVATURE = {"slab": 3.0, "cylinder": 4.0, "sphere": 5.0}


class Direction(NamedTuple):
    """One direction in which heat enters: shape, half thickness or radius [m], heat transfer coefficient [W/m2K]."""

    shape: Shape
    half_m: float
    h_w_m2k: float


class Series(NamedTuple):
    """Roots and coefficients of the step response of one body. [1]"""

    roots: FloatArray
    coefficients: FloatArray


@lru_cache(maxsize=512)
def conduction_series(shape: Shape, biot: float, terms: int = MOST_ZEROS) -> Series:
    """Return roots and coefficients of the step response of a body of one dimension. [1]

    Parameters
    ----------
    shape : {"slab", "cylinder", "sphere"}
        The body; slab and cylinder are endless sideways.
    biot : float, > 0, may be infinite
        h L / k, L the half thickness or the radius; infinite where the surface is held at the surroundings. [1]
    terms : int, 1 to 60
        Number of terms. [1]

    Returns
    -------
    Series
        Arrays of shape (terms,), roots rising, coefficients of alternating sign; not to be written to. [1]

    Raises
    ------
    ValueError
        If the Biot number is not above zero, the number of terms is out of range, or the shape unknown.

    Notes
    -----
    Slab: z tan z = Bi, C = 4 sin z / (2 z + sin 2z). Cylinder: z J1(z) = Bi J0(z), C = (2/z) J1 / (J0^2 + J1^2).
    Sphere: 1 - z cot z = Bi, C = 4 (sin z - z cos z) / (2 z - sin 2z). Each is solved in a form without poles, by
    bisection between the places that part one root from the next. Below Bi = 1e-6 the first root is that of
    `first_root_lumped`, since the condition then loses its digits.

    Examples
    --------
    >>> series = conduction_series("slab", 1.0, 2)
    >>> series.roots.round(4).tolist(), series.coefficients.round(4).tolist()
    ([0.8603, 3.4256], [1.1191, -0.1517])
    >>> conduction_series("sphere", float("inf"), 1).roots.round(4).tolist()
    [3.1416]

    References
    ----------
    [1] Cengel and Ghajar, *Heat and Mass Transfer*, table 4-2 (a reproduced page was read): every row is in the
        published tests. Equations from memory; solved independently by finite volumes in the tests.
    """
    if not biot > 0:
        raise ValueError(f"a Biot number of {biot} is not above zero")
    if not 1 <= terms <= MOST_ZEROS:
        raise ValueError(f"{terms} terms: 1 to {MOST_ZEROS} can be had")
    if shape not in _DIMENSIONS:
        raise ValueError(f"unknown shape: {shape}")
    roots = _roots(shape, biot, terms)
    coefficients = _coefficients(shape, roots)
    if math.isfinite(biot) and biot < _NEAR_LUMPED:
        roots[0] = first_root_lumped(shape, biot)
        coefficients[0] = 1.0
    roots.flags.writeable = False
    coefficients.flags.writeable = False
    return Series(roots, coefficients)


def _roots(shape: Shape, biot: float, terms: int) -> FloatArray:
    number = np.arange(float(terms))
    # Divided by 1 + Bi, so that no surface is too good for floating point.
    inside, across = 1.0 / (1.0 + biot), 1.0 if math.isinf(biot) else biot / (1.0 + biot)
    if shape == "slab":
        low, high = number * np.pi, (number + 0.5) * np.pi
        return high if math.isinf(biot) else crossings(lambda z: inside * z * np.sin(z) - across * np.cos(z), low, high)
    if shape == "cylinder":
        low, high = np.concatenate(([0.0], bessel_zeros(1)))[:terms], bessel_zeros(0)[:terms].copy()
        if math.isinf(biot):
            return high
        return crossings(lambda z: inside * z * bessel_j(1, z) - across * bessel_j(0, z), low, high)
    low, high = number * np.pi, (number + 1) * np.pi
    if math.isinf(biot):
        return high
    # The first bracket leaves out zero, which solves the condition for every Biot number and is no root of the body.
    low[0] = 1e-3 if biot > _NEAR_LUMPED else 1e-9
    return crossings(lambda z: inside * (np.sin(z) - z * np.cos(z)) - across * np.sin(z), low, high)


def _coefficients(shape: Shape, z: FloatArray) -> FloatArray:
    if shape == "slab":
        return 4 * np.sin(z) / (2 * z + np.sin(2 * z))
    if shape == "cylinder":
        zeroth, first = bessel_j(0, z), bessel_j(1, z)
        return np.asarray(2 / z * first / (zeroth**2 + first**2))
    return 4 * (np.sin(z) - z * np.cos(z)) / (2 * z - np.sin(2 * z))


def first_root_lumped(shape: Shape, biot: float) -> float:
    """Return the first root where a body is nearly of one temperature, without looking for it. [1]

    Parameters
    ----------
    shape : {"slab", "cylinder", "sphere"}
        The body.
    biot : float, 0 to 1
        h L / k, L the half thickness or the radius. [1]

    Returns
    -------
    float
        Within 0.8 % of the root up to Bi 1 (so its square within 1.5 %). [1]

    Raises
    ------
    ValueError
        If the Biot number lies outside 0 to 1, or the shape is unknown.

    Notes
    -----
    z^2 = Bi/(1 + Bi/3), 2 Bi/(1 + Bi/4), 3 Bi/(1 + Bi/5) for slab, cylinder, sphere: the first two terms of the
    expansion, kept bounded.

    Examples
    --------
    >>> round(first_root_lumped("slab", 0.1), 4)
    0.3111

    References
    ----------
    [1] Derived here; its error is bounded in the tests against `conduction_series`.
    """
    if not 0 <= biot <= 1:
        raise ValueError(f"a Biot number of {biot} lies outside 0 to 1")
    if shape not in _DIMENSIONS:
        raise ValueError(f"unknown shape: {shape}")
    return math.sqrt(_DIMENSIONS[shape] * biot / (1 + biot / _CURVATURE[shape]))


def step_left(shape: Shape, biot: float, fo: float, depth: float = 0.0) -> float:
    """Return what is left of a step in the surroundings, somewhere in a body. [1]

    Parameters
    ----------
    shape : {"slab", "cylinder", "sphere"}
        The body.
    biot : float, > 0, may be infinite
        h L / k. [1]
    fo : float, >= 0
        Fourier number, diffusivity times time / L^2. [1]
    depth : float, 0 to 1
        Distance from the centre as a share of L: 0 the centre, 1 the surface. [1]

    Returns
    -------
    float
        (T - surroundings) / (start - surroundings), 0 to 1. [1]

    Raises
    ------
    ValueError
        If an argument is out of range, or away from the centre if `fo` lies between 0 and `LEAST_FO`.

    Notes
    -----
    Sum of C_n f(z_n x/L) exp(-z_n^2 Fo); f = cos, J0, sin(u)/u. One term is enough above Fo = 0.2.

    Examples
    --------
    >>> round(step_left("slab", 1.0, 0.5), 4)
    0.773
    >>> round(step_left("slab", 1.0, 0.5, 1.0), 4)
    0.5045

    References
    ----------
    [1] As `conduction_series`.
    """
    if not fo >= 0:
        raise ValueError(f"a Fourier number of {fo} is negative")
    if not 0 <= depth <= 1:
        raise ValueError(f"a depth of {depth} lies outside 0 (centre) to 1 (surface)")
    series = conduction_series(shape, biot)
    if fo == 0 or (fo < LEAST_FO and depth == 0):
        return 1.0
    if fo < LEAST_FO:
        raise ValueError(f"away from the centre the series does not hold for a Fourier number of {fo}")
    left = np.sum(series.coefficients * profile(shape, series.roots * depth) * np.exp(-(series.roots**2) * fo))
    return float(min(max(left, 0.0), 1.0))


def profile(shape: Shape, u: FloatArray) -> FloatArray:
    """Return how one term of a series is spread over a body: 1 at the centre. [1]

    Parameters
    ----------
    shape : {"slab", "cylinder", "sphere"}
        The body.
    u : ndarray, 0 to 200
        Root times depth. [1]

    Returns
    -------
    ndarray of the shape of `u`
        cos u, J0(u), or sin(u)/u. [1]

    Examples
    --------
    >>> profile("sphere", np.array([0.0, np.pi / 2])).round(4).tolist()
    [1.0, 0.6366]

    References
    ----------
    [1] Separation of the heat equation in one dimension, as in `conduction_series`.
    """
    if shape == "slab":
        return np.cos(u)
    return bessel_j(0, u) if shape == "cylinder" else np.sinc(u / np.pi)


def centre_temperature(
    directions: Sequence[Direction],
    time_s: float,
    *,
    start_c: float,
    air_c: float,
    conductivity_w_mk: float,
    diffusivity_m2_s: float,
) -> float:
    """Return the temperature at the centre of a piece, so long after its surroundings changed at once. [°C]

    Parameters
    ----------
    directions : sequence of Direction, at least one
        One for a slab, cylinder or sphere; cylinder and slab for a finite cylinder; three slabs for a brick.
    time_s : float, >= 0
        Time since the change. [s]
    start_c, air_c : float
        Temperature of the whole piece before, and of the surroundings since. [°C]
    conductivity_w_mk, diffusivity_m2_s : float, > 0
        Thermal conductivity and diffusivity of the piece. [W/(m K)], [m2/s]

    Returns
    -------
    float
        Between the two temperatures. [°C]

    Raises
    ------
    ValueError
        If no direction is given, the time is negative, or a length, coefficient or property is not above zero.

    Notes
    -----
    What is left of the step multiplies over the directions, each with its own Biot and Fourier number.

    Examples
    --------
    >>> brick = [Direction("slab", half, 8.0) for half in (0.0275, 0.075, 0.125)]
    >>> centre_temperature(brick, 7200.0, start_c=3.0, air_c=9.0, conductivity_w_mk=0.485, diffusivity_m2_s=1.303e-7)
    5.23

    References
    ----------
    [1] Product solution of the heat equation in a body bounded by planes or a cylinder; from memory, checked against
        a finite-volume solution in two dimensions in the tests.
    """
    if not time_s >= 0:
        raise ValueError(f"a time of {time_s} s is negative")
    _check_piece(directions, conductivity_w_mk, diffusivity_m2_s)
    left = math.prod(
        step_left(shape, h * half / conductivity_w_mk, diffusivity_m2_s * time_s / half**2)
        for shape, half, h in directions
    )
    return air_c + (start_c - air_c) * left


def core_time_constant(
    directions: Sequence[Direction], *, conductivity_w_mk: float, diffusivity_m2_s: float
) -> tuple[float, float]:
    """Return with which time constant the core of a piece follows its surroundings, and how long it waits first. [s]

    Parameters
    ----------
    directions : sequence of Direction, at least one
        As for `centre_temperature`.
    conductivity_w_mk, diffusivity_m2_s : float, > 0
        Thermal conductivity and diffusivity of the piece. [W/(m K)], [m2/s]

    Returns
    -------
    tuple of float
        Time constant, and the lag tau ln C before the core follows it. [s], [s]

    Raises
    ------
    ValueError
        If no direction is given, or a length, coefficient or property is not above zero.

    Notes
    -----
    1/tau = diffusivity * sum over the directions of (z/L)^2, z the first root; C the product of the first
    coefficients. The lag is why a second state fits paired records better when Bi is above about 0.3.

    Examples
    --------
    >>> slab = [Direction("slab", 0.0275, 8.0)]
    >>> tau_s, lag_s = core_time_constant(slab, conductivity_w_mk=0.485, diffusivity_m2_s=1.303e-7)
    >>> (round(tau_s / 3600, 1), round(lag_s / 3600, 2))
    (4.1, 0.26)

    References
    ----------
    [1] Cengel and Ghajar, *Heat and Mass Transfer*, one-term solutions (a page with table 4-2 was read).
    """
    _check_piece(directions, conductivity_w_mk, diffusivity_m2_s)
    rate, ahead = 0.0, 1.0
    for shape, half, h in directions:
        series = conduction_series(shape, h * half / conductivity_w_mk, 1)
        rate += diffusivity_m2_s * (float(series.roots[0]) / half) ** 2
        ahead *= float(series.coefficients[0])
    return 1.0 / rate, math.log(ahead) / rate


def lumped_time_constant(heats: Sequence[tuple[float, float]], h_w_m2k: float, area_m2: float) -> float:
    """Return the time constant of something that is of one temperature throughout, such as a stirred tub. [s]

    Parameters
    ----------
    heats : sequence of (mass_kg, heat_j_kg_k), each > 0
        What has to change its temperature: brine, meat, tub. [kg], [J/(kg K)]
    h_w_m2k : float, > 0
        Heat transfer coefficient. [W/m2K]
    area_m2 : float, > 0
        Surface that meets the air. [m2]

    Returns
    -------
    float
        Sum of mass times heat / (h A). [s]

    Raises
    ------
    ValueError
        If nothing is given, or a figure is not above zero.

    Examples
    --------
    >>> round(lumped_time_constant([(5.0, 3715.0), (4.0, 3524.0)], 1.81, 1.0) / 3600, 1)
    5.0

    References
    ----------
    [1] Heat balance; derived here. For a bare piece it is 10 to 40 % too short at Bi 0.3 to 1.
    """
    heat_j_k = math.fsum(mass * heat for mass, heat in heats)
    if not heats or not all(mass > 0 and heat > 0 for mass, heat in heats) or not (h_w_m2k > 0 and area_m2 > 0):
        raise ValueError("masses, heats, the coefficient and the surface are above zero")
    return heat_j_k / (h_w_m2k * area_m2)


def _check_piece(directions: Sequence[Direction], conductivity_w_mk: float, diffusivity_m2_s: float) -> None:
    if not directions or not all(half > 0 and h > 0 for _, half, h in directions):
        raise ValueError("a piece has at least one direction, each with a length and a coefficient above zero")
    if not (conductivity_w_mk > 0 and diffusivity_m2_s > 0):
        raise ValueError("conductivity and diffusivity are above zero")

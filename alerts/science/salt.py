"""How much of a cure has counted, and how far salt may have gone in. Pure: no clock, no I/O."""

import math
from collections.abc import Sequence
from functools import cache
from typing import Literal, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from alerts.science.bessel import bessel_j, bessel_zeros
from alerts.science.integral import GAS_CONSTANT_J_MOL_K, ZERO_C_K, Rate, integral_over
from alerts.science.record import FloatArray, single_record

Shape: TypeAlias = Literal["slab", "cylinder", "sphere"]

ACTIVATION_J_MOL = 25_000.0
"""Activation energy of salt diffusion in meat, 20 to 32 kJ/mol. House: solutes and water in pork gave 24.7 to 32.2
(J. Food Eng. 214:69, 2017; 149:188, 2015, abstracts); none was found for salt in raw muscle."""

STOP_C = 1.1
"""At or below 34 °F curing stops: home-curing advice quoting extension services, second-hand."""

FULL_C = 2.2
"""36 °F, the floor of dry cure: USDA Farmers' Bulletin 2265 (federal rule cited there)."""

DIFFUSIVITY_BAND_M2_S = (1.3e-10, 2.5e-10)
"""Salt in pork loin slices at 5 +- 1 °C: (1.90 +- 0.28)e-10 m2/s, DOI 10.1007/978-1-4939-2578-0_47 (abstract read).
The band is about two spreads either way: house."""

DIFFUSIVITY_AT_C = 5.0
"""Temperature at which the diffusivity band was measured."""

FREEZES_C = -2.0
"""Meat begins to freeze: about -2 °C, NZIFST *Unit Operations in Food Processing*, appendix 7. No diffusion below."""


class Penetration(NamedTuple):
    """Salt taken up as a share of equilibrium: mean over the piece, and at its centre. [1]"""

    mean: float
    centre: float


def diffusivity_ratio(temp_c: ArrayLike, reference_c: float, activation_j_mol: float) -> FloatArray:
    """Return how fast salt moves at a temperature, against a reference temperature. [1]

    Parameters
    ----------
    temp_c : float or array
        Temperature, above -273.15. [°C]
    reference_c : float
        Temperature at which the ratio is 1, above -273.15. [°C]
    activation_j_mol : float
        Activation energy. [J/mol]

    Returns
    -------
    ndarray of the shape of `temp_c`
        D(T)/D(reference). [1]

    Notes
    -----
    exp(-(Ea/R)(1/T - 1/Tref)), T in kelvin. Meaningless where the meat is frozen.

    Examples
    --------
    >>> diffusivity_ratio([0.0, 4.0, 8.0], 4.0, 25_000.0).round(3).tolist()
    [0.853, 1.0, 1.167]

    References
    ----------
    [1] Arrhenius form; its activation energy is an argument, see `ACTIVATION_J_MOL`.
    """
    kelvins = np.asarray(temp_c, dtype=np.float64) + ZERO_C_K
    e_over_r = activation_j_mol / GAS_CONSTANT_J_MOL_K
    return np.asarray(np.exp(e_over_r * (1 / (reference_c + ZERO_C_K) - 1 / kelvins)))


def cure_rate_practice(
    temp_c: ArrayLike,
    *,
    published_days: bool = False,
    stop_c: float = STOP_C,
    full_c: float = FULL_C,
    activation_j_mol: float = ACTIVATION_J_MOL,
) -> FloatArray:
    """Return the share of time that counts as curing by the practice rule. [1]

    Parameters
    ----------
    temp_c : float or array
        Product temperature. [°C]
    published_days : bool
        The plan rests on a published number of days: then nothing counts below `full_c`.
    stop_c, full_c : float, stop_c <= full_c
        Curing stops at the one and counts in full from the other on. [°C]
    activation_j_mol : float
        Activation energy for the stretch between. [J/mol]

    Returns
    -------
    ndarray of the shape of `temp_c`
        0 to 1; never above 1, so warmth earns no credit. [1]

    Raises
    ------
    ValueError
        If `stop_c` is above `full_c`.

    Examples
    --------
    >>> cure_rate_practice([1.1, 1.2, 2.2, 9.0]).round(3).tolist()
    [0.0, 0.961, 1.0, 1.0]
    >>> cure_rate_practice([1.2, 2.1, 2.2], published_days=True).tolist()
    [0.0, 0.0, 1.0]

    References
    ----------
    [1] See `STOP_C`, `FULL_C`, `ACTIVATION_J_MOL`. Physics gives no stop above freezing; obeying practice costs little.
    """
    if not stop_c <= full_c:
        raise ValueError(f"curing cannot stop at {stop_c} °C and count in full from {full_c} °C on")
    temps = np.asarray(temp_c, dtype=np.float64)
    rate = np.asarray((temps >= full_c).astype(np.float64))
    if not published_days:
        between = (temps > stop_c) & (temps < full_c)
        rate[between] = diffusivity_ratio(temps[between], full_c, activation_j_mol)
    return rate


def cure_clock(
    times_at: ArrayLike, temps_c: ArrayLike, rate: Rate, *, breaks_c: Sequence[float] = (STOP_C, FULL_C)
) -> float:
    """Return the curing time that counted. [s]

    Parameters
    ----------
    times_at : array of float, shape (n,), n >= 1
        Instants, never going back. [s since 1970 UTC]
    temps_c : array of float, shape (n,)
        Product temperatures, straight in between; through gaps the lower copy. [°C]
    rate : callable
        Temperatures [°C] to the share of time that counts, 0 to 1, such as `cure_rate_practice`.
    breaks_c : sequence of float
        Temperatures at which the rate jumps or bends; those of the rate, where it was given others. [°C]

    Returns
    -------
    float
        At most the length of the record while the rate is at most 1. [s]

    Raises
    ------
    ValueError
        If the record cannot be judged (see `single_record`).

    Examples
    --------
    >>> cure_clock([0.0, 3600.0, 7200.0], [3.0, 3.0, 3.0], cure_rate_practice)
    7200.0
    >>> round(cure_clock([0.0, 3600.0], [0.1, 2.1], cure_rate_practice))
    1758

    References
    ----------
    [1] Integral of the rate over time: exact for uniform product temperature, since diffusivity depends on time only
        through temperature.
    """
    return integral_over(times_at, temps_c, rate, breaks_c=breaks_c)


def hours_lost(
    times_at: ArrayLike, temps_c: ArrayLike, rate: Rate, *, breaks_c: Sequence[float] = (STOP_C, FULL_C)
) -> float:
    """Return the curing time that did not count. [h]

    Parameters
    ----------
    times_at : array of float, shape (n,), n >= 1
        Instants, never going back. [s since 1970 UTC]
    temps_c : array of float, shape (n,)
        Product temperatures, straight in between; through gaps the lower copy. [°C]
    rate : callable
        Temperatures [°C] to the share of time that counts, 0 to 1.
    breaks_c : sequence of float
        Temperatures at which the rate jumps or bends. [°C]

    Returns
    -------
    float
        Never negative. [h]

    Raises
    ------
    ValueError
        If the record cannot be judged (see `single_record`).

    Examples
    --------
    >>> hours_lost([0.0, 3600.0, 7200.0], [1.0, 1.0, 1.0], cure_rate_practice)
    2.0

    References
    ----------
    [1] The length of the record less `cure_clock`.
    """
    times, temps = single_record(times_at, temps_c)
    counted_s = cure_clock(times, temps, rate, breaks_c=breaks_c)
    return max(0.0, float(times[-1] - times[0]) - counted_s) / 3600


def time_to_add(plan_s: float, counted_s: float, elapsed_s: float, rate_ahead: float) -> float:
    """Return by how much a cure must go on past its planned end. [s]

    Parameters
    ----------
    plan_s : float, >= 0
        Planned length of the cure. [s]
    counted_s : float, >= 0
        Curing time that has counted so far. [s]
    elapsed_s : float, >= 0
        Time since the cure began. [s]
    rate_ahead : float, 0 to 1
        Share of time that will count from here on. [1]

    Returns
    -------
    float
        Never negative; infinite where nothing will count and something is missing. [s]

    Notes
    -----
    (plan - counted - f (plan - elapsed)) / f.

    Examples
    --------
    >>> time_to_add(120 * 3600.0, 60 * 3600.0, 72 * 3600.0, 1.0) / 3600
    12.0

    References
    ----------
    [1] Balance of counted time; derived here.
    """
    missing_s = plan_s - counted_s - rate_ahead * (plan_s - elapsed_s)
    if missing_s <= 0:
        return 0.0
    return missing_s / rate_ahead if rate_ahead > 0 else math.inf


def penetration(fo: float, shape: Shape) -> Penetration:
    """Return the salt taken up from an endless brine as a share of equilibrium. [1]

    Parameters
    ----------
    fo : float, >= 0
        Fourier number, diffusivity times time / (half thickness or radius)^2. [1]
    shape : {"slab", "cylinder", "sphere"}
        Long sides of a cylinder and edges of a slab are left out, so a real piece takes up more.

    Returns
    -------
    Penetration
        Mean and centre, each 0 to 1. [1]

    Raises
    ------
    ValueError
        If the Fourier number is negative or the shape unknown.

    Notes
    -----
    Series of the uniform body whose surface is held at brine strength; below Fo = 0.002 the short-time forms, and 0 at
    the centre (it is below 1e-50 there). It says nothing about nitrite, and nothing about safety.

    Examples
    --------
    >>> mean, centre = penetration(0.2, "slab")
    >>> (round(mean, 4), round(centre, 4))
    (0.5041, 0.2277)

    References
    ----------
    [1] Crank, *The Mathematics of Diffusion*, 2nd edition, 1975, equations for plane sheet, cylinder and sphere. (From
        memory; checked against a finite-volume solution in the tests.)
    """
    if not fo >= 0:
        raise ValueError(f"a Fourier number of {fo} is negative")
    if fo < 0.002:
        return Penetration(_short_time_mean(fo, shape), 0.0)
    roots, mean_weights, centre_weights = _series(shape)
    fading = np.exp(-(roots**2) * fo)
    mean, centre = 1 - float(mean_weights @ fading), 1 - float(centre_weights @ fading)
    return Penetration(min(max(mean, 0.0), 1.0), min(max(centre, 0.0), 1.0))


def _short_time_mean(fo: float, shape: Shape) -> float:
    root = math.sqrt(fo / math.pi)
    if shape == "slab":
        return 2 * root
    if shape == "cylinder":
        return 4 * root - fo - fo * root / 3 - fo * fo / 8
    if shape == "sphere":
        return 6 * root - 3 * fo
    raise ValueError(f"unknown shape: {shape}")


@cache
def _series(shape: Shape) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return roots and weights of mean and centre; 40 terms leave less than 1e-12 from Fo = 0.002 on."""
    number = np.arange(1.0, 41.0)
    sign = np.where(number % 2 == 1, 1.0, -1.0)
    roots: FloatArray
    if shape == "slab":
        roots = (number - 0.5) * np.pi
        return roots, 2 / roots**2, 2 * sign / roots
    if shape == "sphere":
        roots = number * np.pi
        return roots, 6 / roots**2, 2 * sign
    if shape == "cylinder":
        roots = bessel_zeros(0)[: number.size]
        return roots, 4 / roots**2, 2 / (roots * bessel_j(1, roots))
    raise ValueError(f"unknown shape: {shape}")


def penetration_band(
    times_at: ArrayLike, product_c: ArrayLike, half_thickness_m: float, shape: Shape
) -> tuple[Penetration, Penetration]:
    """Return the least and the most salt that is likely in the piece, as shares of equilibrium. [1]

    Parameters
    ----------
    times_at : array of float, shape (n,), n >= 1
        Instants since the cure began, never going back. [s since 1970 UTC]
    product_c : array of float, shape (n,)
        Product temperatures, straight in between. [°C]
    half_thickness_m : float, > 0
        Half the thickness of a slab; the radius of a cylinder or sphere. [m]
    shape : {"slab", "cylinder", "sphere"}
        The simple body that the piece is taken for.

    Returns
    -------
    tuple of Penetration
        With the low and with the high end of `DIFFUSIVITY_BAND_M2_S`. [1]

    Raises
    ------
    ValueError
        If the record cannot be judged (see `single_record`), the thickness is not above zero, or the shape unknown.

    Notes
    -----
    Fo = integral of D(T(t)) dt / l^2, D Arrhenius from 5 °C with `ACTIVATION_J_MOL`, zero at or below `FREEZES_C`. An
    estimate of salt only: pieces differ by a factor of two, fat slows it, and nitrite lags behind.

    Examples
    --------
    >>> low, high = penetration_band([0.0, 5 * 86400.0], [4.0, 4.0], 0.0275, "slab")
    >>> (round(low.mean, 2), round(high.mean, 2), round(low.centre, 2), round(high.centre, 2))
    (0.3, 0.42, 0.01, 0.11)

    References
    ----------
    [1] *Influence of Brine Concentration on Moisture and NaCl Transport During Meat Salting*, in *Water Stress in
        Biological, Chemical, Pharmaceutical and Food Systems*, Springer. DOI 10.1007/978-1-4939-2578-0_47. (Abstract.)
    """
    if not half_thickness_m > 0:
        raise ValueError(f"a half thickness of {half_thickness_m} m is not above zero")
    equivalent_s = integral_over(times_at, product_c, _diffusion_rate, breaks_c=(FREEZES_C,))
    low, high = (penetration(d5 * equivalent_s / half_thickness_m**2, shape) for d5 in DIFFUSIVITY_BAND_M2_S)
    return low, high


def _diffusion_rate(temps_c: FloatArray) -> FloatArray:
    return np.where(temps_c > FREEZES_C, diffusivity_ratio(temps_c, DIFFUSIVITY_AT_C, ACTIVATION_J_MOL), 0.0)

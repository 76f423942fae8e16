"""Density, freezing point and saturation of sodium chloride brine. Pure: no clock, no I/O."""

import numpy as np
from numpy.typing import ArrayLike

from alerts.science.record import FloatArray

SATURATED_PERCENT = 26.395
"""Saturated brine at 60 °F: figure behind the degrees of a salometer, read in pages on the properties of brine."""

EUTECTIC_PERCENT = 23.3
"""Strength of the brine that freezes last, at -21.1 °C (read; the salt table has 23.31 at -6 °F). Stronger brine gives
out salt, not ice, when it cools."""

DENSITY_C = (0.0, 40.0)
"""Temperatures between which the density holds."""

SUCROSE_L_KG = 0.618
"""Room that a kilogram of dissolved sucrose takes, 0.617 to 0.618 at 10 to 20 %, 20 °C: from the densities 1.0381 and
1.0810 of sugar tables, from memory. At 5 °C about 2 % less: left out."""

# Terms (w/10)^i (T/10)^j of the density, w in per cent and T in °C.
_DENSITY = (
    (0, 0, 999.9667),
    (0, 1, 0.2588),
    (0, 2, -0.5577),
    (0, 3, 0.0017),
    (1, 0, 75.9499),
    (1, 1, -3.4453),
    (1, 2, 0.3801),
    (2, 0, 0.5844),
    (2, 1, 0.6047),
    (2, 2, -0.0897),
    (3, 0, 0.3007),
    (3, 1, 0.0114),
)

# CRC handbook, finer column, from memory (high); the eutectic as read.
_FREEZING_PERCENT = (0, 0.5, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 14, 16, 18, 20, 22, EUTECTIC_PERCENT)
_FREEZING_BELOW_0_C = (
    *(0, 0.30, 0.59, 1.19, 1.79, 2.41, 3.05, 3.70, 4.38, 5.08, 5.81, 6.56, 8.18, 9.94, 11.89, 14.04, 16.46, 19.18),
    21.1,
)

# Salt table by °F, read in a page that reproduces it.
_SATURATION_F = (-6, 0, 10, 20, 30, 32, 40, 50, 60, 70, 80, 100)
_SATURATION_PERCENT = (23.31, 23.83, 24.70, 25.53, 26.16, 26.29, 26.33, 26.36, 26.395, 26.45, 26.52, 26.68)


def within_range(values: ArrayLike, low: float, high: float, what: str) -> FloatArray:
    """Return values as floats, or refuse those outside the range in which a figure holds. [unit of the values]

    Parameters
    ----------
    values : float or array
        What was asked for. [unit of the values]
    low, high : float
        Both ends belong to the range. [unit of the values]
    what : str
        What is outside, for the person who reads the refusal.

    Returns
    -------
    ndarray of the shape of `values`
        Each at least `low` and at most `high`. [unit of the values]

    Raises
    ------
    ValueError
        If a value is outside, or not a number.

    Examples
    --------
    >>> within_range([0.0, 5.0], 0.0, 10.0, "a strength in per cent").tolist()
    [0.0, 5.0]
    >>> within_range(30.0, 0.0, 26.4, "a strength in per cent")
    Traceback (most recent call last):
        ...
    ValueError: a strength in per cent of 30 is outside 0 to 26.4, where the figures hold
    """
    found = np.asarray(values, dtype=np.float64)
    bad = ~((found >= low) & (found <= high))
    if bad.any():
        raise ValueError(f"{what} of {found[bad].flat[0]:g} is outside {low:g} to {high:g}, where the figures hold")
    return found


def density(strength_percent: ArrayLike, temp_c: ArrayLike) -> FloatArray:
    """Return the density of a salt brine without sugar. [kg/m3]

    Parameters
    ----------
    strength_percent : float or array, 0 to 26.395
        NaCl over salt and water. [% by mass]
    temp_c : float or array that fits the other, 0 to 40
        Temperature of the brine. [°C]

    Returns
    -------
    ndarray
        992 to 1205. [kg/m3]

    Raises
    ------
    ValueError
        If strength or temperature is outside the range of the fit.

    Notes
    -----
    Polynomial in strength and temperature, fitted here to CoolProp 8.0 (`INCOMP::MNA` to 23 %, water at 0 %) and, from
    23 to 26 %, to a handbook table at 20 °C. Within 0.25 kg/m3 of both, which is 0.03 % of salt. From 23 % up, away
    from 20 °C, it was compared only with the salometer table at 60 °F.

    Examples
    --------
    >>> density([0.0, 9.5, 20.0], [4.0, 4.0, 20.0]).round(0).tolist()
    [1000.0, 1072.0, 1148.0]

    References
    ----------
    [1] CoolProp 8.0, incompressible fluid MNA (after Melinder 2010). (Run, not read.)
    [2] Density of sodium chloride solutions at 20 °C, handbook table as reproduced on a university page. (Read.)
    """
    w = within_range(strength_percent, 0.0, SATURATED_PERCENT, "a strength in per cent") / 10
    t = within_range(temp_c, *DENSITY_C, "a brine temperature in °C") / 10
    return np.asarray(sum(factor * w**i * t**j for i, j, factor in _DENSITY), dtype=np.float64)


def freezing_point(strength_percent: ArrayLike) -> FloatArray:
    """Return the temperature at which ice begins to form in a brine. [°C]

    Parameters
    ----------
    strength_percent : float or array, 0 to 23.3
        NaCl over salt and water. [% by mass]

    Returns
    -------
    ndarray of the shape of `strength_percent`
        -21.1 to 0. [°C]

    Raises
    ------
    ValueError
        If the brine is stronger than the eutectic: then salt comes out and no ice.

    Notes
    -----
    Straight between rows, which is within 0.05 K of a smooth curve and within 0.1 K of CoolProp. Sugar would lower it
    further and is left out, so that the brine of a recipe with sugar freezes a little later than this says.

    Examples
    --------
    >>> freezing_point([5.0, 9.5, 20.0]).round(2).tolist()
    [-3.05, -6.18, -16.46]

    References
    ----------
    [1] CRC *Handbook of Chemistry and Physics*, concentrative properties, sodium chloride. (From memory; whole
        per cents checked against a page that quotes it.)
    """
    found = within_range(strength_percent, 0.0, EUTECTIC_PERCENT, "a strength in per cent")
    return np.asarray(-np.interp(found, _FREEZING_PERCENT, _FREEZING_BELOW_0_C))


def saturation(temp_c: ArrayLike) -> FloatArray:
    """Return the strongest brine that there can be at a temperature. [% by mass]

    Parameters
    ----------
    temp_c : float or array, -21.1 to 37.8
        Temperature of the brine. [°C]

    Returns
    -------
    ndarray of the shape of `temp_c`
        23.31 to 26.68. [% by mass]

    Raises
    ------
    ValueError
        If the temperature is outside the table.

    Notes
    -----
    Straight between rows.

    Examples
    --------
    >>> saturation([-17.8, 4.0, 15.56]).round(2).tolist()
    [23.83, 26.33, 26.39]

    References
    ----------
    [1] Salt table, saturation of brine by °F, as reproduced in a page read.
    """
    temps_f = np.asarray(temp_c, dtype=np.float64) * 1.8 + 32
    # A hundredth of a degree of grace: the ends of the table are whole °F, people enter rounded °C.
    found = within_range(temps_f, _SATURATION_F[0] - 0.02, _SATURATION_F[-1] + 0.05, "a brine temperature in °F")
    return np.asarray(np.interp(found, _SATURATION_F, _SATURATION_PERCENT))

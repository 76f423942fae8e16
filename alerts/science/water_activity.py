"""Water activity of salt brine at 25 °C. Pure: no clock, no I/O.

That of a product is that of its water phase only where salt has evened out; what dries or ferments is outside.
"""

import math

import numpy as np
from numpy.typing import ArrayLike

from alerts.science.brine_properties import within_range
from alerts.science.record import FloatArray

NACL_KG_MOL = 0.05844277
"""Molar mass of sodium chloride (IUPAC atomic weights)."""

WATER_KG_MOL = 0.0180153
"""Molar mass of water."""

SUCROSE_KG_MOL = 0.3422965
"""Molar mass of sucrose."""

POLYNOMIAL_PERCENT = 12.0
"""The polynomial is used up to here: beyond, it reads up to 0.011 too high (compared with Robinson and Stokes)."""

TABLE_PERCENT = 100 * 6 * NACL_KG_MOL / (1 + 6 * NACL_KG_MOL)
"""Where the table of osmotic coefficients ends: 6 mol/kg, 25.96 %."""

COLD_MARGIN = 0.003
"""Add it where a water activity at 25 °C stands against a limit of growth in a cold room. House: at their own freezing
points brines of 5 and 10 % are 0.001 and 0.003 higher than at 25 °C."""

SUCROSE_NORRISH = 6.47
"""Norrish constant of sucrose: from memory, not checked; reproduces 0.9806 and 0.9581 at 1 and 2 mol/kg to 0.0005."""

_MOLAL = (0.0, 0.1, 0.2, 0.3, 0.5, 0.7, 1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 5.5, 6.0)
_OSMOTIC = (
    *(1.0, 0.9324, 0.9245, 0.9215, 0.9209, 0.9257, 0.9355, 0.9428, 0.9513, 0.9616, 0.9723, 0.9833, 1.013, 1.0453),
    *(1.080, 1.1158, 1.1531, 1.1916, 1.2306, 1.2706),
)


def molality(strength_percent: ArrayLike) -> FloatArray:
    """Return the salt per kilogram of water. [mol/kg]

    Parameters
    ----------
    strength_percent : float or array, 0 to below 100
        NaCl over salt and water. [% by mass]

    Returns
    -------
    ndarray of the shape of `strength_percent`
        At least 0. [mol/kg]

    Raises
    ------
    ValueError
        If a strength is below 0 or reaches 100.

    Examples
    --------
    >>> molality([0.0, 5.52]).round(3).tolist()
    [0.0, 1.0]

    References
    ----------
    [1] Definition.
    """
    found = np.asarray(strength_percent, dtype=np.float64)
    if not ((found >= 0) & (found < 100)).all():
        raise ValueError("a strength is at least 0 and below 100 per cent")
    return np.asarray(found / (100 - found) / NACL_KG_MOL)


def water_activity(strength_percent: ArrayLike) -> FloatArray:
    """Return the water activity of salt brine at 25 °C. [1]

    Parameters
    ----------
    strength_percent : float or array, 0 to 25.96
        NaCl over salt and water. [% by mass]

    Returns
    -------
    ndarray of the shape of `strength_percent`
        0.7598 to 1. [1]

    Raises
    ------
    ValueError
        If a strength is below 0 or past the table's end at 6 mol/kg.

    Notes
    -----
    exp(-2 phi m Mw); the osmotic coefficient phi straight between rows over the root of the molality m, within 0.0002
    in water activity. In the cold it is a little higher: see `COLD_MARGIN`. Salt as sold holds a little else.

    Examples
    --------
    >>> water_activity([0.0, 3.5, 5.52, 22.61]).round(4).tolist()
    [1.0, 0.9796, 0.9669, 0.8069]

    References
    ----------
    [1] Robinson and Stokes, *Electrolyte Solutions*, osmotic coefficients of sodium chloride at 25 °C; Hamer and Wu
        1972. (Coefficients from memory; 1 and 6 mol/kg checked against pages that quote them.)
    """
    found = within_range(strength_percent, 0.0, TABLE_PERCENT + 1e-9, "a strength in per cent")
    molal = molality(found)
    osmotic = np.interp(np.sqrt(molal), np.sqrt(_MOLAL), _OSMOTIC)
    return np.asarray(np.exp(-2 * osmotic * molal * WATER_KG_MOL))


def water_activity_polynomial(strength_percent: ArrayLike) -> FloatArray:
    """Return the water activity of a water phase by the short equation used for meat and fish. [1]

    Parameters
    ----------
    strength_percent : float or array, 0 to 12
        Salt of the water phase. [% by mass]

    Returns
    -------
    ndarray of the shape of `strength_percent`
        0.9195 to 1. [1]

    Raises
    ------
    ValueError
        If a strength is outside 0 to 12: further on the equation reads too high.

    Notes
    -----
    1 - 0.0052471 S - 0.00012206 S^2: within 0.001 of Robinson and Stokes to 10 %, 0.002 above at 16 %, 0.011 at 22 %.

    Examples
    --------
    >>> water_activity_polynomial([3.5, 10.0]).round(4).tolist()
    [0.9801, 0.9353]

    References
    ----------
    [1] Resnik and Chirife, *J. Food Prot.* 51, 419, 1988. (Equation from memory, not checked against the document.)
    """
    s = within_range(strength_percent, 0.0, POLYNOMIAL_PERCENT, "a water-phase salt in per cent")
    return np.asarray(1 - 0.0052471 * s - 0.00012206 * s**2)


def water_activity_saturated(temp_c: float) -> float:
    """Return the water activity over brine with salt left undissolved. [1]

    Parameters
    ----------
    temp_c : float, 0 to 50
        Temperature. [°C]

    Returns
    -------
    float
        About 0.75. [1]

    Raises
    ------
    ValueError
        If the temperature is outside 0 to 50.

    Examples
    --------
    >>> round(water_activity_saturated(25.0), 4)
    0.7534

    References
    ----------
    [1] ln aw = 23.1092/K - 0.3607, as quoted in a page on humidity over salts; its range is not stated there, 0 to 50
        is house.
    """
    found = float(within_range(temp_c, 0.0, 50.0, "a temperature in °C"))
    return math.exp(23.1092 / (found + 273.15) - 0.3607)


def water_activity_with_sucrose(nacl_kg: float, sucrose_kg: float, water_kg: float) -> float:
    """Return the water activity of a brine with sugar at 25 °C. [1]

    Parameters
    ----------
    nacl_kg, sucrose_kg : float, >= 0
        Dissolved in the water. [kg]
    water_kg : float, > 0
        All water. [kg]

    Returns
    -------
    float
        A little below that of the salt alone: sugar hardly matters. [1]

    Raises
    ------
    ValueError
        If there is no water, a mass is below zero, there is more sugar than water, or the salt is past the table's end.

    Notes
    -----
    Ross's product: each solute alone in all the water. Sucrose after Norrish, xw exp(-K xs^2), in mole fractions.

    Examples
    --------
    >>> round(water_activity_with_sucrose(0.095, 0.030, 0.875), 4)
    0.9351

    References
    ----------
    [1] Ross 1975 and Norrish 1966, forms as quoted; constant see `SUCROSE_NORRISH`.
    """
    if not (water_kg > 0 and nacl_kg >= 0 and 0 <= sucrose_kg <= water_kg):
        raise ValueError("a brine has water, no mass below zero, and no more sugar than water")
    sugar_mol, water_mol = sucrose_kg / SUCROSE_KG_MOL, water_kg / WATER_KG_MOL
    share = sugar_mol / (sugar_mol + water_mol)
    sugar_alone = (1 - share) * math.exp(-SUCROSE_NORRISH * share**2)
    return sugar_alone * float(water_activity(100 * nacl_kg / (nacl_kg + water_kg)))

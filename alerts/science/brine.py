"""How strong a brine is, in each way the trade says it. Pure: no clock, no I/O.

Strength has one meaning here: all NaCl, that of the curing salt included, over salt and water; sugar is left out.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from alerts.science.brine_properties import density
from alerts.science.record import FloatArray

US_GALLON_L = 3.785411784
"""US liquid gallon, exact by definition."""

IMPERIAL_GALLON_L = 4.54609
"""Imperial gallon, exact by definition: a fifth more than the US one."""

POUND_KG = 0.45359237
"""Avoirdupois pound, exact by definition."""


@dataclass(frozen=True, slots=True)
class Recipe:
    """What goes into a brine. Masses in kg; of the curing salt, the share that is plain salt in per cent.

    A curing salt of nitrite and salt alone is salt in all but its nitrite: 93.75 % where the bag says 6.25 % nitrite.
    """

    water_kg: float
    salt_kg: float
    sugar_kg: float = 0.0
    curing_salt_kg: float = 0.0
    curing_salt_nacl_percent: float = 0.0

    def __post_init__(self) -> None:
        masses = (self.water_kg, self.salt_kg, self.sugar_kg, self.curing_salt_kg)
        if not all(math.isfinite(mass) and mass >= 0 for mass in masses) or not self.water_kg > 0:
            raise ValueError(f"a brine has water, and no mass below zero: {masses}")
        if not 0 <= self.curing_salt_nacl_percent <= 100:
            raise ValueError(f"a curing salt cannot be {self.curing_salt_nacl_percent} % salt")

    @property
    def nacl_kg(self) -> float:
        """All sodium chloride, that of the curing salt included. [kg]"""
        return self.salt_kg + self.curing_salt_kg * self.curing_salt_nacl_percent / 100

    @property
    def pickle_kg(self) -> float:
        """The whole brine, sugar and curing salt included. [kg]"""
        return self.water_kg + self.salt_kg + self.sugar_kg + self.curing_salt_kg

    @property
    def strength_percent(self) -> float:
        """All NaCl over salt and water. [% by mass]"""
        return float(strength(self.nacl_kg, self.water_kg))


def scaled(recipe: Recipe, factor: float) -> Recipe:
    """Return the same brine, more or less of it; its strength stays. [kg]

    Parameters
    ----------
    recipe : Recipe
        What goes into the brine. [kg]
    factor : float, > 0
        How many times as much. [1]

    Returns
    -------
    Recipe
        Every mass times `factor`. [kg]

    Raises
    ------
    ValueError
        If the factor is not above zero.

    Notes
    -----
    More meat needs no proportional brine: it needs cover (`brine_cover`). The nitrite that the meat gets must then be
    reckoned anew, since brine and meat no longer stand in the same proportion.

    Examples
    --------
    >>> scaled(Recipe(water_kg=2.0, salt_kg=0.2), 1.5)
    Recipe(water_kg=3.0, salt_kg=0.3, sugar_kg=0.0, curing_salt_kg=0.0, curing_salt_nacl_percent=0.0)

    References
    ----------
    [1] House.
    """
    if not (math.isfinite(factor) and factor > 0):
        raise ValueError(f"a brine cannot be scaled by {factor}")
    return Recipe(
        water_kg=recipe.water_kg * factor,
        salt_kg=recipe.salt_kg * factor,
        sugar_kg=recipe.sugar_kg * factor,
        curing_salt_kg=recipe.curing_salt_kg * factor,
        curing_salt_nacl_percent=recipe.curing_salt_nacl_percent,
    )


def strength(nacl_kg: ArrayLike, water_kg: ArrayLike) -> FloatArray:
    """Return the strength of a brine, or the salt of a water phase. [% by mass]

    Parameters
    ----------
    nacl_kg : float or array, >= 0
        All sodium chloride, that of the curing salt included. [kg]
    water_kg : float or array, > 0
        All water. [kg]

    Returns
    -------
    ndarray
        0 to below 100; above saturation (about 26.4) the rest lies undissolved. [% by mass]

    Raises
    ------
    ValueError
        If there is no water, or less than no salt.

    Examples
    --------
    >>> round(float(strength(0.1, 0.9)), 1)
    10.0
    >>> round(float(strength(0.1, 1.0)), 2)
    9.09

    References
    ----------
    [1] Definition; the same as water-phase or aqueous salt in the guidance on fish and on vacuum packs.
    """
    salt, water = np.asarray(nacl_kg, dtype=np.float64), np.asarray(water_kg, dtype=np.float64)
    if not ((salt >= 0).all() and (water > 0).all()):
        raise ValueError("strength needs water, and salt not below zero")
    return np.asarray(100 * salt / (salt + water))


def salt_for(strength_percent: ArrayLike, water_kg: ArrayLike) -> FloatArray:
    """Return the salt that brings water to a strength. [kg]

    Parameters
    ----------
    strength_percent : float or array, 0 to below 100
        NaCl over salt and water. [% by mass]
    water_kg : float or array, >= 0
        Water, that of the meat included where it is to be cured by weight. [kg]

    Returns
    -------
    ndarray
        At least 0. [kg]

    Raises
    ------
    ValueError
        If the strength is below 0 or reaches 100.

    Notes
    -----
    W w/(100 - w). Ten per cent of the *water* is not a ten per cent brine but one of 9.1 %.

    Examples
    --------
    >>> round(float(salt_for(10.0, 1.0)), 4)
    0.1111

    References
    ----------
    [1] Definition of strength, turned round.
    """
    found = np.asarray(strength_percent, dtype=np.float64)
    if not ((found >= 0) & (found < 100)).all():
        raise ValueError("a strength is at least 0 and below 100 per cent")
    return np.asarray(np.asarray(water_kg, dtype=np.float64) * found / (100 - found))


def grams_per_litre(strength_percent: ArrayLike, temp_c: ArrayLike) -> FloatArray:
    """Return the salt in a litre of the finished brine. [g/L]

    Parameters
    ----------
    strength_percent : float or array, 0 to 26.395
        NaCl over salt and water. [% by mass]
    temp_c : float or array, 0 to 40
        Temperature of the brine. [°C]

    Returns
    -------
    ndarray
        0 to 318. [g/L]

    Raises
    ------
    ValueError
        If strength or temperature is outside the range of the density.

    Notes
    -----
    Of the *brine*, not of the water that went into it: `1000 * salt_for(strength, 1)` is that, per kg of water.

    Examples
    --------
    >>> round(float(grams_per_litre(10.0, 20.0)), 1)
    107.1

    References
    ----------
    [1] Strength times density, see `density`.
    """
    return np.asarray(density(strength_percent, temp_c) * np.asarray(strength_percent, dtype=np.float64) / 100)

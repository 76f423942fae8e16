"""What a salometer shows, and what it means by it. Pure: no clock, no I/O."""

import numpy as np
from numpy.typing import ArrayLike

from alerts.science.brine import Recipe, strength
from alerts.science.brine_properties import DENSITY_C, SATURATED_PERCENT, SUCROSE_L_KG, density, within_range
from alerts.science.record import FloatArray

SIXTY_F_C = (60 - 32) / 1.8
"""60 °F, at which a salometer is read without correction: 15.56 °C."""


def degrees_salometer(strength_percent: ArrayLike) -> FloatArray:
    """Return the strength on the scale of a salometer. [°SAL]

    Parameters
    ----------
    strength_percent : float or array, 0 to 26.395
        NaCl over salt and water. [% by mass]

    Returns
    -------
    ndarray of the shape of `strength_percent`
        0 to 100. [°SAL]

    Raises
    ------
    ValueError
        If the strength is outside the scale.

    Notes
    -----
    100 for brine saturated at 60 °F. Some canning instruments take 100 for 25 %, some of meat works are made for 38 °F:
    what is written on the glass counts.

    Examples
    --------
    >>> degrees_salometer([0.0, 15.837, 26.395]).round(1).tolist()
    [0.0, 60.0, 100.0]

    References
    ----------
    [1] Definition of the scale, as read in two pages on brine.
    """
    found = within_range(strength_percent, 0.0, SATURATED_PERCENT, "a strength in per cent")
    return np.asarray(100 * found / SATURATED_PERCENT)


def strength_of_degrees(degrees_sal: ArrayLike) -> FloatArray:
    """Return the strength that a salometer means by its degrees, in brine of salt alone at 60 °F. [% by mass]

    Parameters
    ----------
    degrees_sal : float or array, 0 to 100
        Degrees, after correction for temperature. [°SAL]

    Returns
    -------
    ndarray of the shape of `degrees_sal`
        0 to 26.395. [% by mass]

    Raises
    ------
    ValueError
        If the degrees are outside the scale.

    Examples
    --------
    >>> strength_of_degrees([10.0, 60.0]).round(3).tolist()
    [2.64, 15.837]

    References
    ----------
    [1] Definition of the scale, as read in two pages on brine.
    """
    return np.asarray(within_range(degrees_sal, 0.0, 100.0, "a reading in °SAL") * SATURATED_PERCENT / 100)


def corrected_reading(degrees_sal: ArrayLike, temp_c: ArrayLike) -> FloatArray:
    """Return what a salometer would read at 60 °F. [°SAL]

    Parameters
    ----------
    degrees_sal : float or array
        What was read off. [°SAL]
    temp_c : float or array, 0 to 40
        Temperature of the brine when it was read. [°C]

    Returns
    -------
    ndarray
        Higher than read where the brine was warmer than 60 °F, lower where it was colder. [°SAL]

    Raises
    ------
    ValueError
        If the temperature is outside the range; let a boiled brine cool before it is read.

    Notes
    -----
    One degree for 10 °F. By density it is 1.0 to 1.2 for brines of 10 to 15 % near 60 °F, and 0.8 at 5 %.

    Examples
    --------
    >>> corrected_reading([40.0, 40.0], [21.11, 4.44]).round(1).tolist()
    [41.0, 38.0]

    References
    ----------
    [1] Trade rule, as read in a page on salometers.
    """
    temps = within_range(temp_c, *DENSITY_C, "a brine temperature in °C")
    return np.asarray(np.asarray(degrees_sal, dtype=np.float64) + (temps - SIXTY_F_C) * 1.8 / 10)


def recipe_density(recipe: Recipe, temp_c: float) -> float:
    """Return the density of a whole brine, sugar included. [kg/m3]

    Parameters
    ----------
    recipe : Recipe
        What goes into the brine. [kg]
    temp_c : float, 0 to 40
        Temperature of the brine. [°C]

    Returns
    -------
    float
        Density. [kg/m3]

    Raises
    ------
    ValueError
        If strength or temperature is outside the range of the density.

    Notes
    -----
    The room of the salt brine and that of the sugar are added; what is neither water nor sugar counts as salt, nitrite
    too. Against tables of sugar in plain water this is within 0.5 kg/m3 to 10 %; in brine it is an assumption.

    Examples
    --------
    >>> round(recipe_density(Recipe(water_kg=2.0, salt_kg=0.23, sugar_kg=0.1), 4.0))
    1094

    References
    ----------
    [1] House; see `density` and `SUCROSE_L_KG`.
    """
    return _whole_density(recipe, temp_c)


def expected_reading(recipe: Recipe, temp_c: float) -> float:
    """Return what a salometer reads in a whole brine at its own temperature. [°SAL]

    Parameters
    ----------
    recipe : Recipe
        What goes into the brine. [kg]
    temp_c : float, 0 to 40
        Temperature of the brine when it is read. [°C]

    Returns
    -------
    float
        0 to 100. [°SAL]

    Raises
    ------
    ValueError
        If the brine is outside the range of the density, or heavier or lighter than the scale shows.

    Notes
    -----
    The instrument shows the strength of that salt brine which has, at 60 °F, the density that the liquid has now. So
    sugar reads as salt, and a cold brine reads strong. Spices and what the meat gives off are left out.

    Examples
    --------
    >>> plain, sweet = Recipe(water_kg=1.0, salt_kg=0.1), Recipe(water_kg=1.0, salt_kg=0.1, sugar_kg=0.05)
    >>> [round(expected_reading(recipe, temp_c)) for recipe, temp_c in ((plain, 15.56), (plain, 4.0), (sweet, 15.56))]
    [34, 36, 43]

    References
    ----------
    [1] House: how a hydrometer works, with `density`. That 50 g of sugar per litre of water adds
        about 9 °SAL was worked for this project.
    """
    return degrees_at(_whole_density(recipe, temp_c))


def degrees_at(density_kg_m3: float) -> float:
    """Return what a salometer made for 60 °F shows in a liquid of a density. [°SAL]

    Parameters
    ----------
    density_kg_m3 : float
        Density of the liquid as it is. [kg/m3]

    Returns
    -------
    float
        0 to 100; 0 for what is lighter than water at 60 °F. [°SAL]

    Raises
    ------
    ValueError
        If the liquid is lighter than water at 40 °C or heavier than saturated brine at 60 °F.

    Notes
    -----
    The swelling of the glass itself, 0.02 °SAL for 10 K, is left out.

    Examples
    --------
    >>> round(degrees_at(1077.0), 1)
    40.3

    References
    ----------
    [1] Definition of the scale and `density`, turned round by halving.
    """
    low, high = (float(density(end, SIXTY_F_C)) for end in (0.0, SATURATED_PERCENT))
    # Water at 40 °C is 6.8 kg/m3 lighter than at 60 °F: such a weak brine sinks the glass past its zero.
    within_range(density_kg_m3, low - 7.0, high, "a density in kg/m3")
    weak, strong = 0.0, SATURATED_PERCENT
    for _ in range(60):
        middle = (weak + strong) / 2
        weak, strong = (middle, strong) if float(density(middle, SIXTY_F_C)) < density_kg_m3 else (weak, middle)
    return 100 * weak / SATURATED_PERCENT


def _whole_density(recipe: Recipe, temp_c: float) -> float:
    salts_kg = recipe.salt_kg + recipe.curing_salt_kg
    brine_kg = recipe.water_kg + salts_kg
    brine_m3 = brine_kg / float(density(strength(salts_kg, recipe.water_kg), temp_c))
    return recipe.pickle_kg / (brine_m3 + recipe.sugar_kg * SUCROSE_L_KG / 1000)

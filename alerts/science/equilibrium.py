"""Where meat and brine end when salt has evened out, and whether the brine covers the meat. Pure: no clock, no I/O."""

import math
from dataclasses import dataclass

from alerts.science.brine import strength


@dataclass(frozen=True, slots=True)
class Evened:
    """Meat and brine after salt has evened out between them."""

    water_phase_salt_percent: float
    """Salt over salt and water, the same in both. [% by mass]"""
    salt_in_meat_kg: float
    salt_in_meat_percent: float
    """Of the meat with its salt, its water unchanged. [% by mass]"""
    bath_ratio: float
    """Water of the brine over water of the meat. [1]"""


@dataclass(frozen=True, slots=True)
class Cover:
    """How high the brine stands round meat that is held under. Masses of brine in kg, heights in mm."""

    level_mm: float
    over_meat_mm: float
    """Below zero: meat stands out of the brine, and further than this."""
    brine_needed_kg: float
    """For the wanted cover, at the density given."""
    brine_short_kg: float
    """What is missing of it, never below zero."""


def even_out(nacl_kg: float, brine_water_kg: float, meat_kg: float, meat_water_percent: float) -> Evened:
    """Return where the salt of a brine, or of a dry cure by weight, ends in the meat. [% by mass], [kg]

    Parameters
    ----------
    nacl_kg : float, >= 0
        All sodium chloride given, that of the curing salt included. [kg]
    brine_water_kg : float, >= 0
        Water of the brine; 0 for a dry cure that nothing leaves. [kg]
    meat_kg : float, > 0
        Green weight. [kg]
    meat_water_percent : float, above 0, to 100
        Water of the meat: lean raw meat about 70 to 75. [% by mass]

    Returns
    -------
    Evened
        The end, however long it takes. [% by mass], [kg]

    Raises
    ------
    ValueError
        If a mass is no amount, there is no meat, or its water is no percentage above 0.

    Notes
    -----
    S/(S + Wm + Wb). Bound water, water drawn out or taken up, and what proteins hold are left out. It is the end, not
    the state on the last day: thick pieces are weeks or months from it (`alerts.science.salt`).

    Examples
    --------
    >>> end = even_out(0.3, 2.7, 3.0, 70.0)
    >>> (round(end.water_phase_salt_percent, 3), round(end.salt_in_meat_kg, 3), round(end.bath_ratio, 3))
    (5.882, 0.131, 1.286)

    References
    ----------
    [1] Mass balance on salt and water; worked for this project.
    """
    if not all(math.isfinite(kg) and kg >= 0 for kg in (nacl_kg, brine_water_kg)):
        raise ValueError("a mass of salt or water is finite and not below zero")
    if not (math.isfinite(meat_kg) and meat_kg > 0 and 0 < meat_water_percent <= 100):
        raise ValueError(
            f"{meat_kg} kg of meat with {meat_water_percent} % water takes up no salt that can be reckoned"
        )
    meat_water_kg = meat_kg * meat_water_percent / 100
    all_water_kg = meat_water_kg + brine_water_kg
    in_meat_kg = nacl_kg * meat_water_kg / all_water_kg
    return Evened(
        water_phase_salt_percent=float(strength(nacl_kg, all_water_kg)),
        salt_in_meat_kg=in_meat_kg,
        salt_in_meat_percent=100 * in_meat_kg / (meat_kg + in_meat_kg),
        bath_ratio=brine_water_kg / meat_water_kg,
    )


def water_phase_salt(salt_percent: float, water_percent: float) -> float:
    """Return the salt of the water phase of a product, also called aqueous salt. [% by mass]

    Parameters
    ----------
    salt_percent, water_percent : float, water above 0, together at most 100
        Both of the product as a laboratory gives them. [% by mass]

    Returns
    -------
    float
        0 to 100. [% by mass]

    Raises
    ------
    ValueError
        If there is no water, less than no salt, or more than all of the product.

    Examples
    --------
    >>> round(water_phase_salt(3.0, 70.0), 2)
    4.11

    References
    ----------
    [1] 100 salt/(salt + water): FSA guidance on vacuum packs and FDA guidance on fish. (From memory, not checked
        against the documents.)
    """
    if not (salt_percent >= 0 and water_percent > 0 and salt_percent + water_percent <= 100):
        raise ValueError(f"{salt_percent} % salt and {water_percent} % water are not those of one product")
    return float(strength(salt_percent, water_percent))


def brine_cover(
    *,
    pickle_kg: float,
    pickle_kg_m3: float,
    meat_kg: float,
    meat_kg_m3: float,
    floor_cm2: float,
    stacked_mm: float,
    wanted_mm: float = 0.0,
) -> Cover:
    """Return how high the brine stands over meat that is held under. [mm], [kg]

    Parameters
    ----------
    pickle_kg : float, >= 0
        The whole brine. [kg]
    pickle_kg_m3 : float, > 0
        Its density, see `recipe_density`. [kg/m3]
    meat_kg : float, >= 0
        Green weight of all that lies in it. [kg]
    meat_kg_m3 : float, > 0
        Density of the meat; lean raw meat about 1056. [kg/m3]
    floor_cm2 : float, > 0
        Floor of the vessel, its walls upright. [cm2]
    stacked_mm : float, > 0
        How high the meat lies. [mm]
    wanted_mm : float, >= 0
        Brine wanted above it. [mm]

    Returns
    -------
    Cover
        Level, cover, and what is missing. [mm], [kg]

    Raises
    ------
    ValueError
        If a measure is no amount, or the meat has more volume than a pile of that height on that floor.

    Notes
    -----
    Meat is little heavier than a weak brine and floats in a strong one: it must be weighed down, and the weight lifts
    the level a little further than said here. Where meat stands out, it does so further than said: what is out of the
    brine does not lift it. Walls that widen upwards need more brine. More meat needs this cover, not
    brine in proportion; what nitrite the meat then gets is to be reckoned anew.

    Examples
    --------
    >>> tub = dict(pickle_kg=2.33, pickle_kg_m3=1094.0, meat_kg=2.0, meat_kg_m3=1056.0, floor_cm2=500.0)
    >>> flat, high = brine_cover(**tub, stacked_mm=60.0), brine_cover(**tub, stacked_mm=110.0)
    >>> (round(flat.level_mm), round(flat.over_meat_mm), round(high.over_meat_mm), round(high.brine_short_kg, 2))
    (80, 20, -30, 1.62)

    References
    ----------
    [1] Volumes; house.
    """
    measures = (pickle_kg, meat_kg, wanted_mm)
    divisors = (pickle_kg_m3, meat_kg_m3, floor_cm2, stacked_mm)
    if not all(math.isfinite(value) for value in (*measures, *divisors)) or min(measures) < 0 or min(divisors) <= 0:
        raise ValueError("masses are not below zero; densities, floor and height are above it")
    floor_m2, meat_m3 = floor_cm2 / 1e4, meat_kg / meat_kg_m3
    if meat_m3 > floor_m2 * stacked_mm / 1000 * (1 + 1e-9):
        least_mm = 1000 * meat_m3 / floor_m2
        raise ValueError(
            f"this meat fills the vessel {least_mm:.0f} mm high: it cannot lie only {stacked_mm:g} mm high"
        )
    level_mm = 1000 * (pickle_kg / pickle_kg_m3 + meat_m3) / floor_m2
    needed_kg = (floor_m2 * (stacked_mm + wanted_mm) / 1000 - meat_m3) * pickle_kg_m3
    return Cover(
        level_mm=level_mm,
        over_meat_mm=level_mm - stacked_mm,
        brine_needed_kg=needed_kg,
        brine_short_kg=max(0.0, needed_kg - pickle_kg),
    )

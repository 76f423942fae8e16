"""How slowly a product follows its air, before anybody has measured it. Pure: no clock, no I/O."""

import math
from typing import Literal, NamedTuple, TypeAlias

from alerts.science.components import LEAN, thermal_properties
from alerts.science.conduction import Direction, core_time_constant, lumped_time_constant
from alerts.science.heat import TIME_CONSTANT_SIGMA_LN, time_constant_prior
from alerts.science.warmest import BRINE_HEAT_KJ_KG_K

AirMovement: TypeAlias = Literal["still", "stirred", "blast"]
Form: TypeAlias = Literal["flat", "round", "ball"]

HEAT_TRANSFER_W_M2K: dict[AirMovement, float] = {"still": 7.0, "stirred": 12.0, "blast": 22.0}
"""Still air 6 to 8, a fan-stirred room 10 to 15, in the fan's blast 20 to 25, radiation in it: worked from the
correlations of Churchill and Chu and of Churchill and Bernstein (from memory); the middles are house."""

UNSAID_W_M2K = 8.0
"""Where nobody has said how the air moves: the upper end of still air, house."""

SAID_SIGMA_LN = 0.4
"""Spread of the prior where the air movement was said, natural log. House: on one carcass-shaped body the coefficient
differed by up to a factor of 5 with the place (J. Food Eng. 61:421, 2004, abstract), so it is not much narrower."""

FILLED_AT_C = 4.0
"""Temperature at which the properties are taken; they hardly change over a cold room. House."""

BRINE_DENSITY_KG_M3 = 1071.8
"""9.5 % brine at 4 °C: CoolProp 8.0, INCOMP::MNA."""

_TUB_HEIGHT_SHARE = 2 / 3


class LagPrior(NamedTuple):
    """A log-normal guess at a time constant: its median [s], and its spread as a natural logarithm [1]."""

    tau_s: float
    sigma_ln: float

    def at(self, deviations: float) -> float:
        """Return the time constant so many spreads above the median; a negative number is the quick side. [s]"""
        return self.tau_s * math.exp(deviations * self.sigma_ln)


def piece_prior(mass_kg: float, thickness_m: float, form: Form = "flat", air: AirMovement | None = None) -> LagPrior:
    """Return the likely time constant of the core of a piece that hangs or lies in air. [s]

    Parameters
    ----------
    mass_kg : float, > 0
        Mass of one piece; a ball's follows from its thickness. [kg]
    thickness_m : float, > 0
        Thickness of a flat piece, diameter of a round one. [m]
    form : {"flat", "round", "ball"}
        Taken as a square plate, a cylinder, or a sphere.
    air : {"still", "stirred", "blast"} or None
        How the air moves at the piece; None where nobody has said.

    Returns
    -------
    LagPrior
        Median and spread. [s], [1]

    Raises
    ------
    ValueError
        If the mass or the thickness is not above zero, or the form or the air movement is unknown.

    Notes
    -----
    `core_time_constant` of lean beef. A flat piece is as wide as it is long, and never narrower than it is thick. No
    evaporation (a wet surface is colder than the air) and no fat or bone. The coefficient is the weak part: measure
    the lag with a probe where it matters.

    Examples
    --------
    >>> hung = piece_prior(3.0, 0.055)
    >>> (round(hung.tau_s / 3600, 1), hung.sigma_ln)
    (3.1, 0.5)
    >>> round(piece_prior(3.0, 0.055, air="blast").tau_s / 3600, 1)
    1.5

    References
    ----------
    [1] House, from `conduction`, `components` and `HEAT_TRANSFER_W_M2K`; no published lag of meat behind cold-room air
        was found.
    """
    if not mass_kg > 0 or not thickness_m > 0:
        raise ValueError(f"a piece of {mass_kg} kg and {thickness_m} m has no time constant")
    h, sigma_ln = _coefficient(air)
    beef = thermal_properties(LEAN, FILLED_AT_C)
    volume, half = mass_kg / beef.density_kg_m3, thickness_m / 2
    if form == "flat":
        side = max(math.sqrt(volume / thickness_m), thickness_m)
        directions = [Direction("slab", half, h), Direction("slab", side / 2, h), Direction("slab", side / 2, h)]
    elif form == "round":
        length = volume / (math.pi * half**2)
        directions = [Direction("cylinder", half, h), Direction("slab", length / 2, h)]
    elif form == "ball":
        directions = [Direction("sphere", half, h)]
    else:
        raise ValueError(f"unknown form: {form}")
    tau_s, _ = core_time_constant(
        directions, conductivity_w_mk=beef.conductivity_w_mk, diffusivity_m2_s=beef.diffusivity_m2_s
    )
    return LagPrior(tau_s, sigma_ln)


def tub_prior(meat_kg: float, brine_kg: float, air: AirMovement | None = None, vessel_j_k: float = 0.0) -> LagPrior:
    """Return the likely time constant of a tub of meat under brine. [s]

    Parameters
    ----------
    meat_kg, brine_kg : float, >= 0, not both 0
        What stands in the tub. [kg]
    air : {"still", "stirred", "blast"} or None
        How the air moves at the tub; None where nobody has said.
    vessel_j_k : float, >= 0
        Heat that the empty vessel takes for each kelvin; a plastic tub takes next to nothing. [J/K]

    Returns
    -------
    LagPrior
        Median and spread. [s], [1]

    Raises
    ------
    ValueError
        If a mass or the vessel's heat is negative, both masses are zero, or the air movement is unknown.

    Notes
    -----
    Air movement said: sum of m c over h A, the tub a cylinder two thirds as high as wide, air all round it. Not said:
    `time_constant_prior` of heat.py, which stands for tubs of any make. The meat's own core lags its brine by less
    than an hour (0.77 h at 55 mm), and the brine is the warmer of the two while the room warms.

    Examples
    --------
    >>> (round(tub_prior(4.0, 5.0).tau_s / 3600, 1), round(tub_prior(4.0, 5.0, "still").tau_s / 3600, 1))
    (6.0, 5.5)
    >>> round(tub_prior(4.0, 5.0, "stirred").tau_s / 3600, 1)
    3.2

    References
    ----------
    [1] House, heat balance; the worked 5.0 h of a 9 kg tub is in the published tests.
    """
    if not (meat_kg >= 0 and brine_kg >= 0 and meat_kg + brine_kg > 0 and vessel_j_k >= 0):
        raise ValueError(f"a tub of {meat_kg} kg meat and {brine_kg} kg brine has no time constant")
    h, sigma_ln = _coefficient(air)
    if air is None:
        return LagPrior(time_constant_prior(meat_kg + brine_kg, "tub"), sigma_ln)
    beef = thermal_properties(LEAN, FILLED_AT_C)
    volume = meat_kg / beef.density_kg_m3 + brine_kg / BRINE_DENSITY_KG_M3
    width = (4 * volume / (math.pi * _TUB_HEIGHT_SHARE)) ** (1 / 3)
    area = math.pi * width**2 * (0.5 + _TUB_HEIGHT_SHARE)
    heat_j_k = meat_kg * beef.heat_j_kg_k + 1000 * brine_kg * BRINE_HEAT_KJ_KG_K + vessel_j_k
    return LagPrior(lumped_time_constant([(1.0, heat_j_k)], h, area), sigma_ln)


def _coefficient(air: AirMovement | None) -> tuple[float, float]:
    if air is None:
        return UNSAID_W_M2K, TIME_CONSTANT_SIGMA_LN
    if air not in HEAT_TRANSFER_W_M2K:
        raise ValueError(f"unknown air movement: {air}")
    return HEAT_TRANSFER_W_M2K[air], SAID_SIGMA_LN

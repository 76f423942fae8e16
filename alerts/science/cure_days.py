"""How long a cure takes, and how far salt gets: by practice and by diffusion. Pure: no clock, no I/O."""

import math
from typing import Literal, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from alerts.science.conduction import Shape
from alerts.science.record import FloatArray
from alerts.science.salt import ACTIVATION_J_MOL, diffusivity_ratio, penetration
from alerts.science.uptake import diffused_m2, front_depth

ICE_C = -1.5
"""At or below it nothing counts by diffusion either: half a kelvin above the freezing point of meat. House."""

PLAN_C = 4.0
"""Temperature at which curing time counts in full by diffusion. House."""

TARGET_WPS = 2.0
"""Water-phase salt at which salt counts as having reached a place, in per cent. House: there is no published figure."""

DAY_S = 86400.0
INCH_M = 0.0254
POUND_KG = 0.45359237

Aim: TypeAlias = Literal["centre", "mean"]


class Practice(NamedTuple):
    """A rule of the trade: so many days, from and to, for a measure of the piece, and who says so."""

    days_from: float
    days_to: float
    per: Literal["inch", "lb"]
    source: str
    known: str


PRACTICES: dict[str, Practice] = {
    "dry cure, bellies": Practice(7.0, 7.0, "inch", "USDA Farmers' Bulletin 2265, dry curing", "second-hand"),
    "dry cure, hams by cushion depth": Practice(7.0, 7.0, "inch", "Virginia Coop. Ext. 458-223", "from memory"),
    "dry cure, hams by weight": Practice(1.5, 1.5, "lb", "Virginia Coop. Ext. 458-223", "from memory"),
    "dry cure, hams and picnics": Practice(3.0, 3.0, "lb", "USDA Farmers' Bulletin 2265, dry curing", "second-hand"),
    "brine cure, hams and shoulders": Practice(
        3.5, 4.0, "lb", "USDA Farmers' Bulletin 2265, sweet pickle cure", "looked up"
    ),
}
"""Published rules of practice. For the thickness of a piece in brine none was found; the one that is passed round, a
day for each half inch and two more, has no handbook behind it and is not here."""


class Reach(NamedTuple):
    """How far salt gets in some days, by diffusion (low, likely, high) and by practice, and how they disagree."""

    mean_wps: tuple[float, float, float]
    centre_wps: tuple[float, float, float]
    front_m: tuple[float, float, float]
    """Depth below each face that has reached the target; the half thickness where the centre has. [m]"""
    practice_front_m: tuple[float, float] | None
    """Depth that the rule counts as cured in that time; None where the rule goes by weight. [m]"""
    days_needed: tuple[float, float, float]
    """Days until the centre has reached the target, quick, likely, slow; infinite where the brine is too weak."""
    practice_days: tuple[float, float]
    """Days that the rule asks for, from and to."""
    times_longer: float
    """Likely days by diffusion / middle days by practice: 1 is agreement. [1]"""


def cure_rate_diffusion(
    temp_c: ArrayLike,
    reference_c: float = PLAN_C,
    *,
    activation_j_mol: float = ACTIVATION_J_MOL,
    credit_warmth: bool = False,
) -> FloatArray:
    """Return the share of time that counts as curing by diffusion. [1]

    Parameters
    ----------
    temp_c : float or array
        Product temperature. [°C]
    reference_c : float
        Temperature at which time counts in full. [°C]
    activation_j_mol : float
        Activation energy of salt diffusion. [J/mol]
    credit_warmth : bool
        Whether warmer meat counts for more than time; for information only, warmth earns no credit.

    Returns
    -------
    ndarray of the shape of `temp_c`
        0 at `ICE_C` or below; at most 1 unless warmth is credited. [1]

    Examples
    --------
    >>> cure_rate_diffusion([-1.5, 0.5, 4.0, 9.0]).round(3).tolist()
    [0.0, 0.87, 1.0, 1.0]

    References
    ----------
    [1] Arrhenius form as in `diffusivity_ratio`; the stop and the cap are house.
    """
    temps = np.asarray(temp_c, dtype=np.float64)
    rate = np.where(temps > ICE_C, diffusivity_ratio(temps, reference_c, activation_j_mol), 0.0)
    return np.asarray(rate if credit_warmth else np.minimum(rate, 1.0))


def practice_days(practice: Practice, *, thickness_m: float, mass_kg: float) -> tuple[float, float]:
    """Return how many days a rule of practice asks for. [d]

    Parameters
    ----------
    practice : Practice
        The rule, such as one of `PRACTICES`.
    thickness_m : float, > 0
        Thickness of the piece. [m]
    mass_kg : float, > 0
        Mass of one piece. [kg]

    Returns
    -------
    tuple of float
        From and to. [d]

    Raises
    ------
    ValueError
        If thickness or mass is not above zero.

    Examples
    --------
    >>> [round(d, 1) for d in practice_days(PRACTICES["dry cure, bellies"], thickness_m=0.0508, mass_kg=4.5)]
    [14.0, 14.0]
    >>> [round(d) for d in practice_days(PRACTICES["brine cure, hams and shoulders"], thickness_m=0.16, mass_kg=6.8)]
    [52, 60]

    References
    ----------
    [1] The rule's own source.
    """
    if not thickness_m > 0 or not mass_kg > 0:
        raise ValueError("thickness and mass are above zero")
    measure = thickness_m / INCH_M if practice.per == "inch" else mass_kg / POUND_KG
    return practice.days_from * measure, practice.days_to * measure


def days_by_diffusion(share: float, half_thickness_m: float, shape: Shape, temp_c: float, aim: Aim) -> FloatArray:
    """Return after how many days in endless brine the salt has reached a share of the brine's. [d]

    Parameters
    ----------
    share : float, above 0
        Share of the brine's salt wanted; 1 or more is never reached. [1]
    half_thickness_m : float, > 0
        Half the thickness of a slab; the radius of a cylinder or sphere. [m]
    shape : {"slab", "cylinder", "sphere"}
        The simple body that the piece is taken for.
    temp_c : float
        Temperature of the product. [°C]
    aim : {"centre", "mean"}
        Where it is wanted.

    Returns
    -------
    ndarray, shape (3,)
        Quick, likely and slow; infinite where it is never reached, or the meat is frozen. [d]

    Raises
    ------
    ValueError
        If the share or the half thickness is not above zero, or the aim or the shape unknown.

    Notes
    -----
    The Fourier number is found by bisection, then divided by the diffusivity: the high end of its band is the quick
    one. Time goes with the square of the thickness.

    Examples
    --------
    >>> days_by_diffusion(2.0 / 9.5, 0.0275, "slab", 4.0, "centre").round(1).tolist()
    [6.9, 9.1, 13.3]

    References
    ----------
    [1] `salt.penetration` solved for the time.
    """
    if not share > 0 or not half_thickness_m > 0:
        raise ValueError("the share and the half thickness are above zero")
    if aim not in ("centre", "mean"):
        raise ValueError(f"unknown aim: {aim}")

    def reached(fo: float) -> bool:
        found = penetration(fo, shape)
        return (found.centre if aim == "centre" else found.mean) >= share

    per_second = diffused_m2([0.0, 1.0], [temp_c, temp_c])
    if not reached(10.0) or per_second[0] == 0:
        return np.full(3, math.inf)
    low, high = 0.0, 10.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if reached(middle) else (middle, high)
    return np.array([high * half_thickness_m**2 / d / DAY_S for d in reversed(per_second)])


def reach_of_salt(
    thickness_m: float,
    days: float,
    temp_c: float,
    brine_wps: float,
    practice: Practice,
    *,
    mass_kg: float,
    target_wps: float = TARGET_WPS,
) -> Reach:
    """Return how far salt gets into a slab in so many days, by diffusion and by practice. [per cent, m, d]

    Parameters
    ----------
    thickness_m : float, > 0
        Thickness of the piece; its edges are left out. [m]
    days : float, >= 0
        Length of the cure. [d]
    temp_c : float
        Temperature of the product. [°C]
    brine_wps : float, > 0
        Salt of the brine over salt and water. [% w/w]
    practice : Practice
        The rule to set beside it.
    mass_kg : float, > 0
        Mass of one piece. [kg]
    target_wps : float, > 0
        Water-phase salt that counts as reached (house). [% w/w]

    Returns
    -------
    Reach
        Bands from `DIFFUSIVITY_BAND_M2_S`; endless brine, so high where there is little brine. [% w/w], [m], [d]

    Raises
    ------
    ValueError
        If a figure is out of range.

    Notes
    -----
    An estimate of salt only: it says nothing about nitrite and nothing about safety. Practice is linear in thickness,
    diffusion quadratic: practice is generous to thin pieces and short for thick ones.

    Examples
    --------
    >>> found = reach_of_salt(0.055, 5.0, 4.0, 9.5, PRACTICES["dry cure, bellies"], mass_kg=3.0)
    >>> [round(wps, 1) for wps in found.mean_wps], [round(wps, 1) for wps in found.centre_wps]
    ([2.9, 3.5, 4.0], [0.1, 0.5, 1.1])
    >>> [round(1000 * depth) for depth in found.front_m], round(1000 * found.practice_front_m[0])
    ([13, 16, 19], 9)
    >>> [round(d, 1) for d in found.days_needed], round(found.practice_days[0], 1), round(found.times_longer, 2)
    ([6.9, 9.1, 13.3], 15.2, 0.6)

    References
    ----------
    [1] `salt.penetration`, `front_depth`, `practice_days`.
    """
    if not thickness_m > 0 or not days >= 0 or not brine_wps > 0 or not target_wps > 0:
        raise ValueError("thickness, strength and target are above zero, and days are not negative")
    half, share = thickness_m / 2, target_wps / brine_wps
    fos = [d / half**2 for d in diffused_m2([0.0, days * DAY_S], [temp_c, temp_c])]
    found = [penetration(fo, "slab") for fo in fos]
    low, likely, high = (front_depth(fo, half, share) if share < 1 else 0.0 for fo in fos)
    by_rule = practice_days(practice, thickness_m=thickness_m, mass_kg=mass_kg)
    needed = days_by_diffusion(share, half, "slab", temp_c, "centre")
    rule_front = None
    if practice.per == "inch":
        least, most = sorted(min(half, days / rate * INCH_M / 2) for rate in (practice.days_from, practice.days_to))
        rule_front = (least, most)
    return Reach(
        (brine_wps * found[0].mean, brine_wps * found[1].mean, brine_wps * found[2].mean),
        (brine_wps * found[0].centre, brine_wps * found[1].centre, brine_wps * found[2].centre),
        (low, likely, high),
        rule_front,
        (float(needed[0]), float(needed[1]), float(needed[2])),
        by_rule,
        float(needed[1]) / (sum(by_rule) / 2),
    )

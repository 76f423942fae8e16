"""Ingoing nitrite and nitrate: how much of it the meat is given. Pure: no clock, no I/O.

Every figure is parts per million by mass of the salt that was weighed in (NaNO2, unless the bag says another), on the
green weight of the meat. Limits differ by class and country, and some are of the ion: they come from the rulebook.
The words: *agent* is pure nitrite or nitrate, *curing salt* the mixture that holds it, *pickle* the whole brine with
all that is in it.
"""

import math
from collections.abc import Iterable
from typing import Literal, TypeAlias

from alerts.science.brine import POUND_KG

Form: TypeAlias = Literal["NaNO2", "KNO2", "NO2", "NaNO3", "KNO3", "NO3"]

_SODIUM, _POTASSIUM, _NITROGEN, _OXYGEN = 22.98977, 39.0983, 14.007, 15.999
_NITRITE, _NITRATE = _NITROGEN + 2 * _OXYGEN, _NITROGEN + 3 * _OXYGEN
_MOLAR: dict[Form, float] = {
    "NaNO2": _SODIUM + _NITRITE,
    "KNO2": _POTASSIUM + _NITRITE,
    "NO2": _NITRITE,
    "NaNO3": _SODIUM + _NITRATE,
    "KNO3": _POTASSIUM + _NITRATE,
    "NO3": _NITRATE,
}


def expressed_as(ppm: float, have: Form, want: Form) -> float:
    """Return the same nitrite, or the same nitrate, named by another salt or by its ion. [ppm]

    Parameters
    ----------
    ppm : float, >= 0
        As `have`. [ppm by mass]
    have, want : {"NaNO2", "KNO2", "NO2", "NaNO3", "KNO3", "NO3"}
        Both nitrites or both nitrates; `NO2` and `NO3` are the ions.

    Returns
    -------
    float
        As `want`. [ppm by mass]

    Raises
    ------
    ValueError
        If the figure is no amount, or one is a nitrite and the other a nitrate.

    Notes
    -----
    By molar mass. 150 ppm NaNO2 are 100 of the ion; comparing one with a limit of the other is wrong by a third.

    Examples
    --------
    >>> [round(expressed_as(ppm, "NaNO2", "NO2"), 1) for ppm in (120.0, 150.0, 156.0)]
    [80.0, 100.0, 104.0]

    References
    ----------
    [1] Molar masses from IUPAC atomic weights (abridged); 0.67, 0.73 and 0.61 are the rounded factors of the EU's texts
        (read).
    """
    if have.endswith("2") != want.endswith("2"):
        raise ValueError(f"{have} cannot be told as {want}: nitrite and nitrate are two things")
    return _amount(ppm, "ppm") * _MOLAR[want] / _MOLAR[have]


def agent_in(curing_salt_kg: float, composition_percent: float) -> float:
    """Return the pure nitrite or nitrate in a curing salt. [kg]

    Parameters
    ----------
    curing_salt_kg : float, >= 0
        Curing salt weighed in. [kg]
    composition_percent : float, 0 to 100
        What the bag of this lot says; makers differ by a factor of ten. [% by mass]

    Returns
    -------
    float
        At least 0. [kg]

    Raises
    ------
    ValueError
        If the mass is no amount, or the composition no percentage.

    Examples
    --------
    >>> round(agent_in(0.030, 6.25), 6)
    0.001875

    References
    ----------
    [1] Definition of a composition.
    """
    if not 0 <= composition_percent <= 100:
        raise ValueError(f"a curing salt cannot hold {composition_percent} % of nitrite or nitrate")
    return _amount(curing_salt_kg, "kg of curing salt") * composition_percent / 100


def pumped(agent_kg: float, pickle_kg: float, pump_percent: float) -> float:
    """Return what pumped or injected meat is given. [ppm]

    Parameters
    ----------
    agent_kg : float, >= 0
        Nitrite or nitrate in the pickle. [kg]
    pickle_kg : float, > 0
        The pickle, all its parts weighed together. [kg]
    pump_percent : float, >= 0
        Pickle that went in. [% of the green weight]

    Returns
    -------
    float
        On the green weight. [ppm]

    Raises
    ------
    ValueError
        If a mass or share is no amount, or the pickle weighs less than the agent in it.

    Examples
    --------
    >>> round(pumped(0.032 * 0.0588, 1.266, 10.0), 1)
    148.6

    References
    ----------
    [1] FSIS *Processing Inspectors' Calculations Handbook* (directive 7620.3, revised 1995), pumped products. (Formula
        as quoted in pages read.)
    """
    share = _amount(pump_percent, "% pumped")
    return 1e6 * _share_of_pickle(agent_kg, pickle_kg) * share / 100


def immersion_method_one(agent_kg: float, pickle_kg: float, pickup_percent: float) -> float:
    """Return what immersed meat is given, by the brine it is known to pick up. [ppm]

    Parameters
    ----------
    agent_kg : float, >= 0
        Nitrite or nitrate in the pickle. [kg]
    pickle_kg : float, > 0
        The pickle, all its parts weighed together. [kg]
    pickup_percent : float, >= 0
        Pickle that the meat takes up, weighed before and after. [% of the green weight]

    Returns
    -------
    float
        On the green weight. [ppm]

    Raises
    ------
    ValueError
        If a mass or share is no amount, or the pickle weighs less than the agent in it.

    Notes
    -----
    For meat that is in the brine only until it has picked that up. 10 % is a convention; kitchens weigh 3 to 10 %. Left
    until brine and meat are even, the meat ends at `immersion_method_two`.

    Examples
    --------
    >>> round(immersion_method_one(0.00126, 0.6, 10.0), 6)
    210.0

    References
    ----------
    [1] As `pumped`; immersion, Method One.
    """
    share = _amount(pickup_percent, "% picked up")
    return 1e6 * _share_of_pickle(agent_kg, pickle_kg) * share / 100


def immersion_method_two(agent_kg: float, pickle_kg: float, meat_kg: float) -> float:
    """Return what immersed meat is given once brine and meat are even. [ppm]

    Parameters
    ----------
    agent_kg : float, >= 0
        Nitrite or nitrate in the pickle. [kg]
    pickle_kg : float, > 0
        The pickle, all its parts weighed together. [kg]
    meat_kg : float, > 0
        Green weight of the meat in it, this batch's own: not of the recipe's example. [kg]

    Returns
    -------
    float
        On meat and pickle together. [ppm]

    Raises
    ------
    ValueError
        If a mass is no amount, there is no meat, or the pickle weighs less than the agent in it.

    Examples
    --------
    >>> round(immersion_method_two(0.00126, 0.6, 1.2), 6)
    700.0

    References
    ----------
    [1] As `pumped`; immersion, Method Two.
    """
    _share_of_pickle(agent_kg, pickle_kg)
    return 1e6 * agent_kg / (pickle_kg + _some(meat_kg, "kg of meat"))


def rubbed_or_mixed_in(agent_kg: float, meat_kg: float) -> float:
    """Return what dry-cured or comminuted meat is given: all that was weighed for it. [ppm]

    Parameters
    ----------
    agent_kg : float, >= 0
        Nitrite or nitrate in all that is rubbed on or mixed in, over all rubs. [kg]
    meat_kg : float, > 0
        Green weight of the meat; water and other things mixed in are left out. [kg]

    Returns
    -------
    float
        On the green weight. [ppm]

    Raises
    ------
    ValueError
        If a mass is no amount or there is no meat.

    Examples
    --------
    >>> rubbed_or_mixed_in(agent_in(0.0025, 6.25), 1.0)
    156.25

    References
    ----------
    [1] As `pumped`; comminuted (formula as quoted) and dry cured (pages named in the source, formula from memory).
    """
    return 1e6 * _amount(agent_kg, "kg of nitrite or nitrate") / _some(meat_kg, "kg of meat")


def total_ingoing(parts_ppm: Iterable[float]) -> float:
    """Return what a piece is given by all steps together, which is held against one limit. [ppm]

    Parameters
    ----------
    parts_ppm : iterable of float, each >= 0
        Each step on the same piece, in the same salt: pumped, then immersed, and so on. [ppm]

    Returns
    -------
    float
        Their sum; 0 for none. [ppm]

    Raises
    ------
    ValueError
        If a part is no amount: a step that is not known makes the sum unknown.

    Examples
    --------
    >>> total_ingoing([120.0, 42.5])
    162.5

    References
    ----------
    [1] As `pumped`; several methods on one product. (Chapter heading seen, rule from memory.)
    """
    return math.fsum(_amount(part, "ppm") for part in parts_ppm)


def curing_salt_for(ppm: float, composition_percent: float, base_kg: float) -> float:
    """Return the curing salt that gives so much nitrite. [kg]

    Parameters
    ----------
    ppm : float, >= 0
        Wanted, as the salt that the composition names. [ppm]
    composition_percent : float, above 0, to 100
        What the bag of this lot says. [% by mass]
    base_kg : float, > 0
        What it is reckoned on: the green weight for dry cure and comminuted; meat and pickle together for Method Two,
        the curing salt itself included. [kg]

    Returns
    -------
    float
        At least 0. [kg]

    Raises
    ------
    ValueError
        If the wanted amount is none, the composition is not above 0 to 100 per cent, or there is nothing to cure.

    Examples
    --------
    >>> [round(1000 * curing_salt_for(ppm, 6.25, 1.0), 2) for ppm in (120.0, 156.25, 200.0, 625.0)]
    [1.92, 2.5, 3.2, 10.0]

    References
    ----------
    [1] `rubbed_or_mixed_in` turned round.
    """
    if not 0 < composition_percent <= 100:
        raise ValueError(f"a curing salt of {composition_percent} % gives no nitrite to reckon with")
    return _amount(ppm, "ppm") * 1e-6 * _some(base_kg, "kg to cure") / (composition_percent / 100)


def pickle_from_gallons(gallons: float, lb_per_gallon: float) -> float:
    """Return the mass of a pickle that a recipe gives in gallons. [kg]

    Parameters
    ----------
    gallons : float, > 0
        How many, of whichever gallon the weight is given for. [gal]
    lb_per_gallon : float, > 0
        What a gallon of it weighs; no default, since three figures are about: a US gallon of water 8.345 lb, a US
        gallon of pickle 10 lb by the rule of thumb behind the limits for pumped meat, an imperial gallon of water
        10.02 lb. [lb]

    Returns
    -------
    float
        Above 0. [kg]

    Raises
    ------
    ValueError
        If one of them is not above zero.

    Notes
    -----
    2 lb of nitrite in 100 gal at 10 % pump are 200 ppm only with pickle at 10 lb a gallon. With 8.345 lb, which is
    water, the same recipe reads 240: it is the weight of the pickle that counts, and weighing it is better than either.

    Examples
    --------
    >>> two_lb = 2 * POUND_KG
    >>> [round(pumped(two_lb, pickle_from_gallons(100, lb), 10.0), 1) for lb in (10.0, 8.345)]
    [200.0, 239.7]

    References
    ----------
    [1] 9 CFR 424.21(c), quantities as quoted; the pound is exact by definition.
    """
    return _some(gallons, "gallons") * _some(lb_per_gallon, "lb in a gallon") * POUND_KG


def _share_of_pickle(agent_kg: float, pickle_kg: float) -> float:
    agent, pickle = _amount(agent_kg, "kg of nitrite or nitrate"), _some(pickle_kg, "kg of pickle")
    if agent > pickle * (1 + 1e-9):
        raise ValueError(f"{pickle} kg of pickle cannot hold {agent} kg of nitrite or nitrate")
    return agent / pickle


def _amount(value: float, what: str) -> float:
    if not (math.isfinite(value) and value >= 0):
        raise ValueError(f"{value} {what} is no amount")
    return value


def _some(value: float, what: str) -> float:
    if not _amount(value, what) > 0:
        raise ValueError(f"{value} {what} is nothing to reckon with")
    return value

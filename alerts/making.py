"""What went into a batch by its plan and by its sheet, its nitrite and its salt. Pure: no clock, no I/O.

A mass that was not entered is never zero, unless the plan has none of it. Where only the masses that thin a brine down
are missing, the figure is an upper bound: it may hold, and never passes.
"""

from dataclasses import dataclass

from alerts.case import Case
from alerts.rulebook.book import Limit, ProductClass, Rulebook
from alerts.science.brine import strength
from alerts.science.nitrite import (
    Form,
    agent_in,
    expressed_as,
    immersion_method_one,
    immersion_method_two,
    pumped,
    rubbed_or_mixed_in,
    total_ingoing,
)
from collector.batches import AsMade, HandReading, Method, Plan
from collector.logs import Composition

WET_METHODS = (Method.IMMERSION, Method.INJECTED)
FORMS: dict[str, tuple[Form, Form]] = {
    "ppm NaNO2": ("NaNO2", "NaNO2"),
    "ppm NO2": ("NaNO2", "NO2"),
    "ppm NaNO3": ("NaNO3", "NaNO3"),
    "ppm NO3": ("NaNO3", "NO3"),
}
"""The sodium salt that figures here are of, and what a limit in each unit is of."""
METHOD_ONE = "method one"


@dataclass(frozen=True, slots=True)
class Mix:
    """What went in; None for what nobody has said. Masses in kg."""

    meat_kg: float
    water_kg: float | None
    salt_kg: float | None
    sugar_kg: float | None
    curing_salt_kg: float | None
    nitrite_percent: float | None
    nitrate_percent: float | None
    pump_percent: float | None
    at_odds: bool = False
    """Whether the composition was read differently by different people."""

    @property
    def cured(self) -> bool:
        """Return whether any curing salt went in, or nobody knows."""
        return self.curing_salt_kg is None or self.curing_salt_kg > 0


def planned(plan: Plan) -> Mix:
    """Return what the plan puts in. [kg]"""
    return Mix(
        plan.meat_kg, plan.water_kg, plan.salt_kg, plan.sugar_kg, plan.curing_salt_kg, plan.nitrite_percent,
        plan.nitrate_percent, plan.pump_percent,
    )  # fmt: skip


def made(plan: Plan, sheet: AsMade, bags: tuple[Composition, ...] = ()) -> Mix:
    """Return what the sheet says went in: what was not entered is none where the plan has none, else unknown. [kg]

    A composition that is not on the sheet is that of the bags of its lot. Where they and the sheet do not agree the
    strongest counts, as a bound.
    """

    def entered(weighed: float | None, meant: float) -> float | None:
        return 0.0 if weighed is None and meant == 0 else weighed

    read = {one.person: one for one in bags}
    nitrite = [sheet.nitrite_percent, *(one.nitrite_percent for one in read.values())]
    nitrate = [sheet.nitrate_percent, *(one.nitrate_percent for one in read.values())]
    pump = None if sheet.pumped_kg is None else 100.0 * (sheet.pumped_kg - sheet.meat_kg) / sheet.meat_kg
    return Mix(
        sheet.meat_kg,
        entered(sheet.water_kg, plan.water_kg),
        entered(sheet.salt_kg, plan.salt_kg),
        entered(sheet.sugar_kg, plan.sugar_kg),
        entered(sheet.curing_salt_kg, plan.curing_salt_kg),
        max((one for one in nitrite if one is not None), default=None),
        max((one for one in nitrate if one is not None), default=None),
        pump,
        at_odds=len({one for one in nitrite if one is not None}) > 1,
    )


def made_of(case: Case) -> Mix:
    """Return what the sheet of a batch says went in, with what was read on the bags. [kg]"""
    history = case.history
    return made(history.batch.plan, history.batch.as_made, history.compositions)


@dataclass(frozen=True, slots=True)
class Ingoing:
    """Nitrite or nitrate that goes into the meat, as the sodium salt. [ppm of the green meat]"""

    decided: float | None
    """By the method that decides; None where nothing can be reckoned, a bound where something is missing."""
    one: float | None
    """Immersion by Method One; None where nothing is immersed."""
    two: float | None
    """Immersion by Method Two."""
    missing: tuple[str, ...]
    """What was not said, in words."""

    @property
    def known(self) -> bool:
        """Return whether everything that it needs was said."""
        return self.decided is not None and not self.missing


def by_method_one(plan: Plan) -> bool:
    """Return whether the plan states Method One with a pick-up that was measured."""
    return plan.method in WET_METHODS and plan.nitrite_basis == METHOD_ONE and plan.pickup_percent is not None


def ingoing(plan: Plan, book: Rulebook, mix: Mix, substance: str = "nitrite") -> Ingoing:
    """Return how much `nitrite` or `nitrate` goes in. [ppm as the sodium salt]

    Dry: all that is rubbed on, over the green meat. Immersed: Method One takes the share of the pickle that the meat
    picks up, Method Two all of it over meat and pickle. What was injected before is added to both, and is not taken off
    the pickle: the handbook adds the steps, and so errs on the high side.
    """
    percent = mix.nitrite_percent if substance == "nitrite" else mix.nitrate_percent
    wet = plan.method in WET_METHODS
    missing = [] if mix.curing_salt_kg is not None else ["the mass of the curing salt"]
    missing += [] if percent is not None else [f"the {substance} in the curing salt"]
    missing += ["one composition: the bag was read differently"] if mix.at_odds else []
    thins = {"water": mix.water_kg, "salt": mix.salt_kg, "sugar": mix.sugar_kg} if wet else {}
    missing += [f"the mass of the {name}" for name, kg in thins.items() if kg is None]
    pump = mix.pump_percent
    if plan.method is Method.INJECTED and pump is None:
        missing.append("how much was injected")
        pump = plan.pump_percent
    if mix.curing_salt_kg is None or percent is None:
        return Ingoing(None, None, None, tuple(missing))
    agent_kg = agent_in(mix.curing_salt_kg, percent)
    if not wet:
        return Ingoing(_ppm(rubbed_or_mixed_in(agent_kg, mix.meat_kg)), None, None, tuple(missing))
    pickle_kg = sum(kg or 0.0 for kg in thins.values()) + mix.curing_salt_kg
    if not pickle_kg > 0:
        return Ingoing(0.0, 0.0, 0.0, tuple(missing))
    injected = pumped(agent_kg, pickle_kg, max(pump or 0.0, 0.0)) if plan.method is Method.INJECTED else 0.0
    in_brine = immersion_method_one(agent_kg, pickle_kg, pickup_percent(plan, book))
    one = _ppm(total_ingoing([injected, in_brine]))
    two = _ppm(total_ingoing([injected, immersion_method_two(agent_kg, pickle_kg, mix.meat_kg)]))
    return Ingoing(one if by_method_one(plan) else two, one, two, tuple(missing))


def pickup_percent(plan: Plan, book: Rulebook) -> float:
    """Return the pick-up that Method One takes: the plan's own, measured, or the conventional one. [% of the meat]"""
    stated = plan.pickup_percent
    return book.limits["nitrite.method_one_pickup"].value if stated is None else stated


def _ppm(value: float) -> float:
    """Return a figure as it is printed and compared. [ppm]"""
    return round(value, 1)


def in_unit_of(row: Limit, ppm: float) -> float:
    """Return ppm of the sodium salt in the unit of a row: as the salt, or as the ion. [ppm]"""
    return _ppm(expressed_as(ppm, *FORMS[row.unit]))


@dataclass(frozen=True, slots=True)
class Classes:
    """Which class of product bounds the nitrite of a plan."""

    possible: tuple[ProductClass, ...]
    """The one that holds, or each that it may be of."""
    settled: bool
    """Whether there is one, by the plan or by what it says of method and route."""
    chosen_by: str
    """Who or what chose it, in words; why there is none."""


def classes_of(plan: Plan, book: Rulebook, planned_by: str = "") -> Classes:
    """Return the class that a plan names or that its method and route decide; else each that it may be of."""
    named = book.classes.get(plan.product_class)
    possible = book.classes_for(plan.method, plan.route, plan.meat)
    if named is not None and (not named.judged or named in possible):
        return Classes((named,), True, f"chosen by {planned_by}" if planned_by else "chosen by the plan")
    if named is not None:
        return Classes(possible, False, f"the plan's class ({named.words}) is not for its method, route and meat")
    if plan.product_class:
        return Classes(possible, False, f"this rulebook has no class {plan.product_class}")
    if len(possible) == 1 and possible[0].chosen_by != "person":
        return Classes(possible, True, f"by the {possible[0].chosen_by} of the plan")
    return Classes(possible, False, "nobody has chosen the class of product")


@dataclass(frozen=True, slots=True)
class Between:
    """A figure that lies between two, which are one where everything was said. [% by mass]"""

    least: float
    most: float


MEAT_WATER_PERCENT = 70.0
"""House: water of lean raw meat; by it 2.2 % of salt on the meat are 3.05 % of its water. [% by mass]"""


def _nacl_kg(mix: Mix) -> tuple[float, float] | None:
    """Return all sodium chloride, that of the curing salt included: with a bag that nobody read, none of it or all."""
    if mix.salt_kg is None or mix.curing_salt_kg is None:
        return None
    if mix.nitrite_percent is None:
        return mix.salt_kg, mix.salt_kg + mix.curing_salt_kg
    other = mix.nitrite_percent + (mix.nitrate_percent or 0.0)
    nacl = mix.salt_kg + mix.curing_salt_kg * max(0.0, 100.0 - other) / 100.0
    return nacl, nacl


def _strength(nacl: tuple[float, float] | None, water_kg: float | None) -> Between | None:
    if nacl is None or water_kg is None or water_kg <= 0:
        return None
    least, most = (round(float(strength(kg, water_kg)), 2) for kg in nacl)
    return Between(least, most)


def brine_strength(mix: Mix) -> Between | None:
    """Return the strength of a brine as it is mixed, sugar left out; None where it cannot be reckoned. [% by mass]"""
    return _strength(_nacl_kg(mix), mix.water_kg)


def evened_out(plan: Plan, mix: Mix) -> Between | None:
    """Return the salt of the meat's water once salt has evened out; None where it cannot be reckoned. [% by mass]

    Salt in excess is taken off again: how much went in only a measurement tells.
    """
    if plan.method is Method.DRY_IN_EXCESS:
        return None
    water = mix.water_kg if plan.method in WET_METHODS else 0.0
    return None if water is None else _strength(_nacl_kg(mix), water + mix.meat_kg * MEAT_WATER_PERCENT / 100.0)


def states_salt(mix: Mix) -> bool:
    """Return whether anything at all was said of salt."""
    return mix.salt_kg != 0 or mix.curing_salt_kg != 0


def measured_last(case: Case, measure: str) -> HandReading | None:
    """Return the last hand reading of a measure, up to the instant of judging."""
    taken = [r for r in case.history.batch.hand_readings if r.measure == measure and r.measured_at <= case.until_at]
    return max(taken, key=lambda reading: reading.measured_at, default=None)

"""What of a plan cannot work by a rulebook: class, nitrite, salt, vessel, parasites, poultry. Pure: no clock, no I/O.

A plan that is refused here would be held by rules e-8 and e-9, or never released by e-11, once meat was in it.
"""

from dataclasses import dataclass

from alerts.making import (
    WET_METHODS,
    Classes,
    brine_strength,
    classes_of,
    evened_out,
    in_unit_of,
    ingoing,
    planned,
    states_salt,
)
from alerts.rulebook.book import Rulebook
from alerts.rules_uncooked import may_carry_parasites, parasites_controlled, process_named
from alerts.vessel import bare_metal
from collector.batches import Plan, Route

MORE_WATER = ", or more water; or state Method One with the pick-up that you measured"


@dataclass(frozen=True, slots=True)
class Refused:
    """One reason why a plan is refused: in which field, what, and how to mend it."""

    field: str
    what: str
    mend: str


def refusals(plan: Plan, book: Rulebook) -> tuple[Refused, ...]:
    """Return why a plan is refused by a rulebook; nothing where it may be made, or too little is known to refuse it."""
    found = [*_class(plan, book), *_nitrite(plan, book), *_salt(plan, book), *_vessel(plan), *_uncooked(plan, book)]
    return tuple(found)


def _choices(plan: Plan, book: Rulebook) -> str:
    fitting = book.classes_for(plan.method, plan.route, plan.meat)
    return "choose one of: " + ", ".join(one.id for one in fitting) if fitting else "this rulebook has none for it"


def _class(plan: Plan, book: Rulebook) -> list[Refused]:
    if not plan.product_class:
        return []
    named = book.classes.get(plan.product_class)
    if named is None:
        return [Refused("product_class", f"there is no class {plan.product_class}", _choices(plan, book))]
    if not named.judged:
        return [Refused("product_class", f"{named.words}: out of scope", "nothing here judges it; do not plan it here")]
    if not named.fits(plan.method, plan.route, plan.meat):
        what = f"{named.words}: not for this method, route and meat"
        return [Refused("product_class", what, _choices(plan, book))]
    return []


def _nitrite(plan: Plan, book: Rulebook) -> list[Refused]:
    classes: Classes = classes_of(plan, book)
    rows = [book.limits[one.ingoing] for one in classes.possible if one.ingoing is not None]
    found = ingoing(plan, book, planned(plan))
    if (
        not rows
        or len(rows) < len(classes.possible)
        or found.decided is None
        or "how much was injected" in found.missing
    ):
        return []
    # With no class chosen only what is over every limit is refused: the rest is asked for.
    over = [row for row in rows if in_unit_of(row, found.decided) > row.value]
    if len(over) < len(rows):
        return []
    row = max(over, key=lambda one: one.value)
    both = (
        f" (Method One: {in_unit_of(row, found.one):g})" if found.one is not None and found.one != found.decided else ""
    )
    what = f"{in_unit_of(row, found.decided):g} {row.unit}{both} is over the limit of {row.value:g} ({row.cited})"
    mend = "use less curing salt" + (MORE_WATER if plan.method in WET_METHODS else "")
    return [Refused("curing_salt_kg", what, mend)]


def _vessel(plan: Plan) -> list[Refused]:
    metal = bare_metal(plan.vessel)
    what = f"salt and nitrite eat into bare {metal}, and it goes into the meat"
    return [Refused("vessel", what, "use food-grade plastic or glass")] if metal else []


def _salt(plan: Plan, book: Rulebook) -> list[Refused]:
    mix = planned(plan)
    if not states_salt(mix):
        return []
    found = []
    strength = brine_strength(mix) if plan.method in WET_METHODS else None
    most = book.limits["brine.saturation"]
    if strength is not None and strength.least > most.value:
        what = f"a brine of {strength.least:g} % does not exist: no more than {most.value:g} % dissolves"
        found.append(Refused("salt_kg", what, "use less salt, or more water"))
    evened, least = evened_out(plan, mix), book.limits["salt.aqueous_least"]
    if plan.route is Route.UNCOOKED and evened is not None and evened.most < least.value:
        what = f"{evened.most:g} % of salt in the meat's water is under {least.value:g} % ({least.cited})"
        found.append(Refused("salt_kg", what, "use more salt, or cook it"))
    return found


def _uncooked(plan: Plan, book: Rulebook) -> list[Refused]:
    """Return why meat may not be planned to be eaten as cured: poultry without a number, parasites not controlled."""
    found: list[Refused] = []
    if plan.route is not Route.UNCOOKED:
        return found
    if plan.meat == "poultry" and not process_named(plan):
        what = "no published process cures poultry without heat"
        found.append(Refused("process", what, "name the approved process with its number, or cook it"))
    if book.authority == "US" and may_carry_parasites(plan) and not parasites_controlled(plan, book):
        what = "nothing that is enough here says how parasites are controlled"
        mend = "name freezing, a tested carcass or a published cure, or cook it"
        found.append(Refused("parasite_control", what, mend))
    return found

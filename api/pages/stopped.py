"""If cooling stopped now: what a unit's page says of it, and the sheet for the wall for a power cut."""

import math
from dataclasses import dataclass

from fastapi import APIRouter
from fastapi.responses import Response

from alerts.holdover import HoldOver, hold_over_of
from alerts.sentences import clock_text
from api.auth.signed import OfficeHere
from api.doing import NotThere
from api.office import Office
from api.pages.frame import Framed
from api.pages.rendering import show
from api.pages.wording import degrees, long_text, short_text
from api.tonight import UnitNow, hold_overs, unit_now, zone_of
from collector.batches import Batch
from collector.sample import Instant

router = APIRouter()
HEAVY_KG = 20.0
"""Rules 4.4 (house): what weighs more is carried by two."""


@dataclass(frozen=True, slots=True)
class LotStopped:
    """One batch, if cooling stopped now."""

    lot: str
    name: str
    words: str
    tubs: str
    weight: str


@dataclass(frozen=True, slots=True)
class Stopped:
    """One unit, if cooling stopped now."""

    sentence: str
    lots: tuple[LotStopped, ...]
    """In the order in which they would pass their limit."""
    unknown: tuple[str, ...]
    """Lots of which nothing is known now."""


@dataclass(frozen=True, slots=True)
class PowerCutContext:
    """Context of the sheet."""

    unit: str
    name: str
    limit: str
    written: str
    stopped: Stopped
    called: tuple[str, ...]


def _when(span_s: float, now: Instant, zone: str) -> str:
    if math.isinf(span_s):
        return "not at all, while it is no warmer outside"
    if span_s <= 0:
        return "now"
    if span_s > 2 * 86_400.0:
        return f"in {long_text(span_s)}"
    return f"{clock_text(now + span_s, zone)} (in {long_text(span_s)})"


def _words(one: HoldOver, now: Instant, zone: str) -> str:
    if one.early_s <= 0:
        return "may be above its limit now"
    early = f"could pass its limit: {_when(one.early_s, now, zone)}"
    if one.likely_s is None or one.late_s is None:
        return early
    late = "later, or never" if math.isinf(one.late_s) else _when(one.late_s, now, zone)
    return f"{early}; likely {_when(one.likely_s, now, zone)}; it may take until {late}"


def _sentence(unit: UnitNow, first: HoldOver | None, now: Instant, zone: str) -> str:
    if first is None:
        return "Nothing is known of meat in it now, so nothing is said of how long it would hold."
    if first.early_s <= 0:
        return "Meat in it may be above its limit now: it holds over no longer."
    holds = "for as long as it is no warmer outside" if math.isinf(first.early_s) else long_text(first.early_s)
    words = f"With its doors shut it would hold {holds} at least (estimate, from {clock_text(now, zone)})"
    if first.learned:
        return f"{words}."
    return f"{words}. How fast its air warms is not known yet, so the air is taken to be warm at once."


def _weight(batch: Batch) -> float:
    made = batch.as_made
    parts = (made.meat_kg, made.water_kg, made.salt_kg, made.sugar_kg, made.curing_salt_kg)
    return sum(part for part in parts if part is not None)


def _lot(batch: Batch, one: HoldOver, unit: str, now: Instant, zone: str) -> LotStopped:
    here = {p.tub for p in batch.placements if p.unit == unit and p.until_at is None}
    share = _weight(batch) * len(here) / max(len(batch.tubs), 1)
    each = share / max(len(here), 1)
    two = ", two people to a tub" if each > HEAVY_KG else ""
    return LotStopped(
        batch.lot, batch.plan.name, _words(one, now, zone), ", ".join(sorted(here)), f"about {share:.0f} kg{two}"
    )  # fmt: skip


def stopped_of(unit: UnitNow, now: Instant, zone: str) -> Stopped:
    """Return what is said of a unit if its cooling stopped now."""
    found = hold_overs(unit, now)
    batches = {batch.lot: batch for batch in unit.batches}
    order = sorted(found, key=lambda lot: (found[lot].early_s, lot))
    lots = tuple(_lot(batches[lot], found[lot], unit.unit.id, now, zone) for lot in order)
    unknown = tuple(lot for lot in batches if lot not in found)
    return Stopped(_sentence(unit, hold_over_of(found), now, zone), lots, unknown)


def _called(office: Office) -> tuple[str, ...]:
    kitchen = office.present.kitchen
    people = dict.fromkeys(step.person for step in kitchen.rota)
    return tuple(kitchen.people[p].name if p in kitchen.people else p for p in people)


@router.get("/units/{unit}/power-cut")
def power_cut(unit: str, office: OfficeHere, frame: Framed) -> Response:
    """Return the sheet for the wall: what to do with this unit when the power is gone."""
    kitchen, now = office.present.kitchen, office.clock()
    if unit not in kitchen.units:
        raise NotThere(f"no unit is called {unit}")
    described, zone = kitchen.units[unit], zone_of(kitchen, unit)
    limit_c = office.limit_of(kitchen, described)
    here = unit_now(kitchen, described, office.estimates(), limit_c, now)
    context = PowerCutContext(
        unit, described.name, degrees(limit_c), short_text(now, zone), stopped_of(here, now, zone), _called(office)
    )
    return show("power_cut.html", context, frame)

"""Where the tubs of a unit in trouble could be moved: known to be cold enough, for raw meat, with room (rules 4.4).

What is not known is never good: a unit that nobody said may hold raw meat is never named, nor one whose air is not
freshly known, and one whose room nobody counted is named with "if it has room". Pure: no clock, no I/O.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from alerts.unit_watch import FREEZING_C, UnitWatch
from collector.kitchen import Alarm, Kitchen
from collector.sample import Instant

ADVISED = ("product_warm",)
"""Kinds whose stated response may end in moving tubs."""
FRESH_S = 900.0
"""House (rules e-6): older air says nothing of now. [s]"""
NAMED_MOST = 2
SAYS_NOTHING_OF_COLD = ("info",)
"""Categories of alarm that do not speak against a unit."""
NOWHERE = "No unit here is known to be cold enough, for raw meat and with room."


@dataclass(frozen=True, slots=True)
class Elsewhere:
    """A unit into which tubs could be moved now."""

    unit: str
    name: str
    air_c: float
    usual_c: float
    """Median of its air over the last day. [°C]"""
    room: int | None
    """How many more tubs have room in it; None where nobody has counted."""


def elsewhere(
    kitchen: Kitchen, watches: Mapping[str, UnitWatch], unit: str, now: Instant, barred: Collection[str] = ()
) -> tuple[Elsewhere, ...]:
    """Return up to two units of the same site that tubs of `unit` could be moved to, the likeliest to do first.

    First those with room for every tub, then those with room for some, then those whose room nobody counted; among
    like ones the coldest. A unit out of service is never named, nor one of `barred`.
    """
    troubled = watches.get(unit)
    if troubled is None:
        return ()
    found = []
    for name, watch in list(watches.items()):
        if (
            name == unit
            or name in barred
            or name in kitchen.out_of_service
            or watch.unit.site != troubled.unit.site
            or not watch.unit.raw_meat
        ):
            continue
        one = _elsewhere(watch, min(watch.limit_c, troubled.limit_c), now)
        if one is not None and not _in_trouble(kitchen, name, now):
            found.append(one)
    return tuple(sorted(found, key=lambda one: _rank(one, len(troubled.tubs)))[:NAMED_MOST])


def _rank(one: Elsewhere, tubs: int) -> tuple[int, float, str]:
    enough = 2 if one.room is None else 0 if one.room >= tubs else 1
    return (enough, max(one.air_c, one.usual_c), one.name)


def _in_trouble(kitchen: Kitchen, unit: str, now: Instant) -> bool:
    standing = (a.condition for a in kitchen.active_alarms() if a.condition.unit == unit)
    works = any(work.unit == unit and work.goes_on_at(now) for work in kitchen.planned_work)
    return works or any(c.category not in SAYS_NOTHING_OF_COLD for c in standing)


def _elsewhere(watch: UnitWatch, limit_c: float, now: Instant) -> Elsewhere | None:
    usual_c = _usual_c(watch)
    if watch.at is None or usual_c is None or not 0.0 <= now - watch.at <= FRESH_S:
        return None
    # Where its own meat is near the limit, warm tubs beside it are no help; where it freezes, a cure stands still.
    if not all(FREEZING_C < air_c < limit_c for air_c in (watch.air_c, usual_c)):
        return None
    if any(tub.copies.likely_c > limit_c for tub in list(watch.tubs)):
        return None
    room = watch.unit.room_for_tubs
    left = None if room is None else room - len(watch.tubs)
    if left is not None and left <= 0:
        return None
    return Elsewhere(watch.unit.id, watch.unit.name, round(watch.air_c, 1), round(usual_c, 1), left)


def _usual_c(watch: UnitWatch) -> float | None:
    """Return the warmest median of the last day among the unit's air sensors; None before there is enough. [°C]"""
    air = [name for name, heard in list(watch.channels.items()) if heard.is_air]
    usual = [watch.recent[name].usual(float("inf")) for name in air if name in watch.recent]
    known = [value for value in usual if value is not None]
    return max(known) if known else None


def advice(
    kitchen: Kitchen, alarm: Alarm, watches: Mapping[str, UnitWatch], now: Instant, barred: Collection[str] = ()
) -> str:
    """Return what whoever is told of an alarm reads of where its tubs could go now; empty where none need go."""
    condition = alarm.condition
    if not alarm.active or condition.kind not in ADVISED:
        return ""
    return moving_text(elsewhere(kitchen, watches, condition.unit, now, barred))


def moving_text(found: Collection[Elsewhere]) -> str:
    """Return what people read of it.

    >>> moving_text([Elsewhere("f", "Fridge", 2.9, 3.1, 4), Elsewhere("c", "Chamber", 3.4, 3.3, None)])
    'Tubs could go to Fridge (air 2.9 °C, usually 3.1; room for 4), or to Chamber (air 3.4 °C, usually 3.3; if it has room). Both are kept for raw meat, and cold enough by their air.'
    >>> moving_text([])
    'No unit here is known to be cold enough, for raw meat and with room.'
    """  # noqa: E501 - what is read is one line
    if not found:
        return NOWHERE
    kept = "It is kept for raw meat, and cold enough by its air."
    if len(found) > 1:
        kept = "Both are kept for raw meat, and cold enough by their air."
    return f"Tubs could go to {', or to '.join(_told(one) for one in found)}. {kept}"


def _told(one: Elsewhere) -> str:
    air = f"air {one.air_c:.1f} °C, usually {one.usual_c:.1f}"
    if one.room is None:
        return f"{one.name} ({air}; if it has room)"
    return f"{one.name} ({air}; room for {one.room})"

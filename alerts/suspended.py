"""What is not told for a time: shelved alarms, units out of service, air and doors during planned work.

Nothing here hides what the meat has been through: the watch goes on judging, and the rules see every reading.
Pure: no clock, no I/O.
"""

from collections.abc import Iterable

from alerts.sentences import clock_text
from alerts.sentences_watcher import TROUBLE
from collector.events import Draft
from collector.events_watching import AlarmUnshelved, WorkEnded
from collector.findings import Condition
from collector.kitchen import Alarm, Kitchen
from collector.sample import Instant
from collector.suspensions import OutOfService, PlannedWork, Shelving

SHELVED_S = 3600.0
"""Reliability 4.1, house: how long an alarm is shelved where nobody says otherwise. [s]"""
SHELVED_MOST_S = 8 * 3600.0
"""Reliability 4.1, house: the longest that an alarm of air or of an instrument is shelved at a time. [s]"""
PRODUCT_MOST_S = 2 * 3600.0
"""Rules 4.6, house: the longest, in all, that one alarm that judges the meat is ever shelved. [s]"""
WORK_MOST_S = 4 * 3600.0
"""House: longer work wants the tubs elsewhere, and the unit out of service. [s]"""
WORK_APART_S = 3600.0
"""House: between two planned works of one unit its air and its door are watched for so long at least. [s]"""
HELD_BACK = ("air_far_over", "door_open", "defrost_stays")
"""Rules 4.6: what planned work holds back; what is estimated of the meat, and unwatched units, never are."""
PUT_BACK_S = 60.0
"""House: an instant further ahead than this was written before the clock was put back. [s]"""

Occasion = tuple[str, Instant]


def longest_s(alarm: Alarm) -> float:
    """Return for how long an alarm may be shelved now; 0 where it has been for as long as it may in all. [s]"""
    if not alarm.condition.judges_product:
        return SHELVED_MOST_S
    return max(0.0, PRODUCT_MOST_S - sum(shelving.lasted_s for shelving in alarm.shelvings))


def shelved(alarm: Alarm, now: Instant) -> Shelving | None:
    """Return the shelving by which an alarm is not told now, or None where it is told."""
    last = alarm.shelving
    if last is None or not alarm.active or now >= last.until_at or last.from_at > now + PUT_BACK_S:
        return None
    return last


def told_after(alarm: Alarm, now: Instant) -> Occasion | None:
    """Return the telling that an ended shelving asks for; None where none has ended, or where something came after.

    What has become worse is told as such, and so is what changed since.
    """
    if not alarm.shelvings:
        return None
    last = alarm.shelvings[-1]
    if last.ended_at is not None and alarm.changes > last.changes:
        return None
    over_at = min(now, last.until_at) if last.ended_at is None else last.ended_at
    return (f"unshelved {len(alarm.shelvings)}", over_at)


def endings(kitchen: Kitchen, now: Instant) -> list[Draft]:
    """Return that shelvings are over whose time has come, so that no later clock makes them last again."""
    drafts = []
    for alarm in kitchen.active_alarms():
        last = alarm.shelving
        if last is not None and shelved(alarm, now) is None:
            over = now >= last.until_at
            at, why = (last.until_at, "time") if over else (now, "clock")
            drafts.append(Draft(at, "watch", AlarmUnshelved(alarm.id, why)))
    return drafts


def put_back(kitchen: Kitchen, before_at: Instant, now: Instant) -> list[Draft]:
    """Return what ends because the clock was put back from `before_at` to now: how long it lasted is unknown."""
    if now >= before_at - PUT_BACK_S:
        return []
    alarms = [Draft(now, "watch", AlarmUnshelved(a.id, "clock")) for a in kitchen.active_alarms() if a.shelving]
    begun = (w for w in kitchen.planned_work if w.ended_at is None and w.from_at <= before_at and w.over_at > now)
    return [*alarms, *(Draft(now, "watch", WorkEnded(work.id, "clock")) for work in begun)]


def out_of_service(kitchen: Kitchen, unit: str) -> OutOfService | None:
    """Return that a unit is out of service; for `*`, that every unit is, which is then the case of the latest."""
    if unit != "*":
        return kitchen.out_of_service.get(unit)
    every = [kitchen.out_of_service.get(name) for name in kitchen.units]
    found = [one for one in every if one is not None]
    return max(found, key=lambda one: one.since_at) if found and len(found) == len(every) else None


def in_service(kitchen: Kitchen, conditions: Iterable[Condition]) -> list[Condition]:
    """Return the conditions of units that are in service, and those of the watcher itself."""
    return [c for c in conditions if c.kind == TROUBLE or out_of_service(kitchen, c.unit) is None]


def held_back(kitchen: Kitchen, condition: Condition, now: Instant) -> PlannedWork | None:
    """Return the planned work because of which a condition is neither raised nor told now.

    The air has its dwell once more after the end: a room is not cold at the minute at which its door is shut.
    """
    if condition.kind not in HELD_BACK:
        return None
    unit = kitchen.units.get(condition.unit)
    after_s = unit.air_dwell_s if unit is not None and condition.kind == "air_far_over" else 0.0
    works = (w for w in kitchen.planned_work if w.unit == condition.unit)
    return next((w for w in works if w.over_at > w.from_at and w.from_at <= now < w.over_at + after_s), None)


def works_of(kitchen: Kitchen, unit: str, now: Instant) -> tuple[PlannedWork, ...]:
    """Return the planned work of a unit that goes on or is to come, the next one first."""
    works = [w for w in kitchen.planned_work if w.unit == unit and w.over_at > max(now, w.from_at)]
    return tuple(sorted(works, key=lambda work: work.from_at))


def shelving_text(alarm: Alarm, occasion: str, name: str, zone: str) -> str:
    """Return what is said of the shelving that an occasion follows, by whose name it was; empty where none does."""
    last = alarm.shelvings[-1] if alarm.shelvings else None
    if last is None or not alarm.active:
        return ""
    said = f"Shelved by {name} at {clock_text(last.from_at, zone)}: {last.reason.rstrip('. ')};"
    if occasion.startswith("unshelved"):
        return f"{said} still stands."
    worse = occasion.startswith("changed") and last.why == "worse" and alarm.changes == last.changes + 1
    return f"{said} it has become worse." if worse else ""

"""How shelving, units out of service and planned work change the kitchen; `collector.fold` asks it.

Pure: no clock, no I/O.
"""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from collector import events as e
from collector import events_watching as w
from collector.kitchen import Alarm, Kitchen
from collector.sample import Instant
from collector.suspensions import OutOfService, PlannedWork, Shelving

WORKS_KEPT_S = 7 * 86_400.0
"""House: planned work that was over so long ago is in the journal alone. [s]"""


def unshelved(alarm: Alarm, at: Instant, by: str, why: str) -> Alarm:
    """Return an alarm with its shelving ended, where one stands."""
    last = alarm.shelving
    if last is None:
        return alarm
    ended = replace(last, ended_at=at, ended_by=by, why=why, changes=alarm.changes)
    return replace(alarm, shelvings=(*alarm.shelvings[:-1], ended))


def in_service_where_tubs_stand(k: Kitchen, at: Instant) -> Kitchen:
    """Return the kitchen with every unit in service in which a tub stands: none can stand in one that is not."""
    taken = {
        p.unit
        for batch in k.batches.values()
        for p in batch.placements
        if p.unit in k.out_of_service and (p.until_at is None or p.until_at > at)
    }
    if not taken:
        return k
    return replace(k, out_of_service={name: out for name, out in k.out_of_service.items() if name not in taken})


def _alarm_explained(k: Kitchen, entry: e.Entry, event: w.AlarmExplained) -> Kitchen:
    alarm = k.alarms.get(event.alarm)
    if alarm is None:
        return k
    condition = replace(alarm.condition, parameters={**alarm.condition.parameters, **event.parameters})
    return replace(k, alarms={**k.alarms, alarm.id: replace(alarm, condition=condition)})


def _alarm_shelved(k: Kitchen, entry: e.Entry, event: w.AlarmShelved) -> Kitchen:
    alarm = k.alarms.get(event.alarm)
    if alarm is None or not alarm.active:
        return k
    before = unshelved(alarm, entry.at, entry.by, "hand")
    shelving = Shelving(entry.at, event.until_at, event.reason, entry.by)
    # Whoever answered before has not answered for what stands when the shelving ends.
    shelved = replace(
        before, shelvings=(*before.shelvings, shelving), acknowledged_at=None, acknowledged_by="", answer="",
        arriving_at=None,
    )  # fmt: skip
    return replace(k, alarms={**k.alarms, alarm.id: shelved})


def _alarm_unshelved(k: Kitchen, entry: e.Entry, event: w.AlarmUnshelved) -> Kitchen:
    alarm = k.alarms.get(event.alarm)
    if alarm is None:
        return k
    return replace(k, alarms={**k.alarms, alarm.id: unshelved(alarm, entry.at, entry.by, event.why)})


def _unit_out_of_service(k: Kitchen, entry: e.Entry, event: w.UnitOutOfService) -> Kitchen:
    out = OutOfService(event.unit, entry.at, entry.by, event.reason)
    return replace(k, out_of_service={**k.out_of_service, event.unit: out})


def _unit_in_service(k: Kitchen, entry: e.Entry, event: w.UnitInService) -> Kitchen:
    return replace(k, out_of_service={name: out for name, out in k.out_of_service.items() if name != event.unit})


def _work_planned(k: Kitchen, entry: e.Entry, event: w.WorkPlanned) -> Kitchen:
    name = f"W{entry.position}"
    work = PlannedWork(name, event.unit, event.what, event.from_at, event.until_at, entry.by, event.note)
    kept = (one for one in k.planned_work if entry.at - one.until_at < WORKS_KEPT_S)
    return replace(k, planned_work=(*kept, work))


def _work_ended(k: Kitchen, entry: e.Entry, event: w.WorkEnded) -> Kitchen:
    def end(work: PlannedWork) -> PlannedWork:
        return replace(work, ended_at=entry.at) if work.id == event.work and work.ended_at is None else work

    return replace(k, planned_work=tuple(map(end, k.planned_work)))


STEPS: dict[type[Any], Callable[[Kitchen, e.Entry, Any], Kitchen]] = {
    w.AlarmExplained: _alarm_explained,
    w.AlarmShelved: _alarm_shelved,
    w.AlarmUnshelved: _alarm_unshelved,
    w.UnitOutOfService: _unit_out_of_service,
    w.UnitInService: _unit_in_service,
    w.WorkPlanned: _work_planned,
    w.WorkEnded: _work_ended,
}

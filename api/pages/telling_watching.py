"""Entries about shelved alarms, units out of service and planned work, in words."""

from collections.abc import Callable
from typing import Any

from alerts.sentences import clock_text
from alerts.sentences_cause import cause_text
from api.pages.wording import short_text
from collector import events_watching as w
from collector.kitchen import Kitchen

Words = Callable[[Any, Kitchen, str], str]
WHY = {
    "time": "its time is over",
    "hand": "ended by hand",
    "clock": "the clock was put back, so how long it lasted is unknown",
}


def _unit(kitchen: Kitchen, unit: str) -> str:
    return kitchen.units[unit].name if unit in kitchen.units else unit


def _planned(event: w.WorkPlanned, kitchen: Kitchen, zone: str) -> str:
    span = f"from {short_text(event.from_at, zone)} until {short_text(event.until_at, zone)}"
    note = f" Note: {event.note.rstrip('. ')}." if event.note else ""
    return f"{_unit(kitchen, event.unit)}: {event.what} is planned {span}.{note}"


def _work_ended(event: w.WorkEnded, kitchen: Kitchen, zone: str) -> str:
    work = next((one for one in kitchen.planned_work if one.id == event.work), None)
    what = f"{_unit(kitchen, work.unit)}: planned {work.what}" if work is not None else f"Planned work {event.work}"
    return f"{what} ended before its time: {WHY.get(event.why, event.why)}."


def _explained(event: w.AlarmExplained, kitchen: Kitchen, zone: str) -> str:
    looks = cause_text(event.parameters, lambda at: clock_text(at, zone))
    return f"Alarm {event.alarm}: {looks or 'what is likely behind it was withdrawn.'}"


WORDS: dict[type[Any], Words] = {
    w.AlarmExplained: _explained,
    w.AlarmShelved: lambda v, k, z: (
        f"Alarm {v.alarm} was shelved until {short_text(v.until_at, z)}. Reason: {v.reason.rstrip('. ')}."
    ),
    w.AlarmUnshelved: lambda v, k, z: f"Alarm {v.alarm} is no longer shelved: {WHY.get(v.why, v.why)}.",
    w.UnitOutOfService: lambda v, k, z: f"{_unit(k, v.unit)} was put out of service. Reason: {v.reason.rstrip('. ')}.",
    w.UnitInService: lambda v, k, z: f"{_unit(k, v.unit)} is in service again. Reason: {v.reason.rstrip('. ')}.",
    w.WorkPlanned: _planned,
    w.WorkEnded: _work_ended,
}

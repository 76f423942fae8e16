"""Entries about drills, in words."""

from collections.abc import Callable, Iterable
from typing import Any

from collector import events_drill as d
from collector.drills import CALLS
from collector.kitchen import Kitchen

Words = Callable[[Any, Kitchen, str], str]
OCCASIONS = {"call": "{drill}", "missing": "who has not confirmed {drill}", "over": "the end of {drill}"}


def _name(kitchen: Kitchen, person: str) -> str:
    return kitchen.people[person].name if person in kitchen.people else person


def _names(kitchen: Kitchen, people: Iterable[str]) -> str:
    return ", ".join(_name(kitchen, person) for person in people)


def _started(event: d.DrillStarted, kitchen: Kitchen, zone: str) -> str:
    if event.kind == CALLS:
        return f"A drill began: whether calls reach {_names(kitchen, event.people)}."
    unit = kitchen.units[event.unit].name if event.unit in kitchen.units else event.unit
    return f"A drill began: {unit} is said to warm. No record and no alarm is touched."


def _told(event: d.DrillTold, kitchen: Kitchen, zone: str) -> str:
    what = OCCASIONS.get(event.occasion, "{drill}").format(drill=f"drill {event.drill}")
    took = "accepted" if event.state == "accepted" else f"not accepted {event.detail}".strip()
    return f"{_name(kitchen, event.person)} was told of {what} by {event.channel}: {took}."


def _ended(event: d.DrillEnded, kitchen: Kitchen, zone: str) -> str:
    missing = f" Not confirmed by {_names(kitchen, event.missing)}." if event.missing else ""
    return f"Drill {event.drill} is over: {event.reason}.{missing}"


WORDS: dict[type[Any], Words] = {
    d.DrillStarted: _started,
    d.DrillTold: _told,
    d.DrillAnswered: lambda v, k, z: f"{_name(k, v.person)} confirmed drill {v.drill}, by the {v.way}.",
    d.DrillEnded: _ended,
}

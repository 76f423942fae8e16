"""How drills change the kitchen; `collector.fold` asks it. Pure: no clock, no I/O."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from collector import events as e
from collector import events_drill as d
from collector.drills import REAL_ALARM, Called, Drill
from collector.findings import Condition
from collector.kitchen import Kitchen
from collector.sample import Instant

KEPT = 20
"""House: so many drills are known here; every older one is in the journal. """


def over_by_alarm(k: Kitchen, condition: Condition, at: Instant) -> Kitchen:
    """Return the kitchen with every drill ended that goes on while a real alarm begins that wakes somebody."""
    if not condition.wakes or not any(drill.open for drill in k.drills.values()):
        return k
    ended = {n: replace(x, ended_at=at, reason=REAL_ALARM) if x.open else x for n, x in k.drills.items()}
    return replace(k, drills=ended)


def _changed(k: Kitchen, name: str, change: Callable[[Drill], Drill]) -> Kitchen:
    drill = k.drills.get(name)
    return k if drill is None else replace(k, drills={**k.drills, name: change(drill)})


def _started(k: Kitchen, entry: e.Entry, event: d.DrillStarted) -> Kitchen:
    drill = Drill(f"D{entry.position}", event.kind, entry.at, event.people, event.unit)
    kept = list(k.drills.items())[-(KEPT - 1) :]
    return replace(k, drills={**dict(kept), drill.id: drill})


def _told(k: Kitchen, entry: e.Entry, event: d.DrillTold) -> Kitchen:
    called = Called(entry.at, event.person, event.channel, event.state == "accepted", event.occasion)
    return _changed(k, event.drill, lambda drill: replace(drill, called=(*drill.called, called)))


def _answered(k: Kitchen, entry: e.Entry, event: d.DrillAnswered) -> Kitchen:
    def confirm(drill: Drill) -> Drill:
        if event.person not in drill.missing:
            return drill
        return replace(drill, answered=(*drill.answered, (event.person, entry.at)))

    return _changed(k, event.drill, confirm)


def _ended(k: Kitchen, entry: e.Entry, event: d.DrillEnded) -> Kitchen:
    def end(drill: Drill) -> Drill:
        return drill if drill.ended_at is not None else replace(drill, ended_at=entry.at, reason=event.reason)

    return _changed(k, event.drill, end)


STEPS: dict[type[Any], Callable[[Kitchen, e.Entry, Any], Kitchen]] = {
    d.DrillStarted: _started,
    d.DrillTold: _told,
    d.DrillAnswered: _answered,
    d.DrillEnded: _ended,
}

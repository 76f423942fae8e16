"""The weekly drill: everybody on the rota is called, and whoever does not confirm is named to the others. Shell.

What is to be done next follows from the journal alone, so that a new start goes on where the last one was cut off.
"""

import logging
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from alerts.channels.base import Channel, Sent
from alerts.channels.drill import OCCASION
from alerts.drills import (
    CONFIRM_S,
    Call,
    call_message,
    calls_due,
    naming_due,
    naming_message,
    on_rota,
    others,
    weekly_begins,
)
from alerts.escalation import Telling
from collector.drills import CALLS, Drill
from collector.events import Draft
from collector.events_drill import DrillEnded, DrillStarted, DrillTold
from collector.findings import Condition
from collector.kitchen import Alarm, Kitchen
from collector.present import Present
from collector.readings import Site
from collector.sample import Instant

log = logging.getLogger(__name__)

WATCH = "watch"


@dataclass
class WeeklyDrill:
    """Begins, calls, names and ends; one thread calls it, every so often."""

    present: Present
    channels: Mapping[str, Channel]
    reach: Mapping[str, Sequence[str]]
    link_for: Callable[[str, str, Instant], str]
    clock: Callable[[], Instant]
    weekly: str = ""
    """Day and time of day on the walls, such as `Tue 10:00`; empty for never."""
    _unwritten: dict[tuple[str, Call], DrillTold] = field(default_factory=dict)
    """Attempts that were made and that the journal has refused so far: none is made again for that."""

    def step(self) -> int:
        """Do what is due now; return how many attempts were made. Raises StoreFailed."""
        kitchen = self.present.catch_up()
        site = next(iter(kitchen.sites.values()), None)
        if site is not None and self.weekly:
            self.present.decide(lambda known: self._begun(known, site))
        made = 0
        for drill in list(self.present.kitchen.drills.values()):
            if drill.kind != CALLS:
                self._forgotten(drill)
            elif drill.open:
                made += self._call(drill.id, drill.people, "call")
                made += self._name(drill.id, site)
        return made

    def _begun(self, kitchen: Kitchen, site: Site) -> list[Draft]:
        now = self.clock()
        if not weekly_begins(self.weekly, site, kitchen, now):
            return []
        return [Draft(now, WATCH, DrillStarted(CALLS, on_rota(kitchen)))]

    def _forgotten(self, drill: Drill) -> None:
        """End a rehearsed fault whose own process was killed: nobody's word is awaited for ever."""
        now = self.clock()
        if drill.open and now - drill.started_at >= CONFIRM_S:
            ended = DrillEnded(drill.id, "whoever held it did not end it", drill.missing)
            self.present.decide(lambda kitchen: [Draft(now, WATCH, ended)])

    def _name(self, name: str, site: Site | None) -> int:
        drill, now = self.present.kitchen.drills[name], self.clock()
        if not naming_due(drill, site, now):
            return 0
        made = self._call(name, others(self.present.kitchen, drill, now), "missing")
        drill = self.present.kitchen.drills[name]
        if drill.open:
            ended = DrillEnded(name, "two hours are over", drill.missing)
            self.present.decide(lambda kitchen: [Draft(self.clock(), WATCH, ended)])
        return made

    def _call(self, name: str, people: Sequence[str], occasion: str) -> int:
        made = 0
        while True:
            drill = self.present.kitchen.drills[name]
            due = calls_due(drill, self.reach, people, occasion) if drill.open else []
            if not due:
                return made
            for call in due:
                # A real alarm ends it at once, in the middle of the calls.
                if not self.present.kitchen.drills[name].open:
                    return made
                self._make(drill, call)
                made += 1

    def _make(self, drill: Drill, call: Call) -> None:
        made = (drill.id, call)
        if made not in self._unwritten:
            self._unwritten[made] = self._tried(drill, call)
        self.present.decide(lambda kitchen: [Draft(self.clock(), WATCH, self._unwritten[made])])
        del self._unwritten[made]

    def _tried(self, drill: Drill, call: Call) -> DrillTold:
        sent = self._sent(drill, call)
        state = "accepted" if sent.accepted else "failed"
        log.info("event=drill drill=%s person=%s way=%r state=%s", drill.id, call.person, call.channel, state)
        return DrillTold(drill.id, call.person, call.channel, state, sent.detail, call.occasion)

    def _sent(self, drill: Drill, call: Call) -> Sent:
        channel = self.channels.get(call.channel)
        if channel is None:
            return Sent(False, f"no channel {call.channel} is configured")
        kitchen, now = self.present.kitchen, self.clock()
        if call.occasion == "call":
            first, body = call_message(self.link_for(drill.id, call.person, now))
        else:
            site = next(iter(kitchen.sites.values()), None)
            first, body = naming_message(kitchen, drill, site.zone if site is not None else "UTC")
        occasion = OCCASION if call.occasion == "call" else f"{OCCASION} {call.occasion}"
        alarm = Alarm(drill.id, Condition("*", OCCASION, "info", False, drill.started_at), drill.started_at)
        try:
            return channel.send(Telling(drill.id, occasion, call.person, call.channel), alarm, first, body)
        except Exception as fault:  # noqa: BLE001 - as in the service: a channel that breaks is a failed telling
            log.exception("channel broke channel=%s", call.channel)
            return Sent(False, type(fault).__name__)

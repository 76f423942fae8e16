"""Rehearses a fault from reading to answer, with the real watch, rota, sentences and ways.

What it happens in is not real: a journal in memory, in which a made-up sensor of the named unit warms. It is played in
virtual time until the watch raises its alarm at the present instant; from then on it goes on with the clock. The real
journal hears of the drill alone, and ends it: by an answer, or by a real alarm. Shell.
"""

import logging
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from alerts.alarms import step
from alerts.channels.base import Channel, Sent
from alerts.drills import FIRST_WORD, name_of, refusal
from alerts.escalation import LOG, Telling, called
from alerts.replay import Player, VirtualClock
from alerts.sentences import alarm_text, clock_text
from alerts.service import Service
from alerts.staged import EVERY_S, LOT, QUIET_S, readings, staged
from collector.drills import FAULT, REAL_ALARM, Drill
from collector.events import AlarmAcknowledged, AlarmTold, Draft, Entry
from collector.events_drill import DrillEnded, DrillStarted, DrillTold
from collector.kitchen import Alarm, Kitchen
from collector.present import Present
from collector.readings import Site, Unit
from collector.sample import Instant, Message
from collector.storage import Arrival, MemoryJournal, MemoryReadings

log = logging.getLogger(__name__)

KIND = "product_warm"
LOOK_S = 0.2
TICK_S = 30.0
LONGEST_S = 4 * 3600.0
"""House: a room that warms so fast and is not told of for so long is not told of at all. [s]"""
PEOPLE_AT_ONCE = 8
BY = "system"
Say = Callable[[str], None]


class NotHeld(Exception):
    """No drill was held; the words say why."""


@dataclass
class Marked:
    """A way that marks what goes out as a drill, for people and for programs."""

    inner: Channel
    drill: str

    def send(self, telling: Telling, alarm: Alarm, first_line: str, body: str) -> Sent:
        """Send once, the first word being DRILL; a program finds the type `curevigil.alarm.drill`."""
        over = "The drill is over." if not alarm.active else "Nobody need go. Answer as you would in earnest."
        marked = f"This is a drill: nothing warms, and the lot {LOT} is made up. {over}\n{body}"
        told = replace(telling, alarm=self.drill, occasion=f"drill {telling.occasion}")
        return self.inner.send(told, replace(alarm, id=self.drill), f"{FIRST_WORD}: {first_line}", marked)


@dataclass
class Stage:
    """The kitchen in memory, and the service that watches it."""

    kitchen: Kitchen
    site: Site
    unit: Unit
    limit_c: float
    warms_at: Instant
    channels: Mapping[str, Channel] = field(default_factory=dict)
    reach: Mapping[str, Sequence[str]] = field(default_factory=dict)
    link_for: Callable[[str, str, Instant], str] = lambda alarm, person, now: ""

    def __post_init__(self) -> None:
        """Describe it; nothing has been read yet."""
        self.begun_at = self.warms_at - QUIET_S
        self.clock = VirtualClock(self.begun_at)
        self.present = Present(MemoryJournal(), self.clock)
        events = staged(self.kitchen, self.site, self.unit, self.begun_at)
        self.present.decide(lambda kitchen: [Draft(self.begun_at, BY, event) for event in events])
        self.store = MemoryReadings()
        self.read_until_at = self.begun_at
        self.service = Service(
            self.present, self.store, lambda kitchen, lot, now: None, lambda kitchen, unit: self.limit_c, self.clock,
            self.channels, self.reach, self.link_for, people_at_once=PEOPLE_AT_ONCE, began_at=self.begun_at,
        )  # fmt: skip

    def play(self, until_at: Instant) -> None:
        """Play the made-up room in virtual time; nobody is told."""
        player = Player(self.service, self.clock, tick_s=TICK_S)
        player.run(readings(self.begun_at, until_at, self.warms_at, self.limit_c), until_at)
        self.read_until_at = self.begun_at + EVERY_S * player.count

    def go_on(self, now: Instant) -> None:
        """Bring the room to the present instant, with what its sensor has sent meanwhile."""
        fresh = list(readings(self.read_until_at, now, self.warms_at, self.limit_c))
        self.clock.move(now)
        if fresh:
            self.read_until_at += EVERY_S * len(fresh)
            self.store.append([Arrival(Message(one.channel, b"", one.received_at), (one,)) for one in fresh])
            self.service.follow()
        self.service.tick()

    @property
    def alarm(self) -> Alarm | None:
        """Return the alarm of the warm product, past or present."""
        known = {**self.present.kitchen.past_alarms, **self.present.kitchen.alarms}
        return next((alarm for alarm in known.values() if alarm.condition.kind == KIND), None)


def raised_after(kitchen: Kitchen, site: Site, unit: Unit, limit_c: float, now: Instant) -> float:
    """Return how long after the made-up warming began the watch raises its alarm. [s] Raises NotHeld."""
    trial = Stage(kitchen, site, unit, limit_c, now)
    trial.play(now + LONGEST_S)
    if trial.alarm is None:
        raise NotHeld(f"{unit.name} was made to warm for four hours, and the watch said nothing")
    return trial.alarm.raised_at - now


@dataclass
class Rehearsal:
    """One drill, in the caller's thread."""

    present: Present
    """The real journal, which other processes write to as well."""
    channels: Mapping[str, Channel]
    reach: Mapping[str, Sequence[str]]
    link_for: Callable[[str, str, Instant], str]
    """Of the drill's name, not of an alarm's."""
    say: Say
    wait_s: float
    clock: Callable[[], Instant] = time.time
    _told: list[Entry] = field(default_factory=list)
    _stop: threading.Event = field(default_factory=threading.Event)

    def hold(self, site: Site, unit: Unit, limit_c: float) -> str:
        """Hold it, and return why it ended: `answered`, or what came before. Raises NotHeld, StoreFailed."""
        kitchen = self.present.catch_up()
        after_s = raised_after(kitchen, site, unit, limit_c, self.clock())
        drill = self._begun(kitchen, site, unit)
        reason = "it was stopped"
        try:
            reason = self._held(drill, kitchen, site, unit, limit_c, after_s)
        finally:
            ended = DrillEnded(drill.id, reason, self.present.catch_up().drills[drill.id].missing)
            if reason != REAL_ALARM:
                self.present.decide(lambda known: [Draft(self.clock(), BY, ended)])
        return reason

    def _begun(self, kitchen: Kitchen, site: Site, unit: Unit) -> Drill:
        people = tuple(one.person for one in called(kitchen, unit.id, self.clock()))
        event = DrillStarted(FAULT, people, unit.id)

        def decide(known: Kitchen) -> list[Draft]:
            why = refusal(known, site, self.clock())
            if why:
                raise NotHeld(why)
            return [Draft(self.clock(), BY, event)]

        (entry,) = self.present.decide(decide)
        return self.present.kitchen.drills[f"D{entry.position}"]

    def _held(
        self, drill: Drill, kitchen: Kitchen, site: Site, unit: Unit, limit_c: float, after_s: float
    ) -> str:  # fmt: skip
        marked = {name: Marked(channel, drill.id) for name, channel in self.channels.items()}
        stage = Stage(
            kitchen, site, unit, limit_c, self.clock() - after_s, marked, self.reach,
            lambda alarm, person, now: self.link_for(drill.id, person, now),
        )  # fmt: skip
        stage.play(self.clock())
        stage.go_on(self.clock())
        alarm = stage.alarm
        if alarm is None:
            raise NotHeld(f"the watch said nothing of {unit.name} in the end")
        self._says(site, f"raised: {alarm_text(alarm, site.zone)}")
        stage.present.watchers.append(self._told.extend)
        reason = self._until_over(stage, drill, site)
        if reason != REAL_ALARM:
            self._over(stage, drill, site)
        return reason

    def _until_over(self, stage: Stage, drill: Drill, site: Site) -> str:
        begun_at = self.clock()
        next_said = ""
        while True:
            known = self.present.catch_up().drills[drill.id]
            if known.ended_at is not None:
                return known.reason
            if known.answered:
                person, at = known.answered[0]
                self._says(site, f"{name_of(stage.kitchen, person)} confirmed, after {at - begun_at:.0f} s")
                self._acknowledged(stage, person, at)
                return "answered"
            if self.clock() - begun_at >= self.wait_s:
                return f"nobody confirmed within {self.wait_s / 60:g} min"
            stage.go_on(self.clock())
            stage.service.tell()
            self._record(drill, stage, site)
            coming = self._next(stage, begun_at, site)
            if coming and coming != next_said:
                next_said = coming
                self._says(site, coming)
            self._stop.wait(LOOK_S)

    def _next(self, stage: Stage, begun_at: Instant, site: Site) -> str:
        """Return what comes next if nobody answers, in words; empty where everybody has been called."""
        now = self.clock()
        later = [one for one in called(stage.kitchen, stage.unit.id, now) if one.after_s > now - begun_at]
        if not later:
            return ""
        at = clock_text(begun_at + later[0].after_s, site.zone)
        return f"next, if nobody confirms: {name_of(stage.kitchen, later[0].person)} at {at}"

    def _acknowledged(self, stage: Stage, person: str, at: Instant) -> None:
        alarm = stage.alarm
        if alarm is not None:
            answer = AlarmAcknowledged(alarm.id, "going", at + 900.0)
            stage.present.decide(lambda kitchen: [Draft(self.clock(), person, answer)])

    def _over(self, stage: Stage, drill: Drill, site: Site) -> None:
        """Tell everybody who was told that it is over, as a return to normal is told."""
        unit = stage.unit.id
        stage.present.decide(lambda kitchen: step(kitchen, [], [unit], self.clock()))
        until_at = self.clock() + 10.0
        while stage.service.tell() and self.clock() < until_at:
            self._record(drill, stage, site)
        stage.service.settle()
        self._record(drill, stage, site)

    def _record(self, drill: Drill, stage: Stage, site: Site) -> None:
        """Write into the real journal, and say, how every attempt ended."""
        entries, self._told[:] = list(self._told), []
        for entry in entries:
            told = entry.event
            if not isinstance(told, AlarmTold) or told.state == "attempting":
                continue
            name = name_of(stage.kitchen, told.person)
            what = " that it is over" if told.occasion == "returned" else ""
            outcome = "accepted" if told.state == "accepted" else "FAILED"
            self._says(site, f"told {name}{what} by {told.channel}: {outcome} ({told.detail or 'no more is known'})")
            occasion = "over" if told.occasion == "returned" else "call"
            written = DrillTold(drill.id, told.person, told.channel, told.state, told.detail, occasion)
            self.present.decide(lambda kitchen, written=written: [Draft(self.clock(), BY, written)])  # type: ignore[misc]

    def _says(self, site: Site, words: str) -> None:
        self.say(f"{clock_text(self.clock(), site.zone)} {words}")


def without_ways(kitchen: Kitchen, reach: Mapping[str, Sequence[str]], unit: str, now: Instant) -> list[str]:
    """Return who is on call now and reached by the log alone."""
    return [one.person for one in called(kitchen, unit, now) if set(reach.get(one.person, ())) <= {LOG}]

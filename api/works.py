"""The parts of one running kitchen, built from plain settings, started and stopped in order. Shell."""

import logging
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from importlib.metadata import version
from pathlib import Path

from alerts.channels.base import Channel
from alerts.channels.drill import Tried, hold_drill
from alerts.channels.lamp import Lamp
from alerts.channels.log import LogChannel
from alerts.conditions_upkeep import due_checks
from alerts.drilling import WeeklyDrill
from alerts.escalation import untold_s
from alerts.history import BatchHistory
from alerts.judgement import believing_air, judged, limit_of
from alerts.live import TICK_S, LiveWatch
from alerts.pulse import Beat
from alerts.rulebook.book import Rulebook
from alerts.rulebook.shelf import load
from alerts.rulebook.site_limits import with_site_limits
from alerts.schedule import Calendar
from alerts.service import CURSOR, Service
from alerts.signs import Signs
from alerts.trace import batch_history
from alerts.troubles import Facts, Way, broken_ways, named, standing_trouble, trouble
from api.canary import EVERY_S, Canary
from api.heartbeat import KEY, KIND, Heartbeat, Receiver
from api.supervisor import Supervisor
from api.vitals import Vitals
from api.watch_said import watch_numbers, watch_said
from collector.archived import ArchivedReadings
from collector.broker import Broker
from collector.canary import OwnTopics
from collector.events import Draft, Entry, GapSuspected
from collector.feeder import Feeder
from collector.findings import Condition, Proposal
from collector.formats.names import captures
from collector.health import Health, State
from collector.inbox import Inbox
from collector.ingest import Ingest, last_received_at
from collector.kitchen import Kitchen
from collector.message import Source, own_sources
from collector.mqtt import Link
from collector.mqtt_board import Board
from collector.present import Present
from collector.readings import Unit
from collector.readings_influx import InfluxArchive, Place
from collector.sample import Instant
from collector.storage import Arrival, Readings, StoreFailed
from collector.stores_sqlite import disk_free_share, open_stores

log = logging.getLogger(__name__)

ARRIVALS_KEPT_S = 30 * 86_400.0
"""The arrival log keeps raw messages for at least this long (design, path of a reading)."""
PEOPLE_AT_ONCE = 8
"""House: a rota is not longer than that in one step."""
DRILL_LOOK_S = 20.0
"""House: so often it is looked whether a drill is due, or somebody is to be named. [s]"""
PROBE = "probe"
"""A cursor that nobody follows: written to see whether the journal can be."""
JOURNAL_LOOK_S = 0.5
"""How soon entries of another process are noticed."""


def software() -> str:
    """Return the name and version that a judgement carries."""
    return f"curevigil {version('curevigil')}"


def wall_clock() -> Instant:
    """Return the present instant."""
    return time.time()


@dataclass
class Works:
    """Everything between the broker and the pages; the clock is the domain clock, virtual in the demo."""

    folder: Path
    broker: Broker
    sources: Sequence[Source]
    channels: Mapping[str, Channel] = field(default_factory=dict)
    reach: Mapping[str, Sequence[str]] = field(default_factory=dict)
    clock: Callable[[], Instant] = wall_clock
    rate: float = 1.0
    """Seconds of the domain clock in a second of the machine."""
    link_for: Callable[[str, str, Instant], str] = lambda alarm, person, now: ""
    ballast_bytes: int = 64 * 1024 * 1024
    lamp: Lamp | None = None
    influx: Place | None = None
    """Where readings are copied to as well; the watch and the judgement never read there."""
    pages_from_influx: bool = False
    own: OwnTopics | None = None
    """Where the program writes of itself on the broker; None where it does not."""
    board: Board | None = None
    """By which connection it does; the lamp's too."""
    canary_every_s: float = EVERY_S
    receiver: Receiver | None = None
    """Who outside is called while all goes on."""
    supervisor: Supervisor | None = None
    """The service manager that started us, where there is one."""
    weekly_drill: str = ""
    """When everybody is called once a week; empty for never."""

    def __post_init__(self) -> None:
        """Open the stores. Raises StoreFailed where the folder is locked, newer or damaged."""
        self.stores = open_stores(self.folder, ballast_bytes=self.ballast_bytes)
        self.readings, self.working = self.stores.readings, self.stores.working
        self.archive = InfluxArchive(self.influx) if self.influx is not None else None
        self.shown: Readings = self.readings
        """What pages and export read."""
        if self.archive is not None and self.pages_from_influx:
            self.shown = ArchivedReadings(self.readings, self.archive)
        self.present = Present(self.stores.journal, self.clock)
        self.health = Health()
        self.service = Service(
            self.present,
            self.readings,
            self.judge,
            self.unit_limit,
            self.clock,
            {"log": LogChannel(), **self.channels},
            self.reach,
            self.link_for,
            troubles=self.troubles,
            due_of=self.checks_due,
            people_at_once=PEOPLE_AT_ONCE,
        )
        self.feeder: Feeder | None = None
        if self.archive is not None:
            self.feeder = Feeder(self.readings, self.archive, self.working, self.health, self.clock)
        self.live = LiveWatch(self.service, time.monotonic, TICK_S / self.rate, 1.0 / min(self.rate, 10.0))
        self.vitals = Vitals(self.live.pulse, self._write_trifle, time.monotonic, self.supervisor)
        if self.board is not None:
            self.vitals.watches = self.board.watches
        self._broken_in: Kitchen | None = None
        self._broken: list[Way] = []
        self.canary = self._canary()
        self.heartbeat: Heartbeat | None = None
        if self.receiver is not None:
            self.heartbeat = Heartbeat(self.receiver, self.signs, time.monotonic, self._keep_beat)
        self.weekly = WeeklyDrill(
            self.present,
            self.service.channels,
            self.reach,
            lambda drill, person, now: self.service.link_for(drill, person, now),
            self.clock,
            self.weekly_drill,
        )
        self.calendar = Calendar()
        self.present.watchers.append(self._noticed)

    def _canary(self) -> Canary | None:
        if self.own is None or self.own.canary is None or self.board is None:
            return None
        return Canary(
            self.own,
            self.board,
            lambda: self.service.taken,
            self._broker_there,
            self.clock,
            time.monotonic,
            self.canary_every_s,
        )

    def _broker_there(self) -> bool:
        part = self.health.part("broker")
        return part is not None and part.state in (State.WORKS, State.DOUBTFUL)

    @cached_property
    def link(self) -> Link:
        """Return the link to the broker, made when the intake starts."""
        topic = self.own.canary if self.own is not None else None
        heard = topic is None or any(captures(one, topic) is not None for one in self.broker.topics)
        broker = self.broker if heard or topic is None else replace(self.broker, own=(topic,))
        return Link(broker, Inbox(), self.clock, self.health, last_at=last_received_at(self.readings))

    @cached_property
    def ingest(self) -> Ingest:
        """Return the intake."""
        return Ingest(
            self.readings,
            self.link,
            (*(own_sources(self.own) if self.own is not None else ()), *self.sources),
            self.clock,
            self._committed,
            self.health,
            on_gap=self._gap,
        )

    def rulebook(self, kitchen: Kitchen, unit: str | None = None) -> Rulebook:
        """Return the rulebook of a unit's site, else of the first one, with its own limits; US while there is none."""
        site = kitchen.site_of(unit) or next(iter(kitchen.sites.values()), None)
        return with_site_limits(load(site.authority if site is not None else "US"), kitchen.site_limits)

    def judge(self, kitchen: Kitchen, lot: str, now: Instant) -> Proposal | None:
        """Return what the rules propose for a batch now."""
        placed = reversed(kitchen.batches[lot].placements)
        book = self.rulebook(kitchen, next((p.unit for p in placed if p.unit is not None), None))
        return judged(kitchen, lot, self.readings.series, book, now, software())

    def unit_limit(self, kitchen: Kitchen, unit: Unit) -> float:
        """Return the limit for what stands in a unit. [°C]"""
        return limit_of(self.rulebook(kitchen, unit.id), unit)

    def checks_due(self, kitchen: Kitchen, unit: str) -> Mapping[str, Instant]:
        """Return when the check of each thermometer of a unit is due."""
        return due_checks(kitchen, unit, self.rulebook(kitchen, unit).scaled("check.interval_fixed"))

    def history(self, lot: str) -> BatchHistory | None:
        """Return what the meat of a batch has been through, as known now."""
        kitchen = self.present.kitchen
        batch = kitchen.batches.get(lot)
        if batch is None:
            return None
        return batch_history(batch, kitchen, believing_air(kitchen, self.readings.series), self.clock())

    def start(self) -> None:
        """Begin to watch, then to take readings: what is acknowledged is watched."""
        self.live.start()
        self.vitals.start()
        if self.lamp is not None:
            self.lamp.start(self.present.kitchen)
        if self.board is not None:
            self.board.start()
        self.ingest.start()
        if self.canary is not None:
            self.canary.start()
        if self.heartbeat is not None:
            self.heartbeat.start()
        if self.feeder is not None:
            self.feeder.start()
        self.calendar.daily("trim arrival log", 3, 20, self.trim_log)
        self.calendar.daily("sweep working tables", 3, 40, lambda: self.working.sweep(time.time()))
        self.calendar.every("drill", DRILL_LOOK_S, self.weekly.step)
        self.calendar.start()
        self.say_watch()

    def stop(self) -> None:
        """End in order: intake, watch, stores."""
        if self.heartbeat is not None:
            self.heartbeat.stop()
        self.vitals.stop()
        if self.canary is not None:
            self.canary.stop()
        self.ingest.stop()
        if self.feeder is not None:
            self.feeder.stop()
        self.live.stop()
        if self.lamp is not None:
            self.lamp.stop()
        if self.board is not None:
            self.board.stop()
        self.calendar.stop()
        if self.archive is not None:
            self.archive.close()
        self.stores.close()

    def drill(self, person: str) -> Sequence[Tried]:
        """Try every way of a person with a text that says that it is a drill."""
        return hold_drill(person, self.reach.get(person, ()), self.service.channels, time.time())

    def say_watch(self) -> None:
        """Put the state of the watch into health."""
        now, pulse = self.clock(), self.live.pulse
        untold = untold_s(self.present.kitchen, now) / self.rate
        state, sentence = watch_said(pulse, self.live.monotonic(), alive=self.live.alive, untold_s=untold)
        self.health.say("watch", state, sentence, now)
        if self.lamp is not None:
            self._say_lamp(self.lamp.connected, now)
        if self.canary is not None:
            self.health.say("canary", *self.canary.said(), now)
            self.health.count("canary", self.canary.numbers())
        if self.heartbeat is not None:
            self.health.say("heartbeat", *self.heartbeat.said(), now)
            self.health.count("heartbeat", self.heartbeat.numbers())
        self.health.count("watch", watch_numbers(pulse, self.live.monotonic()))
        try:
            self.health.count("watch", {"behind": float(self.readings.head() - self.service.taken)})
        except StoreFailed as fault:
            log.warning("event=behind_unknown fault=%r", str(fault))

    def signs(self) -> Signs:
        """Return what is known of the program's own life now."""
        now_s, pulse = time.monotonic(), self.live.pulse
        try:
            free = disk_free_share(self.folder)
        except StoreFailed:
            free = None
        return Signs(
            self.canary is not None and self.canary.good(),
            self.service.untried_s(),
            free,
            None if pulse.stepped_s is None else now_s - pulse.stepped_s,
            self.live.alive and pulse.beat(now_s) is Beat.FRESH,
            self.vitals.journal_written(),
            untold_s(self.present.kitchen, self.clock()) / self.rate,
        )

    def troubles(self, kitchen: Kitchen, now: Instant) -> list[Condition]:
        """Return what is wrong with the program itself; asked by the watch at every tick."""
        if self._broken_in is not kitchen:
            self._broken_in = kitchen
            self._broken = named(kitchen, broken_ways(kitchen, self.reach, now))
        return trouble(self._facts(now), self._broken, standing_trouble(kitchen), now)

    def _facts(self, now: Instant) -> Facts:
        signs, intake = self.signs(), self.health.part("intake")
        failed = intake is not None and intake.state is State.FAILED
        return Facts(
            max(now - intake.since_at, 0.0) if intake is not None and failed else 0.0,
            signs.disk_free,
            self.canary.missing_s() if self.canary is not None else 0.0,
            self.canary is None or self.canary.good(),
            signs.stepped_s,
        )

    def _keep_beat(self, how: Mapping[str, object]) -> None:
        try:
            self.working.put(KIND, KEY, {**how, "at": time.time()})
        except StoreFailed as fault:
            log.warning("event=beat_not_kept fault=%r", str(fault))

    def _say_lamp(self, connected: bool, now: Instant) -> None:
        state = State.WORKS if connected else State.DOUBTFUL
        words = (
            "Each unit's lamp is told." if connected else "The broker is away: no lamp is told, and they may be wrong."
        )
        self.health.say("lamp", state, words, now)

    def _committed(self, arrivals: Sequence[Arrival]) -> None:
        self.live.offer(arrivals)
        if self.canary is not None:
            self.canary.arrived(arrivals)

    def _noticed(self, entries: Sequence[Entry]) -> None:
        self.live.notify()
        if self.lamp is not None:
            self.lamp.show(self.present.kitchen)

    def _write_trifle(self) -> None:
        self.present.decide(lambda kitchen: [], cursors={PROBE: self.service.taken})

    def _gap(self, gap: GapSuspected) -> None:
        self.present.decide(lambda kitchen: [Draft(gap.until_at, "system", gap)])

    def trim_log(self) -> int:
        """Remove raw messages that are old and that every follower has passed; return how many."""
        self.stores.ballast.take()
        try:
            passed = [self.stores.journal.cursor(CURSOR)]
            if self.feeder is not None:
                passed.append(self.feeder.cursor)
            return self.readings.trim(self.clock() - ARRIVALS_KEPT_S, min(passed))
        except StoreFailed:
            log.exception("the arrival log was not trimmed")
            return 0

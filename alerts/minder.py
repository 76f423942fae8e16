"""Minds other installations: hears what the asking brings, and tells people when one of them is gone. Shell.

It has a journal in memory alone, and lets the same core decide as the service itself: an alarm is raised, told by each
person's ways until it is over, and the end is told to whoever heard of the beginning. Nobody can answer it: only an
answer of the installation ends it.
"""

import logging
import queue
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from time import monotonic

from alerts.alarms import Figures, Key, step
from alerts.channels.base import Channel
from alerts.minding import LOOK_S, Answer, Minded, Timings, condition, look, returned, take
from alerts.teller import Reach, Teller
from collector.events import (
    AlarmTold,
    Draft,
    Entry,
    Event,
    PersonDescribed,
    RotaDescribed,
    SiteDescribed,
    UnitDescribed,
)
from collector.findings import Condition
from collector.present import Present
from collector.readings import Site, Unit
from collector.rota import RotaStep
from collector.sample import Instant
from collector.storage import MemoryJournal

log = logging.getLogger(__name__)

PEOPLE_AT_ONCE = 8
"""House: as in the service."""
SAID_AGAIN_S = 900.0
"""House: so often the log says how all of them stand, although nothing changed. [s]"""


@dataclass
class Minder:
    """Decides and tells in the caller's thread; `heard` may be called from any other one."""

    places: Mapping[str, str]
    """The time zone of each installation, by its name."""
    channels: Mapping[str, Channel]
    reach: Reach
    timings: Timings
    wall: Callable[[], Instant] = time.time
    _answers: "queue.SimpleQueue[tuple[str, Answer]]" = field(default_factory=queue.SimpleQueue)
    _news: threading.Event = field(default_factory=threading.Event)

    def __post_init__(self) -> None:
        """Begin with nothing known of anybody."""
        begun_s, begun_at = monotonic(), self.wall()
        self._said_s = begun_s
        self._minded = {name: Minded(name, zone, begun_s) for name, zone in self.places.items()}
        # A clock that nobody can put forward or back: what is repeated, and when, hangs on it.
        clock: Callable[[], Instant] = lambda: begun_at + (monotonic() - begun_s)  # noqa: E731
        self._present = Present(MemoryJournal(), clock)
        self._clock = clock
        self._present.decide(lambda kitchen: [Draft(begun_at, "watch", event) for event in self._described()])
        self._present.watchers.append(_logged)
        self._teller = Teller(self._present, clock, self.channels, lambda *one: "", PEOPLE_AT_ONCE)

    def _described(self) -> Sequence[Event]:
        # Everybody at once: while the watcher is dead every room is unwatched, and nobody can say that they go.
        people: list[Event] = [PersonDescribed(person, person, ()) for person in self.reach]
        places: list[Event] = [SiteDescribed(Site(name, name, zone, "US")) for name, zone in self.places.items()]
        units: list[Event] = [UnitDescribed(Unit(name, name, name, "installation")) for name in self.places]
        return [*people, *places, *units, RotaDescribed(tuple(RotaStep(person, 0.0) for person in self.reach))]

    def heard(self, name: str, answer: Answer) -> None:
        """Take what came of one question."""
        self._answers.put((name, answer))
        self._news.set()

    def step(self) -> int:
        """Decide on what has been heard, and tell what is due; return how much was told, or is still being told."""
        while not self._answers.empty():
            name, answer = self._answers.get()
            before = self._minded[name]
            self._minded[name] = take(before, answer, self.timings)
            _log_answer(before, self._minded[name], answer)
        now_s = monotonic()
        for name, before in self._minded.items():
            self._minded[name] = look(before, now_s, self.timings)
            if self._minded[name].gone and not before.gone:
                log.error("event=gone name=%r silent_s=%.0f", name, now_s - before.since_s)
        self._say_again(now_s)
        self._present.decide(lambda kitchen: step(kitchen, self._gone(now_s), self.places, self._clock(), self._back()))
        return self._teller.tell(self.reach)

    def _gone(self, now_s: float) -> list[Condition]:
        at = self.wall()
        return [condition(one, at - (now_s - one.since_s)) for one in self._minded.values() if one.gone]

    def _back(self) -> Mapping[Key, Figures]:
        at = self.wall()
        return {key: figures for one in self._minded.values() for key, figures in returned(one, at).items()}

    def _say_again(self, now_s: float) -> None:
        if now_s - self._said_s < SAID_AGAIN_S:
            return
        self._said_s = now_s
        for one in self._minded.values():
            log.info("event=minding name=%r state=%s silent_s=%.0f", one.name, one.state, now_s - one.since_s)

    def run(self, stop: threading.Event, still_asked: Callable[[], bool]) -> None:
        """Go on until stopped. Raises SystemExit where nobody asks any more: then the service manager starts anew."""
        told = 0
        while not stop.is_set():
            if not told:
                self._news.wait(LOOK_S)
            self._news.clear()
            if not still_asked():
                raise SystemExit("nobody asks any more; start it again")
            try:
                told = self.step()
            except Exception:  # noqa: BLE001 - the loop that tells people never ends by itself
                log.exception("minding stumbled")
                told = 0
                stop.wait(LOOK_S)
        self._teller.settle()


def _log_answer(before: Minded, after: Minded, answer: Answer) -> None:
    if after.failures:
        words = "event=no_good_answer name=%r heard=%r detail=%r in_a_row=%d"
        log.warning(words, after.name, str(answer.heard), answer.detail, after.failures)
    elif before.well_s is None or before.failures:
        log.info("event=answers name=%r after_failures=%d", after.name, before.failures)


def _logged(entries: Sequence[Entry]) -> None:
    for entry in entries:
        told = entry.event
        if isinstance(told, AlarmTold) and told.state != "attempting":
            words = "event=told occasion=%r person=%s way=%r state=%s detail=%r"
            log.info(words, told.occasion, told.person, told.channel, told.state, told.detail)

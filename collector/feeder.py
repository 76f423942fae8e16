"""Follows the arrival log and copies its readings into a second archive, by a cursor of its own. One thread."""

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from threading import Event, Thread
from typing import Protocol

from collector.health import Health, State
from collector.line_protocol import AccessRefused, Line, LinesRefused
from collector.sample import Instant
from collector.storage import Arrival, Readings, StoreFailed, Working

log = logging.getLogger(__name__)

PART = "influx"
CURSORS, SET_ASIDE = "cursor", "influx set aside"
GROUP = 1_000
IDLE_S = 1.0
"""How soon new arrivals are looked for. House choice. [s]"""
LONGEST_WAIT_S = 60.0
"""The longest pause between two tries. House choice. [s]"""
KEPT_ASIDE = 1_000
"""Lines set aside that are kept to be looked at; further ones are only counted. House choice."""


class LineArchive(Protocol):
    """What is fed: lines are made, then sent; the same lines may be sent again."""

    def lines(self, arrivals: Sequence[Arrival]) -> list[Line]:
        """Return the lines of some messages. Raises StoreFailed."""
        ...

    def send(self, lines: Sequence[Line]) -> None:
        """Write lines. Raises LinesRefused, AccessRefused, StoreFailed."""
        ...


def pause_s(failures: int) -> float:
    """Return how long to wait after so many failures in a row: 1, 2, 4 … 60 s. [s]"""
    return float(min(LONGEST_WAIT_S, 2 ** min(failures - 1, 10)))


@dataclass(frozen=True, slots=True)
class Aside:
    """A line that the database refused, and what it said."""

    line: Line
    reason: str


class Feeder:
    """Copies groups of arrivals in order; a group counts as copied once each of its lines is there or set aside."""

    def __init__(
        self,
        readings: Readings,
        archive: LineArchive,
        working: Working,
        health: Health,
        clock: Callable[[], Instant],
        group: int = GROUP,
    ) -> None:
        self._readings, self._archive, self._working = readings, archive, working
        self._health, self._clock, self._group = health, clock, group
        self._failures = 0
        self._written = 0
        self._set_aside: int | None = None
        self._stopping = Event()
        self._thread: Thread | None = None

    @property
    def cursor(self) -> int:
        """Return the position up to which everything was copied. Raises StoreFailed."""
        return self._number("influx", "position")

    def _number(self, key: str, name: str) -> int:
        found = (self._working.get(CURSORS, key, self._clock()) or {}).get(name, 0)
        return found if isinstance(found, int) else 0

    def step(self) -> float:
        """Copy one group, and return how long to wait before the next. [s]"""
        try:
            more = self._copied()
        except StoreFailed as fault:
            self._failures += 1
            self._say_fault(fault)
            return LONGEST_WAIT_S if isinstance(fault, AccessRefused) else pause_s(self._failures)
        self._failures = 0
        return 0.0 if more else IDLE_S

    def _copied(self) -> bool:
        cursor, head = self.cursor, self._readings.head()
        if cursor > head:
            # The data folder was put back to an older copy: what follows has these positions a second time.
            cursor = 0
        group = self._readings.arrivals(cursor, self._group)
        if group:
            lines = self._archive.lines(group)
            refused = self._sent(lines)
            self._keep(refused)
            cursor = group[-1].position
            self._working.put(CURSORS, "influx", {"position": cursor})
            self._written += len(lines) - len(refused)
        self._say_works(head - cursor)
        return len(group) == self._group

    def _sent(self, lines: Sequence[Line]) -> list[Aside]:
        """Send lines, halving what is refused until the bad ones stand alone; return those."""
        try:
            self._archive.send(lines)
        except LinesRefused as fault:
            if len(lines) < 2:
                return [Aside(line, str(fault)) for line in lines]
            middle = len(lines) // 2
            return self._sent(lines[:middle]) + self._sent(lines[middle:])
        return []

    def _keep(self, refused: Sequence[Aside]) -> None:
        for aside in refused:
            log.warning("a line was refused and is set aside position=%d", aside.line.position)
            key = f"{aside.line.position}: {aside.line.text}"
            known = self._working.get(SET_ASIDE, key, self._clock())
            if known is None and self.set_aside < KEPT_ASIDE:
                self._working.put(SET_ASIDE, key, {"reason": aside.reason, "at": self._clock()})
            if known is None:
                self._set_aside = self.set_aside + 1
                self._working.put(CURSORS, "influx set aside", {"count": self._set_aside})

    @property
    def set_aside(self) -> int:
        """Return how many lines were refused and set aside so far. Raises StoreFailed."""
        if self._set_aside is None:
            self._set_aside = self._number("influx set aside", "count")
        return self._set_aside

    def _say_works(self, behind: int) -> None:
        if self.set_aside:
            sentence = f"{self.set_aside} readings were refused by InfluxDB and are kept here alone; see the log."
            self._health.say(PART, State.DOUBTFUL, sentence, self._clock())
        elif behind > self._group:
            self._health.say(PART, State.WORKS, "InfluxDB is being caught up.", self._clock())
        else:
            self._health.say(PART, State.WORKS, "What arrived here is in InfluxDB too.", self._clock())
        self._count(behind)

    def _say_fault(self, fault: StoreFailed) -> None:
        # Doubtful, never failed: readings, watch and judgement stand on the local store.
        if self._failures == 1:
            log.warning("nothing is copied to InfluxDB for now: %s", fault)
        sentence = f"Nothing is copied to InfluxDB, and nothing is lost by that: {fault}."
        self._health.say(PART, State.DOUBTFUL, sentence, self._clock())
        try:
            self._count(self._readings.head() - self.cursor)
        except StoreFailed:
            log.exception("the local store does not answer either")

    def _count(self, behind: int) -> None:
        numbers = {"behind": behind, "written": self._written, "set_aside": self.set_aside, "failures": self._failures}
        self._health.count(PART, {name: float(number) for name, number in numbers.items()})

    def start(self) -> None:
        """Copy in a thread of its own until stopped."""
        self._health.say(PART, State.STARTING, "The copy to InfluxDB begins.", self._clock())
        self._thread = Thread(target=self._run, name="feeder", daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while not self._stopping.is_set():
            try:
                wait_s = self.step()
            except Exception:  # the top of a loop: told, and tried again
                log.exception("the copy to InfluxDB stumbled")
                sentence = "The copy to InfluxDB stumbled over a fault of ours; see the log."
                self._health.say(PART, State.DOUBTFUL, sentence, self._clock())
                wait_s = LONGEST_WAIT_S
            self._stopping.wait(wait_s)

    def stop(self) -> None:
        """End after the group at hand; a second call does nothing."""
        self._stopping.set()
        if self._thread is not None:
            self._thread.join(timeout=35.0)
            self._thread = None

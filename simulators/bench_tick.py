"""How long a tick of the watch takes in a works, beside the same works with a hundredth of the history."""

import gc
import time
from collections.abc import Iterator
from pathlib import Path

from alerts.judgement import judged, limit_of
from alerts.replay import TICK_S, VirtualClock
from alerts.rulebook.shelf import load
from alerts.service import JUDGED_A_TICK, SETTLED_S, Service
from collector.findings import Proposal
from collector.kitchen import Kitchen
from collector.present import Present
from collector.readings import Reading
from collector.sample import Instant, Message
from collector.storage import Arrival, MemoryJournal
from simulators.bench_kitchen import DAY_S, INTERVAL_S, PreparedReadings, Size, air, drafts, record
from simulators.bench_row import Row, Samples, Unmeasured

UNITS, LOTS_IN_EACH, DAYS = 200, 5, 30.0
HUNDREDTH = 0.01
AHEAD_DAYS = 0.1
"""Readings that are still to come while the ticks are measured."""
FROM_AT = 1_790_000_000.0
RATIO_AT_MOST, MS_AT_MOST = 1.2, 100.0
TICKS = 60


class Works:
    """A watch over many units whose past stands ready in memory, with a clock that is set."""

    def __init__(self, size: Size, days: float) -> None:
        self.size = size
        self.now_at = FROM_AT + days * DAY_S
        self.clock = VirtualClock(self.now_at)
        self.past = record(FROM_AT, days + AHEAD_DAYS)
        self.readings = PreparedReadings(prepared={air(unit): self.past for unit in range(size.units)})
        self.judging = False
        self.judged = 0
        book = load("US")

        def judge(kitchen: Kitchen, lot: str, now: Instant) -> Proposal | None:
            if not self.judging:
                return None
            self.judged += 1
            return judged(kitchen, lot, self.readings.series, book, now, "bench")

        present = Present(MemoryJournal(), self.clock)
        present.decide(lambda kitchen: drafts(size, FROM_AT))
        self.service = Service(
            present, self.readings, judge, lambda kitchen, unit: limit_of(book, unit), self.clock, {}, {}
        )
        self.service.start()

    def tick(self) -> float:
        """Let ten seconds pass, take what arrives in them, and return how long the tick itself took. [ms]"""
        before = self.clock()
        self.clock.move(before + TICK_S)
        if before // INTERVAL_S != self.clock() // INTERVAL_S:
            self.service.take(self._arriving())
        begun = time.perf_counter()
        self.service.tick()
        return (time.perf_counter() - begun) * 1e3

    def _arriving(self) -> list[Arrival]:
        at = self.clock() // INTERVAL_S * INTERVAL_S
        return [
            Arrival(Message(name, b"", at), (Reading(name, at, 3.0, "Cel", at, at),), position=1)
            for name in (air(unit) for unit in range(self.size.units))
        ]

    def skip(self, until_at: Instant) -> None:
        """Tick on to an instant without looking at any batch."""
        while self.clock() < until_at:
            self.tick()


def _measured(works: Works, *, judging: bool) -> Samples:
    works.judging = judging
    gc.collect()
    return Samples(tuple(works.tick() for _ in range(TICKS)), "ms")


def _ticks(size: Size, days: float) -> tuple[Samples, Samples]:
    """Return ticks in which no batch is judged, and ticks in which as many are as one tick may take."""
    works = Works(size, days)
    begun_at = works.clock()
    lots = size.units * size.lots_in_each
    # Every batch has its first turn at once, some at each tick; an hour later it comes round again.
    works.skip(begun_at + (lots // JUDGED_A_TICK + 1) * TICK_S)
    quiet = _measured(works, judging=False)
    works.judging = False
    works.skip(begun_at + SETTLED_S)
    busy = _measured(works, judging=True)
    if works.judged < TICKS * min(JUDGED_A_TICK, lots // TICKS):
        raise Unmeasured(f"only {works.judged} batches were judged in {TICKS} ticks")
    return quiet, busy


def tick(folder: Path, scale: float) -> Iterator[Row]:
    """Measure ticks in which no batch is judged, and ticks in which as many are as one tick may take."""
    size = Size(max(round(UNITS * scale), 2), LOTS_IN_EACH)
    full, less = (_ticks(size, DAYS * share) for share in (1.0, HUNDREDTH))
    lots = size.units * size.lots_in_each
    for name, measured, yardstick in (("no batch judged", full[0], less[0]), ("eight judged", full[1], less[1])):
        ratio = measured.median / yardstick.median
        yield Row(
            f"tick, {name}",
            str(measured),
            str(yardstick),
            ratio,
            f"at most {RATIO_AT_MOST:g} times, {MS_AT_MOST:g} ms",
            ratio <= RATIO_AT_MOST and measured.median <= MS_AT_MOST,
            (f"{size.units} units, {lots:,} batches, {DAYS:g} days of one a minute; yardstick: {HUNDREDTH:g} of it",),
        )

"""How fast what a broker has kept is taken in, step by step, beside a bare subscriber that only counts."""

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from threading import Event

from api.works import Works
from collector.health import Health
from collector.inbox import Inbox
from collector.ingest import FILL_S, GROUP_MAX, Ingest
from collector.mqtt import Link
from collector.readings_sqlite import SqliteReadings
from collector.storage import Arrival, MemoryReadings, Readings
from simulators.bench_broker import PATIENCE_S, bare, broker_of, fill, open_sessions, running, wait_until
from simulators.bench_kitchen import DAY_S, SOURCES, Size, channels, drafts, messages
from simulators.bench_row import Row, Samples, Unmeasured

MESSAGES, REPEATS = 12_000, 3
DAY_MESSAGES = 28_800
SIZE = Size(units=10, probed=True)
"""Twenty channels, half of them probes in tubs."""
SHARE_AT_LEAST, TIMES_AT_MOST = 0.5, 2.5


@dataclass
class Counted:
    """Waits for so many messages to have come through."""

    wanted: int
    seen: int = 0
    done: Event = field(default_factory=Event)

    def __call__(self, arrivals: Sequence[Arrival]) -> None:
        """Count a group."""
        self.seen += len(arrivals)
        if self.seen >= self.wanted:
            self.done.set()

    def wait(self) -> None:
        """Return when all have come. Raises Unmeasured after a minute without."""
        if not self.done.wait(PATIENCE_S):
            raise Unmeasured(f"only {self.seen:,} of {self.wanted:,} messages came through")


class Forgetting(MemoryReadings):
    """A store that keeps nothing."""

    def append(self, arrivals: Sequence[Arrival]) -> int:
        self._head += len(arrivals)
        return self._head


def linked(name: str, port: int, count: int) -> float:
    """Take with our own link, and acknowledge in order, nothing else. [s]"""
    link = Link(broker_of(name, port), Inbox(), time.time, Health())
    left = count
    begun = time.perf_counter()
    link.start()
    while left > 0:
        group = link.inbox.take(GROUP_MAX, PATIENCE_S, FILL_S)
        if not group:
            raise Unmeasured(f"{left:,} of {count:,} messages never came")
        link.acknowledge(group)
        left -= len(group)
    taken = time.perf_counter() - begun
    link.stop()
    return taken


def taken_in(name: str, port: int, count: int, readings: Readings) -> float:
    """Take, read, keep in this store, and acknowledge. [s]"""
    counted, health = Counted(count), Health()
    link = Link(broker_of(name, port), Inbox(), time.time, health)
    ingest = Ingest(readings, link, SOURCES, time.time, counted, health, on_gap=lambda gap: None)
    begun = time.perf_counter()
    ingest.start()
    counted.wait()
    taken = time.perf_counter() - begun
    ingest.stop()
    return taken


@contextmanager
def kitchen_works(name: str, port: int, folder: Path, size: Size) -> Iterator[Works]:
    """Give everything between the broker and the pages, with a kitchen described, not yet started."""
    works = Works(folder, broker_of(name, port), SOURCES, ballast_bytes=0)
    works.present.decide(lambda kitchen: drafts(size, time.time() - 2 * DAY_S))
    try:
        yield works
    finally:
        works.stop()


def watched(name: str, port: int, count: int, folder: Path) -> float:
    """Take in and watch, the watch at work already; done when it has passed the last message. [s]"""
    with kitchen_works(name, port, folder, SIZE) as works:
        works.calendar.start()
        works.live.start()
        wait_until(lambda: works.live.pulse.ticks > 0, "the watch did not tick")
        begun = time.perf_counter()
        works.ingest.start()
        wait_until(lambda: works.service.taken >= count, f"the watch passed fewer than {count:,} messages")
        return time.perf_counter() - begun


def caught_up(name: str, port: int, count: int, folder: Path) -> float:
    """Start everything, take in and watch; done when the watch has passed the last message. [s]"""
    with kitchen_works(name, port, folder, SIZE) as works:
        begun = time.perf_counter()
        works.start()
        wait_until(lambda: works.service.taken >= count, f"the watch passed fewer than {count:,} messages")
        return time.perf_counter() - begun


Step = Callable[[str, int, int, Path], float]


def _stored(name: str, port: int, count: int, folder: Path) -> float:
    with closing(SqliteReadings(folder / "readings.sqlite")) as store:
        return taken_in(name, port, count, store)


STEPS: dict[str, Step] = {
    "bare": lambda name, port, count, folder: bare(name, "5", port, count),
    "older": lambda name, port, count, folder: bare(name, "3.1.1", port, count),
    "link": lambda name, port, count, folder: linked(name, port, count),
    "read": lambda name, port, count, folder: taken_in(name, port, count, Forgetting()),
    "store": _stored,
    "watch": watched,
    "start": caught_up,
}


def drained(program: str, count: int, steps: Sequence[str], repeats: int = REPEATS) -> dict[str, list[float]]:
    """Return how long each step takes to drain the same messages, in turns, so that drift meets all alike. [s]"""
    sessions = [(step, f"{step}-{turn}") for turn in range(repeats) for step in steps]
    found: dict[str, list[float]] = {step: [] for step in steps}
    with ExitStack() as stack:
        folder = Path(stack.enter_context(TemporaryDirectory(prefix="curevigil-bench-")))
        port = stack.enter_context(running(program, folder))
        open_sessions(((name, "3.1.1" if step == "older" else "5") for step, name in sessions), port)
        fill(messages(channels(SIZE), count, time.time()), port)
        for step, name in sessions:
            (folder / name).mkdir()
            found[step].append(STEPS[step](name, port, count, folder / name))
    return found


def ingest(program: str, scale: float) -> Iterator[Row]:
    """Measure durable intake against a bare subscriber, and what each step on the way costs."""
    count = max(round(MESSAGES * scale), 500)
    found = drained(program, count, ("bare", "older", "link", "read", "store", "watch"))
    rates = {step: Samples(tuple(count / taken for taken in values), "msg/s") for step, values in found.items()}
    cost = {step: median(values) / count * 1e6 for step, values in found.items()}
    ratio = rates["watch"].median / rates["bare"].median
    path = ("bare", "link", "read", "store", "watch")
    spent = [f"{later} {cost[later] - cost[before]:+.0f}" for before, later in zip(path, path[1:], strict=False)]
    yield Row(
        "durable ingest",
        str(rates["watch"]),
        str(rates["bare"]),
        ratio,
        f"at least {SHARE_AT_LEAST:g} of it",
        ratio >= SHARE_AT_LEAST,
        (
            f"{count:,} messages of QoS 1 waiting in a session, dialling included; yardstick: a bare paho subscriber "
            f"that only counts, MQTT 5 as ours (3.1.1: {rates['older']})",
            f"microseconds a message: bare {cost['bare']:.0f}, of ours {', '.join(spent)}",
            f"up to the store, without the watch: {rates['store']}, {rates['store'].median / rates['bare'].median:.2f}",
        ),
    )


def catchup(program: str, scale: float) -> Iterator[Row]:
    """Measure catching up after a day's outage: a message a minute from each of twenty channels."""
    count = max(round(DAY_MESSAGES * scale), 500)
    found = drained(program, count, ("bare", "start"))
    ours, theirs = (Samples(tuple(found[step]), "s") for step in ("start", "bare"))
    ratio = ours.median / theirs.median
    yield Row(
        "catching up after a day",
        str(ours),
        str(theirs),
        ratio,
        f"at most {TIMES_AT_MOST:g} times",
        ratio <= TIMES_AT_MOST,
        (
            f"{count:,} queued messages of twenty channels, from the start of all parts until the watch has passed the "
            "last; yardstick as for ingest",
        ),
    )

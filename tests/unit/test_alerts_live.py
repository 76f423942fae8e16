"""The watch on its own timer."""

import threading
from collections.abc import Callable, Sequence
from typing import cast

from alerts.live import LiveWatch
from alerts.pulse import Beat
from alerts.service import Service
from collector.sample import Message
from collector.storage import Arrival, StoreFailed


class Stub:
    """Stands in the service's place: counts what it is asked, and fails when told to."""

    def __init__(self) -> None:
        self.ticks = 0
        self.taken = 4
        self.read = threading.Event()
        self.got: list[list[int]] = []
        self.took = threading.Event()
        self.told = threading.Event()
        self.ticked = threading.Event()
        self.fails: Callable[[], None] = lambda: None
        self.tells: Callable[[], None] = lambda: None

    def start(self) -> None:
        return None

    def follow(self) -> int:
        self.read.set()
        return 0

    def take(self, arrivals: Sequence[Arrival]) -> None:
        self.got.append([a.position for a in arrivals])
        self.taken = arrivals[-1].position
        self.took.set()

    def clock(self) -> float:
        return 1_760_000_000.0

    def tick(self) -> None:
        self.ticks += 1
        try:
            self.fails()
        finally:
            self.ticked.set()

    def tell(self) -> int:
        self.told.set()
        self.tells()
        return 0

    def settle(self) -> None:
        return None


def running(stub: Stub, monotonic: Callable[[], float] = lambda: 0.0) -> LiveWatch:
    # A timer that stands still but for the first look: only `notify` and the first tick move it.
    live = LiveWatch(cast(Service, stub), monotonic, tick_s=0.01, tell_s=0.01)
    live.start()
    return live


def test_it_ticks_tells_and_stops() -> None:
    stub = Stub()
    live = running(stub)
    assert stub.ticked.wait(5)
    assert stub.told.wait(5)
    live.stop()
    assert not live.alive
    assert live.pulse.ticks >= 1


def test_a_store_that_refuses_does_not_end_the_watch() -> None:
    stub = Stub()

    def refuse() -> None:
        stub.fails = lambda: None
        raise StoreFailed("disk full")

    stub.fails = refuse
    live = running(stub)
    assert stub.ticked.wait(5)
    stub.ticked.clear()
    live.notify()
    assert stub.ticked.wait(5)
    assert live.alive
    live.stop()
    assert live.pulse.failures == 1
    assert live.pulse.last_failure == "the store refused: StoreFailed"


def test_our_own_mistake_is_logged_and_the_watch_goes_on() -> None:
    stub = Stub()

    def stumble() -> None:
        stub.fails = lambda: None
        raise ZeroDivisionError("odd")

    stub.fails = stumble
    live = running(stub)
    assert stub.ticked.wait(5)
    stub.ticked.clear()
    assert stub.ticked.wait(5)
    assert live.alive
    live.stop()
    assert live.pulse.last_failure == "the watch stumbled: ZeroDivisionError"


def test_a_telling_that_hangs_makes_the_pulse_stale_while_the_watch_ticks_on(eventually: Callable[..., None]) -> None:
    stub, hang, now = Stub(), threading.Event(), [0.0]
    stub.tells = lambda: None if hang.wait(20.0) else None
    live = running(stub, lambda: now[0])
    try:
        assert stub.told.wait(5)
        eventually(lambda: live.pulse.ticks > 0, "it ticks")
        assert live.pulse.beat(now[0]) is Beat.STARTING
        now[0] = live.pulse.bound_s + 1.0
        before = live.pulse.ticks
        live.notify()
        eventually(lambda: live.pulse.ticks > before, "it ticks on")
        assert live.pulse.beat(now[0]) is Beat.STALE
        assert live.pulse.stale(now[0]) == "nobody could be told"
        hang.set()
        eventually(lambda: live.pulse.beat(now[0]) is Beat.FRESH, "the telling is back")
    finally:
        hang.set()
        live.stop()


def test_a_watch_that_hangs_makes_the_pulse_stale_while_people_are_told(eventually: Callable[..., None]) -> None:
    stub, hang, now = Stub(), threading.Event(), [0.0]
    live = running(stub, lambda: now[0])
    try:
        eventually(lambda: live.pulse.beat(now[0]) is Beat.FRESH, "all is fresh")
        stub.fails = lambda: None if hang.wait(20.0) else None
        stub.ticked.clear()
        now[0] = live.pulse.bound_s + 1.0
        live.notify()
        eventually(lambda: live.pulse.stale(now[0]) == "units were not looked at", "the watch alone is late")
        assert live.alive
    finally:
        hang.set()
        live.stop()


def group(*positions: int) -> list[Arrival]:
    return [Arrival(Message("t", b"", 0.0), (), position) for position in positions]


def test_a_group_that_follows_is_taken_as_it_is_and_one_behind_a_hole_is_read_from_the_log() -> None:
    stub = Stub()
    live = running(stub)
    assert stub.ticked.wait(5)
    live.offer(group(5, 6))
    assert stub.took.wait(5)
    stub.read.clear()
    live.offer(group(9, 10))
    assert stub.read.wait(5)
    live.stop()
    assert stub.got == [[5, 6]]

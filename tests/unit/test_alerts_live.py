"""The watch on its own timer."""

import threading
from collections.abc import Callable
from typing import cast

from alerts.live import LiveWatch
from alerts.service import Service
from collector.storage import StoreFailed


class Stub:
    """Stands in the service's place: counts what it is asked, and fails when told to."""

    def __init__(self) -> None:
        self.ticks = 0
        self.told = threading.Event()
        self.ticked = threading.Event()
        self.fails: Callable[[], None] = lambda: None

    def start(self) -> None:
        return None

    def follow(self) -> int:
        return 0

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
        return 0


def running(stub: Stub) -> LiveWatch:
    # A timer that stands still but for the first look: only `notify` and the first tick move it.
    live = LiveWatch(cast(Service, stub), lambda: 0.0, tick_s=0.01, tell_s=0.01)
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

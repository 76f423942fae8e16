"""The heartbeat of a whole service: what whoever waits outside hears, and does not hear, of its troubles."""

import threading
import time
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from alerts.sentences_watcher import codes
from alerts.troubles import standing_trouble
from api.heartbeat import Receiver
from api.routes.health import works as says_it_works
from api.works import Works
from collector.broker import Broker
from collector.canary import OwnTopics
from collector.health import State
from collector.mqtt_board import Board
from collector.storage import StoreFailed

if TYPE_CHECKING:
    from tests.conftest import Mosquitto

RATE = 20.0


class Outside:
    """Somebody outside who counts the calls."""

    def __init__(self) -> None:
        self.calls = 0
        outside = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                outside.calls += 1
                self.send_response(204)
                self.end_headers()

            def log_message(self, *given: object) -> None:
                return None

        self.server = HTTPServer(("127.0.0.1", 0), Handler)
        self.thread = threading.Thread(target=self.server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
        self.thread.start()

    def close(self) -> None:
        self.server.shutdown()
        self.server.server_close()
        self.thread.join()


@pytest.fixture
def outside() -> Iterator[Outside]:
    made = Outside()
    yield made
    made.close()


@pytest.fixture
def works(mosquitto: "Mosquitto", tmp_path: Path, outside: Outside, monkeypatch: pytest.MonkeyPatch) -> Iterator[Works]:
    """The whole service, a minute of its world in three seconds."""
    monkeypatch.setattr("api.canary.IN_TIME_S", 2.0)
    monkeypatch.setattr("api.vitals.LOOK_S", 0.1)
    monkeypatch.setattr("api.vitals.JOURNAL_S", 0.2)
    own = OwnTopics()
    broker = Broker(mosquitto.host, mosquitto.port, topics=("rooms/#",))
    address = f"http://127.0.0.1:{outside.server.server_port}/"
    begun_at, begun_s = time.time(), time.monotonic()
    made = Works(
        tmp_path, broker, (), clock=lambda: begun_at + RATE * (time.monotonic() - begun_s), rate=RATE,
        ballast_bytes=4096, own=own, board=Board(broker, own.status, pauses_s=(1, 1)),
        canary_every_s=0.5, receiver=Receiver(address, every_s=0.2, private=True),
    )  # fmt: skip
    made.live.pulse.bound_s = 60.0 / RATE
    made.start()
    yield made
    made.stop()


class Ear:
    """Whether calls come now."""

    def __init__(self, outside: Outside, eventually: Callable[..., None]) -> None:
        self._outside, self._eventually = outside, eventually

    def hears(self, why: str) -> None:
        before = self._outside.calls
        self._eventually(lambda: self._outside.calls > before + 1, why, 30.0)

    def hears_nothing(self, works: Works, why: str) -> None:
        """Wait until it is withheld, then see that no call comes while it is looked at several times more."""
        assert works.heartbeat is not None
        heart = works.heartbeat
        self._eventually(lambda: any(why in lacking for lacking in heart.lacking), f"it is withheld: {why}", 30.0)
        calls, withheld = self._outside.calls, heart.withheld
        self._eventually(lambda: heart.withheld >= withheld + 3, "it was looked at again")
        assert self._outside.calls == calls
        works.say_watch()
        part = works.health.part("heartbeat")
        assert part is not None and part.state is State.DOUBTFUL and why in part.sentence


@pytest.fixture
def ear(outside: Outside, eventually: Callable[..., None]) -> Ear:
    return Ear(outside, eventually)


def healthy(works: Works) -> bool:
    works.say_watch()
    return says_it_works(works.health.parts())


def test_a_broker_that_dies_stops_the_beats_and_fails_health_and_one_that_is_back_resumes_them(
    mosquitto: "Mosquitto", works: Works, ear: Ear, eventually: Callable[..., None]
) -> None:
    ear.hears("it beats while all is well")
    eventually(lambda: healthy(works), "health says that it works")
    mosquitto.kill()
    ear.hears_nothing(works, "no message of our own came round")
    assert not healthy(works)
    mosquitto.start()
    ear.hears("it beats again")
    eventually(lambda: healthy(works), "health says that it works again")


def test_a_watch_that_hangs_stops_the_beats_and_fails_health(
    works: Works, ear: Ear, monkeypatch: pytest.MonkeyPatch, eventually: Callable[..., None]
) -> None:
    ear.hears("it beats while all is well")
    let_go = threading.Event()
    real = works.service.tick

    def hangs() -> None:
        let_go.wait(60.0)

    monkeypatch.setattr(works.service, "tick", hangs)
    try:
        ear.hears_nothing(works, "the watch or the telling is not fresh")
        assert not healthy(works)
        part = works.health.part("watch")
        assert part is not None and "The watch hangs" in part.sentence
    finally:
        monkeypatch.setattr(works.service, "tick", real)
        let_go.set()
    ear.hears("it beats again")
    eventually(lambda: healthy(works), "health says that it works again")


def test_a_telling_that_hangs_stops_the_beats_and_fails_health(
    works: Works, ear: Ear, monkeypatch: pytest.MonkeyPatch
) -> None:
    ear.hears("it beats while all is well")
    let_go = threading.Event()

    def hangs() -> int:
        let_go.wait(60.0)
        return 0

    monkeypatch.setattr(works.service, "tell", hangs)
    try:
        ear.hears_nothing(works, "the watch or the telling is not fresh")
        assert not healthy(works)
    finally:
        monkeypatch.undo()
        let_go.set()
    ear.hears("it beats again")


def test_a_journal_that_refuses_stops_the_beats(works: Works, ear: Ear, monkeypatch: pytest.MonkeyPatch) -> None:
    ear.hears("it beats while all is well")
    real = works.present._journal.append

    def refuses(*given: object, **more: object) -> None:
        raise StoreFailed("disk full")

    works.vitals.fresh_s = 1.0
    monkeypatch.setattr(works.present._journal, "append", refuses)
    ear.hears_nothing(works, "the journal cannot be written")
    monkeypatch.setattr(works.present._journal, "append", real)
    ear.hears("it beats again")


def test_a_readings_store_that_refuses_stops_the_beats_and_is_told_as_an_alarm_of_its_own(
    works: Works, ear: Ear, monkeypatch: pytest.MonkeyPatch, eventually: Callable[..., None]
) -> None:
    ear.hears("it beats while all is well")
    real = works.readings.append

    def refuses(*given: object) -> int:
        raise StoreFailed("disk full")

    monkeypatch.setattr(works.readings, "append", refuses)
    ear.hears_nothing(works, "no message of our own came round")
    assert not healthy(works)

    def troubles() -> tuple[str, ...]:
        alarm = standing_trouble(works.present.kitchen)
        return codes(alarm.condition.parameters) if alarm is not None else ()

    eventually(lambda: "store" in troubles(), "it is an alarm")
    monkeypatch.setattr(works.readings, "append", real)
    ear.hears("it beats again")
    eventually(lambda: "store" not in troubles(), "it is over")

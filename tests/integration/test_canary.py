"""A message of our own through a real broker and back; and what a real broker's access list does to it."""

import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from api.run_command import works_of
from api.works import Works
from collector.health import State
from collector.sample import Message
from collector.settings import Settings, parse

if TYPE_CHECKING:
    from tests.conftest import Mosquitto

ROOT = Path(__file__).resolve().parents[2]
SETTINGS = """
[broker]
address = "{host}"
port = {port}
protocol = "{protocol}"
{user}
[[source]]
topic = "{topic}"
format = "senml"
[stores]
folder = "{folder}"
ballast_mib = 0
[web]
public_address = "https://curevigil.example"
"""


def kitchen(host: str, port: int, folder: Path, user: str = "", topic: str = "rooms/#", protocol: str = "5") -> Works:
    text = SETTINGS.format(host=host, port=port, folder=folder, user=user, topic=topic, protocol=protocol)
    settings = parse(text, {"PASSWORD": "brine"}, lambda path: "")
    assert isinstance(settings, Settings), settings
    works = works_of(settings)
    assert works.canary is not None
    works.canary.every_s = 0.3
    return works


def said(works: Works) -> tuple[State, str]:
    works.say_watch()
    part = works.health.part("canary")
    assert part is not None
    return part.state, part.sentence


def retained(mosquitto: "Mosquitto", topic: str) -> Callable[[], str]:
    """Return what asks for the retained word on a topic."""

    def ask() -> str:
        found: list[str] = []
        client = paho.Client(CallbackAPIVersion.VERSION2)
        client.on_message = lambda *given: found.append(given[2].payload.decode())
        client.connect(mosquitto.host, mosquitto.port)
        client.subscribe(topic, qos=1)
        for _ in range(20):
            client.loop(timeout=0.1)
            if found:
                break
        client.disconnect()
        while client.socket() is not None:
            client.loop(timeout=0.1)
        return found[-1] if found else ""

    return ask


@pytest.mark.parametrize("topic", ["rooms/#", "#"], ids=["a topic of its own", "among everything"])
def test_it_goes_the_way_of_a_reading_and_leaves_no_reading_behind(
    mosquitto: "Mosquitto", tmp_path: Path, eventually: Callable[..., None], topic: str
) -> None:
    works = kitchen(mosquitto.host, mosquitto.port, tmp_path / "data", topic=topic)
    works.start()
    assert works.canary is not None
    canary = works.canary
    try:
        eventually(lambda: canary.came_round >= 3, "three have come round")
        state, sentence = said(works)
        assert state is State.WORKS and "came round" in sentence
        part = works.health.part("canary")
        assert part is not None and 0.0 < part.numbers["seconds"] < 30.0
        kept = [a for a in works.readings.arrivals(0, 100) if a.message.topic == "curevigil/canary"]
        assert len(kept) >= 3 and all(a.outcome == () for a in kept)
        assert works.readings.channels() == []
        assert works.readings.refused(0, 100) == []
        eventually(lambda: retained(mosquitto, "curevigil/status")() == "watching", "the status is told")
    finally:
        works.stop()
    eventually(lambda: retained(mosquitto, "curevigil/status")() == "gone", "nobody watches any more")


def test_a_broker_that_dies_stops_it_and_one_that_is_back_lets_it_come_round_again(
    mosquitto: "Mosquitto", tmp_path: Path, eventually: Callable[..., None]
) -> None:
    works = kitchen(mosquitto.host, mosquitto.port, tmp_path / "data")
    works.start()
    assert works.canary is not None
    canary = works.canary
    try:
        eventually(lambda: canary.came_round >= 1, "one has come round")
        mosquitto.kill()
        eventually(lambda: not works._broker_there(), "the loss is noticed")
        before = canary.came_round
        mosquitto.start()
        eventually(lambda: canary.came_round > before + 1, "it comes round again")
    finally:
        works.stop()


def test_a_watch_that_hangs_takes_its_word_back_on_the_status_topic(
    mosquitto: "Mosquitto", tmp_path: Path, eventually: Callable[..., None]
) -> None:
    works = kitchen(mosquitto.host, mosquitto.port, tmp_path / "data")
    works.start()
    ask = retained(mosquitto, "curevigil/status")
    try:
        eventually(lambda: ask() == "watching", "the status is told")
        works.live.pulse.bound_s = -1.0
        works.vitals.look()
        eventually(lambda: ask() == "gone", "it is told that nobody watches")
    finally:
        works.stop()


@pytest.fixture
def strict(mosquitto: "Mosquitto", absent: Callable[[str, str], None]) -> Iterator[Callable[[str], None]]:
    """`strict(acl)`: the same broker with a password for each name and an access list."""
    maker = shutil.which("mosquitto_passwd")
    if maker is None:
        absent("mosquitto", "apt-get install mosquitto")
    passwords = mosquitto.folder / "passwords"
    passwords.touch(mode=0o600)
    subprocess.run([str(maker), "-b", str(passwords), "collector", "brine"], check=True, capture_output=True)
    plain = mosquitto._configuration

    def begin(acl: str) -> None:
        (mosquitto.folder / "acl").write_text(acl)
        (mosquitto.folder / "acl").chmod(0o600)
        more = f"password_file {passwords}\nacl_file {mosquitto.folder / 'acl'}\n"

        def configuration() -> Path:
            path = plain()
            path.write_text(path.read_text() + more)
            return path

        mosquitto._configuration = configuration  # type: ignore[method-assign]
        mosquitto.restart()

    yield begin


SHIPPED = (ROOT / "deploy" / "mosquitto.acl").read_text(encoding="utf-8")
AS_COLLECTOR = 'username = "collector"\npassword = "env:PASSWORD"'


def test_the_shipped_access_list_lets_it_through(
    mosquitto: "Mosquitto", strict: Callable[[str], None], tmp_path: Path, eventually: Callable[..., None]
) -> None:
    strict(SHIPPED)
    works = kitchen(mosquitto.host, mosquitto.port, tmp_path / "data", AS_COLLECTOR)
    works.start()
    try:
        eventually(lambda: works.canary is not None and works.canary.came_round > 0, "one has come round")
    finally:
        works.stop()


def test_an_access_list_that_forbids_it_is_said_in_words_and_stops_no_reading(
    mosquitto: "Mosquitto", strict: Callable[[str], None], tmp_path: Path, eventually: Callable[..., None]
) -> None:
    rule = "topic write curevigil/#"
    assert rule in SHIPPED
    strict(SHIPPED.replace(rule, "topic write curevigil/status") + "\nuser sensors2\ntopic write rooms/#\n")
    works = kitchen(mosquitto.host, mosquitto.port, tmp_path / "data", AS_COLLECTOR)
    works.start()
    try:
        eventually(lambda: "does not let us write on curevigil/canary" in said(works)[1], "it is said in words")
        assert said(works)[0] is State.DOUBTFUL and "access list" in said(works)[1]
        part = works.health.part("broker")
        assert part is not None and part.state is State.WORKS
    finally:
        works.stop()


def test_where_the_broker_cannot_say_that_it_forbids_it_the_access_list_is_named_all_the_same(
    mosquitto: "Mosquitto", strict: Callable[[str], None], tmp_path: Path, eventually: Callable[..., None],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.setattr("api.canary.NEVER_S", 1.0)
    strict(SHIPPED.replace("topic write curevigil/#", "topic write curevigil/status"))
    works = kitchen(mosquitto.host, mosquitto.port, tmp_path / "data", AS_COLLECTOR, protocol="3.1.1")
    works.start()
    try:
        eventually(lambda: said(works)[0] is State.FAILED, "it has failed")
        eventually(lambda: "access list" in said(works)[1], "how to mend it is said")
    finally:
        works.stop()


def test_an_access_list_that_forbids_even_the_status_is_said_in_words(
    mosquitto: "Mosquitto", strict: Callable[[str], None], tmp_path: Path, eventually: Callable[..., None]
) -> None:
    strict(SHIPPED.replace("topic write curevigil/#\n", ""))
    works = kitchen(mosquitto.host, mosquitto.port, tmp_path / "data", AS_COLLECTOR)
    works.start()
    try:
        eventually(lambda: "does not let us" in said(works)[1], "it is said in words")
    finally:
        works.stop()


def test_a_sensor_on_our_topic_is_refused_with_the_reason(tmp_path: Path) -> None:
    works = kitchen("127.0.0.1", 1, tmp_path / "data")
    try:
        found = works.ingest._read(Message("curevigil/canary", b'[{"n":"air","u":"Cel","v":3}]', 1_800_000_000.0))
        assert found is not None and getattr(found.outcome, "code", "") == "not_ours"
    finally:
        works.link.stop()
        works.stores.close()

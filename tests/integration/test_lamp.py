"""A lamp on a real broker: it is told how its unit stands, and by the broker itself that nobody watches any more."""

import socket
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from alerts.channels.lamp import Lamp
from api.run_command import works_of
from collector.broker import Broker
from collector.events import AlarmAcknowledged, AlarmRaised, AlarmReturned, Draft, Event, SiteDescribed, UnitDescribed
from collector.findings import Condition
from collector.mqtt_board import Board
from collector.present import Present
from collector.readings import Site, Unit
from collector.settings import Settings, parse
from collector.storage import MemoryJournal

if TYPE_CHECKING:
    from tests.conftest import Mosquitto

NOW = 1_790_000_000.0
TOPIC, STATUS = "curevigil/{site}/{unit}/alarm", "curevigil/status"
ROOM, FRIDGE = "curevigil/lane/room/alarm", "curevigil/lane/fridge/alarm"


class Wall:
    """Lamps on a wall: whatever is said on their topics."""

    def __init__(self, mosquitto: "Mosquitto") -> None:
        self.said: list[tuple[str, str]] = []
        self.client = paho.Client(CallbackAPIVersion.VERSION2, client_id="wall")
        self.client.reconnect_delay_set(1, 1)
        self.client.on_connect = self._connected
        self.client.on_message = self._heard
        self.client.connect(mosquitto.host, mosquitto.port)
        self.client.loop_start()

    def _connected(self, client: paho.Client, *given: Any) -> None:
        client.subscribe("curevigil/#", qos=1)

    def _heard(self, client: Any, userdata: Any, message: paho.MQTTMessage) -> None:
        self.said.append((message.topic, message.payload.decode()))

    def shows(self) -> dict[str, str]:
        """Return the last word on each topic of a lamp, and the status; canaries are not for lamps."""
        return {topic: word for topic, word in self.said if topic != "curevigil/canary"}

    def stop(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


@pytest.fixture
def present() -> Present:
    made = Present(MemoryJournal(), lambda: NOW)
    write(
        made,
        SiteDescribed(Site("lane", "Lane", "Europe/London", "US")),
        UnitDescribed(Unit("room", "lane", "Room", "cold room")),
        UnitDescribed(Unit("fridge", "lane", "Fridge", "fridge")),
    )
    return made


def write(present: Present, *events: Event) -> None:
    present.decide(lambda kitchen: [Draft(NOW, "watch", event) for event in events])


def raised(present: Present, unit: str, *, wakes: bool = True) -> str:
    write(present, AlarmRaised(Condition(unit, f"warm {unit}", "temperature", wakes, NOW)))
    return list(present.kitchen.alarms)[-1]


@pytest.fixture
def lamp(mosquitto: "Mosquitto", present: Present) -> Iterator[Lamp]:
    made = Lamp(Board(Broker(mosquitto.host, mosquitto.port, client_id="c"), STATUS, pauses_s=(1, 1)), TOPIC)
    present.watchers.append(lambda entries: made.show(present.kitchen))
    made.start(present.kitchen)
    yield made
    made.stop()


def test_a_lamp_follows_its_unit_and_is_told_again_when_it_is_plugged_in(
    mosquitto: "Mosquitto", present: Present, lamp: Lamp, eventually: Callable[..., None]
) -> None:
    wall = Wall(mosquitto)
    eventually(lambda: wall.shows() == {ROOM: "none", FRIDGE: "none", STATUS: "watching"}, "all lamps are told")
    alarm = raised(present, "room")
    eventually(lambda: wall.shows()[ROOM] == "alarm", "the lamp of the room is told")
    wall.stop()
    late = Wall(mosquitto)
    eventually(lambda: late.shows().get(ROOM) == "alarm", "a lamp that was plugged in later is told")
    write(present, AlarmAcknowledged(alarm, "going", NOW + 600.0))
    eventually(lambda: late.shows()[ROOM] == "acknowledged", "the lamp hears that somebody goes")
    write(present, AlarmReturned(alarm, "", {}))
    eventually(lambda: late.shows()[ROOM] == "none", "the lamp hears that no alarm stands")
    assert late.shows()[FRIDGE] == "none"
    late.stop()


def test_an_alarm_of_the_whole_site_is_on_every_lamp_and_a_small_one_on_none(
    mosquitto: "Mosquitto", present: Present, lamp: Lamp, eventually: Callable[..., None]
) -> None:
    wall = Wall(mosquitto)
    raised(present, "fridge", wakes=False)
    raised(present, "*")
    eventually(lambda: wall.shows().get(ROOM) == "alarm" == wall.shows().get(FRIDGE), "both lamps are told")
    assert wall.said.count((FRIDGE, "alarm")) == 1
    wall.stop()


def test_when_the_line_breaks_the_broker_says_gone_and_everything_is_said_again_after_it(
    mosquitto: "Mosquitto", present: Present, lamp: Lamp, eventually: Callable[..., None]
) -> None:
    wall = Wall(mosquitto)
    eventually(lambda: wall.shows().get(STATUS) == "watching", "the status is told")
    line = lamp._board._client.socket()
    assert isinstance(line, socket.socket)
    line.shutdown(socket.SHUT_RDWR)
    eventually(lambda: (STATUS, "gone") in wall.said, "the broker says that nobody watches")
    raised(present, "room")
    eventually(lambda: wall.shows()[STATUS] == "watching", "the connection is back")
    eventually(lambda: wall.shows()[ROOM] == "alarm", "what changed meanwhile is told")
    wall.stop()


def test_a_broker_that_lost_what_it_kept_is_told_everything_again(
    mosquitto: "Mosquitto", lamp: Lamp, eventually: Callable[..., None]
) -> None:
    eventually(lambda: lamp.connected, "the lamp is connected")
    mosquitto.kill()
    for path in mosquitto.folder.glob("*.db"):
        path.unlink()
    eventually(lambda: not lamp.connected, "the loss is noticed")
    mosquitto.start()
    wall = Wall(mosquitto)
    eventually(lambda: wall.shows() == {ROOM: "none", FRIDGE: "none", STATUS: "watching"}, "all lamps are told again")
    wall.stop()


def test_when_the_service_stops_nothing_is_known_of_any_unit(
    mosquitto: "Mosquitto", present: Present, eventually: Callable[..., None]
) -> None:
    lamp = Lamp(Board(Broker(mosquitto.host, mosquitto.port, client_id="d"), STATUS), TOPIC)
    lamp.start(present.kitchen)
    eventually(lambda: lamp.connected, "the lamp is connected")
    lamp.stop()
    wall = Wall(mosquitto)
    eventually(lambda: wall.shows() == {ROOM: "unknown", FRIDGE: "unknown", STATUS: "gone"}, "the lamps are told")
    wall.stop()


SETTINGS = """
[broker]
address = "{host}"
port = {port}
[[source]]
topic = "rooms/#"
format = "senml"
[stores]
folder = "{folder}"
ballast_mib = 0
[web]
public_address = "https://curevigil.example"
[lamp]
"""


def test_the_service_keeps_the_lamps_as_its_settings_say(
    mosquitto: "Mosquitto", tmp_path: Path, eventually: Callable[..., None]
) -> None:
    text = SETTINGS.format(host=mosquitto.host, port=mosquitto.port, folder=tmp_path / "data")
    settings = parse(text, {}, lambda path: "")
    assert isinstance(settings, Settings)
    works = works_of(settings)
    write(
        works.present,
        SiteDescribed(Site("lane", "Lane", "Europe/London", "US")),
        UnitDescribed(Unit("room", "lane", "Room", "cold room")),
    )
    works.start()
    wall = Wall(mosquitto)
    try:
        eventually(lambda: wall.shows() == {ROOM: "none", STATUS: "watching"}, "the lamp is told")
        raised(works.present, "room")
        eventually(lambda: (ROOM, "alarm") in wall.said, "the alarm is told")
        works.say_watch()
        assert [part.sentence for part in works.health.parts() if part.name == "lamp"] == ["Each unit's lamp is told."]
    finally:
        works.stop()
    eventually(lambda: wall.shows() == {ROOM: "unknown", STATUS: "gone"}, "nothing is known any more")
    wall.stop()

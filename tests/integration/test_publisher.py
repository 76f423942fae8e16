"""The publisher against real brokers, and the embedded broker against real clients."""

import json
import logging
import os
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from simulators.embedded_broker import Credentials, EmbeddedBroker, EmbeddedBrokerError
from simulators.faults import Sent
from simulators.publisher import Pace, Publisher, as_sent, hang_up, publish
from simulators.smokehouse import SENML_UNITS, story

ROOT = Path(__file__).resolve().parents[2]
NOW = 1_795_000_000.0
Eventually = Callable[..., None]


class Broker(Protocol):
    host: str
    port: int

    def start(self) -> None: ...
    def stop(self) -> None: ...


class Listener:
    """A bare subscriber that keeps what it hears."""

    def __init__(self, host: str, port: int, user: Credentials | None = None, name: str = "listener") -> None:
        self.heard: list[tuple[str, bytes]] = []
        self.subscribed = threading.Event()
        self.refused = threading.Event()
        self.session_present: bool | None = None
        self._client = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id=name, clean_session=False, protocol=mqtt.MQTTv311
        )
        if user is not None:
            self._client.username_pw_set(user.username, user.password)
        self._client.reconnect_delay_set(1, 1)
        self._client.on_connect = self._on_connect
        self._client.on_subscribe = self._on_subscribe
        self._client.on_message = lambda client, userdata, m: self.heard.append((m.topic, bytes(m.payload)))
        self._client.connect(host, port)
        self._client.loop_start()

    def _on_connect(self, client: Any, userdata: Any, flags: Any, reason: Any, properties: Any) -> None:
        if reason.is_failure:
            self.refused.set()
            return
        self.session_present = flags.session_present
        client.subscribe("#", qos=1)

    def _on_subscribe(self, client: Any, userdata: Any, mid: Any, reasons: Any, properties: Any) -> None:
        (self.refused if reasons[0].is_failure else self.subscribed).set()

    def close(self) -> None:
        hang_up(self._client)

    @property
    def records(self) -> list[dict[str, Any]]:
        return [record for _, payload in self.heard for record in json.loads(payload)]


@pytest.fixture
def listening() -> Iterator[Callable[..., Listener]]:
    opened: list[Listener] = []

    def listen(*args: Any, **kwargs: Any) -> Listener:
        opened.append(Listener(*args, **kwargs))
        return opened[-1]

    yield listen
    for listener in opened:
        listener.close()


@pytest.fixture
def embedded() -> Iterator[EmbeddedBroker]:
    with EmbeddedBroker() as broker:
        yield broker


def numbered(count: int) -> list[Sent]:
    return [Sent("smokehouse/fridge/air", float(i), NOW + i, NOW + i) for i in range(count)]


FAST = Pace(virtual_at=NOW, real_at=0.0, rate=1e6)


def test_an_hour_of_the_smokehouse_arrives_whole_and_in_order_at_a_real_broker(
    mosquitto: Broker, listening: Callable[..., Listener], eventually: Eventually
) -> None:
    listener = listening(mosquitto.host, mosquitto.port)
    assert listener.subscribed.wait(10)
    week = story(NOW, np.random.default_rng(1))
    stream = list(as_sent(week.readings(week.fault_at, week.fault_at + 3600.0)))
    publisher = Publisher(mosquitto.host, mosquitto.port)
    publisher.start()
    publish(publisher, stream, SENML_UNITS, Pace(week.fault_at, 0.0, 1e6), threading.Event())
    publisher.stop()
    eventually(lambda: len(listener.heard) >= len(stream), "every reading was heard")
    assert [topic for topic, _ in listener.heard] == [sent.channel for sent in stream]
    assert listener.records == [
        {"n": s.channel, "u": SENML_UNITS[s.channel], "v": s.value, "t": s.measured_at} for s in stream
    ]
    assert publisher.unsent == 0


def test_a_broker_that_goes_away_and_comes_back_gets_everything_in_the_end(
    mosquitto: Broker, listening: Callable[..., Listener], eventually: Eventually
) -> None:
    listener = listening(mosquitto.host, mosquitto.port)
    assert listener.subscribed.wait(10)
    publisher = Publisher(mosquitto.host, mosquitto.port)
    publisher.start()
    publish(publisher, numbered(100), SENML_UNITS, FAST, threading.Event())
    eventually(lambda: len(listener.heard) >= 100, "the first hundred were heard")
    mosquitto.stop()
    eventually(lambda: not publisher.connected, "the publisher has noticed")
    publish(publisher, numbered(300)[100:], SENML_UNITS, FAST, threading.Event())
    assert publisher.unsent == 200
    mosquitto.start()
    eventually(lambda: publisher.unsent == 0, "everything was acknowledged", 30.0)
    eventually(lambda: {r["v"] for r in listener.records} == set(range(300)), "everything was heard")
    publisher.stop()


def test_a_publisher_started_before_its_broker_waits_for_it(
    mosquitto: Broker, listening: Callable[..., Listener], eventually: Eventually
) -> None:
    mosquitto.stop()
    publisher = Publisher(mosquitto.host, mosquitto.port)
    publisher.start()
    publish(publisher, numbered(5), SENML_UNITS, FAST, threading.Event())
    mosquitto.start()
    eventually(lambda: publisher.unsent == 0, "the five were acknowledged", 30.0)
    publisher.stop()


def run_as_a_program(broker: EmbeddedBroker, *more: str) -> subprocess.Popen[str]:
    code = "import sys; from simulators.publisher import main; sys.exit(main(sys.argv[1:]))"
    week = story(NOW, np.random.default_rng(1))
    command = [sys.executable, "-W", "error", "-c", code]
    command += ["--port", str(broker.port), "--username", "kitchen", "--password", "env:KITCHEN_PASSWORD"]
    command += ["--now-at", str(NOW), "--virtual-at", str(week.fault_at - 60), *more]
    return subprocess.Popen(
        command,
        cwd=ROOT,
        env={**os.environ, "KITCHEN_PASSWORD": broker.kitchen.password},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def test_as_a_program_of_its_own_it_plays_a_stretch_and_ends(
    embedded: EmbeddedBroker, listening: Callable[..., Listener], eventually: Eventually
) -> None:
    listener = listening(embedded.host, embedded.port, embedded.collector)
    assert listener.subscribed.wait(10)
    week = story(NOW, np.random.default_rng(1))
    until_at = week.fault_at + 1800.0
    program = run_as_a_program(embedded, "--until-at", str(until_at), "--pace", "3600")
    out, err = program.communicate(timeout=60)
    assert program.returncode == 0, err
    assert out == ""
    assert embedded.kitchen.password not in err
    for line in err.splitlines():
        assert line.startswith("time=")
        assert " event=" in line
    expected = list(week.readings(week.fault_at - 60, until_at))
    eventually(lambda: len(listener.heard) >= len(expected), "the stretch was heard")
    assert [r["v"] for r in listener.records] == [m.value for m in expected]


@pytest.mark.parametrize("how", ["terminate", "close its input"])
def test_as_a_program_of_its_own_it_ends_when_it_is_told_to(
    embedded: EmbeddedBroker, listening: Callable[..., Listener], eventually: Eventually, how: str
) -> None:
    listener = listening(embedded.host, embedded.port, embedded.collector)
    assert listener.subscribed.wait(10)
    program = run_as_a_program(embedded, "--pace", "60", "--watch-stdin")
    eventually(lambda: listener.heard, "it is playing", 30.0)
    if how == "terminate":
        program.terminate()
    _, err = program.communicate(timeout=30)
    assert program.returncode == 0, err
    assert "event=ended" in err


def test_the_embedded_broker_keeps_messages_for_a_client_that_was_away(
    embedded: EmbeddedBroker, listening: Callable[..., Listener], eventually: Eventually
) -> None:
    first = listening(embedded.host, embedded.port, embedded.collector, "keeper")
    assert first.subscribed.wait(10)
    first.close()
    kitchen = embedded.kitchen
    publisher = Publisher(embedded.host, embedded.port, username=kitchen.username, password=kitchen.password)
    publisher.start()
    publish(publisher, numbered(50), SENML_UNITS, FAST, threading.Event())
    publisher.stop(linger_s=1.0)
    assert publisher.unsent == 0
    assert first.heard == []
    again = listening(embedded.host, embedded.port, embedded.collector, "keeper")
    eventually(lambda: len(again.heard) >= 50, "the fifty arrived")
    assert again.session_present
    assert [r["v"] for r in again.records] == list(range(50))


def test_the_embedded_broker_lets_nobody_in_without_the_password_of_this_run(
    embedded: EmbeddedBroker, listening: Callable[..., Listener]
) -> None:
    for wrong in (None, Credentials("collector", "guessed"), Credentials("stranger", embedded.collector.password)):
        listener = listening(embedded.host, embedded.port, wrong, "stranger")
        assert listener.refused.wait(10)
        assert not listener.subscribed.is_set()


def test_the_kitchen_may_not_listen(embedded: EmbeddedBroker, listening: Callable[..., Listener]) -> None:
    listener = listening(embedded.host, embedded.port, embedded.kitchen)
    assert listener.refused.wait(10)
    assert not listener.subscribed.is_set()


def test_the_collector_may_say_how_it_does_itself_and_no_reading(
    embedded: EmbeddedBroker, listening: Callable[..., Listener], eventually: Eventually
) -> None:
    listener = listening(embedded.host, embedded.port, embedded.collector)
    assert listener.subscribed.wait(10)
    for topic in ("smokehouse/coldroom/air", "curevigil/canary"):
        listener._client.publish(topic, b"[]", qos=1)
    eventually(lambda: listener.heard, "its own words come back")
    assert listener.heard == [("curevigil/canary", b"[]")]


def test_each_run_has_its_own_passwords_and_shows_none() -> None:
    a, b = EmbeddedBroker(), EmbeddedBroker()
    passwords = {user.password for broker in (a, b) for user in (broker.collector, broker.kitchen)}
    assert len(passwords) == 4
    assert not any(password in repr((a.collector, a.kitchen)) for password in passwords)


def test_a_port_that_is_taken_is_said_in_one_error_and_leaves_no_thread(embedded: EmbeddedBroker) -> None:
    before = threading.active_count()
    with pytest.raises(EmbeddedBrokerError, match=f"no broker on 127.0.0.1:{embedded.port}"):
        EmbeddedBroker(embedded.port).start()
    assert threading.active_count() == before


def test_the_embedded_broker_stops_with_clients_connected_and_logs_nothing_alarming(
    listening: Callable[..., Listener], caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.WARNING)
    with EmbeddedBroker() as broker:
        listener = listening(broker.host, broker.port, broker.collector)
        assert listener.subscribed.wait(10)
    listener.close()
    broker.stop()
    assert [r.message for r in caplog.records if r.name.startswith(("amqtt", "transitions", "simulators"))] == []

import random
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode

from collector.broker import Attempt, Broker
from collector.health import Health, State
from collector.inbox import Delivery, Inbox
from collector.mqtt import Link
from collector.sample import Message


class Recording(paho.Client):
    """A client that is connected to nothing and writes down what it is asked to acknowledge."""

    def __init__(self) -> None:
        super().__init__(CallbackAPIVersion.VERSION2, client_id="recording", manual_ack=True)
        self.acknowledged: list[tuple[int, int]] = []

    def ack(self, mid: int, qos: int) -> MQTTErrorCode:
        self.acknowledged.append((mid, qos))
        return MQTTErrorCode.MQTT_ERR_SUCCESS


class Connected:
    """A link as it stands after the broker has let it in, without a network."""

    def __init__(self, inbox: Inbox | None = None) -> None:
        self.now = 100.0
        self.health = Health()
        self.link = Link(
            Broker("nowhere.invalid", topics=("rooms/#",)),
            Inbox() if inbox is None else inbox,
            lambda: self.now,
            self.health,
            chance=random.Random(1),
        )
        self.client = Recording()
        self.link._client = self.client
        self.link._generation = 7

    def arrive(self, mid: int, topic: bytes = b"rooms/cold", *, qos: int = 1, retained: bool = False) -> None:
        message = paho.MQTTMessage(mid, topic)
        message.payload, message.qos, message.retain = b"[]", qos, retained
        self.link._on_message(self.client, message)

    def take(self) -> list[Delivery]:
        return self.link.inbox.take(100, 0)


@pytest.fixture
def connected() -> Iterator[Connected]:
    connected = Connected()
    yield connected
    connected.link.stop()


def test_the_callback_only_puts_the_message_into_the_inbox(connected: Connected) -> None:
    connected.arrive(3)
    assert connected.take() == [Delivery(Message("rooms/cold", b"[]", 100.0), 7, 3, 1)]
    assert connected.client.acknowledged == []


def test_a_retained_message_is_marked(connected: Connected) -> None:
    connected.arrive(3, retained=True)
    assert connected.take()[0].message.retained


def test_a_topic_that_is_no_utf_8_arrives_escaped(connected: Connected) -> None:
    connected.arrive(3, b"rooms/\xff")
    assert connected.take()[0].message.topic == "rooms/\\xff"


def test_acknowledgements_go_out_in_the_order_given(connected: Connected) -> None:
    for mid in (5, 3, 4):
        connected.arrive(mid)
    connected.link.acknowledge(connected.take())
    assert connected.client.acknowledged == [(5, 1), (3, 1), (4, 1)]


def test_a_message_at_qos_0_is_not_acknowledged(connected: Connected) -> None:
    connected.arrive(0, qos=0)
    connected.link.acknowledge(connected.take())
    assert connected.client.acknowledged == []


def test_a_delivery_of_an_earlier_connection_is_not_acknowledged_on_the_next(connected: Connected) -> None:
    connected.arrive(1)
    old = connected.take()
    connected.link._retire(connected.client)
    again = Recording()
    connected.link._client = again
    connected.link.acknowledge(old)
    connected.link.acknowledge([Delivery(Message("rooms/cold", b"[]", 1.0), connected.link._generation, 9, 1)])
    assert (connected.client.acknowledged, again.acknowledged) == ([], [(9, 1)])


def test_a_connection_that_ended_late_does_not_retire_the_one_after_it(connected: Connected) -> None:
    late = Recording()
    connected.link._retire(late)
    connected.arrive(1)
    connected.link.acknowledge(connected.take())
    assert connected.client.acknowledged == [(1, 1)]


def test_while_held_nothing_is_acknowledged_and_nothing_is_taken(connected: Connected) -> None:
    connected.arrive(1)
    before = connected.take()
    connected.link.hold()
    connected.arrive(2)
    connected.link.acknowledge(before)
    connected.link.release()
    connected.arrive(3)
    assert connected.take() == []
    assert connected.client.acknowledged == []


def test_a_full_inbox_makes_the_callback_wait_and_holding_ends_the_wait() -> None:
    connected = Connected(Inbox(messages_max=1))
    connected.arrive(1)
    waiting = threading.Thread(target=connected.arrive, args=(2,))
    waiting.start()
    waiting.join(0.3)
    assert waiting.is_alive()
    connected.link.hold()
    waiting.join(5.0)
    assert not waiting.is_alive()
    assert [d.mid for d in connected.take()] == [1]
    connected.link.stop()


def test_a_refused_subscription_is_told_with_its_topic(connected: Connected) -> None:
    connected.link._on_subscribe(Attempt("5"), [ReasonCode(PacketTypes.SUBACK, "Not authorized")], [])
    part = connected.health.part("broker")
    assert part is not None
    assert part.state is State.FAILED
    assert "rooms/#" in part.sentence


def test_a_broker_that_lets_us_hear_everything_but_ourselves_is_doubtful_and_not_failed(connected: Connected) -> None:
    connected.link.broker = replace(connected.link.broker, own=("curevigil/canary",))
    granted, denied = (ReasonCode(PacketTypes.SUBACK, name) for name in ("Granted QoS 1", "Not authorized"))
    connected.link._on_subscribe(Attempt("5"), [granted, denied], [])
    part = connected.health.part("broker")
    assert part is not None and part.state is State.DOUBTFUL
    assert "does not let us hear ourselves on curevigil/canary" in part.sentence
    connected.link._on_subscribe(Attempt("5"), [denied, granted], [])
    part = connected.health.part("broker")
    assert part is not None and part.state is State.FAILED and "curevigil" not in part.sentence


def test_a_subscription_granted_at_qos_0_is_doubtful(connected: Connected) -> None:
    connected.link._on_subscribe(Attempt("5"), [ReasonCode(PacketTypes.SUBACK, "Granted QoS 0")], [])
    part = connected.health.part("broker")
    assert part is not None
    assert part.state is State.DOUBTFUL
    assert "QoS 0" in part.sentence


def test_a_network_thread_that_died_is_started_again(
    eventually: Callable[..., None], monkeypatch: pytest.MonkeyPatch
) -> None:
    connected = Connected()
    turns: list[int] = []

    def die_once() -> None:
        turns.append(1)

    monkeypatch.setattr(connected.link, "_attempt", lambda: 60.0)
    connected.link._thread = threading.Thread(target=die_once)
    connected.link.start()
    eventually(lambda: not connected.link.alive, "the thread has died", 5.0)
    connected.link.supervise()
    assert connected.link.alive
    connected.link.supervise()
    assert connected.link.restarts == 1
    connected.link.stop()
    assert not connected.link.alive
    connected.link.supervise()
    assert connected.link.restarts == 1


def test_a_fault_in_the_network_thread_is_counted_told_and_does_not_end_it(
    eventually: Callable[..., None], monkeypatch: pytest.MonkeyPatch
) -> None:
    connected = Connected()
    attempts: list[int] = []

    def stumble() -> float:
        attempts.append(1)
        raise ZeroDivisionError

    monkeypatch.setattr(connected.link, "_attempt", stumble)
    monkeypatch.setattr("collector.mqtt.STUMBLED_S", 0.001)
    connected.link.start()
    eventually(lambda: len(attempts) >= 3, "it went on", 5.0)
    assert connected.link.alive
    part = connected.health.part("broker")
    assert part is not None
    assert part.state is State.FAILED
    assert "ZeroDivisionError" in part.sentence
    connected.link.stop()
    assert connected.link.stumbles == len(attempts)

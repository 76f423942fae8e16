"""The intake against brokers: a real one, the small one of the demo, and scripted ones that do odd things."""

import os
import shutil
import socket
import ssl
import subprocess
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal, NoReturn

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from collector.broker import Broker
from collector.events import GapSuspected
from collector.health import Health, State
from collector.inbox import Inbox
from collector.ingest import Ingest, last_received_at
from collector.message import Source
from collector.mqtt import Link
from collector.storage import Arrival, MemoryReadings, StoreFailed
from simulators.embedded_broker import EmbeddedBroker

Eventually = Callable[..., None]
Version = Literal["auto", "5", "3.1.1"]
NOON = 1_800_000_000.0
PAUSES_S = (0.05, 0.4)
CONNECT, CONNACK, PUBLISH, PUBACK, SUBSCRIBE, SUBACK, DISCONNECT = 1, 2, 3, 4, 8, 9, 14
MQTT_5, MQTT_3_1_1 = 5, 4


def senml(number: int) -> bytes:
    return b'[{"n":"probe1","u":"Cel","t":%.3f,"v":%g}]' % (NOON - 90_000 + number, number / 1000)


class Collector:
    """Link, ingest and a store in memory, in this process."""

    def __init__(self, broker: Broker, readings: MemoryReadings | None = None, **link: Any) -> None:
        self.readings = MemoryReadings() if readings is None else readings
        self.health = Health()
        self.inbox = Inbox()
        self.gaps: list[GapSuspected] = []
        self.groups: list[Sequence[Arrival]] = []
        self.follow: Callable[[Sequence[Arrival]], None] = self.groups.append
        self.link = Link(broker, self.inbox, lambda: NOON, self.health, **({"pauses_s": PAUSES_S} | link))
        self.ingest = Ingest(
            self.readings,
            self.link,
            (Source("rooms/#", "senml"),),
            lambda: NOON,
            lambda group: self.follow(group),
            self.health,
            on_gap=self.gaps.append,
            probes_s=(0.05, 0.1),
        )

    def connected(self) -> bool:
        part = self.health.part("broker")
        return part is not None and part.state in (State.WORKS, State.DOUBTFUL)

    def sentence(self) -> str:
        part = self.health.part("broker")
        return part.sentence if part is not None else ""

    def stored(self) -> list[int]:
        """Return the numbers of what is in the archive, in order of measured time."""
        return [round(value * 1000) for value in self.readings.series("probe1", 0.0, 2 * NOON).values]

    def arrived(self) -> list[int]:
        """Return the numbers of what came, in order of arrival, repeats included."""
        found = []
        for arrival in self.readings.arrivals(0, 1_000_000):
            assert isinstance(arrival.outcome, tuple)
            found += [round(reading.value * 1000) for reading in arrival.outcome]
        return found


@contextmanager
def running(collector: Collector) -> Iterator[Collector]:
    collector.ingest.start()
    try:
        yield collector
    finally:
        collector.ingest.stop()


class Sender:
    """A gateway with a persistent session that publishes at QoS 1 and counts what the broker accepted."""

    def __init__(self, port: int) -> None:
        self.accepted = 0
        self._client = paho.Client(CallbackAPIVersion.VERSION2, client_id="gateway", clean_session=False)
        self._client.max_inflight_messages_set(500)
        self._client.reconnect_delay_set(1, 1)
        self._client.on_publish = self._on_publish
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def _on_publish(self, *given: Any) -> None:
        self.accepted += 1

    def send(self, payload: bytes, *, topic: str = "rooms/cold", qos: int = 1, retain: bool = False) -> None:
        self._client.publish(topic, payload, qos, retain)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


@pytest.fixture
def sender(mosquitto: Any) -> Iterator[Sender]:
    sender = Sender(mosquitto.port)
    yield sender
    sender.close()


def at(mosquitto: Any, protocol: Version = "auto") -> Broker:
    return Broker(mosquitto.host, mosquitto.port, protocol=protocol, topics=("rooms/#",))


def let_it_know_us(broker: Broker, eventually: Eventually) -> None:
    """Begin a session at the broker, so that it keeps what is sent while nobody listens."""
    with running(Collector(broker)) as first:
        eventually(first.connected, "the first connection stands")


@pytest.mark.parametrize("protocol", ["auto", "5", "3.1.1"])
def test_readings_arrive_in_order_and_are_kept(
    mosquitto: Any, sender: Sender, eventually: Eventually, protocol: Version
) -> None:
    with running(Collector(at(mosquitto, protocol))) as collector:
        eventually(collector.connected, "it is connected")
        for number in range(500):
            sender.send(senml(number))
        eventually(lambda: len(collector.stored()) == 500, "all are kept")
    assert collector.arrived() == list(range(500))
    assert collector.link.choice.works_with == ("5" if protocol == "auto" else protocol)
    assert [arrival.position for group in collector.groups for arrival in group] == list(range(1, 501))


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
def test_what_is_sent_while_the_collector_is_away_arrives_when_it_is_back_and_only_once(
    mosquitto: Any, sender: Sender, eventually: Eventually, protocol: Version
) -> None:
    broker = at(mosquitto, protocol)
    let_it_know_us(broker, eventually)
    for number in range(300):
        sender.send(senml(number))
    eventually(lambda: sender.accepted == 300, "the broker has them")
    with running(Collector(broker, last_at=NOON - 60)) as second:
        eventually(lambda: len(second.stored()) == 300, "all have come")
    with running(Collector(broker, second.readings, last_at=last_received_at(second.readings))) as third:
        eventually(third.connected, "it is connected again")
        sender.send(senml(300))
        eventually(lambda: 300 in third.stored(), "the next has come")
    assert third.arrived() == list(range(301)), "stopping had sent every acknowledgement"
    assert second.gaps + third.gaps == []


def test_a_broker_restarted_meanwhile_loses_nothing_and_is_found_again(
    mosquitto: Any, sender: Sender, eventually: Eventually
) -> None:
    with running(Collector(at(mosquitto))) as collector:
        eventually(collector.connected, "it is connected")
        for part in range(4):
            for number in range(part * 100, part * 100 + 100):
                sender.send(senml(number))
            if part < 3:
                mosquitto.restart()
                eventually(lambda part=part: collector.link.connections == part + 2, "it has found it again")
        eventually(lambda: len(collector.stored()) == 400, "all are kept", 40.0)
        assert collector.link.alive
    assert collector.stored() == list(range(400))
    assert collector.gaps == []


def test_a_broker_that_has_forgotten_us_leaves_a_suspected_gap(
    mosquitto: Any, sender: Sender, eventually: Eventually
) -> None:
    with running(Collector(at(mosquitto))) as collector:
        eventually(collector.connected, "it is connected")
        sender.send(senml(0))
        eventually(lambda: collector.stored() == [0], "the first is kept")
        assert collector.gaps == []
        mosquitto.stop()
        (mosquitto.folder / "mosquitto.db").unlink()
        mosquitto.start()
        eventually(lambda: collector.gaps, "the gap is told")
        eventually(collector.connected, "it listens again")
        sender.send(senml(1))
        eventually(lambda: collector.stored() == [0, 1], "the next is kept")
    assert [(gap.from_at, gap.until_at) for gap in collector.gaps] == [(NOON, NOON)]
    assert "knew no session" in collector.gaps[0].cause


def test_a_broker_that_never_knew_a_collector_with_a_past_leaves_a_suspected_gap(
    mosquitto: Any, eventually: Eventually
) -> None:
    with running(Collector(at(mosquitto), last_at=NOON - 3600)) as collector:
        eventually(lambda: collector.gaps, "the gap is told")
    assert (collector.gaps[0].from_at, collector.gaps[0].until_at) == (NOON - 3600, NOON)


def test_a_failing_follower_leaves_the_threads_alive_and_readings_go_on_being_kept(
    mosquitto: Any, sender: Sender, eventually: Eventually
) -> None:
    collector = Collector(at(mosquitto))

    def stumble(group: Sequence[Arrival]) -> None:
        raise ZeroDivisionError

    collector.follow = stumble
    with running(collector):
        eventually(collector.connected, "it is connected")
        for number in range(20):
            sender.send(senml(number))
            eventually(lambda number=number: number in collector.stored(), "the next is kept")
        assert collector.link.alive
        assert collector.ingest.alive
        assert collector.ingest.tally.handing_failures >= 1
        assert collector.link.connections == 1


def test_a_retained_message_is_no_reading_and_one_sent_live_with_the_flag_is(
    mosquitto: Any, sender: Sender, eventually: Eventually
) -> None:
    sender.send(senml(0), retain=True)
    eventually(lambda: sender.accepted == 1, "the broker has it")
    with running(Collector(at(mosquitto))) as collector:
        eventually(lambda: collector.readings.head() == 1, "the retained one has come")
        sender.send(senml(1), retain=True)
        eventually(lambda: collector.readings.head() == 2, "the live one has come")
        assert collector.stored() == [1]
        assert [arrival.message.retained for arrival in collector.readings.arrivals(0, 9)] == [True, False]


def test_another_program_with_the_same_client_id_is_suspected(mosquitto: Any, eventually: Eventually) -> None:
    with running(Collector(at(mosquitto, "5"))) as collector:
        other = paho.Client(CallbackAPIVersion.VERSION2, client_id="curevigil", clean_session=False)
        other.connect(mosquitto.host, mosquitto.port)
        other.loop_start()
        eventually(lambda: "another program uses the client id 'curevigil'" in collector.sentence(), "it says so")
        other.disconnect()
        other.loop_stop()
        eventually(collector.connected, "it is connected once the other has gone")


def test_the_small_broker_of_the_demo_hangs_up_on_mqtt_5_and_is_spoken_to_in_the_older_version(
    eventually: Eventually,
) -> None:
    with EmbeddedBroker() as small:
        ours = small.collector
        broker = Broker(small.host, small.port, ours.username, ours.password, topics=("rooms/#",))
        with running(Collector(broker, answer_s=0.5)) as collector:
            eventually(collector.connected, "it is connected")
            assert collector.link.choice.works_with == "3.1.1"


def test_a_broker_that_is_away_is_told_of_and_found_when_it_comes(mosquitto: Any, eventually: Eventually) -> None:
    mosquitto.stop()
    with running(Collector(at(mosquitto))) as collector:
        eventually(lambda: "cannot be reached" in collector.sentence(), "it says so")
        part = collector.health.part("broker")
        assert part is not None
        assert part.state is State.FAILED
        mosquitto.start()
        eventually(collector.connected, "it is connected")


@pytest.fixture
def encrypted(mosquitto: Any, tmp_path: Path, absent: Callable[[str, str], NoReturn]) -> Iterator[Broker]:
    """The same broker program with a listener for TLS, and the certificate to believe it by."""
    openssl = shutil.which("openssl")
    if openssl is None:
        absent("openssl", "sudo apt-get install openssl")
    key, certificate = tmp_path / "key.pem", tmp_path / "certificate.pem"
    command = [openssl, "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=localhost"]
    command += ["-addext", "subjectAltName=DNS:localhost", "-keyout", str(key), "-out", str(certificate)]
    subprocess.run(command, check=True, capture_output=True)
    mosquitto.stop()
    with (tmp_path / "tls.conf").open("w") as file:
        file.write(f"listener {mosquitto.port} 127.0.0.1\nallow_anonymous true\nmax_queued_messages 0\n")
        file.write(f"certfile {certificate}\nkeyfile {key}\n")
        file.write("user root\n" if os.geteuid() == 0 else "")
    server = subprocess.Popen([mosquitto._program, "-c", str(tmp_path / "tls.conf")], stderr=subprocess.DEVNULL)
    yield Broker("localhost", mosquitto.port, tls=True, authority_file=str(certificate), topics=("rooms/#",))
    server.terminate()
    server.wait(10)


def test_readings_arrive_over_tls(encrypted: Broker, eventually: Eventually) -> None:
    with running(Collector(encrypted)) as collector:
        eventually(collector.connected, "it is connected")
        context = ssl.create_default_context(cafile=encrypted.authority_file)
        gateway = paho.Client(CallbackAPIVersion.VERSION2, client_id="gateway")
        gateway.tls_set_context(context)
        gateway.connect("localhost", encrypted.port)
        gateway.loop_start()
        for number in range(2_000):
            gateway.publish("rooms/cold", senml(number), 1)
        eventually(lambda: len(collector.stored()) == 2_000, "all are kept")
        gateway.disconnect()
        gateway.loop_stop()
    assert collector.arrived() == list(range(2_000))


# paho leaves the socket of a failed handshake to the collector of garbage, which closes it at once, with a warning.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_a_broker_whose_certificate_nobody_vouches_for_is_refused(encrypted: Broker, eventually: Eventually) -> None:
    with running(Collector(replace(encrypted, authority_file=None))) as collector:
        eventually(lambda: "certificate verify failed" in collector.sentence(), "it says so")
        assert collector.link.alive


def test_a_missing_authority_file_is_told_and_does_not_end_the_thread(
    encrypted: Broker, eventually: Eventually
) -> None:
    with running(Collector(replace(encrypted, authority_file="nowhere.pem"))) as collector:
        eventually(lambda: "No such file" in collector.sentence(), "it says so")
        assert collector.link.alive


@dataclass
class Call:
    """One connection that a scripted broker took."""

    sock: socket.socket
    level: int
    clean: bool
    expiry_s: int | None
    acknowledged: list[int] = field(default_factory=list)

    def publish(self, mid: int, payload: bytes, topic: bytes = b"rooms/cold") -> None:
        properties = b"\0" if self.level == MQTT_5 else b""
        self.sock.sendall(packet(PUBLISH, text(topic) + mid.to_bytes(2, "big") + properties + payload, flags=0b0010))

    def hang_up(self) -> None:
        self.sock.shutdown(socket.SHUT_RDWR)


def text(raw: bytes) -> bytes:
    return len(raw).to_bytes(2, "big") + raw


def packet(kind: int, body: bytes, flags: int = 0) -> bytes:
    assert len(body) < 128
    return bytes([kind << 4 | flags, len(body)]) + body


class Scripted:
    """As much of a broker as it takes to misbehave: what it says to each version of MQTT is set beforehand."""

    def __init__(self, answers: dict[int, bytes], suback: int = 1) -> None:
        self.calls: list[Call] = []
        self._answers = answers
        self._suback = suback
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listening.getsockname()[1])
        self._threads = [threading.Thread(target=self._listen, daemon=True)]
        self._threads[0].start()

    def _listen(self) -> None:
        while True:
            try:
                sock, _ = self._listening.accept()
            except OSError:
                return
            self._threads.append(threading.Thread(target=self._serve, args=(sock,), daemon=True))
            self._threads[-1].start()

    def _serve(self, sock: socket.socket) -> None:
        with sock, sock.makefile("rb") as stream:
            try:
                self._talk(sock, stream)
            except OSError:
                return

    def _talk(self, sock: socket.socket, stream: Any) -> None:
        call: Call | None = None
        while head := stream.read(1):
            length = stream.read(1)[0]
            if length & 0x80:
                length = length & 0x7F | stream.read(1)[0] << 7
            body = stream.read(length)
            kind = head[0] >> 4
            if kind == CONNECT:
                level = body[6]
                expiry = body.find(b"\x11", 10) if level == MQTT_5 else -1
                expiry_s = int.from_bytes(body[expiry + 1 : expiry + 5], "big") if expiry >= 0 else None
                call = Call(sock, level, bool(body[7] & 2), expiry_s)
                self.calls.append(call)
                answer = self._answers[level]
                if answer == HANG_UP:
                    return
                sock.sendall(answer)
            elif kind == SUBSCRIBE and call is not None:
                properties = b"\0" if call.level == MQTT_5 else b""
                sock.sendall(packet(SUBACK, body[:2] + properties + bytes([self._suback])))
            elif kind == PUBACK and call is not None:
                call.acknowledged.append(int.from_bytes(body[:2], "big"))

    def close(self) -> None:
        self._listening.shutdown(socket.SHUT_RDWR)
        self._listening.close()
        for call in self.calls:
            try:
                call.hang_up()
            except OSError:
                continue
        for thread in self._threads:
            thread.join(5.0)


HANG_UP = b"hang up"
SILENCE = b""
UNACCEPTABLE_PROTOCOL = packet(CONNACK, b"\0\x01")
ACCEPTED_3_1_1 = packet(CONNACK, b"\0\0")
ACCEPTED_5 = packet(CONNACK, b"\0\0\0")
NOT_AUTHORIZED_5 = packet(CONNACK, b"\0\x87\0")


@pytest.fixture
def scripted() -> Iterator[Callable[..., Scripted]]:
    brokers: list[Scripted] = []

    def begin(answers: dict[int, bytes], suback: int = 1) -> Scripted:
        brokers.append(Scripted(answers, suback))
        return brokers[-1]

    yield begin
    for broker in brokers:
        broker.close()


def to(scripted: Scripted, protocol: Version = "auto") -> Broker:
    return Broker("127.0.0.1", scripted.port, protocol=protocol, topics=("rooms/#",))


@pytest.mark.parametrize("answer", [UNACCEPTABLE_PROTOCOL, SILENCE, HANG_UP], ids=["refuses", "is silent", "hangs up"])
def test_a_broker_of_the_older_version_alone_is_spoken_to_in_it_and_again_the_next_time(
    scripted: Callable[..., Scripted], eventually: Eventually, answer: bytes
) -> None:
    old = scripted({MQTT_5: answer, MQTT_3_1_1: ACCEPTED_3_1_1})
    with running(Collector(to(old), answer_s=0.2)) as collector:
        eventually(collector.connected, "it is connected")
        assert [call.level for call in old.calls] == [MQTT_5, MQTT_3_1_1]
        old.calls[-1].hang_up()
        eventually(lambda: len(old.calls) == 3, "it calls again")
        assert old.calls[-1].level == MQTT_3_1_1
    assert not any(call.clean for call in old.calls)


def test_a_broker_that_never_answers_anything_is_told_of_and_tried_in_turn(
    scripted: Callable[..., Scripted], eventually: Eventually
) -> None:
    silent = scripted({MQTT_5: SILENCE, MQTT_3_1_1: SILENCE})
    with running(Collector(to(silent), answer_s=0.1)) as collector:
        eventually(lambda: len(silent.calls) >= 4, "it goes on trying")
        assert [call.level for call in silent.calls[:4]] == [MQTT_5, MQTT_3_1_1, MQTT_5, MQTT_3_1_1]
        eventually(lambda: "does not answer" in collector.sentence(), "it says so")
        assert collector.link.alive


def test_a_version_that_was_set_is_the_only_one_tried(
    scripted: Callable[..., Scripted], eventually: Eventually
) -> None:
    old = scripted({MQTT_5: UNACCEPTABLE_PROTOCOL, MQTT_3_1_1: ACCEPTED_3_1_1})
    with running(Collector(to(old, "5"))) as collector:
        eventually(lambda: len(old.calls) >= 3, "it goes on trying")
        assert {call.level for call in old.calls} == {MQTT_5}
        eventually(lambda: "Unsupported protocol version" in collector.sentence(), "it says why")


def test_the_session_is_asked_to_last_a_week_and_is_never_begun_anew(
    scripted: Callable[..., Scripted], eventually: Eventually
) -> None:
    broker = scripted({MQTT_5: ACCEPTED_5})
    with running(Collector(to(broker))) as collector:
        eventually(collector.connected, "it is connected")
        broker.calls[0].hang_up()
        eventually(lambda: len(broker.calls) == 2, "it calls again")
    assert [(call.clean, call.expiry_s) for call in broker.calls] == [(False, 604_800)] * 2


def test_a_session_that_the_broker_cuts_short_is_told_with_how_long_it_lasts(
    scripted: Callable[..., Scripted], eventually: Eventually
) -> None:
    an_hour = packet(CONNACK, b"\0\0\x05\x11" + (3600).to_bytes(4, "big"))
    with running(Collector(to(scripted({MQTT_5: an_hour})))) as collector:
        eventually(collector.connected, "it is connected")
        part = collector.health.part("broker")
        assert part is not None
        assert part.state is State.DOUBTFUL
        assert "1.0 h only" in part.sentence


def test_a_refusal_is_told_in_the_brokers_words_and_changes_no_version(
    scripted: Callable[..., Scripted], eventually: Eventually
) -> None:
    broker = scripted({MQTT_5: NOT_AUTHORIZED_5, MQTT_3_1_1: ACCEPTED_3_1_1})
    with running(Collector(to(broker))) as collector:
        eventually(lambda: "Not authorized" in collector.sentence(), "it says so")
        eventually(lambda: len(broker.calls) >= 2, "it tries again")
    assert {call.level for call in broker.calls} == {MQTT_5}


def test_a_subscription_that_is_refused_is_told(scripted: Callable[..., Scripted], eventually: Eventually) -> None:
    broker = scripted({MQTT_5: ACCEPTED_5}, suback=0x87)
    with running(Collector(to(broker))) as collector:
        eventually(lambda: "does not let us listen to rooms/#" in collector.sentence(), "it says so")


@pytest.mark.parametrize("garbage", [b"\xff" * 40, packet(CONNACK, b""), packet(CONNACK, b"\0\0\x7f"), b"\x20\xff\xff"])
def test_garbage_instead_of_an_answer_leaves_the_network_thread_alive(
    scripted: Callable[..., Scripted], eventually: Eventually, garbage: bytes
) -> None:
    broker = scripted({MQTT_5: garbage, MQTT_3_1_1: garbage})
    with running(Collector(to(broker), answer_s=0.2)) as collector:
        eventually(lambda: len(broker.calls) >= 4, "it goes on trying")
        assert collector.link.alive
        assert collector.link.restarts == 0


def test_a_late_acknowledgement_is_not_sent_on_the_next_connection_for_another_message(
    scripted: Callable[..., Scripted], eventually: Eventually
) -> None:
    broker = scripted({MQTT_5: ACCEPTED_5})
    collector = Collector(to(broker))
    entered, may_go_on = threading.Event(), threading.Event()
    real = collector.readings.append

    def append(arrivals: Sequence[Arrival]) -> int:
        entered.set()
        may_go_on.wait(20.0)
        return real(arrivals)

    collector.readings.append = append  # type: ignore[method-assign]
    with running(collector):
        eventually(collector.connected, "it is connected")
        broker.calls[0].publish(1, senml(1))
        assert entered.wait(20.0)
        broker.calls[0].hang_up()
        eventually(lambda: len(broker.calls) == 2 and collector.connected(), "it is connected again")
        may_go_on.set()
        eventually(lambda: collector.stored() == [1], "the first message is kept")
        broker.calls[1].publish(1, senml(2))
        eventually(lambda: broker.calls[1].acknowledged, "the second message is acknowledged")
        assert collector.stored() == [1, 2]
    assert [call.acknowledged for call in broker.calls] == [[], [1]]


def test_acknowledgements_leave_in_the_order_of_arrival(
    scripted: Callable[..., Scripted], eventually: Eventually
) -> None:
    broker = scripted({MQTT_5: ACCEPTED_5})
    with running(Collector(to(broker))) as collector:
        eventually(collector.connected, "it is connected")
        order = [*range(400, 100, -1), *range(1, 101)]
        for mid in order:
            broker.calls[0].publish(mid, senml(mid))
        eventually(lambda: len(broker.calls[0].acknowledged) == 400, "all are acknowledged")
    assert broker.calls[0].acknowledged == order


def send_20000(call: Call) -> None:
    for mid in range(1, 20_001):
        call.publish(mid, senml(mid))


def test_20000_messages_sent_past_every_window_wait_outside_and_arrive_in_order(
    scripted: Callable[..., Scripted], eventually: Eventually
) -> None:
    broker = scripted({MQTT_5: ACCEPTED_5})
    collector = Collector(to(broker))
    entered, may_go_on = threading.Event(), threading.Event()
    real = collector.readings.append

    def append(arrivals: Sequence[Arrival]) -> int:
        entered.set()
        may_go_on.wait(30.0)
        return real(arrivals)

    collector.readings.append = append  # type: ignore[method-assign]
    with running(collector):
        eventually(collector.connected, "it is connected")
        sending = threading.Thread(target=send_20000, args=(broker.calls[0],), daemon=True)
        sending.start()
        assert entered.wait(20.0)
        eventually(lambda: len(collector.inbox) == 5_000, "the inbox is full")
        assert broker.calls[0].acknowledged == []
        may_go_on.set()
        eventually(lambda: len(broker.calls[0].acknowledged) == 20_000, "all are acknowledged", 60.0)
        sending.join(5.0)
    assert collector.inbox.longest == 5_000
    assert collector.arrived() == list(range(1, 20_001)) == broker.calls[0].acknowledged


def test_why_the_broker_hung_up_is_told_in_its_own_words(
    scripted: Callable[..., Scripted], eventually: Eventually
) -> None:
    broker = scripted({MQTT_5: ACCEPTED_5})
    with running(Collector(to(broker), pauses_s=(5.0, 5.0))) as collector:
        eventually(collector.connected, "it is connected")
        broker.calls[0].sock.sendall(packet(DISCONNECT, b"\x8e"))
        eventually(lambda: "Session taken over" in collector.sentence(), "it says so")


def test_a_topic_that_is_no_utf_8_is_kept_escaped_with_a_reason_and_acknowledged(
    scripted: Callable[..., Scripted], eventually: Eventually
) -> None:
    broker = scripted({MQTT_5: ACCEPTED_5})
    with running(Collector(to(broker))) as collector:
        eventually(collector.connected, "it is connected")
        broker.calls[0].publish(1, senml(1), b"rooms/\xff\xfe")
        broker.calls[0].publish(2, senml(2))
        eventually(lambda: broker.calls[0].acknowledged == [1, 2], "both are acknowledged")
    assert collector.readings.arrivals(0, 1)[0].message.topic == "rooms/\\xff\\xfe"


def test_nothing_is_acknowledged_while_the_store_fails_and_it_goes_on_by_itself(
    scripted: Callable[..., Scripted], eventually: Eventually
) -> None:
    broker = scripted({MQTT_5: ACCEPTED_5})
    collector = Collector(to(broker))
    full = [True]
    real = collector.readings.append

    def append(arrivals: Sequence[Arrival]) -> int:
        if full[0]:
            raise StoreFailed("database or disk is full")
        return real(arrivals)

    collector.readings.append = append  # type: ignore[method-assign]
    with running(collector):
        eventually(collector.connected, "it is connected")
        broker.calls[0].publish(1, senml(1))
        eventually(lambda: "database or disk is full" in intake(collector), "it says what is wrong")
        full[0] = False
        eventually(lambda: len(broker.calls) == 2 and collector.connected(), "it connects again by itself")
        broker.calls[1].publish(1, senml(1))
        eventually(lambda: broker.calls[1].acknowledged == [1], "the message that came again is acknowledged")
    assert broker.calls[0].acknowledged == []
    assert collector.stored() == [1]


def intake(collector: Collector) -> str:
    part = collector.health.part("intake")
    return part.sentence if part is not None else ""

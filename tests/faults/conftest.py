"""What fault runs of the intake share: a proxy that writes down every acknowledgement, and a load that is counted."""

import random
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from typing import Any

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from collector.storage import Readings

CONNECT, PUBLISH, PUBACK, SUBACK = 1, 3, 4, 9
MQTT_5 = 5
CHANNELS = 5
STEP_S = 0.25
"""Between the device times of two messages, so that no two readings share a channel and an instant. [s]"""
WAITING_MAX = 1_000
"""A broker that is slower than the load is not to be buried under it."""


class Packets:
    """Cuts a stream of bytes into MQTT packets."""

    def __init__(self) -> None:
        self._rest = b""

    def cut(self, chunk: bytes) -> Iterator[tuple[int, int, bytes]]:
        """Yield kind, flags and body of each packet that is complete."""
        self._rest += chunk
        while True:
            length, at = varint(self._rest, 1)
            if at == 0 or len(self._rest) < at + length:
                return
            head, body = self._rest[0], self._rest[at : at + length]
            self._rest = self._rest[at + length :]
            yield head >> 4, head & 0x0F, body


def varint(raw: bytes, at: int) -> tuple[int, int]:
    """Return a length and where it ends; 0 for the end of one that is not complete."""
    value = 0
    for i in range(4):
        if len(raw) <= at + i:
            return 0, 0
        value |= (raw[at + i] & 0x7F) << (7 * i)
        if not raw[at + i] & 0x80:
            return value, at + i + 1
    raise AssertionError("no length has five bytes")


class Proxy:
    """Stands between collector and broker, and writes down which payloads the collector acknowledged."""

    def __init__(self, port: int) -> None:
        self.acknowledged: list[bytes] = []
        self.strays = 0
        """Acknowledgements for packet ids that were not outstanding on their connection."""
        self.out_of_order = 0
        self.connections = 0
        self.subscribed = 0
        self._broker_port = port
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listening.getsockname()[1])
        self._open: set[socket.socket] = set()
        self._thread = threading.Thread(target=self._listen, daemon=True)
        self._thread.start()

    def _listen(self) -> None:
        while True:
            try:
                ours, _ = self._listening.accept()
            except OSError:
                return
            try:
                broker = socket.create_connection(("127.0.0.1", self._broker_port))
            except OSError:
                ours.close()
                continue
            self.connections += 1
            self._open |= {ours, broker}
            call = Call(self)
            for source, target, look in ((ours, broker, call.from_collector), (broker, ours, call.from_broker)):
                threading.Thread(target=self._pump, args=(source, target, look), daemon=True).start()

    def _pump(self, source: socket.socket, target: socket.socket, look: Callable[[bytes], None]) -> None:
        with suppress(OSError):
            while chunk := source.recv(65536):
                look(chunk)
                target.sendall(chunk)
        for sock in (source, target):
            with suppress(OSError):
                sock.shutdown(socket.SHUT_RDWR)
        source.close()
        self._open.discard(source)

    def close(self) -> None:
        with suppress(OSError):
            self._listening.shutdown(socket.SHUT_RDWR)
        self._listening.close()
        for sock in list(self._open):
            with suppress(OSError):
                sock.shutdown(socket.SHUT_RDWR)
        self._thread.join(5.0)


class Call:
    """What one connection of the collector has received and not yet acknowledged."""

    def __init__(self, proxy: Proxy) -> None:
        self._proxy = proxy
        self._level = 0
        self._outstanding: dict[int, bytes] = {}
        self._up, self._down = Packets(), Packets()

    def from_collector(self, chunk: bytes) -> None:
        for kind, _, body in self._up.cut(chunk):
            if kind == CONNECT:
                self._level = body[6]
            elif kind == PUBACK:
                mid = int.from_bytes(body[:2], "big")
                first = next(iter(self._outstanding), None)
                payload = self._outstanding.pop(mid, None)
                if payload is None:
                    self._proxy.strays += 1
                else:
                    self._proxy.out_of_order += mid != first
                    self._proxy.acknowledged.append(payload)

    def from_broker(self, chunk: bytes) -> None:
        for kind, flags, body in self._down.cut(chunk):
            self._proxy.subscribed += kind == SUBACK
            if kind == PUBLISH and flags & 0b0110:
                at = 2 + int.from_bytes(body[:2], "big")
                mid = int.from_bytes(body[at : at + 2], "big")
                at += 2
                if self._level == MQTT_5:
                    length, at = varint(body, at)
                    at += length
                self._outstanding[mid] = body[at:]


class Load:
    """A gateway that publishes without a pause at QoS 1, and knows what the broker has accepted."""

    def __init__(self, port: int, rate_hz: float) -> None:
        self.began_at = float(int(time.time())) - 20 * 86_400
        self.offered = 0
        self.accepted: dict[int, float] = {}
        """By number of the message, when the broker took it. [s since 1970]"""
        self._pause_s = 1 / rate_hz
        self._lock = threading.Lock()
        self._by_mid: dict[int, int] = {}
        self._early: set[int] = set()
        self._stop = threading.Event()
        self._client = paho.Client(CallbackAPIVersion.VERSION2, client_id="gateway", clean_session=False)
        self._client.max_inflight_messages_set(200)
        self._client.reconnect_delay_set(1, 1)
        self._client.on_publish = self._on_publish
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        self._thread = threading.Thread(target=self._send, daemon=True)

    def payload(self, number: int) -> bytes:
        """Return the message: two channels measured at one instant."""
        at = self.began_at + number * STEP_S
        name = f"probe{number % CHANNELS}"
        return (
            f'[{{"bn":"{name}/","bu":"Cel","bt":{at:.3f},"n":"air","v":{number / 8}}},'
            f'{{"n":"brine","v":{number / 16}}}]'
        ).encode()

    def start(self) -> None:
        self._thread.start()

    def _send(self) -> None:
        while not self._stop.wait(self._pause_s):
            if self.offered - len(self.accepted) >= WAITING_MAX:
                continue
            info = self._client.publish("rooms/cold", self.payload(self.offered), qos=1)
            with self._lock:
                if info.mid in self._early:
                    self._early.remove(info.mid)
                    self.accepted[self.offered] = time.time()
                else:
                    self._by_mid[info.mid] = self.offered
            self.offered += 1

    def _on_publish(self, client: Any, userdata: Any, mid: int, *given: Any) -> None:
        with self._lock:
            number = self._by_mid.pop(mid, None)
            if number is None:
                self._early.add(mid)
            else:
                self.accepted[number] = time.time()

    def pause(self) -> None:
        """Offer nothing more; what was offered is still being delivered."""
        self._stop.set()
        self._thread.join(5.0)

    def close(self) -> None:
        self.pause()
        self._client.disconnect()
        self._client.loop_stop()

    def numbers(self, payloads: list[bytes]) -> set[int]:
        """Return which messages these are, by the brine's value."""
        return {round(float(payload[payload.rindex(b":") + 1 : -2]) * 16) for payload in payloads}

    def expected(self, numbers: set[int]) -> set[tuple[str, float, float]]:
        """Return the readings of these messages, as (channel, measured at, value)."""
        found = set()
        for number in numbers:
            at = round(self.began_at + number * STEP_S, 3)
            found.add((f"probe{number % CHANNELS}/air", at, number / 8))
            found.add((f"probe{number % CHANNELS}/brine", at, number / 16))
        return found

    def kept(self, readings: Readings) -> list[tuple[str, float, float]]:
        """Return every reading in the archive; one that is there twice is twice in the list."""
        found = []
        for seen in readings.channels():
            series = readings.series(seen.channel, 0.0, 2 * self.began_at)
            found += [
                (seen.channel, at, value)
                for at, value in zip(series.measured_at.tolist(), series.values.tolist(), strict=True)
            ]
        return found


@pytest.fixture
def proxy(mosquitto: Any) -> Iterator[Proxy]:
    proxy = Proxy(mosquitto.port)
    yield proxy
    proxy.close()


@pytest.fixture
def load(mosquitto: Any) -> Iterator[Load]:
    load = Load(mosquitto.port, rate_hz=200)
    yield load
    load.close()


@pytest.fixture
def chance(seed: int) -> random.Random:
    return random.Random(seed)

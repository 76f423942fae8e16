"""Publishes a prepared stream of readings as SenML over MQTT, at a pace. Shell: the network and the clock.

It knows nothing of whoever listens; it could be any gateway that speaks MQTT 3.1.1 and SenML JSON (RFC 8428).
"""

import argparse
import json
import logging
import math
import os
import signal
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import Any

import numpy as np
import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from simulators.faults import Sent
from simulators.smokehouse import SENML_UNITS, Measured, story

LOG = logging.getLogger(__name__)
WAITING_MAX = 20_000
"""Messages kept while the broker is away; beyond it the stream itself waits, as in a gateway that stores."""
OUTSTANDING_MAX = 200
"""Messages handed to the client and not yet acknowledged."""
LOOK_S = 0.02
FLUSH_S = 10.0
LINGER_S = 2.0
"""The embedded broker acknowledges before it passes on, and forgets what it had not passed on when we hang up."""


@dataclass(frozen=True, slots=True)
class Pace:
    """A virtual clock that runs at a fixed rate beside the real one."""

    virtual_at: float
    """What the virtual clock says at `real_at`. [s since 1970]"""
    real_at: float
    rate: float
    """Virtual seconds in a real second. [1]"""

    def virtual(self, real_at: float) -> float:
        """Return what the virtual clock says at a real instant. [s since 1970]"""
        return self.virtual_at + self.rate * (real_at - self.real_at)

    def wait_s(self, virtual_at: float, real_at: float) -> float:
        """Return how long from a real instant until the virtual clock says so; negative when that is past. [s]"""
        return (virtual_at - self.virtual(real_at)) / self.rate


def senml(sent: Sent, unit: str) -> bytes:
    """Return one reading as a SenML pack of one record, named as its channel.

    Written here and not with the collector's own writer, so that the reader is tried on a stranger's hand, and so that
    a device with a clock from 1970 can be played, which that writer refuses.
    """
    record = {"n": sent.channel, "u": unit, "v": sent.value, "t": round(sent.measured_at, 3)}
    return json.dumps([record], separators=(",", ":")).encode()


def as_sent(readings: Iterable[Measured], latency_s: float = 0.0) -> Iterator[Sent]:
    """Return measured readings as they go out: one by one, each `latency_s` after it was measured. [s]"""
    return (Sent(m.channel, m.value, m.measured_at, round(m.measured_at + latency_s, 3)) for m in readings)


class Publisher:
    """One MQTT client that keeps what it cannot send yet, within bounds, and connects again by itself."""

    def __init__(
        self,
        host: str,
        port: int,
        *,
        username: str | None = None,
        password: str | None = None,
        client_id: str = "smokehouse-gateway",
        waiting_max: int = WAITING_MAX,
    ) -> None:
        self.host, self.port = host, port
        self.acknowledged = 0
        self.handed = 0
        self._waiting: deque[tuple[str, bytes]] = deque()
        self._waiting_max = waiting_max
        self._pumping = threading.Lock()
        self._word = False
        self._client = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id=client_id, clean_session=False, protocol=mqtt.MQTTv311
        )
        if username is not None:
            self._client.username_pw_set(username, password)
        self._client.max_inflight_messages_set(OUTSTANDING_MAX)
        self._client.reconnect_delay_set(min_delay=1, max_delay=10)
        self._client.on_connect = self._on_connect
        self._client.on_disconnect = self._on_disconnect
        self._client.on_publish = self._on_publish

    @property
    def connected(self) -> bool:
        """Whether the broker has let us in and has not gone since."""
        return bool(self._client.is_connected())

    @property
    def unsent(self) -> int:
        """How many messages are not yet acknowledged by the broker."""
        return len(self._waiting) + self.handed - self.acknowledged

    def start(self) -> None:
        """Begin to connect, in a thread of the client's own; a broker that is away is tried again."""
        self._client.connect_async(self.host, self.port, keepalive=30)
        self._client.loop_start()

    def stop(self, flush_s: float = FLUSH_S, linger_s: float = 0.0) -> None:
        """Wait at most so long for the last acknowledgements, linger, then hang up. [s]"""
        deadline = time.monotonic() + flush_s
        while self.unsent and time.monotonic() < deadline:
            time.sleep(LOOK_S)
        time.sleep(linger_s)
        hang_up(self._client)
        LOG.info("event=stopped acknowledged=%d unsent=%d", self.acknowledged, self.unsent)

    def offer(self, topic: str, payload: bytes) -> bool:
        """Take one message and return True, or return False while too many wait."""
        if len(self._waiting) >= self._waiting_max:
            return False
        self._waiting.append((topic, payload))
        self.pump()
        return True

    def pump(self) -> None:
        """Hand waiting messages to the client while the broker is there and few are outstanding."""
        # paho calls back with its own lock held, so nobody may wait here: whoever finds another at work leaves word.
        self._word = True
        while self._word and self._pumping.acquire(blocking=False):
            try:
                self._word = False
                while self._waiting and self.connected and self.handed - self.acknowledged < OUTSTANDING_MAX:
                    topic, payload = self._waiting.popleft()
                    self.handed += 1
                    self._client.publish(topic, payload, qos=1)
            finally:
                self._pumping.release()

    def _on_connect(self, client: Any, userdata: Any, flags: Any, reason: Any, properties: Any) -> None:
        LOG.info("event=connected host=%s port=%d reason=%r", self.host, self.port, str(reason))
        self.pump()

    def _on_disconnect(self, client: Any, userdata: Any, flags: Any, reason: Any, properties: Any) -> None:
        LOG.info("event=disconnected reason=%r waiting=%d", str(reason), len(self._waiting))

    def _on_publish(self, client: Any, userdata: Any, mid: int, reason: Any, properties: Any) -> None:
        self.acknowledged += 1
        self.pump()


def hang_up(client: mqtt.Client) -> None:
    """Disconnect and end the client's thread, leaving no socket behind."""
    client.disconnect()
    client.loop_stop()
    # Told to end before it has written its farewell, the thread leaves its sockets open; this closes them.
    client.reinitialise()


def publish(
    publisher: Publisher,
    stream: Iterable[Sent],
    units: Mapping[str, str],
    pace: Pace,
    stop: threading.Event,
    clock: Callable[[], float] = time.time,
) -> int:
    """Offer the stream, each reading once the virtual clock has reached its receipt; return how many were offered."""
    offered = 0
    for sent in stream:
        while (wait_s := pace.wait_s(sent.received_at, clock())) > 0 and not stop.is_set():
            stop.wait(wait_s)
        payload = senml(sent, units[sent.channel])
        while not stop.is_set() and not publisher.offer(sent.channel, payload):
            stop.wait(LOOK_S)
        if stop.is_set():
            break
        offered += 1
    return offered


def secret(reference: str) -> str:
    """Return what `env:NAME` or `file:PATH` holds. Raises ValueError for anything else."""
    kind, _, where = reference.partition(":")
    if kind == "env" and where in os.environ:
        return os.environ[where]
    if kind == "file" and Path(where).is_file():
        return Path(where).read_text(encoding="utf-8").strip()
    raise ValueError(f"{reference!r} names no secret; write env:NAME of a set variable or file:PATH of a file")


def _arguments(argv: Sequence[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Play the week of the smokehouse to an MQTT broker.")
    parser.add_argument("--host", default="127.0.0.1")
    parser.add_argument("--port", type=int, required=True)
    parser.add_argument("--username")
    parser.add_argument("--password", help="env:NAME or file:PATH")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--now-at", type=float, required=True, help="the week's cold room fails on the next 01:40")
    parser.add_argument("--from-at", type=float, help="first instant to play; default --virtual-at")
    parser.add_argument("--until-at", type=float, default=math.inf, help="where to end; default never")
    parser.add_argument("--virtual-at", type=float, required=True, help="the virtual clock at --real-at")
    parser.add_argument("--real-at", type=float, help="epoch seconds; default now")
    parser.add_argument("--pace", type=float, default=60.0, help="virtual seconds in a real second")
    parser.add_argument("--watch-stdin", action="store_true", help="end when standard input is closed")
    return parser.parse_args(argv)


def _watch_stdin(stop: threading.Event) -> None:
    while sys.stdin.buffer.read(1024):
        pass
    LOG.info("event=input_closed")
    stop.set()


def main(argv: Sequence[str]) -> int:
    """Run as a program of its own until the stream ends, SIGTERM or SIGINT; return the exit code."""
    logging.basicConfig(
        level=logging.INFO, format="time=%(asctime)s level=%(levelname)s logger=%(name)s %(message)s", stream=sys.stderr
    )
    given = _arguments(argv)
    stop = threading.Event()

    def ended(number: int, frame: FrameType | None) -> None:
        stop.set()

    signal.signal(signal.SIGTERM, ended)
    signal.signal(signal.SIGINT, ended)
    if given.watch_stdin:
        threading.Thread(target=_watch_stdin, args=(stop,), name="stdin", daemon=True).start()
    password = secret(given.password) if given.password else None
    week = story(given.now_at, np.random.default_rng(given.seed))
    pace = Pace(given.virtual_at, time.time() if given.real_at is None else given.real_at, given.pace)
    from_at = given.virtual_at if given.from_at is None else given.from_at
    publisher = Publisher(given.host, given.port, username=given.username, password=password)
    publisher.start()
    LOG.info(
        "event=playing from_at=%.0f until_at=%g pace=%g fault_at=%.0f",
        from_at,
        given.until_at,
        pace.rate,
        week.fault_at,
    )
    offered = publish(publisher, as_sent(week.readings(from_at, given.until_at)), SENML_UNITS, pace, stop)
    publisher.stop(linger_s=LINGER_S)
    LOG.info("event=ended offered=%d acknowledged=%d", offered, publisher.acknowledged)
    return 0

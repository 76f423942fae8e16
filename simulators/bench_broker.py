"""A mosquitto of the bench's own, sessions filled beforehand, and the bare subscriber that only counts."""

import os
import shutil
import socket
import subprocess
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Event
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from collector.broker import WEEK_S, Broker, Protocol
from simulators.bench_kitchen import ROOT
from simulators.bench_row import Unmeasured

LOOPBACK = "127.0.0.1"
SEARCHED = os.pathsep.join(("/usr/sbin", "/usr/local/sbin", "/opt/homebrew/sbin"))
HOW = "mosquitto is not here; sudo apt-get install mosquitto (macOS: brew install mosquitto), or name it: --mosquitto"
PATIENCE_S = 60.0
LOOK_S = 0.005
OUTSTANDING_MAX = 500
TOPIC = f"{ROOT}/#"


def mosquitto_at(given: Path | None) -> str:
    """Return the path of the broker. Raises Unmeasured, saying how to get it."""
    if given is not None:
        return str(given)
    found = shutil.which("mosquitto") or shutil.which("mosquitto", path=SEARCHED)
    if found is None:
        raise Unmeasured(HOW)
    return found


@contextmanager
def running(program: str, folder: Path) -> Iterator[int]:
    """Run mosquitto in a folder, and give its port. Raises Unmeasured where it does not answer."""
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        port = int(probe.getsockname()[1])
    # Nothing is written to the disk meanwhile, so that only our own writing is measured; sessions live in memory.
    lines = [f"listener {port} {LOOPBACK}", "allow_anonymous true", "persistence false", "max_queued_messages 0"]
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        lines.append("user root")
    settings = folder / "mosquitto.conf"
    settings.write_text("\n".join(lines) + "\n", encoding="utf-8")
    command = [program, "-c", str(settings)]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as broker:
        try:
            _answers(broker, port)
            yield port
        finally:
            broker.terminate()


def _answers(broker: subprocess.Popen[bytes], port: int) -> None:
    pause, deadline = Event(), time.monotonic() + 10.0
    while time.monotonic() < deadline and broker.poll() is None:
        try:
            with socket.create_connection((LOOPBACK, port), timeout=1.0):
                return
        except OSError:
            pause.wait(0.02)
    raise Unmeasured(f"mosquitto does not answer on port {port}")


def client_of(name: str, protocol: Protocol, port: int) -> tuple[paho.Client, dict[str, Any]]:
    """Return a client that keeps its session, and what to connect it with."""
    five = protocol == "5"
    client = paho.Client(
        CallbackAPIVersion.VERSION2,
        client_id=name,
        protocol=paho.MQTTv5 if five else paho.MQTTv311,
        clean_session=None if five else False,
    )
    wishes: dict[str, Any] = {"host": LOOPBACK, "port": port, "keepalive": 60}
    if five:
        wishes["clean_start"] = False
        wishes["properties"] = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        wishes["properties"].SessionExpiryInterval = WEEK_S
    return client, wishes


def broker_of(name: str, port: int) -> Broker:
    """Return how our own link reaches the session of that name."""
    return Broker(LOOPBACK, port, client_id=name, protocol="5", topics=(TOPIC,))


def open_sessions(names: Iterable[tuple[str, Protocol]], port: int) -> None:
    """Subscribe under each name and leave, so that the broker keeps what arrives for it."""
    for name, protocol in names:
        client, wishes = client_of(name, protocol, port)
        done = Event()
        client.on_connect = lambda client, *given: client.subscribe(TOPIC, qos=1)
        client.on_subscribe = lambda client, *given, done=done: done.set()
        client.connect(**wishes)
        client.loop_start()
        if not done.wait(PATIENCE_S):
            raise Unmeasured("mosquitto did not take a subscription")
        client.disconnect()
        client.loop_stop()


def fill(messages: Iterable[tuple[str, bytes]], port: int) -> None:
    """Publish at QoS 1 and return once the broker has acknowledged all."""
    client = paho.Client(CallbackAPIVersion.VERSION2, client_id="filler", protocol=paho.MQTTv311)
    client.max_inflight_messages_set(OUTSTANDING_MAX)
    client.connect(LOOPBACK, port)
    client.loop_start()
    last = None
    for topic, payload in messages:
        last = client.publish(topic, payload, qos=1)
    if last is not None:
        last.wait_for_publish(PATIENCE_S)
    deadline, pause = time.monotonic() + PATIENCE_S, Event()
    while client.want_write() and time.monotonic() < deadline:
        pause.wait(0.01)
    client.disconnect()
    client.loop_stop()


def bare(name: str, protocol: Protocol, port: int, count: int) -> float:
    """Drain a session with a subscriber that only counts; return how long that took, from dialling on. [s]"""
    client, wishes = client_of(name, protocol, port)
    seen = 0

    def on_message(client: paho.Client, userdata: Any, message: Any) -> None:
        nonlocal seen
        seen += 1
        if seen == count:
            client.disconnect()

    client.on_message = on_message
    begun = time.perf_counter()
    client.connect(**wishes)
    client.loop_forever()
    return time.perf_counter() - begun


def wait_until(true: Callable[[], Any], otherwise: str) -> None:
    """Return as soon as something is true. Raises Unmeasured after a minute in vain."""
    pause, deadline = Event(), time.monotonic() + PATIENCE_S
    while not true():
        if time.monotonic() > deadline:
            raise Unmeasured(f"{otherwise} within {PATIENCE_S:.0f} s")
        pause.wait(LOOK_S)

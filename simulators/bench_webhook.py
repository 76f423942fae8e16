"""How long it takes from publishing a reading to the webhook in a person's hands, beside its mere receipt."""

import json
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from collector.batches import Placement
from collector.events import (
    BatchStarted,
    ChannelAssigned,
    Draft,
    Event,
    PersonDescribed,
    RotaDescribed,
    SiteDescribed,
    UnitDescribed,
)
from collector.message import senml_payload
from collector.present import Present
from collector.readings import Assignment, Quantity, Site, Unit
from collector.readings_sqlite import SqliteReadings
from collector.rota import RotaStep
from collector.sample import Instant
from collector.stores_sqlite import READINGS, open_stores
from simulators.bench_broker import LOOPBACK, PATIENCE_S, client_of, open_sessions, running, wait_until
from simulators.bench_kitchen import MADE, PLAN, air, probe
from simulators.bench_row import Row, Unmeasured, figure, percentile
from simulators.bench_run import service, until_taken

RATE = 20.0
"""Readings a second of the units in which nothing happens."""
QUIET_UNITS = 60
BETWEEN = 8
"""So many of those readings pass between two that raise an alarm."""
ALARMS = 100
WARM_C, COLD_C = 9.0, 3.0
EXCURSION_S = 900.0
"""Rules e-2: the product above its limit for this long, by the times of its probe, is an alarm that wakes somebody."""
STEP_S = 60.0
FILLED_S = 1200.0
"""So long ago the tubs were filled, cold: short enough that nobody could take them for warm without a reading."""
SECONDS_AT_MOST = 1.0
REACH = '[[reach]]\nperson = "cook"\nchannel = "webhook"\naddress = "file:{address}"\nprivate_address = true\n'


@dataclass
class Times:
    """When each unit's reading was sent, merely received, and told. [s, one clock]"""

    sent: dict[str, float] = field(default_factory=dict)
    bare: dict[str, float] = field(default_factory=dict)
    told: dict[str, float] = field(default_factory=dict)

    def ours_ms(self) -> list[float]:
        """Return from publishing to the webhook. [ms]"""
        return [(self.told[unit] - at) * 1e3 for unit, at in self.sent.items()]

    def theirs_ms(self) -> list[float]:
        """Return from publishing to the bare subscriber. [ms]"""
        return [(self.bare[unit] - at) * 1e3 for unit, at in self.sent.items()]


def kitchen(alarms: int, from_at: Instant) -> list[Draft]:
    """Return quiet units with one sensor of their air, and units with a probe in the brine of one tub each."""
    told: list[Event] = [
        SiteDescribed(Site("site", "Bench", "Europe/London", "US")),
        PersonDescribed("cook", "Cook", ("operator",)),
        RotaDescribed((RotaStep("cook", 0.0),)),
    ]
    for unit in range(QUIET_UNITS + alarms):
        name, lot = f"u{unit:03}", f"lot-{unit:03}"
        told.append(UnitDescribed(Unit(name, "site", f"Unit {unit}", "cold room")))
        told.append(BatchStarted(lot, PLAN, MADE, (Placement("1", name, from_at),)))
        assignment = Assignment(air(unit), Quantity.AIR_TEMPERATURE, name, "by the evaporator", from_at)
        if unit >= QUIET_UNITS:
            brine = Quantity.BRINE_TEMPERATURE
            assignment = Assignment(probe(unit), brine, name, "in the brine of tub 1", from_at, lot=lot, tub="1")
        told.append(ChannelAssigned(assignment))
    return [Draft(from_at, "bench", event) for event in told]


@contextmanager
def receiver(told: dict[str, float]) -> Iterator[str]:
    """Take posts and answer 204; give the address. The first that a unit's raised alarm comes with is dated."""

    class Taking(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            content = self.rfile.read(int(self.headers["content-length"]))
            now, document = time.perf_counter(), json.loads(content)
            if document["type"] == "curevigil.alarm.raised":
                told.setdefault(document["subject"], now)
            self.send_response(204)
            self.end_headers()

        def log_message(self, format: str, *args: object) -> None:
            return None

    with ThreadingHTTPServer((LOOPBACK, 0), Taking) as web:
        thread = threading.Thread(target=web.serve_forever, daemon=True)
        thread.start()
        try:
            yield f"http://{LOOPBACK}:{web.server_port}/"
        finally:
            web.shutdown()
            thread.join()


@contextmanager
def listening(port: int, bare: dict[str, float]) -> Iterator[None]:
    """Subscribe as well, and date the receipt of each message that raises an alarm, doing nothing else."""
    client, wishes = client_of("counting", "5", port)

    def on_message(client: paho.Client, userdata: Any, message: paho.MQTTMessage) -> None:
        # A unit's last message is the one that raises its alarm.
        bare[message.topic] = time.perf_counter()

    client.on_message = on_message
    open_sessions([("counting", "5")], port)
    client.connect(**wishes)
    client.loop_start()
    try:
        yield
    finally:
        client.disconnect()
        client.loop_stop()


def reading(channel: str, value_c: float, at: Instant) -> tuple[str, str | bytes]:
    """Return topic and payload of one reading by its device's time."""
    return channel, senml_payload("", [(channel, "Cel", value_c, round(at, 3))])


def played(port: int, alarms: int, times: Times, store: SqliteReadings, log: Path, run: Any) -> None:
    """Publish what has gone before, then the steady readings and between them those that raise an alarm."""
    client = paho.Client(CallbackAPIVersion.VERSION2, client_id="sensors", protocol=paho.MQTTv311)
    client.connect(LOOPBACK, port)
    client.loop_start()
    before = 0
    # Just too short to be an alarm; the reading that is published last makes it long enough.
    lasted_s = EXCURSION_S - 5.0
    begun_at = time.time()
    for unit in range(QUIET_UNITS, QUIET_UNITS + alarms):
        for age_s in (lasted_s - n * STEP_S for n in range(int(lasted_s // STEP_S) + 1)):
            client.publish(*reading(probe(unit), WARM_C, begun_at - age_s), qos=1)
            before += 1
    until_taken(store, before, run, log)
    if times.told:
        raise Unmeasured("an alarm was raised by what should have been too short for one")
    _steadily(client, alarms, times, max(begun_at + 10.0 - time.time(), 0.0))
    client.disconnect()
    client.loop_stop()


def _steadily(client: paho.Client, alarms: int, times: Times, wait_s: float) -> None:
    pause, quiet = threading.Event(), 0
    pause.wait(wait_s)
    begun, gap_s = time.perf_counter(), 1.0 / RATE
    for number in range(alarms):
        for _ in range(BETWEEN):
            pause.wait(max(begun + quiet * gap_s - time.perf_counter(), 0.0))
            client.publish(*reading(air(quiet % QUIET_UNITS), COLD_C, time.time()), qos=1)
            quiet += 1
        # Somewhere between two steady readings, not always at the same place.
        pause.wait(gap_s * (number * 7 % 10) / 10.0)
        unit = QUIET_UNITS + number
        topic, payload = reading(probe(unit), WARM_C, time.time())
        times.sent[f"u{unit:03}"] = time.perf_counter()
        client.publish(topic, payload, qos=1).wait_for_publish(PATIENCE_S)


def measured(program: str, alarms: int) -> Times:
    """Run broker, service, receiver and bare subscriber, and return when what arrived where. Raises Unmeasured."""
    times, bare = Times(), dict[str, float]()
    with ExitStack() as stack:
        folder = Path(stack.enter_context(TemporaryDirectory(prefix="curevigil-bench-")))
        port = stack.enter_context(running(program, folder))
        (folder / "address").write_text(stack.enter_context(receiver(times.told)), encoding="utf-8")
        with closing(open_stores(folder / "hook")) as stores:
            Present(stores.journal, time.time).decide(lambda _: kitchen(alarms, time.time() - FILLED_S))
        open_sessions([("hook", "5")], port)
        stack.enter_context(listening(port, bare))
        store = stack.enter_context(closing(SqliteReadings(folder / "hook" / READINGS, read_only=True)))
        run = stack.enter_context(service(folder, "hook", port, REACH.format(address=folder / "address")))
        played(port, alarms, times, store, folder / "hook.log", run)
        wait_until(lambda: len(times.told) >= alarms, f"of {alarms} alarms fewer came by webhook")
    times.bare.update({unit: bare[probe(int(unit[1:]))] for unit in times.sent})
    if min(times.ours_ms()) <= 0.0:
        raise Unmeasured("an alarm was told before the reading was published that should raise it")
    return times


def webhook(program: str, scale: float) -> Iterator[Row]:
    """Measure with `curevigil run` itself, a broker and a receiver, each a program of its own."""
    times = measured(program, max(round(ALARMS * scale), 5))
    ours, theirs = times.ours_ms(), times.theirs_ms()
    late = percentile(ours, 0.99)
    yield Row(
        "publish to webhook, p99",
        f"{figure(late)} ms (p50 {figure(percentile(ours, 0.5))})",
        f"{figure(percentile(theirs, 0.99))} ms (p50 {figure(percentile(theirs, 0.5))})",
        late / percentile(theirs, 0.99),
        f"at most {SECONDS_AT_MOST:g} s",
        late <= SECONDS_AT_MOST * 1e3,
        (
            f"{len(ours)} alarms that wake somebody, each in another unit, behind {RATE:g} readings a second of "
            f"{QUIET_UNITS} others, through `curevigil run`; the slowest {figure(max(ours))} ms",
            "the meat was too warm for the minutes before, by its probe's own times; yardstick: receipt of the very "
            "same messages by a bare subscriber",
        ),
    )

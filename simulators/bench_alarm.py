"""How long it takes from publishing a reading to the alarm in the journal, beside its mere receipt."""

import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from pathlib import Path
from tempfile import TemporaryDirectory

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from collector.events import AlarmRaised, Entry
from collector.message import senml_payload
from simulators.bench_broker import LOOPBACK, PATIENCE_S, client_of, open_sessions, running, wait_until
from simulators.bench_ingest import kitchen_works
from simulators.bench_kitchen import Size, air
from simulators.bench_row import Row, figure, percentile

RATE = 200.0
SECONDS, BARE_SECONDS, COLD_SECONDS = 25.0, 8.0, 2
UNITS = 200
COLD_C, HOT_C = 3.0, 16.0
"""Far above what the air of a unit may have; it may have it for no time at all here, so one reading is an alarm."""
MS_AT_MOST = 250.0

Sending = Callable[[int, float], None]
"""Is told the number of a message and when it was handed over. [s]"""


def publish(port: int, count: int, hot: Callable[[int], bool], sending: Sending) -> None:
    """Publish a reading of each unit in turn at a steady rate, measured at the moment it is sent."""
    client = paho.Client(CallbackAPIVersion.VERSION2, client_id="sensors", protocol=paho.MQTTv311)
    client.connect(LOOPBACK, port)
    client.loop_start()
    pause, begun, last = threading.Event(), time.perf_counter(), None
    for number in range(count):
        pause.wait(max(begun + number / RATE - time.perf_counter(), 0.0))
        channel = air(number % UNITS)
        payload = senml_payload("", [(channel, "Cel", HOT_C if hot(number) else COLD_C, round(time.time(), 3))])
        sending(number, time.perf_counter())
        last = client.publish(channel, payload, qos=1)
    if last is not None:
        last.wait_for_publish(PATIENCE_S)
    client.disconnect()
    client.loop_stop()


def received(port: int, seconds: float) -> list[float]:
    """Return from publishing to receipt by a bare subscriber, message by message. [ms]"""
    sent: list[float] = []
    came: list[float] = []
    client, wishes = client_of("counting", "5", port)
    client.on_message = lambda *given: came.append(time.perf_counter())
    open_sessions([("counting", "5")], port)
    client.connect(**wishes)
    client.loop_start()
    count = round(seconds * RATE)
    publish(port, count, lambda number: False, lambda number, at: sent.append(at))
    wait_until(lambda: len(came) >= count, f"of {count} messages the bare subscriber saw fewer")
    client.disconnect()
    client.loop_stop()
    return [(at - begun) * 1e3 for begun, at in zip(sent, came, strict=False)]


def raised(port: int, folder: Path, seconds: float) -> list[float]:
    """Return from publishing to the alarm in the journal, one for each unit. [ms]"""
    rounds = max(round(seconds), COLD_SECONDS + 2)
    # Each unit has one hot second of its own, and stays hot: the alarms are spread over all that time.
    turns = {unit: COLD_SECONDS + unit % (rounds - COLD_SECONDS) for unit in range(UNITS)}
    sent: dict[str, float] = {}
    found: dict[str, float] = {}

    def sending(number: int, at: float) -> None:
        if number // UNITS == turns[number % UNITS]:
            sent[f"u{number % UNITS:03}"] = at

    def written(entries: Sequence[Entry]) -> None:
        now = time.perf_counter()
        for entry in entries:
            if isinstance(entry.event, AlarmRaised):
                found[entry.event.condition.unit] = now

    with kitchen_works("alarms", port, folder, Size(UNITS, air_dwell_s=0.0)) as works:
        works.present.watchers.append(written)
        works.start()
        wait_until(lambda: works.link.connections > 0 and works.live.pulse.ticks > 0, "the service did not start")
        publish(port, rounds * UNITS, lambda number: number // UNITS >= turns[number % UNITS], sending)
        wait_until(lambda: len(found) >= UNITS, f"of {UNITS} alarms fewer were raised")
    return [(found[unit] - at) * 1e3 for unit, at in sent.items()]


def alarm(program: str, scale: float) -> Iterator[Row]:
    """Measure at 200 readings a second, ticks and judgements going on meanwhile."""
    with ExitStack() as stack:
        folder = Path(stack.enter_context(TemporaryDirectory(prefix="curevigil-bench-")))
        port = stack.enter_context(running(program, folder))
        theirs = received(port, max(BARE_SECONDS * scale, 2.0))
        ours = raised(port, folder / "data", max(SECONDS * scale, 4.0))
    late = percentile(ours, 0.99)
    yield Row(
        "publish to alarm, p99",
        f"{figure(late)} ms (p50 {figure(percentile(ours, 0.5))})",
        f"{figure(percentile(theirs, 0.99))} ms (p50 {figure(percentile(theirs, 0.5))})",
        late / percentile(theirs, 0.99),
        f"at most {MS_AT_MOST:g} ms",
        late <= MS_AT_MOST,
        (
            f"{len(ours)} alarms among {RATE:g} readings a second from {UNITS} units with a batch in each, sender in "
            f"the same process; the slowest {figure(max(ours))} ms",
            f"yardstick: publish to receipt by a bare subscriber, {len(theirs):,} messages",
        ),
    )

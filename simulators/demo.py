"""`curevigil demo`: an invented smokehouse with everything it needs, live or in virtual time. Shell."""

import logging
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path

import click
import numpy as np

from alerts.judgement import limit_of
from alerts.replay import Player, Replay, VirtualClock, parted
from alerts.rulebook.shelf import load
from api.serving import serve
from api.works import Works, software
from collector.broker import Broker
from collector.canary import OwnTopics
from collector.events import AlarmAcknowledged, Draft
from collector.kitchen import Kitchen
from collector.message import Source
from collector.mqtt_board import Board
from collector.readings import Reading
from collector.readings_influx import Place
from collector.sample import Instant
from simulators.demo_influx import TOKEN, compare_at_end, copied, place_for
from simulators.embedded_broker import EmbeddedBroker
from simulators.gullwick import kitchen_drafts
from simulators.gullwick_life import released
from simulators.publisher import main as play
from simulators.report import report
from simulators.smokehouse import Story, story

RATE = 60.0
"""Seconds of the demo's night in a second of the machine."""
BEFORE_FAULT_S = 1500.0
"""How long before the fault the live part begins: 25 s of the machine."""
AFTER_FAULT_S = 8 * 3600.0
PAST_TICK_S = 300.0
LATENCY_S = 0.3
ANSWERED_S = 300.0
FIRST_PORT = 8765
NOTICE = "An invented kitchen: people, meat and figures are made up."


class DemoClock(VirtualClock):
    """A clock that is set while the past is played, and then runs at a fixed rate."""

    def __init__(self, at: Instant) -> None:
        super().__init__(at)
        self._began: float | None = None

    def run(self) -> None:
        """Begin to run."""
        self._began = time.monotonic()

    def __call__(self) -> Instant:
        """Return the instant in the demo's world."""
        return self.at if self._began is None else self.at + RATE * (time.monotonic() - self._began)


def measured(week: Story, from_at: Instant, until_at: Instant) -> Iterator[Reading]:
    """Yield what the kitchen's sensors sent, as the collector would have decoded it."""
    for m in week.readings(from_at, until_at):
        at = round(m.measured_at, 3)
        unit = "1" if m.unit == "/" else m.unit
        yield Reading(m.channel, at, m.value, unit, round(at + LATENCY_S, 3), at)


def _week(seed: int) -> Story:
    return story(time.time(), np.random.default_rng(seed))


def _fast(seed: int, influx: Place | None) -> None:
    week = _week(seed)
    book = load("US")
    replay = Replay(kitchen_drafts(week), book, software(), lambda k, u: limit_of(book, u), VirtualClock(week.start_at))
    click.echo("Playing a week at Gullwick Smokehouse in virtual time ...", err=True)
    until_at = week.fault_at + AFTER_FAULT_S
    replay.run(measured(week, week.start_at, until_at), until_at, _progress)
    replay.present.decide(lambda kitchen: released(week, kitchen))
    click.echo("", err=True)
    if influx is not None:
        click.echo(copied(replay.readings, influx))
    for line in report(replay.present.kitchen, replay.alarms(), replay.dispositions(), replay.count):
        click.echo(line)


def _progress(count: int) -> None:
    click.echo(f"\r  {count:,} readings", nl=False, err=True)


def _live(seed: int, port: int | None, folder: Path, log_path: Path, influx: Place | None) -> None:
    week = _week(seed)
    begin_at = week.fault_at - BEFORE_FAULT_S
    clock = DemoClock(week.start_at)
    with ExitStack() as stack:
        broker = stack.enter_context(EmbeddedBroker())
        here = Broker(
            broker.host,
            broker.port,
            broker.collector.username,
            broker.collector.password,
            protocol="3.1.1",
            topics=("smokehouse/#",),
        )
        sources = (Source("smokehouse/#", "senml"),)
        own = OwnTopics()
        works = Works(
            *(folder, here, sources), clock=clock, rate=RATE, ballast_bytes=2**20, influx=influx,
            pages_from_influx=True, own=own, board=Board(here, own.status),
        )  # fmt: skip
        known, later = parted(kitchen_drafts(week), week.start_at)
        works.present.decide(lambda kitchen: [] if kitchen.position else known)
        click.echo("Playing the past six days ...", err=True)
        player = Player(works.service, clock, tells=False, tick_s=PAST_TICK_S, later=later)
        player.run(measured(week, week.start_at, begin_at), begin_at, _progress)
        click.echo("", err=True)
        works.present.decide(_answered)
        works.present.decide(_answered)
        works.present.decide(lambda kitchen: released(week, kitchen))
        clock.run()
        works.start()
        stack.callback(works.stop)
        stack.callback(compare_at_end, works.feeder, works.readings, works.archive)
        stack.callback(_end, _kitchen(broker, clock(), week.fault_at, seed, log_path))
        serve(
            works, port=port or _free_port(), announce=_announce(week), person="odile", plain_http=True, notice=NOTICE
        )


def _answered(kitchen: Kitchen) -> list[Draft]:
    """Return the answers that the past days' alarms had: each was gone to within minutes."""
    return [
        Draft(a.raised_at + ANSWERED_S, "tam", AlarmAcknowledged(a.id, "going", a.raised_at + 2 * ANSWERED_S))
        for a in kitchen.alarms.values()
    ]


def _kitchen(
    broker: EmbeddedBroker, virtual_at: Instant, fault_at: Instant, seed: int, log_path: Path
) -> subprocess.Popen[bytes]:
    """Start the simulated kitchen: a process of its own that speaks only MQTT, and ends when we do."""
    program = f"import sys; from {play.__module__} import {play.__name__}; sys.exit({play.__name__}(sys.argv[1:]))"
    told = [
        *("--host", broker.host, "--port", str(broker.port), "--seed", str(seed), "--watch-stdin"),
        *("--username", broker.kitchen.username, "--password", "env:CUREVIGIL_KITCHEN_PASSWORD"),
        *("--now-at", str(fault_at - 3600.0), "--virtual-at", str(virtual_at), "--real-at", str(time.time())),
        *("--pace", str(RATE)),
    ]
    environ = {**os.environ, "CUREVIGIL_KITCHEN_PASSWORD": broker.kitchen.password}
    with log_path.open("ab") as out:
        return subprocess.Popen([sys.executable, "-c", program, *told], stdin=subprocess.PIPE, stderr=out, env=environ)


def _end(kitchen: subprocess.Popen[bytes]) -> None:
    if kitchen.stdin is not None:
        kitchen.stdin.close()
    try:
        kitchen.wait(timeout=15)
    except subprocess.TimeoutExpired:
        kitchen.kill()


def _free_port() -> int:
    for port in (*range(FIRST_PORT, FIRST_PORT + 20), 0):
        with socket.socket() as probe:
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
            return int(probe.getsockname()[1])
    return FIRST_PORT


def _announce(week: Story) -> Callable[[str, str], None]:
    fault = datetime.fromtimestamp(week.fault_at, UTC).astimezone(week.zone)

    def say(address: str, code: str) -> None:
        click.echo("")
        click.echo(f"  Address       {address}")
        click.echo(f"  Sign-in code  {code}")
        click.echo("")
        click.echo(f"One minute here is an hour there. At {fault:%H:%M} of the demo's night, in about half a minute,")
        click.echo("the cold room's compressor stops. Watch Tonight; then open a batch that stands in the cold room.")
        click.echo("Everything is invented, and every figure is an estimate. Stop with Ctrl-C.")

    return say


@click.command()
@click.option("--fast", is_flag=True, help="Play the same story in virtual time, print a short report, and end.")
@click.option("--seed", default=1, show_default=True, help="Seed of the simulated kitchen.")
@click.option("--port", type=int, help="Port of the pages; the first free one from 8765 by default.")
@click.option("--data", type=click.Path(path_type=Path), help="Keep the demo's data here; a passing folder by default.")
@click.option("--influx", metavar="URL", help=f"Copy to this InfluxDB too, token in {TOKEN}; pages read from it.")
def demo(fast: bool, seed: int, port: int | None, data: Path | None, influx: str | None) -> None:
    """Run an invented smokehouse whose cold room fails at night.

    What it says are estimates. Local rules and a responsible or licensed person come first.
    """
    place = place_for(influx, os.environ) if influx is not None else None
    if fast:
        _fast(seed, place)
        return
    passing = data is None
    folder = Path(tempfile.mkdtemp(prefix="curevigil-demo-")) if data is None else data
    folder.mkdir(parents=True, exist_ok=True)
    log_path = folder / "demo.log"
    logging.basicConfig(
        level=logging.INFO,
        filename=log_path,
        format="time=%(asctime)s level=%(levelname)s logger=%(name)s %(message)s",
    )
    click.echo(f"The demo writes its log to {log_path}", err=True)
    try:
        _live(seed, port, folder, log_path, place)
    finally:
        if passing:
            shutil.rmtree(folder, ignore_errors=True)

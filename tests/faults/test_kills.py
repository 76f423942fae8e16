"""The collector killed at random moments under load, and the broker with it: what was acknowledged is kept, once.

CUREVIGIL_KILLS sets how often; the seed is printed at the end of the run.
"""

import json
import os
import random
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from collector.readings_sqlite import SqliteReadings

PROGRAM = Path(__file__).with_name("collector_under_test.py")
KILLS, KILLS_LONG = 30, 200
BROKER_KILLS = 4
UNSAVED_S = 3.0
"""How long after taking a message the broker may still lose it to a kill: it writes its file every second. [s]"""

Eventually = Callable[..., None]


class Child:
    """The collector as a process of its own, one life after another on the same folder."""

    def __init__(self, proxy: Any, folder: Path) -> None:
        self.proxy = proxy
        self.folder = folder
        self._process: subprocess.Popen[bytes] | None = None
        self._idle = threading.Event()

    def live(self) -> None:
        self.acknowledged_before = len(self.proxy.acknowledged)
        with (self.folder / "log").open("ab") as log:
            command = [sys.executable, str(PROGRAM), str(self.proxy.port), str(self.folder)]
            self._process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stderr=log)

    def works(self) -> bool:
        """Return whether it has acknowledged something in this life."""
        assert self._process is not None
        assert self._process.poll() is None, (self.folder / "log").read_text()[-4000:]
        return len(self.proxy.acknowledged) > self.acknowledged_before

    def wait(self, seconds: float) -> None:
        self._idle.wait(seconds)

    def end(self, how: signal.Signals) -> None:
        if self._process is not None:
            self._process.send_signal(how)
            self._process.wait(20)
            self._process = None

    def kept(self, load: Any) -> list[tuple[str, float, float]]:
        readings = SqliteReadings(self.folder / "readings.sqlite")
        try:
            found: list[tuple[str, float, float]] = load.kept(readings)
            return found
        finally:
            readings.close()

    def gaps(self) -> list[tuple[float, float, str]]:
        path = self.folder / "gaps.jsonl"
        return [tuple(json.loads(line)) for line in path.read_text().splitlines()] if path.exists() else []


@pytest.fixture
def child(proxy: Any, tmp_path: Path) -> Iterator[Child]:
    child = Child(proxy, tmp_path)
    yield child
    child.end(signal.SIGKILL)


def live_and_be_killed(child: Child, chance: random.Random, eventually: Eventually) -> bool:
    """Run one life until a random moment; return whether it had come as far as acknowledging."""
    child.live()
    if chance.random() < 0.25:
        child.wait(chance.uniform(0.0, 1.0))
    else:
        eventually(child.works, "the collector acknowledges something")
        child.wait(chance.uniform(0.0, 0.4))
    worked = child.works()
    child.end(signal.SIGKILL)
    return worked


def kept_once(child: Child, load: Any) -> set[tuple[str, float, float]]:
    """Return what is kept; fail where something is there twice, or something acknowledged is missing."""
    kept = child.kept(load)
    assert len(kept) == len(set(kept))
    acknowledged = load.expected(load.numbers(list(child.proxy.acknowledged)))
    assert acknowledged <= set(kept)
    return set(kept)


# A session at a broker that was stopped in order lasts, so this is strict: nothing that it took may be missing.
def test_whatever_the_broker_took_is_kept_exactly_once_through_kills_and_restarts(
    mosquitto: Any, load: Any, child: Child, chance: random.Random, long_form: bool, eventually: Eventually
) -> None:
    kills = int(os.environ.get("CUREVIGIL_KILLS", KILLS_LONG if long_form else KILLS))
    child.live()
    eventually(lambda: child.proxy.subscribed, "the broker knows the collector")
    load.start()
    eventually(child.works, "the collector acknowledges something")
    child.end(signal.SIGKILL)
    at_work = 0
    for _ in range(1, kills):
        at_work += live_and_be_killed(child, chance, eventually)
        kept_once(child, load)
        if chance.random() < 0.15:
            mosquitto.restart()
    load.pause()
    child.live()
    eventually(lambda: len(load.accepted) == load.offered, "the broker has taken everything", 60.0)
    everything = set(range(load.offered))
    eventually(lambda: load.numbers(list(child.proxy.acknowledged)) == everything, "everything is acknowledged", 60.0)
    child.end(signal.SIGTERM)
    assert kept_once(child, load) == load.expected(everything)
    assert child.proxy.strays == 0
    assert child.proxy.out_of_order == 0
    assert child.gaps() == []
    assert at_work > kills / 2, "most kills have to hit a collector at work"


def test_what_a_killed_broker_forgets_is_within_its_last_seconds_or_within_a_told_gap_and_ours_is_kept(
    mosquitto: Any, load: Any, child: Child, chance: random.Random, eventually: Eventually
) -> None:
    child.live()
    eventually(lambda: child.proxy.subscribed, "the broker knows the collector")
    load.start()
    eventually(child.works, "the collector acknowledges something")
    killed_at: list[float] = []
    for kill in range(2 * BROKER_KILLS):
        if kill % 2:
            child.wait(chance.uniform(0.1, 1.0))
            mosquitto.kill()
            killed_at.append(max(load.accepted.values()))
            mosquitto.start()
        else:
            child.wait(chance.uniform(0.1, 1.0))
            child.end(signal.SIGKILL)
            child.live()
    before = len(child.proxy.acknowledged)
    eventually(lambda: len(child.proxy.acknowledged) > before + 100, "the collector is at work again")
    load.pause()
    eventually(lambda: len(load.accepted) == load.offered, "the broker has taken everything", 60.0)
    last = load.offered - 1
    eventually(lambda: last in load.numbers(child.proxy.acknowledged[-50:]), "the last message is acknowledged")
    child.end(signal.SIGTERM)
    kept = kept_once(child, load)
    everything = load.expected(set(range(load.offered)))
    assert kept <= everything
    lost = {number for number in range(load.offered) if not load.expected({number}) <= kept}
    excused = [(at - UNSAVED_S, at) for at in killed_at] + [
        (from_at, until_at) for from_at, until_at, _ in child.gaps()
    ]
    for number in lost:
        taken_at = load.accepted[number]
        assert any(from_at <= taken_at <= until_at for from_at, until_at in excused), f"message {number} is missing"

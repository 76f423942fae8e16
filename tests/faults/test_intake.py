"""The intake under load on a disk that fills up and becomes read-only, and beside a slow export.

The disk is a small one in memory, which only root may mount; elsewhere that test is skipped.
"""

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest

from collector.broker import Broker
from collector.events import GapSuspected
from collector.health import Health, State
from collector.inbox import Inbox
from collector.ingest import Ingest
from collector.message import Source
from collector.mqtt import Link
from collector.readings_sqlite import SqliteReadings
from collector.sqlite import connect

Eventually = Callable[..., None]


class Collector:
    """The collector in this process, on a real store, through the proxy."""

    def __init__(self, port: int, path: Path, journal_mode: str) -> None:
        self.readings = SqliteReadings(path, journal_mode=journal_mode)
        self.health = Health()
        self.gaps: list[GapSuspected] = []
        self.link = Link(
            Broker("127.0.0.1", port, topics=("rooms/#",)), Inbox(), time.time, self.health, pauses_s=(0.05, 0.5)
        )
        self.ingest = Ingest(
            self.readings,
            self.link,
            (Source("rooms/#", "senml"),),
            time.time,
            lambda group: None,
            self.health,
            on_gap=self.gaps.append,
            probes_s=(0.1, 0.3),
        )

    def state(self, part: str) -> State | None:
        known = self.health.part(part)
        return known.state if known else None

    def sentence(self) -> str:
        known = self.health.part("intake")
        return known.sentence if known else ""


@contextmanager
def running(collector: Collector, eventually: Eventually) -> Iterator[None]:
    collector.ingest.start()
    try:
        eventually(lambda: collector.state("broker") is State.WORKS, "it is connected")
        yield
    finally:
        collector.ingest.stop()
        collector.readings.close()


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """A mounted disk of 3 MiB."""
    if sys.platform != "linux" or os.geteuid() != 0:
        pytest.skip("mounting a small disk needs root on Linux")
    path = tmp_path / "disk"
    path.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=3m", "tmpfs", str(path)]
    answer = subprocess.run(mount, capture_output=True, text=True, check=False)
    if answer.returncode:
        pytest.skip(f"a small disk cannot be mounted here: {answer.stderr.strip()}")
    try:
        yield path
    finally:
        subprocess.run(["umount", "-l", str(path)], check=False, capture_output=True)


def fill(disk: Path) -> None:
    """Take every byte that is left."""
    with (disk / "filler").open("wb", buffering=0) as file:
        while room := shutil.disk_usage(disk).free:
            file.write(bytes(room))


def remounted(disk: Path, how: str) -> bool:
    """Remount the disk; return False where a file was just being written."""
    command = ["mount", "-o", f"remount,{how}", str(disk)]
    return subprocess.run(command, capture_output=True, check=False).returncode == 0


@pytest.mark.parametrize("journal_mode", ["wal", "truncate"])
def test_a_full_and_then_read_only_disk_stops_acknowledging_says_so_and_goes_on_by_itself_when_put_right(
    mosquitto: Any, proxy: Any, load: Any, disk: Path, eventually: Eventually, journal_mode: str
) -> None:
    collector = Collector(proxy.port, disk / "readings.sqlite", journal_mode)
    with running(collector, eventually):
        load.start()
        eventually(lambda: len(proxy.acknowledged) > 50, "it is at work")
        fill(disk)
        eventually(lambda: collector.state("intake") is State.FAILED, "health says that it fails")
        assert "Readings cannot be kept" in collector.sentence()
        assert "full" in collector.sentence() or "disk I/O error" in collector.sentence()

        # Read-only, and with room to spare: what refuses now is not the lack of it.
        eventually(lambda: remounted(disk, "ro,size=16m"), "the disk is read-only")
        full = collector.sentence()
        eventually(lambda: collector.sentence() != full, "health says what is wrong now")
        assert "Readings cannot be kept" in collector.sentence()
        stopped = len(proxy.acknowledged)
        failures = collector.ingest.tally.store_failures
        eventually(lambda: collector.ingest.tally.store_failures >= failures + 3, "it goes on trying")
        assert len(proxy.acknowledged) == stopped

        assert remounted(disk, "rw,size=16m")
        eventually(lambda: collector.state("intake") is State.WORKS, "it goes on by itself")
        eventually(lambda: len(proxy.acknowledged) > stopped + 50, "it acknowledges again")
        load.pause()
        eventually(lambda: len(load.accepted) == load.offered, "the broker has taken everything")
        everything = set(range(load.offered))
        eventually(lambda: load.numbers(list(proxy.acknowledged)) == everything, "everything is acknowledged")
        kept = load.kept(collector.readings)
    assert len(kept) == len(set(kept))
    assert set(kept) == load.expected(everything)
    assert (proxy.strays, proxy.out_of_order) == (0, 0)
    assert collector.gaps == []


@pytest.mark.parametrize("journal_mode", ["wal", "truncate"])
def test_a_slow_export_does_not_stop_commits(
    proxy: Any, load: Any, tmp_path: Path, eventually: Eventually, journal_mode: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("collector.readings_sqlite.PAGE", 20)
    collector = Collector(proxy.port, tmp_path / "readings.sqlite", journal_mode)
    with running(collector, eventually):
        load.start()
        eventually(lambda: collector.readings.head() > 300, "there is something to export")
        until_at = time.time()
        pages = collector.readings.series_pages("probe0/air", 0.0, until_at)
        exported = len(next(pages))
        for _ in range(2):
            head = collector.readings.head()
            eventually(lambda head=head: collector.readings.head() > head + 100, "commits go on beside it")
            exported += len(next(pages))
        assert exported == 60
        assert collector.ingest.tally.store_failures == 0


def test_a_reader_that_never_ends_its_transaction_does_not_stop_commits(
    proxy: Any, load: Any, tmp_path: Path, eventually: Eventually
) -> None:
    path = tmp_path / "readings.sqlite"
    collector = Collector(proxy.port, path, "wal")
    with running(collector, eventually):
        load.start()
        eventually(lambda: collector.readings.head() > 50, "there is something to read")
        with closing(connect(path, "wal", reading=True)) as other:
            other.execute("BEGIN")
            seen = other.execute("SELECT count(*) FROM arrivals").fetchone()[0]
            head = collector.readings.head()
            eventually(lambda: collector.readings.head() > head + 300, "commits go on beside it")
            assert other.execute("SELECT count(*) FROM arrivals").fetchone()[0] == seen
        assert collector.ingest.tally.store_failures == 0

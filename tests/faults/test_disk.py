"""The stores on a disk that fills up or becomes read-only, and on the same disk once it has been put right.

The disk is a small one in memory, which only root may mount; elsewhere these tests are skipped.
"""

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from collector.events import Draft, ItemSetAside
from collector.readings import Reading
from collector.sample import Message
from collector.storage import Arrival, Journal, Readings, StoreFailed
from collector.stores_sqlite import Stores, disk_free_share, open_stores

NOON = 1_767_268_800.0
KIB = 1024


@dataclass(frozen=True)
class SmallDisk:
    """A mounted disk of 4 MiB."""

    path: Path

    @property
    def filler(self) -> Path:
        return self.path / "filler"

    def fill(self, leave: int) -> None:
        """Take all but the last bytes."""
        with self.filler.open("wb", buffering=0) as file:
            room = shutil.disk_usage(self.path).free - leave
            file.write(bytes(max(0, room)))

    def remount(self, how: str) -> None:
        subprocess.run(["mount", "-o", f"remount,{how}", str(self.path)], check=True, capture_output=True)


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[SmallDisk]:
    if sys.platform != "linux" or os.geteuid() != 0:
        pytest.skip("mounting a small disk needs root on Linux")
    path = tmp_path / "disk"
    path.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(path)]
    answer = subprocess.run(mount, capture_output=True, text=True, check=False)
    if answer.returncode:
        pytest.skip(f"a small disk cannot be mounted here: {answer.stderr.strip()}")
    try:
        yield SmallDisk(path)
    finally:
        subprocess.run(["umount", "-l", str(path)], check=False, capture_output=True)


@pytest.fixture(params=["wal", "truncate"])
def opener(request: pytest.FixtureRequest, disk: SmallDisk) -> Iterator[Callable[..., Stores]]:
    opened: list[Stores] = []

    def opens(ballast_bytes: int = 0) -> Stores:
        opened.append(open_stores(disk.path / "data", journal_mode=request.param, ballast_bytes=ballast_bytes))
        return opened[-1]

    yield opens
    for stores in opened:
        stores.close()


def group(first: int, size: int = 8) -> list[Arrival]:
    """Return messages that bring a channel each, so that a half-kept group would show in every table."""
    found = []
    for number in range(first, first + size):
        at = NOON + number
        reading = Reading(f"c{number}", at, number / 16, "Cel", at, at, f"boot:{number}")
        found.append(Arrival(Message(f"t{number}", bytes(2048), at), (reading,)))
    return found


def append_until_full(readings: Readings) -> int:
    """Append groups until the store refuses one; return the last position that it acknowledged."""
    acknowledged = readings.head()
    for _ in range(1000):
        try:
            acknowledged = readings.append(group(acknowledged + 1))
        except StoreFailed:
            return acknowledged
    pytest.fail("the disk never filled")


def assert_holds_exactly(readings: Readings, acknowledged: int) -> None:
    assert readings.head() == acknowledged
    assert [a.position for a in readings.arrivals(0, 9999)] == list(range(1, acknowledged + 1))
    assert {c.channel for c in readings.channels()} == {f"c{n}" for n in range(1, acknowledged + 1)}


def decide(journal: Journal, seen: int, text: str = "x") -> int:
    entries = journal.append(
        [Draft(NOON, "watch", ItemSetAside(str(seen), text))], seen=seen, recorded_at=NOON, cursors={"watch": seen}
    )
    return entries[-1].position


def test_a_full_disk_keeps_nothing_by_halves_and_intake_resumes_on_the_same_store(
    disk: SmallDisk, opener: Callable[..., Stores]
) -> None:
    stores = opener()
    stores.readings.append(group(1))
    disk.fill(leave=300 * KIB)
    acknowledged = append_until_full(stores.readings)
    assert acknowledged >= 8
    for _ in range(3):
        with pytest.raises(StoreFailed):
            stores.readings.append(group(acknowledged + 1, 200))
        assert_holds_exactly(stores.readings, acknowledged)
    assert disk_free_share(disk.path) < 0.1
    disk.filler.unlink()
    assert stores.readings.append(group(acknowledged + 1)) == acknowledged + 8
    assert_holds_exactly(stores.readings, acknowledged + 8)
    stores.close()
    again = opener()
    assert_holds_exactly(again.readings, acknowledged + 8)


def test_a_journal_without_room_keeps_neither_entries_nor_cursors(
    disk: SmallDisk, opener: Callable[..., Stores]
) -> None:
    stores = opener()
    head = decide(stores.journal, 0)
    disk.fill(leave=0)
    failed = 0
    for _ in range(200):
        try:
            head = decide(stores.journal, head, "x" * 9000)
        except StoreFailed:
            failed += 1
            assert stores.journal.head() == head
            assert stores.journal.cursor("watch") == head - 1
        if failed == 3:
            break
    assert failed == 3
    disk.filler.unlink()
    assert decide(stores.journal, head) == head + 1


def test_the_journal_can_still_be_written_when_readings_cannot(disk: SmallDisk, opener: Callable[..., Stores]) -> None:
    stores = opener(ballast_bytes=512 * KIB)
    assert stores.ballast.held
    stores.readings.append(group(1))
    disk.fill(leave=0)
    with pytest.raises(StoreFailed, match="kept for the journal"):
        stores.readings.append(group(9))
    head = 0
    for _ in range(10):
        head = decide(stores.journal, head, "x" * 9000)
    assert head == 10
    assert not stores.ballast.held
    with pytest.raises(StoreFailed, match="kept for the journal"):
        stores.readings.append(group(9))
    disk.filler.unlink()
    assert stores.ballast.take()
    assert stores.readings.append(group(9)) == 16


def test_a_disk_that_becomes_read_only_is_refused_and_used_again_once_it_is_writable(
    disk: SmallDisk, opener: Callable[..., Stores]
) -> None:
    stores = opener()
    stores.readings.append(group(1))
    decide(stores.journal, 0)
    # A disk can be made read-only only while nobody has a file open for writing, as is so after a fault.
    disk.fill(leave=0)
    with pytest.raises(StoreFailed):
        stores.readings.append(group(9, 200))
    disk.filler.unlink()
    stores.journal.close()
    disk.remount("ro")
    for _ in range(2):
        with pytest.raises(StoreFailed):
            stores.readings.append(group(9))
        with pytest.raises(StoreFailed):
            decide(stores.journal, 1)
    disk.remount("rw")
    assert stores.readings.append(group(9)) == 16
    assert_holds_exactly(stores.readings, 16)
    assert decide(stores.journal, 1) == 2


def test_a_folder_on_a_read_only_disk_is_refused_at_the_start(disk: SmallDisk, opener: Callable[..., Stores]) -> None:
    opener().close()
    disk.remount("ro")
    with pytest.raises(StoreFailed):
        opener()
    disk.remount("rw")
    assert opener().readings.append(group(1)) == 8

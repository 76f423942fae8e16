"""The data folder: who may open it, and the space held back in it."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from collector.events import Draft, ItemSetAside
from collector.sample import Message
from collector.storage import Arrival, StoreFailed
from collector.stores_sqlite import Ballast, disk_free_share, open_stores

NOON = 1_767_268_800.0
KIB = 1024


def test_a_folder_is_made_readable_by_its_owner_alone(tmp_path: Path) -> None:
    stores = open_stores(tmp_path / "a" / "data", ballast_bytes=KIB)
    assert (tmp_path / "a" / "data").stat().st_mode & 0o777 == 0o700
    stores.close()
    stores.close()


def test_one_process_at_a_time_writes_readings(tmp_path: Path) -> None:
    stores = open_stores(tmp_path, ballast_bytes=KIB)
    with pytest.raises(StoreFailed, match="in use by another process; stop that one first"):
        open_stores(tmp_path, ballast_bytes=KIB)
    stores.close()
    open_stores(tmp_path, ballast_bytes=KIB).close()


def test_the_lock_goes_with_the_process_that_held_it(tmp_path: Path) -> None:
    program = (
        "import os, sys\nfrom pathlib import Path\nfrom collector.stores_sqlite import open_stores\n"
        "stores = open_stores(Path(sys.argv[1]), ballast_bytes=1024)\nos._exit(3)\n"
    )
    assert subprocess.run([sys.executable, "-c", program, str(tmp_path)], check=False).returncode == 3
    open_stores(tmp_path, ballast_bytes=KIB).close()


def test_a_folder_that_could_not_be_opened_is_not_left_locked(tmp_path: Path) -> None:
    (tmp_path / "journal.sqlite").write_bytes(b"x" * 5000)
    with pytest.raises(StoreFailed, match="not a database"):
        open_stores(tmp_path, ballast_bytes=KIB)
    (tmp_path / "journal.sqlite").unlink()
    open_stores(tmp_path, ballast_bytes=KIB).close()


def test_commands_beside_the_service_write_journal_and_working_and_read_readings(tmp_path: Path) -> None:
    service = open_stores(tmp_path, ballast_bytes=KIB)
    service.readings.append([Arrival(Message("t", b"x", NOON), ())])
    command = open_stores(tmp_path, beside=True, ballast_bytes=KIB)
    command.journal.append([Draft(NOON, "kim", ItemSetAside("x", "y"))], seen=0, recorded_at=NOON)
    command.working.put("code", "1", {"a": 1})
    assert service.journal.head() == 1
    assert service.working.take("code", "1", NOON) == {"a": 1}
    assert command.readings.head() == 1
    with pytest.raises(StoreFailed, match="by the service alone"):
        command.readings.append([])
    command.close()
    service.close()


def test_a_command_may_come_before_the_service_has_ever_run(tmp_path: Path) -> None:
    command = open_stores(tmp_path / "data", beside=True, ballast_bytes=KIB)
    command.journal.append([Draft(NOON, "kim", ItemSetAside("x", "y"))], seen=0, recorded_at=NOON)
    command.close()
    service = open_stores(tmp_path / "data", ballast_bytes=KIB)
    assert service.journal.head() == 1
    service.close()


def test_ballast_takes_real_space_and_gives_it_up(tmp_path: Path) -> None:
    ballast = Ballast(tmp_path / "ballast", 256 * KIB)
    assert not ballast.held
    assert ballast.take()
    assert ballast.take()
    assert ballast.held
    file = (tmp_path / "ballast").stat()
    assert (file.st_size, file.st_blocks * 512 >= 256 * KIB) == (256 * KIB, True)
    ballast.give_up()
    ballast.give_up()
    assert not ballast.held
    assert os.listdir(tmp_path) == []


def test_ballast_is_not_taken_where_it_would_fill_the_disk(tmp_path: Path) -> None:
    ballast = Ballast(tmp_path / "ballast", 2**60)
    assert not ballast.take()
    assert os.listdir(tmp_path) == []


def test_ballast_stays_while_there_is_room(tmp_path: Path) -> None:
    ballast = Ballast(tmp_path / "ballast", KIB)
    ballast.take()
    assert not ballast.make_room()
    assert ballast.held


def test_the_free_share_of_a_disk_is_a_share(tmp_path: Path) -> None:
    assert 0 < disk_free_share(tmp_path) < 1
    with pytest.raises(StoreFailed, match="nowhere"):
        disk_free_share(tmp_path / "nowhere")

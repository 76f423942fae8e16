"""One data folder: its lock, its three stores in two files, and the disk space held back for the journal."""

import errno
import fcntl
import os
import shutil
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from collector.books_sql import open_books
from collector.journal_sql import SqlJournal
from collector.readings_sqlite import SqliteReadings
from collector.sqlite import sync_folder, translated
from collector.storage import Journal, Readings, StoreFailed, Working
from collector.working_sql import SqlWorking

READINGS = "readings.sqlite"
BOOKS = "journal.sqlite"
LOCK = "lock"
BALLAST = "ballast"
BALLAST_BYTES = 64 * 1024 * 1024
MIB = 1024 * 1024
FULL_BELOW = 16
"""The disk is full when less than this part of the ballast is free."""


class FolderLock:
    """The mark that one process writes readings in this folder; the system lifts it when that process ends."""

    def __init__(self, folder: Path) -> None:
        with translated(str(folder)):
            self._handle: int | None = os.open(folder / LOCK, os.O_RDONLY | os.O_CREAT, 0o600)
            try:
                fcntl.flock(self._handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError as fault:
                self.release()
                if fault.errno not in (errno.EWOULDBLOCK, errno.EACCES):
                    raise
                raise StoreFailed(
                    f"{folder} is in use by another process; stop that one first, or name another data folder"
                ) from fault

    def release(self) -> None:
        """Lift the lock; a second call does nothing."""
        if self._handle is not None:
            os.close(self._handle)
            self._handle = None


class Ballast:
    """A file of no use but its size: given up when the disk is full, so that alarms can still be written down."""

    def __init__(self, path: Path, size: int = BALLAST_BYTES) -> None:
        self.path = path
        self.size = size

    @property
    def held(self) -> bool:
        """Whether the space is held back."""
        with suppress(OSError):
            return self.path.stat().st_size >= self.size
        return False

    def take(self) -> bool:
        """Hold the space back where that leaves as much again free; return whether it is held."""
        if self.held or self.size == 0:
            return self.held
        with suppress(OSError):
            if shutil.disk_usage(self.path.parent).free >= 2 * self.size:
                self._write()
        if not self.held:
            self.give_up()
        return self.held

    def _write(self) -> None:
        # Written, not only reserved: not every system can reserve, and a sparse file would hold nothing back.
        with self.path.open("wb") as file:
            for start in range(0, self.size, MIB):
                file.write(bytes(min(MIB, self.size - start)))
            file.flush()
            os.fsync(file.fileno())

    def give_up(self) -> None:
        """Let the space go; a missing file is no error. Raises StoreFailed."""
        with translated(str(self.path)):
            self.path.unlink(missing_ok=True)

    def make_room(self) -> bool:
        """Give the space up if the disk is full, and return whether that happened. Raises StoreFailed."""
        with translated(str(self.path)):
            full = shutil.disk_usage(self.path.parent).free < self.size // FULL_BELOW
        if not (full and self.held):
            return False
        self.give_up()
        return True


def disk_free_share(path: Path) -> float:
    """Return how much of the disk under the path is free for us, 0 to 1. Raises StoreFailed."""
    with translated(str(path)):
        usage = shutil.disk_usage(path)
    return usage.free / usage.total


@dataclass(frozen=True, slots=True)
class Stores:
    """The stores of one data folder, and what belongs to it."""

    readings: Readings
    journal: Journal
    working: Working
    ballast: Ballast
    lock: FolderLock | None

    def close(self) -> None:
        """Let go of everything; a second call does nothing."""
        self.readings.close()
        self.journal.close()
        self.working.close()
        if self.lock is not None:
            self.lock.release()


def open_stores(
    folder: Path,
    *,
    beside: bool = False,
    journal_mode: str | None = None,
    ballast_bytes: int = BALLAST_BYTES,
) -> Stores:
    """Open a data folder, made where there is none, for the one process that writes readings.

    With `beside`, open it for a second process: it appends to the journal and keeps working things as the first does,
    but only reads readings, and migrates nothing. Raises StoreFailed, NewerSchema.
    """
    with translated(str(folder)):
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    lock = None if beside else FolderLock(folder)
    ballast = Ballast(folder / BALLAST, ballast_bytes)
    try:
        if not beside:
            ballast.take()
            with translated(str(folder)):
                sync_folder(folder.parent)
        readings = SqliteReadings(
            folder / READINGS, journal_mode=journal_mode, leave_free=ballast_bytes, read_only=beside
        )
        books = open_books(folder / BOOKS, journal_mode=journal_mode, may_migrate=not beside)
    except BaseException:
        if lock is not None:
            lock.release()
        raise
    return Stores(readings, SqlJournal(books, ballast.make_room), SqlWorking(books), ballast, lock)

"""How a SQLite file is opened, checked, migrated, written and read; a fault of the driver leaves as StoreFailed.

`pysqlite3` brings a version of SQLite outside a known fault of its write-ahead log; where it has no wheel, the library
that Python was linked with serves, with a rollback journal if that library has the fault.
"""

import fcntl
import importlib
import os
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import TypeAlias

from collector.storage import NewerSchema, StoreFailed

Connection: TypeAlias = sqlite3.Connection
"""`pysqlite3` has the same interface and no types of its own."""


def _driver() -> ModuleType:
    try:
        return importlib.import_module("pysqlite3.dbapi2")
    except ImportError:
        return importlib.import_module("sqlite3")


driver = _driver()

BUSY_S = 5.0
"""How long a writer waits for a writer of another process."""
FULL = 2
WAL_LEFT_BYTES = 64 * 1024 * 1024
CHECKED_BYTES_MAX = 256 * 1024 * 1024
"""A larger file is not read through at every start: the first reading would wait for it. `Database.check` does it."""


def wal_trusted(version: tuple[int, int, int]) -> bool:
    """Return whether this version's write-ahead log can be trusted with a writer and readers at the same time.

    Versions 3.7.0 to 3.51.2 can lose a commit or corrupt the file when a log is reset while another connection reads;
    3.51.3 is mended, and so are 3.50.7 and 3.44.6. 3.52.0 was withdrawn by its makers (sqlite.org, release history).
    """
    if version >= (3, 51, 3):
        return version != (3, 52, 0)
    return (version[:2] == (3, 50) and version[2] >= 7) or (version[:2] == (3, 44) and version[2] >= 6)


def best_journal_mode() -> str:
    """Return the journal mode for the version of SQLite at hand."""
    return "wal" if wal_trusted(driver.sqlite_version_info) else "truncate"


@contextmanager
def translated(what: str) -> Iterator[None]:
    """Turn everything the driver or the system raises into StoreFailed."""
    try:
        yield
    except (driver.Error, driver.Warning, sqlite3.Error, sqlite3.Warning, OSError) as fault:
        raise StoreFailed(f"{what}: {fault}") from fault


def connect(path: Path, journal_mode: str, *, reading: bool = False) -> Connection:
    """Return an open connection that commits only what BEGIN and COMMIT enclose. Raises StoreFailed, driver errors."""
    connection: Connection = driver.connect(
        str(path), timeout=BUSY_S, isolation_level=None, check_same_thread=False, cached_statements=256
    )
    try:
        mode = connection.execute(f"PRAGMA journal_mode={journal_mode}").fetchone()[0]
        connection.execute("PRAGMA synchronous=FULL")
        synchronous = connection.execute("PRAGMA synchronous").fetchone()[0]
        connection.execute(f"PRAGMA journal_size_limit={WAL_LEFT_BYTES}")
        if reading:
            connection.execute("PRAGMA query_only=ON")
        if mode != journal_mode or synchronous != FULL:
            raise StoreFailed(
                f"{path.name}: the disk does not allow journal mode {journal_mode} with full synchronisation "
                f"(it gave {mode}, {synchronous}); keep the data folder on a local disk"
            )
    except BaseException:
        connection.close()
        raise
    return connection


@dataclass(frozen=True, slots=True)
class Schema:
    """What a file is, and the statements that bring it from each version to the next; its version is their number."""

    name: str
    application_id: int
    steps: tuple[tuple[str, ...], ...]

    @property
    def version(self) -> int:
        return len(self.steps)


def prepare(path: Path, schema: Schema, journal_mode: str, *, may_migrate: bool = True) -> None:
    """Create, check or migrate the file; a copy is taken before it is migrated. Raises StoreFailed, NewerSchema."""
    with translated(str(path)), _one_at_a_time(path.parent):
        fresh = not path.exists()
        with closing(connect(path, journal_mode)) as connection:
            if not fresh:
                _quick_check(connection, path)
            _bring_up(connection, path, schema, may_migrate)
            if may_migrate:
                # A disk that cannot be written must show at the start, not at the first message.
                connection.execute("BEGIN IMMEDIATE")
                connection.execute("UPDATE schema_version SET version = version")
                connection.execute("ROLLBACK")
        if fresh:
            sync_folder(path.parent)


@contextmanager
def _one_at_a_time(folder: Path) -> Iterator[None]:
    """Let one process or thread at a time open a file of the folder: changing the journal mode waits for nobody."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def sync_folder(folder: Path) -> None:
    """Make the names in a folder durable, as their contents are."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _quick_check(connection: Connection, path: Path) -> None:
    if path.stat().st_size > CHECKED_BYTES_MAX:
        return
    _refuse_damage(connection, path)


def _refuse_damage(connection: Connection, path: Path) -> None:
    findings = [row[0] for row in connection.execute("PRAGMA quick_check(3)")]
    if findings != ["ok"]:
        raise StoreFailed(f"{path} is damaged ({'; '.join(findings)}); stop, keep the file, and restore a copy")


def _bring_up(connection: Connection, path: Path, schema: Schema, may_migrate: bool) -> None:
    version = _version(connection, path, schema)
    if version > schema.version:
        raise NewerSchema(
            f"{path} was written by a newer program (schema {version}, this one knows {schema.version}); install "
            f"that program again, or restore {_copy_of(path, schema.version).name} if there is one"
        )
    if version == schema.version:
        return
    if version and not may_migrate:
        raise StoreFailed(f"{path} has schema {version}, not yet {schema.version}; start the service once to bring it")
    if version:
        _copy(connection, _copy_of(path, version))
    connection.execute("BEGIN IMMEDIATE")
    # Another process may have created or migrated the file while this one waited for the lock.
    for step in schema.steps[_version(connection, path, schema) :]:
        for statement in step:
            connection.execute(statement)
    connection.execute("DELETE FROM schema_version")
    connection.execute("INSERT INTO schema_version VALUES (?)", (schema.version,))
    connection.execute(f"PRAGMA application_id={schema.application_id}")
    connection.execute("COMMIT")


VERSION_TABLE = "CREATE TABLE schema_version (version INTEGER NOT NULL)"
"""The first statement of every schema."""


def _version(connection: Connection, path: Path, schema: Schema) -> int:
    owner = connection.execute("PRAGMA application_id").fetchone()[0]
    if owner == schema.application_id:
        return int(connection.execute("SELECT version FROM schema_version").fetchone()[0])
    if owner or connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
        raise StoreFailed(f"{path} is no {schema.name} file of this program; move it away, or name another folder")
    return 0


def _copy_of(path: Path, version: int) -> Path:
    return path.with_name(f"{path.name}.schema-{version}")


def _copy(connection: Connection, to: Path) -> None:
    half = to.with_name(f"{to.name}.half")
    half.unlink(missing_ok=True)
    with closing(driver.connect(str(half))) as target:
        connection.backup(target)
    os.replace(half, to)
    sync_folder(to.parent)


def refuse_if_gone(path: Path) -> None:
    """Raise StoreFailed where a file that was there has gone.

    SQLite would make an empty one in its place, and everything kept would seem never to have been.
    """
    if not path.exists():
        raise StoreFailed(f"{path} has gone; put it back, or restore a copy")


class Database:
    """One file with one writer at a time and as many short readers as there are threads.

    After any fault every handle is closed and opened anew: what the system says about a handle after it failed to
    write cannot be trusted (a second fsync may succeed without having written anything).
    """

    def __init__(
        self, path: Path, schema: Schema, journal_mode: str | None = None, *, may_migrate: bool = True
    ) -> None:
        self.path = path
        self.journal_mode = journal_mode or best_journal_mode()
        prepare(path, schema, self.journal_mode, may_migrate=may_migrate)
        self._write_lock = threading.Lock()
        self._idle_lock = threading.Lock()
        self._writer: Connection | None = None
        self._idle: list[Connection] = []
        self._generation = 0
        self._closed = False

    def _open(self, *, reading: bool) -> Connection:
        if self._closed:
            raise StoreFailed(f"{self.path.name} is closed")
        refuse_if_gone(self.path)
        return connect(self.path, self.journal_mode, reading=reading)

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Enclose one transaction: durable when it ends, undone whatever is raised. Raises StoreFailed."""
        with self._write_lock, translated(self.path.name):
            try:
                if self._writer is None:
                    self._writer = self._open(reading=False)
                self._writer.execute("BEGIN IMMEDIATE")
                yield self._writer
                self._writer.execute("COMMIT")
            except BaseException:
                self._let_go_of_writer()
                self._let_go_of_readers()
                raise

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Enclose one short look at a single state of the file; compute after it has ended. Raises StoreFailed."""
        with translated(self.path.name):
            with self._idle_lock:
                generation = self._generation
                connection = self._idle.pop() if self._idle else None
            connection = connection or self._open(reading=True)
            kept = False
            try:
                connection.execute("BEGIN")
                yield connection
                connection.execute("COMMIT")
                with self._idle_lock:
                    kept = generation == self._generation and not self._closed
                    if kept:
                        self._idle.append(connection)
            finally:
                if not kept:
                    connection.close()

    def check(self) -> None:
        """Read the whole file through. Raises StoreFailed if it is damaged; meant for a quiet hour."""
        with self.reading() as connection:
            _refuse_damage(connection, self.path)

    def _let_go_of_writer(self) -> None:
        if self._writer is not None:
            _close_undone(self._writer)
            self._writer = None

    def _let_go_of_readers(self) -> None:
        with self._idle_lock:
            self._generation += 1
            idle, self._idle = self._idle, []
        for connection in idle:
            connection.close()

    def close(self) -> None:
        """Let go of the file; a second call does nothing."""
        with self._write_lock:
            self._closed = True
            self._let_go_of_readers()
            self._let_go_of_writer()


def _close_undone(connection: Connection) -> None:
    with suppress(driver.Error, sqlite3.Error):
        if connection.in_transaction:
            connection.execute("ROLLBACK")
    with suppress(driver.Error, sqlite3.Error):
        connection.close()

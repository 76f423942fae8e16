"""How SQLite files are opened, checked, migrated and refused, and that no fault of the driver leaves as itself."""

import builtins
import fcntl
import os
import shutil
import sqlite3
import threading
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest
import sqlalchemy.exc

from collector import books_sql, sqlite
from collector.books_sql import METADATA, Books, open_books
from collector.readings_sqlite import SCHEMA
from collector.sqlite import Database, Schema, connect, driver, prepare, translated, wal_trusted
from collector.storage import NewerSchema, StoreFailed

NOTES = Schema("notes", 77, ((sqlite.VERSION_TABLE, "CREATE TABLE notes (text TEXT NOT NULL)"),))
MODES = pytest.mark.parametrize("mode", ["wal", "truncate"])


# Only through the driver that the stores use: a second SQLite library in one process does not see the first one's
# locks, and closing its handle lifts them.
def write(path: Path, *statements: str) -> None:
    with closing(driver.connect(path)) as connection:
        for statement in statements:
            connection.execute(statement)
        connection.commit()


def notes(database: Database) -> list[str]:
    with database.reading() as connection:
        return [row[0] for row in connection.execute("SELECT text FROM notes ORDER BY rowid")]


def note(database: Database, text: str) -> None:
    with database.writing() as connection:
        connection.execute("INSERT INTO notes VALUES (?)", (text,))


@pytest.mark.parametrize(
    ("version", "trusted"),
    [
        # The affected range and its mended versions: sqlite.org, release history of 3.51.3; 3.52.0 was withdrawn.
        ((3, 6, 23), False),
        ((3, 7, 0), False),
        ((3, 40, 1), False),
        ((3, 44, 5), False),
        ((3, 44, 6), True),
        ((3, 45, 0), False),
        ((3, 50, 6), False),
        ((3, 50, 7), True),
        ((3, 51, 0), False),
        ((3, 51, 2), False),
        ((3, 51, 3), True),
        ((3, 52, 0), False),
        ((3, 52, 1), True),
        ((3, 53, 4), True),
        ((4, 0, 0), True),
    ],
)
def test_the_log_is_trusted_only_outside_the_faulty_versions(version: tuple[int, int, int], trusted: bool) -> None:
    assert wal_trusted(version) is trusted


def test_the_journal_mode_follows_the_version_at_hand() -> None:
    assert sqlite.best_journal_mode() == ("wal" if wal_trusted(driver.sqlite_version_info) else "truncate")


@MODES
def test_every_connection_writes_with_full_synchronisation(tmp_path: Path, mode: str) -> None:
    for reading in (False, True):
        with closing(connect(tmp_path / "notes", mode, reading=reading)) as connection:
            assert connection.execute("PRAGMA synchronous").fetchone()[0] == 2
            assert connection.execute("PRAGMA journal_mode").fetchone()[0] == mode


def test_a_disk_that_does_not_give_the_journal_mode_is_refused() -> None:
    # A database in memory cannot have a write-ahead log, as a folder on some network disks cannot.
    with pytest.raises(StoreFailed, match="journal mode wal with full synchronisation"):
        connect(Path(":memory:"), "wal")


def test_a_reader_cannot_write(tmp_path: Path) -> None:
    database = Database(tmp_path / "notes", NOTES)
    with pytest.raises(StoreFailed, match="readonly"), database.reading() as connection:
        connection.execute("INSERT INTO notes VALUES ('x')")
    database.close()


def exceptions_of(module: ModuleType) -> list[type[Exception]]:
    found = [thing for thing in vars(module).values() if isinstance(thing, type) and issubclass(thing, Exception)]
    return sorted(set(found), key=lambda kind: kind.__name__)


DRIVER_FAULTS = sorted({*exceptions_of(driver), *exceptions_of(sqlite3)}, key=str)
SYSTEM_FAULTS = [kind for kind in exceptions_of(builtins) if issubclass(kind, OSError)]
LIBRARY_FAULTS = [kind for kind in exceptions_of(sqlalchemy.exc) if issubclass(kind, sqlalchemy.exc.SQLAlchemyError)]


def test_the_lists_of_faults_are_not_empty() -> None:
    names = {kind.__name__ for kind in DRIVER_FAULTS}
    assert {"Warning", "DatabaseError", "OperationalError", "IntegrityError", "InterfaceError"} <= names
    assert {"OSError", "PermissionError", "TimeoutError"} <= {kind.__name__ for kind in SYSTEM_FAULTS}
    assert {"DBAPIError", "TimeoutError", "NoResultFound"} <= {kind.__name__ for kind in LIBRARY_FAULTS}


@pytest.mark.parametrize(
    "kind", [*DRIVER_FAULTS, *SYSTEM_FAULTS], ids=lambda kind: f"{kind.__module__}.{kind.__name__}"
)
def test_whatever_driver_and_system_raise_leaves_as_store_failed(kind: type[Exception]) -> None:
    with pytest.raises(StoreFailed, match="readings: broken") as caught, translated("readings"):
        raise kind("broken")
    assert isinstance(caught.value.__cause__, kind)


def made(kind: type[Exception]) -> Exception:
    """Return a fault of the kind; those that wrap a driver's fault are made from a statement and that fault."""
    if issubclass(kind, sqlalchemy.exc.DBAPIError):
        return kind("INSERT", {}, driver.OperationalError("broken"))
    if issubclass(kind, sqlalchemy.exc.StatementError):
        return kind("broken", "INSERT", {}, None)
    return kind.__new__(kind)


@pytest.fixture
def books(tmp_path: Path) -> Books:
    return open_books(tmp_path / "journal.sqlite")


@pytest.mark.parametrize(
    "kind", [*DRIVER_FAULTS, *LIBRARY_FAULTS], ids=lambda kind: f"{kind.__module__}.{kind.__name__}"
)
def test_whatever_stands_between_us_and_the_books_raises_leaves_as_store_failed(
    books: Books, kind: type[Exception]
) -> None:
    fault = made(kind)
    for enclosed in (books.reading, books.writing):
        with pytest.raises(StoreFailed, match=r"journal\.sqlite") as caught, enclosed():
            raise fault
        assert caught.value.__cause__ is fault
    books.close()


def test_a_fault_in_the_books_does_not_repeat_what_was_being_written(books: Books) -> None:
    with pytest.raises(StoreFailed) as caught, books.writing() as connection:
        connection.execute(books_sql.THINGS.insert().values(kind="person", key=None, value="+44 20 7946 0000"))
    assert "NOT NULL" in str(caught.value)
    assert "7946" not in str(caught.value)
    books.close()


def test_what_is_raised_inside_a_transaction_undoes_it(tmp_path: Path) -> None:
    database = Database(tmp_path / "notes", NOTES)
    note(database, "first")
    with pytest.raises(KeyError), database.writing() as connection:
        connection.execute("INSERT INTO notes VALUES ('second')")
        raise KeyError("second")
    assert notes(database) == ["first"]
    note(database, "third")
    assert notes(database) == ["first", "third"]
    database.close()


@MODES
def test_no_handle_outlives_a_fault(tmp_path: Path, mode: str) -> None:
    database = Database(tmp_path / "notes", NOTES, mode)
    note(database, "first")
    with database.writing() as connection:
        before = connection
    with database.reading() as connection:
        read_before = connection
    with pytest.raises(StoreFailed), database.writing() as connection:
        connection.execute("INSERT INTO nowhere VALUES (1)")
    for old in (before, read_before):
        with pytest.raises(driver.ProgrammingError, match="closed"):
            old.execute("SELECT 1")
    with database.writing() as connection:
        assert connection is not before
    assert notes(database) == ["first"]
    database.close()


def test_a_writer_that_waits_in_vain_keeps_nothing_and_can_try_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sqlite, "BUSY_S", 0.05)
    database = Database(tmp_path / "notes", NOTES)
    with closing(driver.connect(tmp_path / "notes", isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreFailed, match="locked"):
            note(database, "first")
        other.execute("ROLLBACK")
    note(database, "second")
    assert notes(database) == ["second"]
    database.close()


def test_a_closed_file_is_not_opened_again_by_itself(tmp_path: Path) -> None:
    database = Database(tmp_path / "notes", NOTES)
    note(database, "first")
    database.close()
    database.close()
    with pytest.raises(StoreFailed, match="notes is closed"):
        note(database, "second")
    with pytest.raises(StoreFailed, match="notes is closed"):
        notes(database)


def test_a_file_that_has_gone_is_missed_and_not_replaced_by_an_empty_one(tmp_path: Path) -> None:
    database = Database(tmp_path / "notes", NOTES)
    (tmp_path / "notes").unlink()
    with pytest.raises(StoreFailed, match="has gone; put it back"):
        note(database, "first")
    assert not (tmp_path / "notes").exists()
    database.close()
    books = open_books(tmp_path / "journal.sqlite")
    (tmp_path / "journal.sqlite").unlink()
    with pytest.raises(StoreFailed, match="has gone; put it back"), books.reading():
        pass
    assert not (tmp_path / "journal.sqlite").exists()
    books.close()


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(StoreFailed, match="nowhere"):
        prepare(tmp_path / "nowhere" / "notes", NOTES, "wal")


def test_a_file_of_something_else_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "notes"
    write(path, "CREATE TABLE recipes (name TEXT)", "INSERT INTO recipes VALUES ('brine')")
    with pytest.raises(StoreFailed, match="is no notes file of this program; move it away"):
        prepare(path, NOTES, "truncate")
    with closing(driver.connect(path)) as connection:
        assert connection.execute("SELECT name FROM recipes").fetchall() == [("brine",)]


def test_the_readings_file_is_not_taken_for_the_journal(tmp_path: Path) -> None:
    prepare(tmp_path / "file", SCHEMA, "wal")
    with pytest.raises(StoreFailed, match="is no journal file"):
        open_books(tmp_path / "file")


def test_a_file_that_is_no_database_is_refused(tmp_path: Path) -> None:
    (tmp_path / "notes").write_bytes(b"not a database at all " * 1000)
    with pytest.raises(StoreFailed, match="not a database"):
        prepare(tmp_path / "notes", NOTES, "wal")


def test_a_damaged_file_is_refused_at_the_start(tmp_path: Path) -> None:
    path = tmp_path / "notes"
    database = Database(path, NOTES, "truncate")
    for i in range(200):
        note(database, "x" * 500 + str(i))
    database.close()
    raw = bytearray(path.read_bytes())
    middle = len(raw) // 2 // 4096 * 4096
    raw[middle : middle + 4096] = bytes([255]) * 4096
    path.write_bytes(raw)
    with pytest.raises(StoreFailed, match="damaged|malformed"):
        prepare(path, NOTES, "truncate")


def test_damage_is_found_in_a_file_too_large_to_read_at_every_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sqlite, "CHECKED_BYTES_MAX", 10_000)
    path = tmp_path / "notes"
    database = Database(path, NOTES, "truncate")
    for i in range(200):
        note(database, "x" * 500 + str(i))
    database.check()
    database.close()
    raw = bytearray(path.read_bytes())
    raw[-4096:] = bytes([255]) * 4096
    path.write_bytes(raw)
    database = Database(path, NOTES, "truncate")
    with pytest.raises(StoreFailed, match="damaged|malformed"):
        database.check()
    database.close()


SECOND = ("ALTER TABLE notes ADD COLUMN colour TEXT DEFAULT 'white'",)


def test_a_migration_keeps_what_is_there_and_leaves_a_copy_of_what_was(tmp_path: Path) -> None:
    path = tmp_path / "notes"
    database = Database(path, NOTES)
    note(database, "first")
    database.close()
    newer = replace(NOTES, steps=(*NOTES.steps, SECOND))
    database = Database(path, newer)
    with database.reading() as connection:
        assert connection.execute("SELECT text, colour FROM notes").fetchall() == [("first", "white")]
    database.close()
    shutil.copy(tmp_path / "notes.schema-1", tmp_path / "restored")
    restored = Database(tmp_path / "restored", NOTES)
    assert notes(restored) == ["first"]
    restored.close()


def test_a_migration_that_fails_leaves_the_file_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "notes"
    database = Database(path, NOTES)
    note(database, "first")
    database.close()
    broken = replace(NOTES, steps=(*NOTES.steps, (*SECOND, "INSERT INTO nowhere VALUES (1)")))
    with pytest.raises(StoreFailed, match="no such table: nowhere"):
        Database(path, broken)
    database = Database(path, NOTES)
    assert notes(database) == ["first"]
    with database.reading() as connection:
        assert [row[1] for row in connection.execute("PRAGMA table_info(notes)")] == ["text"]
    database.close()


def test_a_second_process_creates_a_file_but_migrates_none(tmp_path: Path) -> None:
    Database(tmp_path / "new", NOTES, may_migrate=False).close()
    newer = replace(NOTES, steps=(*NOTES.steps, SECOND))
    with pytest.raises(StoreFailed, match="schema 1, not yet 2; start the service once"):
        Database(tmp_path / "new", newer, may_migrate=False)


def test_a_file_of_a_newer_program_is_refused_with_what_to_do(tmp_path: Path) -> None:
    newer = replace(NOTES, steps=(*NOTES.steps, SECOND))
    Database(tmp_path / "notes", newer).close()
    with pytest.raises(NewerSchema, match=r"schema 2, this one knows 1\); install that program again, or restore"):
        Database(tmp_path / "notes", NOTES)


@pytest.mark.parametrize("turn", range(5))
def test_those_that_create_a_file_at_once_create_it_once(tmp_path: Path, turn: int) -> None:
    start = threading.Barrier(8)
    faults: list[BaseException] = []

    def create() -> None:
        start.wait()
        try:
            open_books(tmp_path / "journal.sqlite").close()
        except StoreFailed as fault:
            faults.append(fault)

    threads = [threading.Thread(target=create) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []


def test_a_file_is_not_opened_while_another_of_its_folder_is_being_opened(tmp_path: Path) -> None:
    opened = threading.Event()

    def create() -> None:
        open_books(tmp_path / "journal.sqlite").close()
        opened.set()

    folder = os.open(tmp_path, os.O_RDONLY)
    fcntl.flock(folder, fcntl.LOCK_EX)
    thread = threading.Thread(target=create)
    thread.start()
    assert not opened.wait(0.2)
    assert list(tmp_path.iterdir()) == []
    os.close(folder)
    thread.join()
    assert opened.is_set()


def test_the_tables_of_the_books_are_those_that_the_statements_name(tmp_path: Path) -> None:
    open_books(tmp_path / "journal.sqlite").close()
    with closing(driver.connect(tmp_path / "journal.sqlite")) as connection:
        for table in METADATA.sorted_tables:
            rows = connection.execute(f"PRAGMA table_info({table.name})").fetchall()
            assert [row[1] for row in rows] == [column.name for column in table.columns]
            keys = [row[1] for row in sorted(rows, key=lambda row: int(row[5])) if row[5]]
            assert keys == [column.name for column in table.primary_key.columns]


@pytest.mark.parametrize("statement", ["UPDATE journal SET line = x'00'", "DELETE FROM journal"])
def test_the_file_itself_refuses_to_change_or_remove_an_entry(tmp_path: Path, statement: str) -> None:
    path = tmp_path / "journal.sqlite"
    open_books(path).close()
    write(path, "INSERT INTO journal VALUES (1, x'7b7d')")
    with closing(driver.connect(path)) as connection, pytest.raises(driver.IntegrityError, match="neither changed"):
        connection.execute(statement)


def test_many_threads_read_while_one_writes(tmp_path: Path, eventually: Callable[..., None]) -> None:
    database = Database(tmp_path / "notes", NOTES)
    stop = threading.Event()
    counts: list[list[int]] = [[] for _ in range(3)]

    def read(seen: list[int]) -> None:
        while not stop.is_set():
            seen.append(len(notes(database)))

    threads = [threading.Thread(target=read, args=(seen,)) for seen in counts]
    for thread in threads:
        thread.start()
    for i in range(200):
        note(database, str(i))
    eventually(lambda: all(seen and seen[-1] == 200 for seen in counts), "each reader has seen the last note")
    stop.set()
    for thread in threads:
        thread.join()
    assert all(seen == sorted(seen) for seen in counts)
    database.close()

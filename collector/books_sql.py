"""The database that journal and working things share: its tables, its transactions, and its faults as StoreFailed."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import (
    BigInteger,
    Column,
    Connection,
    Double,
    Engine,
    LargeBinary,
    MetaData,
    Table,
    Text,
    create_engine,
    event,
)
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.pool import QueuePool

from collector import sqlite
from collector.storage import StoreFailed

METADATA = MetaData()
JOURNAL = Table(
    "journal",
    METADATA,
    Column("position", BigInteger, primary_key=True, autoincrement=False),
    Column("line", LargeBinary, nullable=False),
)
CURSORS = Table(
    "cursors",
    METADATA,
    Column("name", Text, primary_key=True),
    Column("position", BigInteger, nullable=False),
)
THINGS = Table(
    "things",
    METADATA,
    Column("kind", Text, primary_key=True),
    Column("key", Text, primary_key=True),
    Column("value", Text, nullable=False),
    Column("until_at", Double),
)

_KEPT = "SELECT RAISE(ABORT, 'what stands in the journal is neither changed nor removed')"
SCHEMA = sqlite.Schema(
    "journal",
    0x43564A31,
    (
        (
            sqlite.VERSION_TABLE,
            "CREATE TABLE journal (position INTEGER PRIMARY KEY, line BLOB NOT NULL)",
            f"CREATE TRIGGER journal_unchanged BEFORE UPDATE ON journal BEGIN {_KEPT}; END",
            f"CREATE TRIGGER journal_unremoved BEFORE DELETE ON journal BEGIN {_KEPT}; END",
            "CREATE TABLE cursors (name TEXT PRIMARY KEY, position INTEGER NOT NULL)",
            "CREATE TABLE things (kind TEXT NOT NULL, key TEXT NOT NULL, value TEXT NOT NULL, until_at REAL,"
            " PRIMARY KEY (kind, key)) WITHOUT ROWID",
            "CREATE INDEX things_until ON things (until_at) WHERE until_at IS NOT NULL",
        ),
    ),
)


class Books:
    """An open database with one writer of this process at a time; other processes wait their turn in the file."""

    def __init__(self, engine: Engine, name: str) -> None:
        self._engine = engine
        self._name = name
        self._write_lock = threading.Lock()

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Enclose one transaction: durable when it ends, undone whatever is raised. Raises StoreFailed."""
        with self._write_lock, self._translated(), self._engine.connect() as connection:
            writer = connection.execution_options(writes=True)
            with writer.begin():
                yield writer

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Enclose one short look at a single state; compute after it has ended. Raises StoreFailed."""
        with self._translated(), self._engine.connect() as connection:
            yield connection

    @contextmanager
    def _translated(self) -> Iterator[None]:
        try:
            with sqlite.translated(self._name):
                yield
        except SQLAlchemyError as fault:
            # The driver's own words: SQLAlchemy's add the statement with its values, which belong in no log.
            self._engine.dispose()
            raise StoreFailed(f"{self._name}: {getattr(fault, 'orig', None) or fault}") from fault
        except StoreFailed:
            self._engine.dispose()
            raise

    def close(self) -> None:
        """Let go of the database; a second call does nothing."""
        self._engine.dispose()


def open_books(path: Path, *, journal_mode: str | None = None, may_migrate: bool = True) -> Books:
    """Return the books in a SQLite file, created where there is none. Raises StoreFailed, NewerSchema."""
    mode = journal_mode or sqlite.best_journal_mode()
    sqlite.prepare(path, SCHEMA, mode, may_migrate=may_migrate)

    def creator() -> sqlite.Connection:
        sqlite.refuse_if_gone(path)
        return sqlite.connect(path, mode)

    engine = create_engine("sqlite://", creator=creator, module=sqlite.driver, poolclass=QueuePool, pool_size=4)
    event.listen(engine, "begin", _begin)
    return Books(engine, path.name)


def _begin(connection: Any) -> None:
    # The driver is told to begin nothing by itself: it would take the write lock only at the first change, and a
    # decision could then rest on a state that another process has moved on from.
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

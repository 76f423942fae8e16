"""Every implementation of the three stores, each behind the same way to open it, and to open it again.

A new implementation joins by one line in the tables below; the suites are written for the protocols alone.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import pytest

from collector.archived import ArchivedReadings
from collector.books_sql import open_books
from collector.feeder import Feeder
from collector.health import Health, State
from collector.journal_sql import SqlJournal
from collector.readings_influx import InfluxArchive
from collector.readings_sqlite import SqliteReadings
from collector.storage import Arrival, Journal, MemoryJournal, MemoryReadings, MemoryWorking, Readings, Working
from collector.working_sql import SqlWorking

if TYPE_CHECKING:
    from simulators.influx_server import InfluxServer

Store = TypeVar("Store", Readings, Journal, Working)


def in_memory(store: Store) -> Callable[[], Store]:
    """Return what gives the same store each time: memory is never opened anew."""
    return lambda: store


READINGS: dict[str, Callable[[Path], Callable[[], Readings]]] = {
    "memory": lambda folder: in_memory(MemoryReadings()),
    "sqlite": lambda folder: lambda: SqliteReadings(folder / "readings.sqlite", journal_mode="wal"),
    "sqlite-truncate": lambda folder: lambda: SqliteReadings(folder / "readings.sqlite", journal_mode="truncate"),
}
JOURNALS: dict[str, Callable[[Path], Callable[[], Journal]]] = {
    "memory": lambda folder: in_memory(MemoryJournal()),
    "sqlite": lambda folder: lambda: SqlJournal(open_books(folder / "journal.sqlite", journal_mode="wal")),
    "sqlite-truncate": lambda folder: (
        lambda: SqlJournal(open_books(folder / "journal.sqlite", journal_mode="truncate"))
    ),
}
WORKINGS: dict[str, Callable[[Path], Callable[[], Working]]] = {
    "memory": lambda folder: in_memory(MemoryWorking()),
    "sqlite": lambda folder: lambda: SqlWorking(open_books(folder / "journal.sqlite", journal_mode="wal")),
    "sqlite-truncate": lambda folder: (
        lambda: SqlWorking(open_books(folder / "journal.sqlite", journal_mode="truncate"))
    ),
}

DATABASES = count()


@dataclass(frozen=True, slots=True)
class FedReadings(ArchivedReadings):
    """A local store with InfluxDB behind it, fed after each append as the service's own thread would feed it."""

    feeder: Feeder
    health: Health

    def append(self, arrivals: Sequence[Arrival]) -> int:
        position = self.local.append(arrivals)
        while self.feeder.cursor < position:
            self.feeder.step()
            part = self.health.part("influx")
            assert part is not None
            assert part.state is State.WORKS, part.sentence
        return position


def fed(server: "InfluxServer", folder: Path) -> Callable[[], Readings]:
    """Return what opens the local store and the same database anew."""
    place = server.archive(f"contract_{next(DATABASES)}").place

    def opened() -> Readings:
        local = SqliteReadings(folder / "readings.sqlite")
        working, health = SqlWorking(open_books(folder / "journal.sqlite")), Health()
        archive = InfluxArchive(place)
        feeder = Feeder(local, archive, working, health, lambda: 0.0, group=7)
        return FedReadings(local, archive, feeder, health)

    return opened


def closing_each(opened: Callable[[], Store]) -> Iterator[Callable[[], Store]]:
    """Yield what opens the store, anew each time; whatever was opened before is closed first."""
    stores: list[Store] = []

    def again() -> Store:
        for store in stores:
            store.close()
        stores.append(opened())
        return stores[-1]

    yield again
    for store in stores:
        store.close()


@pytest.fixture(params=[*READINGS, *(pytest.param(name, marks=pytest.mark.service) for name in ("influx", "influx2"))])
def open_readings(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Callable[[], Readings]]:
    if request.param.startswith("influx"):
        # Asked for here and not above, so that the other stores are tested where no server is.
        yield from closing_each(fed(request.getfixturevalue(request.param), tmp_path))
    else:
        yield from closing_each(READINGS[request.param](tmp_path))


@pytest.fixture(params=JOURNALS)
def open_journal(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Callable[[], Journal]]:
    yield from closing_each(JOURNALS[request.param](tmp_path))


@pytest.fixture(params=WORKINGS)
def open_working(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Callable[[], Working]]:
    yield from closing_each(WORKINGS[request.param](tmp_path))


@pytest.fixture
def readings(open_readings: Callable[[], Readings]) -> Readings:
    return open_readings()


@pytest.fixture
def journal(open_journal: Callable[[], Journal]) -> Journal:
    return open_journal()


@pytest.fixture
def working(open_working: Callable[[], Working]) -> Working:
    return open_working()

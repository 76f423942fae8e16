"""The arrival log and the archive of readings in one SQLite file.

A reading costs the archive some 24 bytes, a message the log some 22 beside its payload: names stand once in tables of
their own, instants are milliseconds, values are ten-thousandths where those give back the same value, and a message
points to its readings by the milliseconds between their measurement and its receipt.
"""

import math
import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import chain
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from collector.names_sqlite import ERA_MS, Names
from collector.packing import (
    MS_MAX,
    SCALE,
    first_millisecond,
    join_sequence,
    milliseconds,
    pack,
    scaled,
    split_sequence,
    unpack,
)
from collector.readings import Reading
from collector.sample import Instant, Message, Quality, Refusal
from collector.sqlite import VERSION_TABLE, Connection, Database, Schema
from collector.storage import Arrival, ChannelSeen, Series, StoreFailed

SCHEMA = Schema(
    "readings",
    0x43565231,
    (
        (
            VERSION_TABLE,
            "CREATE TABLE units (id INTEGER PRIMARY KEY, unit TEXT NOT NULL UNIQUE)",
            "CREATE TABLE series (id INTEGER PRIMARY KEY, channel TEXT NOT NULL UNIQUE, unit_id INTEGER NOT NULL,"
            " topic TEXT NOT NULL)",
            # value: an integer is ten-thousandths, a real is itself. flags: quality, and above its byte the unit where
            # that is not the series' own. device_at: 0 for the measured instant, NULL for none, else as it was sent.
            "CREATE TABLE archive (series_id INTEGER NOT NULL, ts_ms INTEGER NOT NULL, n INTEGER NOT NULL,"
            " value NOT NULL, lag_ms INTEGER NOT NULL, flags INTEGER NOT NULL, device_at,"
            " PRIMARY KEY (series_id, ts_ms, n)) WITHOUT ROWID",
            # series: the packed ids of the series that a message of this kind brings, or nothing.
            "CREATE TABLE origins (id INTEGER PRIMARY KEY, topic TEXT NOT NULL, retained INTEGER NOT NULL,"
            " series BLOB NOT NULL, UNIQUE (topic, retained, series))",
            # became: milliseconds from measurement to receipt, the same for each of the origin's series; or, packed,
            # series, those milliseconds, n, boot and number of each reading.
            # received: milliseconds from the base of the last era that begins at or before the position.
            "CREATE TABLE eras (first INTEGER PRIMARY KEY, base_ms INTEGER NOT NULL)",
            "CREATE TABLE arrivals (position INTEGER PRIMARY KEY, received INTEGER NOT NULL,"
            " origin_id INTEGER NOT NULL, payload BLOB NOT NULL, became)",
            "CREATE TABLE reasons (id INTEGER PRIMARY KEY, code TEXT NOT NULL, reason TEXT NOT NULL,"
            " UNIQUE (code, reason))",
            "CREATE TABLE refused (position INTEGER PRIMARY KEY, reason_id INTEGER NOT NULL)",
            "CREATE TABLE boots (id INTEGER PRIMARY KEY, series_id INTEGER NOT NULL, boot TEXT NOT NULL,"
            " UNIQUE (series_id, boot))",
            "CREATE TABLE sequences (boot_id INTEGER NOT NULL, number INTEGER NOT NULL, position INTEGER NOT NULL,"
            " PRIMARY KEY (boot_id, number)) WITHOUT ROWID",
            "CREATE TABLE trimmed (head INTEGER NOT NULL)",
            "INSERT INTO trimmed VALUES (0)",
        ),
    ),
)

PAGE = 20_000
"""Readings copied in one transaction: a few milliseconds, so that no reader holds the log back for long."""
TRIMMED_AT_ONCE = 1_000
UNIT_SHIFT = 8

_VALUE = f"CASE typeof(value) WHEN 'integer' THEN value / {SCALE}.0 ELSE value END"
_HEAD = "SELECT max((SELECT head FROM trimmed), (SELECT coalesce(max(position), 0) FROM arrivals))"
_READING = (
    f"SELECT s.channel, a.ts_ms, {_VALUE}, u.unit, a.lag_ms, a.device_at, a.flags FROM archive a"
    " JOIN series s ON s.id = a.series_id JOIN units u"
    f" ON u.id = CASE WHEN a.flags >> {UNIT_SHIFT} THEN a.flags >> {UNIT_SHIFT} ELSE s.unit_id END"
)
_ARRIVAL = (
    "SELECT a.position, o.topic, a.payload, a.received"
    " + (SELECT base_ms FROM eras WHERE first <= a.position ORDER BY first DESC LIMIT 1),"
    " o.retained, o.series, a.became, r.code, r.reason"
    " FROM arrivals a JOIN origins o ON o.id = a.origin_id {how} JOIN refused f ON f.position = a.position"
    " {how} JOIN reasons r ON r.id = f.reason_id WHERE {table}.position > ? ORDER BY {table}.position LIMIT ?"
)
_ARRIVALS = _ARRIVAL.format(how="LEFT", table="a")
_REFUSED = _ARRIVAL.format(how="", table="f")
_ROW = np.dtype([("ts", "i8"), ("n", "i8"), ("value", "f8"), ("lag", "i8"), ("flags", "i8")])


class _Link(NamedTuple):
    """Where one reading of a message stands."""

    series: int
    ts_ms: int
    n: int
    boot: int
    number: int


class SqliteReadings:
    """`Readings` in one SQLite file, which one process at a time may write.

    A sequence stands with the raw message, so `arrivals` gives it back and `before` does not. Appending is refused
    while fewer than `leave_free` bytes of the disk are free, so that the journal can still be written when readings
    have filled it.
    """

    def __init__(
        self,
        path: Path,
        *,
        journal_mode: str | None = None,
        leave_free: int = 0,
        read_only: bool = False,
    ) -> None:
        self._db = Database(path, SCHEMA, journal_mode, may_migrate=not read_only)
        self._leave_free = leave_free
        self._read_only = read_only
        self._names: Names | None = None

    def append(self, arrivals: Sequence[Arrival]) -> int:
        self._check_room()
        with self._writing() as connection:
            position = _one(connection, _HEAD)
            if self._names is None or self._names.connection is not connection:
                self._names = Names(connection)
            for arrival in arrivals:
                position += 1
                _write(self._names, position, arrival)
        return position

    def _check_room(self) -> None:
        try:
            free = shutil.disk_usage(self._db.path.parent).free
        except OSError as fault:
            raise StoreFailed(f"{self._db.path.parent}: {fault}") from fault
        if free < self._leave_free:
            raise StoreFailed(
                f"only {free >> 20} MiB of the disk are free and {self._leave_free >> 20} are kept for the journal; "
                "make room, and readings are taken again"
            )

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        if self._read_only:
            raise StoreFailed("readings are written by the service alone; this process may only read them")
        with self._db.writing() as connection:
            yield connection

    def head(self) -> int:
        with self._db.reading() as connection:
            return _one(connection, _HEAD)

    def arrivals(self, after: int, limit: int) -> list[Arrival]:
        return self._arrivals(_ARRIVALS, after, limit)

    def refused(self, after: int, limit: int) -> list[Arrival]:
        return self._arrivals(_REFUSED, after, limit)

    def _arrivals(self, select: str, after: int, limit: int) -> list[Arrival]:
        with self._db.reading() as connection:
            return [_arrival(connection, row) for row in connection.execute(select, (after, limit))]

    def series(self, channel: str, from_at: Instant, until_at: Instant) -> Series:
        pages = list(self.series_pages(channel, from_at, until_at))
        rows = np.concatenate(pages) if pages else np.empty(0, _ROW)
        if rows["n"].any():
            rows = rows[np.lexsort((rows["ts"] + rows["lag"], rows["ts"]))]
        quality = rows["flags"] & ((1 << UNIT_SHIFT) - 1)
        return Series(rows["ts"] / 1000, rows["value"].copy(), quality, (rows["ts"] + rows["lag"]) / 1000)

    def series_pages(self, channel: str, from_at: Instant, until_at: Instant) -> Iterator[npt.NDArray[Any]]:
        """Yield a channel's rows page by page, each copied in a transaction of its own that has ended by then."""
        key, until_ms = (first_millisecond(from_at), -1), first_millisecond(until_at)
        page = (
            f"SELECT ts_ms, n, {_VALUE}, lag_ms, flags FROM archive WHERE series_id = (SELECT id FROM series"
            " WHERE channel = ?) AND (ts_ms, n) > (?, ?) AND ts_ms < ? ORDER BY ts_ms, n LIMIT ?"
        )
        while True:
            with self._db.reading() as connection:
                rows = np.fromiter(connection.execute(page, (channel, *key, until_ms, PAGE)), dtype=_ROW)
            if len(rows):
                yield rows
                key = (int(rows["ts"][-1]), int(rows["n"][-1]))
            if len(rows) < PAGE:
                return

    def before(self, channel: str, at: Instant) -> Reading | None:
        with self._db.reading() as connection:
            found = connection.execute("SELECT id FROM series WHERE channel = ?", (channel,)).fetchone()
            return _last_before(connection, found[0], first_millisecond(at)) if found else None

    def channels(self) -> list[ChannelSeen]:
        with self._db.reading() as connection:
            series = connection.execute("SELECT id, channel, topic FROM series").fetchall()
            first = "SELECT min(ts_ms) FROM archive WHERE series_id = ?"
            seen = []
            for number, channel, topic in series:
                last = _last_before(connection, number, MS_MAX)
                if last is not None:
                    first_at = _one(connection, first, number) / 1000
                    seen.append(ChannelSeen(channel, last.unit, first_at, last.measured_at, last.value, topic))
        return sorted(seen, key=lambda s: s.channel)

    def trim(self, before_at: Instant, passed: int) -> int:
        """Remove in many small transactions, so that intake goes on meanwhile; a fault leaves the earlier ones done."""
        removed = 0
        for old in self._old(first_millisecond(before_at), passed):
            with self._writing() as connection:
                connection.executemany("DELETE FROM arrivals WHERE position = ?", old)
                connection.executemany("DELETE FROM refused WHERE position = ?", old)
                connection.execute("UPDATE trimmed SET head = max(head, ?)", old[-1])
            removed += len(old)
        if removed:
            self._trim_names()
        return removed

    def _old(self, before_ms: int, passed: int) -> Iterator[list[tuple[int]]]:
        with self._db.reading() as connection:
            eras = connection.execute("SELECT first, base_ms FROM eras ORDER BY first").fetchall()
            first = _one(connection, "SELECT coalesce(min(position), 0) FROM arrivals")
            last = min(passed, _one(connection, _HEAD))
        old = "SELECT position FROM arrivals WHERE position BETWEEN ? AND ? AND received < ? ORDER BY position"
        ends = [start - 1 for start, _ in eras[1:]] + [last]
        for (start, base_ms), end in zip(eras, ends, strict=False):
            if base_ms - ERA_MS >= before_ms:
                continue
            for window in range(max(start, first), min(end, last) + 1, TRIMMED_AT_ONCE):
                until = min(window + TRIMMED_AT_ONCE - 1, end, last)
                with self._db.reading() as connection:
                    found = connection.execute(old, (window, until, before_ms - base_ms)).fetchall()
                if found:
                    yield found

    def _trim_names(self) -> None:
        """Remove the eras and sequences older than the log, and the boots and reasons that nothing names any more."""
        with self._db.reading() as connection:
            floor = _one(connection, f"SELECT coalesce((SELECT min(position) FROM arrivals), ({_HEAD}) + 1)")
            series = connection.execute("SELECT DISTINCT series_id FROM boots").fetchall()
        of_series = "SELECT id FROM boots WHERE series_id = ?"
        for (number,) in series:
            with self._writing() as connection:
                connection.execute(
                    f"DELETE FROM sequences WHERE boot_id IN ({of_series}) AND position < ?", (number, floor)
                )
                connection.execute(
                    "DELETE FROM boots WHERE series_id = ?"
                    " AND NOT EXISTS (SELECT 1 FROM sequences WHERE boot_id = boots.id)",
                    (number,),
                )
                self._names = None
        with self._writing() as connection:
            begun = "(SELECT coalesce(max(first), 0) FROM eras WHERE first <= ?)"
            connection.execute(f"DELETE FROM eras WHERE first < {begun}", (floor,))
            connection.execute("DELETE FROM reasons WHERE id NOT IN (SELECT reason_id FROM refused)")
            self._names = None

    def check(self) -> None:
        """Read the whole file through. Raises StoreFailed if it is damaged."""
        self._db.check()

    def close(self) -> None:
        self._db.close()


def _write(names: Names, position: int, arrival: Arrival) -> None:
    message, outcome = arrival.message, arrival.outcome
    readings = () if isinstance(outcome, Refusal) else outcome
    found = [_keep(names, reading, message.topic, position) for reading in readings]
    received_ms = milliseconds(message.received_at)
    origin, became = _became(names, message, received_ms, [link for link in found if link])
    row = (position, names.since_era(position, received_ms), origin, message.payload, became)
    names.connection.execute("INSERT INTO arrivals VALUES (?, ?, ?, ?, ?)", row)
    if isinstance(outcome, Refusal):
        # A reason may quote what was sent, and that may hold half a character, which no text can keep.
        reason = outcome.reason.encode("utf-8", "backslashreplace").decode()
        reason_id = names.id("reasons", code=outcome.code, reason=reason)
        names.connection.execute("INSERT INTO refused VALUES (?, ?)", (position, reason_id))


def _became(
    names: Names, message: Message, received_ms: int, links: list[_Link]
) -> tuple[int | None, int | bytes | None]:
    lags = {received_ms - link.ts_ms for link in links}
    if len(lags) == 1 and not any(link.n or link.boot for link in links):
        origin = names.origin(message, pack(link.series for link in links))
        if origin is not None:
            return origin, lags.pop()
    packed = [(link.series, received_ms - link.ts_ms, link.n, link.boot, link.number) for link in links]
    return names.origin(message), pack(chain.from_iterable(packed)) if links else None


def _keep(names: Names, reading: Reading, topic: str, position: int) -> _Link | None:
    """Return where the reading stands now, or None where it was there already."""
    if not math.isfinite(reading.value):
        raise ValueError(f"{reading.channel}: {reading.value} is no measurement; refuse the message instead")
    connection = names.connection
    series = names.series(reading, topic)
    boot, number = 0, 0
    if reading.sequence is not None:
        name, number = split_sequence(reading.sequence)
        boot = names.id("boots", series_id=series, boot=name)
        known = "SELECT 1 FROM sequences WHERE boot_id = ? AND number = ?"
        if connection.execute(known, (boot, number)).fetchone():
            return None
    n = _archive(names, series, reading)
    if n is None:
        return None
    if boot:
        connection.execute("INSERT INTO sequences VALUES (?, ?, ?)", (boot, number, position))
    if names.topics[series] != topic:
        connection.execute("UPDATE series SET topic = ? WHERE id = ?", (topic, series))
        names.topics[series] = topic
    return _Link(series, milliseconds(reading.measured_at), n, boot, number)


def _archive(names: Names, series: int, reading: Reading) -> int | None:
    """Return how many other values the instant held already, or None where it held this very one."""
    connection = names.connection
    ts_ms = milliseconds(reading.measured_at)
    unit = names.id("units", unit=reading.unit)
    flags = int(reading.quality) | (0 if unit == names.units[series] else unit << UNIT_SHIFT)
    device_at = reading.device_at
    if device_at is not None:
        device_at = 0 if abs(device_at * 1000 - ts_ms) <= 0.5 else float(device_at)
    rest = (scaled(reading.value), milliseconds(reading.received_at) - ts_ms)
    insert = "INSERT OR IGNORE INTO archive VALUES (?, ?, ?, ?, ?, ?, ?)"
    if connection.execute(insert, (series, ts_ms, 0, *rest, flags, device_at)).rowcount:
        return 0
    held = connection.execute(f"SELECT {_VALUE} FROM archive WHERE series_id = ? AND ts_ms = ?", (series, ts_ms))
    values = [row[0] for row in held]
    if reading.value in values:
        return None
    flags |= int(Quality.CONFLICT)
    connection.execute(insert, (series, ts_ms, len(values), *rest, flags, device_at))
    return len(values)


def _one(connection: Connection, select: str, *values: object) -> int:
    return int(connection.execute(select, values).fetchone()[0])


def _reading(row: tuple[Any, ...], sequence: str | None) -> Reading:
    channel, ts_ms, value, unit, lag_ms, device_at, flags = row
    measured_at = ts_ms / 1000
    device_at = measured_at if device_at == 0 and isinstance(device_at, int) else device_at
    quality = Quality(flags & ((1 << UNIT_SHIFT) - 1))
    return Reading(channel, measured_at, value, unit, (ts_ms + lag_ms) / 1000, device_at, sequence, quality)


def _last_before(connection: Connection, series: int, at_ms: int) -> Reading | None:
    """Return the last reading by measurement, then by receipt, then as kept; its sequence is not known here."""
    row = connection.execute(
        f"{_READING} WHERE a.series_id = ?1 AND a.ts_ms = (SELECT max(ts_ms) FROM archive WHERE series_id = ?1"
        " AND ts_ms < ?2) ORDER BY a.lag_ms DESC, a.n DESC LIMIT 1",
        (series, at_ms),
    ).fetchone()
    return _reading(row, None) if row else None


def _arrival(connection: Connection, row: tuple[Any, ...]) -> Arrival:
    position, topic, payload, received_ms, retained, series, became, code, reason = row
    message = Message(topic, payload, received_ms / 1000, bool(retained))
    if code is not None:
        return Arrival(message, Refusal(code, reason), position)
    links: Iterator[tuple[int, ...]] = iter(())
    if isinstance(became, int):
        links = ((number, became, 0, 0, 0) for number in unpack(series))
    elif became is not None:
        numbers = iter(unpack(became))
        links = zip(numbers, numbers, numbers, numbers, numbers, strict=True)
    return Arrival(message, tuple(_linked(connection, received_ms, *link) for link in links), position)


def _linked(connection: Connection, received_ms: int, series: int, lag: int, n: int, boot: int, number: int) -> Reading:
    key = (series, received_ms - lag, n)
    row = connection.execute(f"{_READING} WHERE a.series_id = ? AND a.ts_ms = ? AND a.n = ?", key).fetchone()
    if not boot:
        return _reading(row, None)
    name = connection.execute("SELECT boot FROM boots WHERE id = ?", (boot,)).fetchone()[0]
    return _reading(row, join_sequence(name, number))

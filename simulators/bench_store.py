"""How many bytes a reading and a message take on the disk, beside a bare table of the same readings."""

import time
from collections.abc import Iterator
from contextlib import closing
from itertools import islice
from pathlib import Path

from collector.ingest import GROUP_MAX
from collector.readings import Reading
from collector.readings_sqlite import SqliteReadings
from collector.sample import Message
from collector.sqlite import best_journal_mode, connect
from collector.storage import Arrival
from simulators.bench_kitchen import INTERVAL_S, Size, channels, messages, temperature_c
from simulators.bench_row import Row, Samples

READINGS = 500_000
CHANNELS = 20
LATENCY_S = 0.3
UNTIL_AT = 1_790_000_000.0
PUBLISHED_BYTES = 22.0
"""What the design reckons with for series, time and value alone."""
READING_BYTES, MESSAGE_BYTES = 32.0, 24.0
BARE = (
    "CREATE TABLE bare (series_id INTEGER NOT NULL, ts_ms INTEGER NOT NULL, value REAL NOT NULL,"
    " PRIMARY KEY (series_id, ts_ms)) WITHOUT ROWID"
)


def used_bytes(path: Path) -> int:
    """Return what the pages in use hold, once everything stands in the file itself. [byte]"""
    with closing(connect(path, best_journal_mode())) as connection:
        pages, spare, size = (
            connection.execute(f"PRAGMA {name}").fetchone()[0] for name in ("page_count", "freelist_count", "page_size")
        )
    return int((pages - spare) * size)


def arrivals(count: int) -> Iterator[Arrival]:
    """Yield messages of one reading each, channel after channel, as the intake would hand them to the store."""
    names = channels(Size(CHANNELS))
    steps = -(-count // CHANNELS)
    for number, (topic, payload) in enumerate(messages(names, count, UNTIL_AT)):
        step = number // CHANNELS
        at = round(UNTIL_AT - (steps - 1 - step) * INTERVAL_S, 3)
        # Receipt wanders by some milliseconds, as it does on a network.
        received = round(at + LATENCY_S + number * 7 % 41 / 1000, 3)
        reading = Reading(topic, at, temperature_c(step), "Cel", received, at)
        yield Arrival(Message(topic, payload, received), (reading,))


def archive(folder: Path, scale: float) -> Iterator[Row]:
    """Measure the archive and the arrival log by the size of their file, before and after the log was trimmed."""
    count = max(round(READINGS * scale), 2_000)
    path, payload_bytes = folder / "archive.sqlite", 0
    with closing(SqliteReadings(path)) as store:
        stream = arrivals(count)
        begun = time.perf_counter()
        while group := list(islice(stream, GROUP_MAX)):
            payload_bytes += sum(len(arrival.message.payload) for arrival in group)
            store.append(group)
        rate = count / (time.perf_counter() - begun)
    both = used_bytes(path)
    with closing(SqliteReadings(path)) as store:
        store.trim(UNTIL_AT + 1e6, store.head())
    kept = used_bytes(path)
    bare = _bare_bytes(folder / "bare.sqlite", count) / count
    each, log_each = kept / count, (both - kept - payload_bytes) / count
    yield Row(
        "archive, a reading",
        str(Samples((each,), "bytes")),
        str(Samples((bare,), "bytes")),
        each / bare,
        f"at most {READING_BYTES:g} bytes",
        each <= READING_BYTES,
        (
            f"{count:,} readings of {CHANNELS} channels in groups of {GROUP_MAX}, {rate:,.0f} a second; "
            "value, time, receipt, device time and quality; pages in use after a checkpoint",
            f"yardstick: the same readings in a bare table of series, time and value (reckoned: {PUBLISHED_BYTES:g})",
        ),
    )
    yield Row(
        "arrival log, a message",
        f"{payload_bytes / count:.1f} + {log_each:.1f} bytes",
        f"{payload_bytes / count:.1f} bytes of payload",
        None,
        f"payload + at most {MESSAGE_BYTES:g} bytes",
        log_each <= MESSAGE_BYTES,
        (f"kept for 30 days; both together {both / count:.1f} bytes a message while they are",),
    )


def _bare_bytes(path: Path, count: int) -> int:
    steps = -(-count // CHANNELS)
    rows = (
        (
            n % CHANNELS,
            round(1000 * (UNTIL_AT - (steps - 1 - n // CHANNELS) * INTERVAL_S)),
            temperature_c(n // CHANNELS),
        )
        for n in range(count)
    )
    with closing(connect(path, best_journal_mode())) as connection:
        connection.execute(BARE)
        while group := list(islice(rows, GROUP_MAX)):
            connection.execute("BEGIN IMMEDIATE")
            connection.executemany("INSERT INTO bare VALUES (?, ?, ?)", group)
            connection.execute("COMMIT")
    return used_bytes(path)

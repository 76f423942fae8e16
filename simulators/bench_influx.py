"""How many readings a second go from the arrival log into InfluxDB, beside a bare writer of ready lines."""

import time
from collections.abc import Callable, Iterator
from contextlib import closing
from itertools import islice
from pathlib import Path
from urllib.parse import urlencode
from urllib.request import Request, urlopen

from collector.books_sql import open_books
from collector.feeder import GROUP, Feeder
from collector.health import Health
from collector.ingest import GROUP_MAX
from collector.line_protocol import reading_lines
from collector.readings_sqlite import SqliteReadings
from collector.working_sql import SqlWorking
from simulators.bench_row import Row, Samples, Unmeasured
from simulators.bench_store import arrivals
from simulators.influx_server import HOW, TOKEN, InfluxServer, influxd_at

READINGS, REPEATS = 60_000, 3
COUNTED = "SELECT count(value) FROM reading"


def influx(folder: Path, scale: float) -> Iterator[Row]:
    """Measure copying by the feeder, its cursor kept after each group; every reading is counted back."""
    program = influxd_at()
    if program is None:
        raise Unmeasured(f"influxd is not here; {HOW}")
    count = max(round(READINGS * scale), 2 * GROUP)
    server = InfluxServer(program, folder)
    server.start()
    try:
        with closing(SqliteReadings(folder / "readings.sqlite")) as local:
            stream = arrivals(count)
            while group := list(islice(stream, GROUP_MAX)):
                local.append(group)
            ours, theirs = [], []
            for turn in range(REPEATS):
                # In turns, so that a slow moment of the machine meets both.
                ours.append(count / _fed(server, f"fed_{turn}", local, folder, count))
                theirs.append(count / _bare(server, f"bare_{turn}", local, count))
            yield _row(count, ours, theirs, count / _timed(lambda: _log_read(local)))
    finally:
        server.stop()


def _log_read(local: SqliteReadings) -> None:
    position = 0
    while group := local.arrivals(position, GROUP):
        position = group[-1].position


def _row(count: int, ours: list[float], theirs: list[float], read: float) -> Row:
    measured, yardstick = Samples(tuple(ours), "/s"), Samples(tuple(theirs), "/s")
    return Row(
        "copy to InfluxDB",
        str(measured),
        str(yardstick),
        measured.median / yardstick.median,
        notes=(
            f"{count:,} readings, {GROUP} a call, each call answered before the next, all counted back; "
            f"reading the arrival log alone: {read:,.0f} /s",
            "measured: read from the arrival log, made into lines, sent, cursor kept with fsync; "
            "yardstick: the same lines made beforehand, sent by urllib alone",
        ),
    )


def _counted(server: InfluxServer, database: str, count: int) -> None:
    (row,) = server.archive(database).rows(COUNTED)
    if row["count"] != count:
        raise Unmeasured(f"{row['count']:,} of {count:,} readings are in {database}")


def _timed(work: Callable[[], None]) -> float:
    begun = time.perf_counter()
    work()
    return time.perf_counter() - begun


def _fed(server: InfluxServer, database: str, local: SqliteReadings, folder: Path, count: int) -> float:
    archive, working = server.archive(database), SqlWorking(open_books(folder / f"{database}.sqlite"))
    feeder = Feeder(local, archive, working, Health(), time.time)

    def feed() -> None:
        while feeder.step() == 0.0:
            pass

    took_s = _timed(feed)
    working.close()
    archive.close()
    _counted(server, database, count)
    return took_s


def _bare(server: InfluxServer, database: str, local: SqliteReadings, count: int) -> float:
    server.archive(database).close()
    lines = [line.text for line in reading_lines(local.arrivals(0, count), {})]
    bodies = ["\n".join(lines[i : i + GROUP]).encode() for i in range(0, len(lines), GROUP)]
    query = urlencode({"bucket": f"{database}/kept", "org": "-", "precision": "ms"})
    calls = [
        Request(f"{server.url}/api/v2/write?{query}", body, {"Authorization": f"Token {TOKEN}"}) for body in bodies
    ]

    def write() -> None:
        for call in calls:
            with urlopen(call) as answer:  # noqa: S310 - our own loopback server
                answer.read()

    took_s = _timed(write)
    _counted(server, database, count)
    return took_s

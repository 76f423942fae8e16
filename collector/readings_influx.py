"""Readings in InfluxDB: written as line protocol in calls of our own, read back through its `/query`.

Tried with 1.8.10 (its v2 write API, token `user:password`, bucket `database/retention`), and with 2.7.12 where
one is at hand.
"""

import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from collector.line_protocol import (
    HEARD,
    MEASUREMENT,
    AccessRefused,
    Heard,
    Line,
    LinesRefused,
    conflicts,
    decoded,
    encoded,
    heard_lines,
    reading_lines,
)
from collector.packing import first_millisecond
from collector.readings import Reading
from collector.sample import Instant, Quality
from collector.storage import Arrival, ChannelSeen, Series, StoreFailed

if TYPE_CHECKING:
    from influxdb_client.client.influxdb_client import InfluxDBClient

MS_FIRST, MS_LAST = -9_223_372_036_854, 9_223_372_036_854
"""What InfluxDB can date: nanoseconds in 64 bits."""
PAGE = 50_000
"""Rows asked for at once."""
ANSWER_MS = 30_000
"""How long a call may take. House choice. [ms]"""
ACCESS = frozenset({401, 403, 404})
CONTENT = frozenset({400, 413, 422})
MENDS = {
    401: "mend [influx] token: it is not known there (InfluxDB 1.8 takes user:password, 2.x a token without a colon)",
    403: "give the token the right to read and write this bucket",
    404: "create the bucket: `curevigil check --prepare`",
}

Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Place:
    """Where the database is, and what is written there. The token is in no repr."""

    url: str
    bucket: str
    token: str = field(repr=False)
    org: str = ""
    authority_file: str | None = None

    @property
    def database(self) -> str:
        """Return the first half of the bucket: what InfluxDB 1.8 calls the database."""
        return self.bucket.partition("/")[0]

    @property
    def retention(self) -> str:
        """Return the second half of the bucket: what InfluxDB 1.8 calls the retention policy."""
        return self.bucket.partition("/")[2] or "autogen"


@contextmanager
def translated(where: str) -> Iterator[None]:
    """Turn what the library raises into StoreFailed: refused lines, refused access, or away. The token is in none."""
    from influxdb_client.client.exceptions import InfluxDBError
    from influxdb_client.client.flux_csv_parser import FluxCsvParserException, FluxQueryException
    from influxdb_client.rest import ApiException
    from urllib3.exceptions import HTTPError, ProxySchemeUnsupported

    try:
        yield
    except ApiException as fault:
        status = fault.status or 0
        said = f"{where} answers {status}: {_reason(fault.body) or fault.reason}"
        if status in ACCESS:
            raise AccessRefused(f"{said}; {MENDS[status]}") from fault
        raise (LinesRefused if status in CONTENT else StoreFailed)(said) from fault
    except (InfluxDBError, FluxQueryException, FluxCsvParserException) as fault:
        raise StoreFailed(f"{where}: {fault}") from fault
    except (HTTPError, ProxySchemeUnsupported, OSError) as fault:
        raise StoreFailed(f"{where} does not answer: {type(fault).__name__}") from fault


def _reason(body: object) -> str:
    """Return the sentence in an answer's body, at most 300 characters of it."""
    text = body.decode("utf-8", "replace") if isinstance(body, bytes) else str(body or "")
    try:
        found = json.loads(text)
    except ValueError:
        found = None
    if isinstance(found, dict):
        text = str(found.get("message") or found.get("error") or text)
    return text.strip()[:300]


class InfluxArchive:
    """The archive of readings in one bucket: what was written can be written again and changes nothing."""

    def __init__(self, place: Place, answer_ms: int = ANSWER_MS) -> None:
        self.place = place
        self._answer_ms = answer_ms
        self._known: InfluxDBClient | None = None
        self._heard: dict[str, Heard] = {}

    @property
    def _client(self) -> "InfluxDBClient":
        # Imported late: it costs a third of a second and 50 MB, which most kitchens never need.
        if self._known is None:
            from influxdb_client.client.influxdb_client import InfluxDBClient

            place = self.place
            # No retries of the library's: they are in memory only, and end before a long outage does.
            self._known = InfluxDBClient(
                place.url, place.token, org=place.org or "-", timeout=self._answer_ms, ssl_ca_cert=place.authority_file
            )
        return self._known

    def write(self, arrivals: Sequence[Arrival]) -> None:
        """Write the readings of some messages; doing it twice changes nothing. Raises StoreFailed, LinesRefused."""
        self.send(self.lines(arrivals))

    def lines(self, arrivals: Sequence[Arrival]) -> list[Line]:
        """Return the lines of some messages. Raises StoreFailed where conflict numbers have to be asked for in vain."""
        taken: dict[tuple[str, int], dict[float, int]] = {}
        for channel, (first_ms, last_ms) in conflicts(arrivals).items():
            where = f"{_of(channel)} AND n != '0' AND time >= {_ms(first_ms)} AND time <= {_ms(last_ms)}"
            for row in self.rows(f"SELECT value, n FROM {MEASUREMENT} WHERE {where}"):
                taken.setdefault((channel, row["time"]), {})[float(row["value"])] = int(row["n"])
        heard, fresh = heard_lines(arrivals, self._heard)
        self._heard.update(fresh)
        return reading_lines(arrivals, taken) + heard

    def send(self, lines: Sequence[Line]) -> None:
        """Write lines in one call and return once the database has said that it has them.

        Raises LinesRefused where it refuses what they hold (it may have kept some of them), AccessRefused where it
        refuses us, StoreFailed where it is away.
        """
        if not lines:
            return
        from influxdb_client.client.write_api import SYNCHRONOUS
        from influxdb_client.domain.write_precision import WritePrecision

        body = "\n".join(line.text for line in lines).encode()
        try:
            with translated(self.place.url):
                writer = self._client.write_api(SYNCHRONOUS)
                writer.write(self.place.bucket, self.place.org or "-", body, write_precision=WritePrecision.MS)  # type: ignore[arg-type]
        except StoreFailed:
            # Nobody knows which of them are there now, so topics are told anew.
            self._heard.clear()
            raise

    def call(self, method: str, path: str, query: Sequence[tuple[str, str]], body: object = None) -> Any:
        """Return what one call of the HTTP API answers, as JSON. Raises StoreFailed."""
        with translated(self.place.url):
            return self._client.api_client.call_api(  # type: ignore[no-untyped-call]
                path,
                method,
                query_params=list(query),
                header_params={"Accept": "application/json", "Content-Type": "application/json"},
                body=body,
                response_type="object",
                _return_http_data_only=True,
            )

    def ask(self, query: str, method: str = "GET") -> list[Row]:
        """Return the series that an InfluxQL query yields. Raises StoreFailed."""
        place = self.place
        given = [("db", place.database), ("rp", place.retention), ("epoch", "ms"), ("q", query)]
        answer = self.call(method, "/query", given)
        found: list[Row] = []
        for result in (answer or {}).get("results", ()):
            if "error" in result:
                said = f"{place.url}: {result['error']}"
                raise AccessRefused(f"{said}; {MENDS[404]}" if "not found" in result["error"] else said)
            found += result.get("series", ())
        return found

    def rows(self, query: str) -> list[Row]:
        """Return each row that an InfluxQL query yields, by column and tag. Raises StoreFailed."""
        return [
            {**series.get("tags", {}), **dict(zip(series["columns"], values, strict=True))}
            for series in self.ask(query)
            for values in series.get("values", ())
        ]

    def series(self, channel: str, from_at: Instant, until_at: Instant) -> Series:
        """Return a channel's readings in [from, until) as `Readings` does. Raises StoreFailed."""
        pages = list(self._pages(channel, *_bounds(from_at, until_at)))
        ts, values, lag, quality, n = (np.array([row[i] for page in pages for row in page]) for i in range(5))
        ts, lag, n = ts.astype(np.int64), lag.astype(np.int64), n.astype(np.int64)
        order = np.lexsort((n, ts + lag, ts))
        ts, received = ts[order], (ts + lag)[order]
        return Series(
            ts / 1000, values.astype(np.float64)[order], quality.astype(np.int64)[order], received.astype(float) / 1000
        )

    def _pages(self, channel: str, first_ms: int, until_ms: int) -> Iterator[list[list[Any]]]:
        """Yield a channel's rows in order of their instant: time, value, lag, quality, n."""
        while first_ms < until_ms:
            where = f"{_of(channel)} AND time >= {_ms(first_ms)} AND time < {_ms(until_ms)}"
            select = f"SELECT value, lag, quality, n FROM {MEASUREMENT} WHERE {where} ORDER BY time LIMIT {PAGE}"
            found = self.ask(select)
            page: list[list[Any]] = found[0]["values"] if found else []
            if len(page) < PAGE:
                yield page
                return
            # A full page may end within an instant: that instant is asked for again, as a whole.
            last = int(page[-1][0])
            if last == first_ms:
                raise StoreFailed(f"{channel}: more than {PAGE} values at one instant")
            yield [row for row in page if row[0] < last]
            first_ms = last

    def before(self, channel: str, at: Instant) -> Reading | None:
        """Return the channel's last reading measured before the instant, or None. Raises StoreFailed."""
        _, until_ms = _bounds(0.0, at)
        last = f"SELECT value FROM {MEASUREMENT} WHERE {_of(channel)} AND time < {_ms(until_ms)}"
        found = self.rows(f"{last} ORDER BY time DESC LIMIT 1")
        if not found:
            return None
        at_once = f"{_of(channel)} AND time = {_ms(found[0]['time'])}"
        return _reading(
            channel,
            max(
                self.rows(f"SELECT value, lag, quality, unit, device, n FROM {MEASUREMENT} WHERE {at_once}"), key=_order
            ),
        )

    def channels(self) -> list[ChannelSeen]:
        """Return every channel in the bucket, by name. Raises StoreFailed."""
        first = {r["channel"]: r["time"] for r in self.rows(f"SELECT first(value) FROM {MEASUREMENT} GROUP BY channel")}
        topics = {r["channel"]: r["last"] for r in self.rows(f"SELECT last(topic) FROM {HEARD} GROUP BY channel")}
        latest: dict[str, Row] = {}
        for row in self.rows(f"SELECT last(value) AS value, lag, unit FROM {MEASUREMENT} GROUP BY channel, n"):
            known = latest.get(row["channel"])
            if known is None or (known["time"], *_order(known)) < (row["time"], *_order(row)):
                latest[row["channel"]] = row
        seen = [
            ChannelSeen(
                decoded(name),
                decoded(row["unit"]),
                first[name] / 1000,
                row["time"] / 1000,
                float(row["value"]),
                decoded(topics.get(name, "")),
            )
            for name, row in latest.items()
        ]
        return sorted(seen, key=lambda s: s.channel)

    def close(self) -> None:
        """Let go of the connections; a second call does nothing."""
        if self._known is not None:
            self._known.close()  # type: ignore[no-untyped-call]
            self._known = None


def _ms(ts_ms: int) -> str:
    return f"{ts_ms}ms"


def _of(channel: str) -> str:
    quoted = encoded(channel).replace("'", "\\'")
    return f"channel = '{quoted}'"


def _bounds(from_at: Instant, until_at: Instant) -> tuple[int, int]:
    first, last = first_millisecond(from_at), first_millisecond(until_at)
    return max(first, MS_FIRST), min(max(last, MS_FIRST), MS_LAST)


def _order(row: Row) -> tuple[int, int]:
    return int(row["lag"]), int(row["n"])


def _reading(channel: str, row: Row) -> Reading:
    ts_ms, device = int(row["time"]), row.get("device")
    return Reading(
        channel,
        ts_ms / 1000,
        float(row["value"]),
        decoded(row["unit"]),
        (ts_ms + int(row["lag"])) / 1000,
        float(device) if device is not None else None,
        None,
        Quality(int(row["quality"])),
    )

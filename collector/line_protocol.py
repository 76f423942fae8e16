"""Readings as lines of the InfluxDB line protocol, and what may become of a line. Pure: no clock, no I/O."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from collector.packing import milliseconds
from collector.readings import Reading
from collector.sample import Quality, Refusal
from collector.storage import Arrival, StoreFailed

MEASUREMENT = "reading"
HEARD = "heard"
"""The measurement that keeps the topic on which a channel was last heard."""

# A backslash cannot be escaped in a tag, and a line break ends the line: both are written as %5C, %0A and so on.
_ENCODED = re.compile(r"[\x00-\x1f\x7f\\]|%(?=[0-9A-F]{2})")
_DECODED = re.compile(r"%([0-9A-F]{2})")

Numbers = Mapping[tuple[str, int], Mapping[float, int]]
"""By channel and millisecond: which conflict number each value has there already."""

Heard = tuple[str, int]
"""The topic of a channel, and the day of receipt, counted from 1970."""
DAY_MS = 86_400_000


class LinesRefused(StoreFailed):
    """The database took the call and refused what stood in it; it may have kept some of the lines."""


class AccessRefused(StoreFailed):
    """The database refuses us, or has no such place: a person has to mend that."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line, and the position of the message that it came from."""

    position: int
    text: str


def encoded(text: str) -> str:
    r"""Return a text without backslash and control characters, from which `decoded` makes the same text again.

    Examples
    --------
    >>> encoded("a\\b"), encoded("5%0A"), decoded(encoded("5%0A"))
    ('a%5Cb', '5%250A', '5%0A')
    """
    return _ENCODED.sub(lambda found: f"%{ord(found[0]):02X}", text)


def decoded(text: str) -> str:
    r"""Return the text that was encoded.

    Examples
    --------
    >>> decoded("a%5Cb")
    'a\\b'
    """
    return _DECODED.sub(lambda found: chr(int(found[1], 16)), text)


@lru_cache(maxsize=20_000)
def tag(text: str) -> str:
    r"""Return a text as it stands in a tag: commas, equals signs and spaces escaped.

    Examples
    --------
    >>> tag("cold room, back=1")
    'cold\\ room\\,\\ back\\=1'
    """
    return re.sub(r"([,= ])", r"\\\1", encoded(text))


@lru_cache(maxsize=20_000)
def string(text: str) -> str:
    r"""Return a text as the value of a field.

    Examples
    --------
    >>> string('the "back" one')
    '"the \\"back\\" one"'
    """
    return '"' + encoded(text).replace('"', '\\"') + '"'


def reading_line(reading: Reading, n: int) -> str:
    """Return one reading as a line with its instant in milliseconds. `n` counts other values at the same instant.

    Examples
    --------
    >>> reading_line(Reading("probe", 1.5, 4.25, "Cel", 2.0), 0)
    'reading,channel=probe,n=0 value=4.25,lag=500i,quality=0i,unit="Cel" 1500'
    """
    ts_ms = milliseconds(reading.measured_at)
    lag_ms = milliseconds(reading.received_at) - ts_ms
    fields = f"value={float(reading.value)!r},lag={lag_ms}i,quality={int(reading.quality)}i,unit={string(reading.unit)}"
    if reading.device_at is not None:
        fields += f",device={float(reading.device_at)!r}"
    return f"{MEASUREMENT},channel={tag(reading.channel)},n={n} {fields} {ts_ms}"


def heard_line(channel: str, topic: str, day: int) -> str:
    """Return the line that says on which topic a channel was last heard on a day of receipt, counted from 1970.

    There is one point for a day, and the last one written stays: the order is that of arrival, whatever the clock did.

    Examples
    --------
    >>> heard_line("probe", "kitchen/1", 2)
    'heard,channel=probe topic="kitchen/1" 172800000'
    """
    return f"{HEARD},channel={tag(channel)} topic={string(topic)} {day * DAY_MS}"


def readings_of(arrivals: Iterable[Arrival]) -> list[tuple[int, Reading]]:
    """Return the readings of the messages, each with its message's position; a refused message has none."""
    return [
        (arrival.position, reading)
        for arrival in arrivals
        if not isinstance(arrival.outcome, Refusal)
        for reading in arrival.outcome
    ]


def conflicts(arrivals: Iterable[Arrival]) -> dict[str, tuple[int, int]]:
    """Return, for each channel with readings marked as conflicts, their first and their last millisecond. [ms]"""
    found: dict[str, tuple[int, int]] = {}
    for _, reading in readings_of(arrivals):
        if reading.quality & Quality.CONFLICT:
            ts_ms = milliseconds(reading.measured_at)
            first, last = found.get(reading.channel, (ts_ms, ts_ms))
            found[reading.channel] = min(first, ts_ms), max(last, ts_ms)
    return found


def reading_lines(arrivals: Sequence[Arrival], taken: Numbers) -> list[Line]:
    """Return a line for each reading; a conflict keeps the number it has in `taken`, or gets the next one.

    Writing the same messages again therefore gives the same lines: InfluxDB keeps one point for a series and an
    instant, and the number is part of the series.
    """
    numbers = {key: dict(values) for key, values in taken.items()}
    lines = []
    for position, reading in readings_of(arrivals):
        n = 0
        if reading.quality & Quality.CONFLICT:
            there = numbers.setdefault((reading.channel, milliseconds(reading.measured_at)), {})
            n = there.setdefault(reading.value, 1 + max(there.values(), default=0))
        lines.append(Line(position, reading_line(reading, n)))
    return lines


def heard_lines(arrivals: Sequence[Arrival], known: Mapping[str, Heard]) -> tuple[list[Line], dict[str, Heard]]:
    """Return a line for each channel heard otherwise than known (topic and day), and what is new in that."""
    latest: dict[str, tuple[int, Heard]] = {}
    for arrival in arrivals:
        heard = arrival.message.topic, milliseconds(arrival.message.received_at) // DAY_MS
        for position, reading in readings_of((arrival,)):
            latest[reading.channel] = position, heard
    fresh = {channel: heard for channel, (_, heard) in latest.items() if known.get(channel) != heard}
    return [Line(latest[channel][0], heard_line(channel, *heard)) for channel, heard in fresh.items()], fresh

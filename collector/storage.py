"""What the stores promise, free of any database, and the fakes that tests and replay use.

Three stores. `Readings`: what was measured (arrival log and archive; never rewritten). `Journal`: what was decided
(append-only, gap-free positions). `Working`: what may be removed (accounts, sessions, tokens, contact data, caches).
"""

from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np
import numpy.typing as npt

from collector.events import Draft, Entry, decode, encode
from collector.readings import Reading
from collector.sample import Instant, Message, Quality, Refusal


class StoreFailed(Exception):
    """A store could not do what was asked; nothing of it was kept."""


class Moved(Exception):
    """The journal has grown since the position the caller had seen: catch up, decide again."""


class NewerSchema(StoreFailed):
    """The file was written by a newer program."""


@dataclass(frozen=True, slots=True)
class Arrival:
    """One message with what became of it; positions are given by the store, gap-free, in order of arrival."""

    message: Message
    outcome: tuple[Reading, ...] | Refusal
    position: int = 0


@dataclass(frozen=True, slots=True)
class Series:
    """One channel's readings in order of measured time: arrays of equal length n."""

    measured_at: npt.NDArray[np.float64]
    values: npt.NDArray[np.float64]
    quality: npt.NDArray[np.int64]
    received_at: npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ChannelSeen:
    """A channel that has sent something, whether or not anybody has said what it measures."""

    channel: str
    unit: str
    first_at: Instant
    last_at: Instant
    last_value: float
    topic: str


class Readings(Protocol):
    """The arrival log and the archive of decoded readings."""

    def append(self, arrivals: Sequence[Arrival]) -> int:
        """Keep the messages and their readings in one durable transaction; return the last position.

        A reading whose channel, measured time and value are there already, or whose channel and sequence are, adds
        nothing. The same channel and time with another value is kept beside the first, marked `CONFLICT`. A reading
        without a believed device time was dated by its receipt, so a second delivery of it is kept a second time.
        Raises StoreFailed; then nothing was kept.
        """
        ...

    def head(self) -> int:
        """Return the position of the last message, 0 when there is none."""
        ...

    def arrivals(self, after: int, limit: int) -> list[Arrival]:
        """Return up to `limit` messages behind the position, oldest first, with the readings they became."""
        ...

    def refused(self, after: int, limit: int) -> list[Arrival]:
        """Return up to `limit` messages behind the position that could not be read, oldest first."""
        ...

    def series(self, channel: str, from_at: Instant, until_at: Instant) -> Series:
        """Return a channel's readings in [from, until), in order of measured time; empty for an unknown channel."""
        ...

    def before(self, channel: str, at: Instant) -> Reading | None:
        """Return the channel's last reading measured before the instant, or None."""
        ...

    def channels(self) -> list[ChannelSeen]:
        """Return every channel ever seen, by name."""
        ...

    def trim(self, before_at: Instant, passed: int) -> int:
        """Remove raw messages received before the instant and not behind `passed`; return how many. Readings stay."""
        ...

    def close(self) -> None:
        """Let go of the store; a second call does nothing."""
        ...


class Journal(Protocol):
    """What was decided, done or told."""

    def append(
        self,
        drafts: Sequence[Draft],
        *,
        seen: int,
        recorded_at: Instant,
        cursors: Mapping[str, int] | None = None,
    ) -> list[Entry]:
        """Append in one durable transaction, with the cursors, and return the entries.

        Raises Moved if the journal's head is not `seen`, StoreFailed if it could not be kept; either way nothing was
        kept. An empty list of drafts still moves the cursors.
        """
        ...

    def head(self) -> int:
        """Return the last position, 0 when empty."""
        ...

    def read(self, after: int, limit: int) -> list[Entry]:
        """Return up to `limit` entries behind the position, in order."""
        ...

    def lines(self, after: int, limit: int) -> list[tuple[int, bytes]]:
        """Return the same entries as the bytes first written."""
        ...

    def cursor(self, name: str) -> int:
        """Return how far a follower of the arrival log has come; 0 for a new one."""
        ...

    def close(self) -> None:
        """Let go of the store; a second call does nothing."""
        ...


class Working(Protocol):
    """Small things by kind and key that are no events and may be removed."""

    def put(
        self,
        kind: str,
        key: str,
        value: Mapping[str, object],
        *,
        until_at: Instant | None = None,
    ) -> None:
        """Keep or replace one thing, until an instant or for good. Raises StoreFailed."""
        ...

    def get(self, kind: str, key: str, now: Instant) -> dict[str, object] | None:
        """Return one thing, or None where there is none or its time has passed."""
        ...

    def take(self, kind: str, key: str, now: Instant) -> dict[str, object] | None:
        """Return one thing and remove it, so that only one caller ever gets it."""
        ...

    def all(self, kind: str, now: Instant) -> dict[str, dict[str, object]]:
        """Return every living thing of a kind, by key in order."""
        ...

    def remove(self, kind: str, key: str) -> None:
        """Remove one thing; a missing one is no error."""
        ...

    def sweep(self, now: Instant) -> int:
        """Remove what has expired; return how many."""
        ...

    def close(self) -> None:
        """Let go of the store; a second call does nothing."""
        ...


def series_of(readings: Iterable[Reading]) -> Series:
    """Return readings of one channel as arrays, in order of measured time."""
    ordered = sorted(readings, key=lambda r: (r.measured_at, r.received_at))
    return Series(
        np.array([r.measured_at for r in ordered], dtype=np.float64),
        np.array([r.value for r in ordered], dtype=np.float64),
        np.array([int(r.quality) for r in ordered], dtype=np.int64),
        np.array([r.received_at for r in ordered], dtype=np.float64),
    )


@dataclass
class _Kept:
    """One channel's readings in order of measured time, with the columns that `series` copies."""

    readings: list[Reading] = field(default_factory=list)
    measured_at: "array[float]" = field(default_factory=lambda: array("d"))
    values: "array[float]" = field(default_factory=lambda: array("d"))
    quality: "array[int]" = field(default_factory=lambda: array("q"))
    received_at: "array[float]" = field(default_factory=lambda: array("d"))
    topic: str = ""

    def add(self, reading: Reading, topic: str) -> None:
        at = bisect_right(self.measured_at, reading.measured_at)
        while at and self.measured_at[at - 1] == reading.measured_at and self.received_at[at - 1] > reading.received_at:
            at -= 1
        self.readings.insert(at, reading)
        self.measured_at.insert(at, reading.measured_at)
        self.values.insert(at, reading.value)
        self.quality.insert(at, int(reading.quality))
        self.received_at.insert(at, reading.received_at)
        self.topic = topic

    def series(self, from_at: Instant, until_at: Instant) -> Series:
        first, last = bisect_left(self.measured_at, from_at), bisect_left(self.measured_at, until_at)
        return Series(
            np.array(self.measured_at[first:last], dtype=np.float64),
            np.array(self.values[first:last], dtype=np.float64),
            np.array(self.quality[first:last], dtype=np.int64),
            np.array(self.received_at[first:last], dtype=np.float64),
        )


@dataclass
class MemoryReadings:
    """`Readings` in memory, for tests and replay."""

    _log: list[Arrival] = field(default_factory=list)
    _kept: dict[str, _Kept] = field(default_factory=dict)
    _keys: set[tuple[str, float, float]] = field(default_factory=set)
    _instants: set[tuple[str, float]] = field(default_factory=set)
    _sequences: set[tuple[str, str]] = field(default_factory=set)
    _head: int = 0

    def append(self, arrivals: Sequence[Arrival]) -> int:
        for arrival in arrivals:
            self._head += 1
            outcome = arrival.outcome
            if not isinstance(outcome, Refusal):
                outcome = tuple(self._keep(outcome, arrival.message.topic))
            self._log.append(replace(arrival, outcome=outcome, position=self._head))
        return self._head

    def _keep(self, readings: Sequence[Reading], topic: str) -> Iterator[Reading]:
        for reading in readings:
            key = (reading.channel, reading.measured_at, reading.value)
            numbered = (reading.channel, reading.sequence) if reading.sequence is not None else None
            if key in self._keys or numbered in self._sequences:
                continue
            if key[:2] in self._instants:
                reading = replace(reading, quality=reading.quality | Quality.CONFLICT)
            self._keys.add(key)
            self._instants.add(key[:2])
            if numbered is not None:
                self._sequences.add((numbered[0], str(numbered[1])))
            self._kept.setdefault(reading.channel, _Kept()).add(reading, topic)
            yield reading

    def head(self) -> int:
        return self._head

    def arrivals(self, after: int, limit: int) -> list[Arrival]:
        first = bisect_right(self._log, after, key=lambda a: a.position)
        return self._log[first : first + limit]

    def refused(self, after: int, limit: int) -> list[Arrival]:
        return [a for a in self._log if a.position > after and isinstance(a.outcome, Refusal)][:limit]

    def series(self, channel: str, from_at: Instant, until_at: Instant) -> Series:
        return self._kept.get(channel, _Kept()).series(from_at, until_at)

    def before(self, channel: str, at: Instant) -> Reading | None:
        kept = self._kept.get(channel, _Kept())
        count = bisect_left(kept.measured_at, at)
        return kept.readings[count - 1] if count else None

    def channels(self) -> list[ChannelSeen]:
        seen = []
        for channel, kept in sorted(self._kept.items()):
            last = kept.readings[-1]
            first_at = kept.readings[0].measured_at
            seen.append(ChannelSeen(channel, last.unit, first_at, last.measured_at, last.value, kept.topic))
        return seen

    def trim(self, before_at: Instant, passed: int) -> int:
        kept = [a for a in self._log if a.message.received_at >= before_at or a.position > passed]
        removed = len(self._log) - len(kept)
        self._log = kept
        return removed

    def close(self) -> None:
        return None


@dataclass
class MemoryJournal:
    """`Journal` in memory, for tests and replay; it keeps bytes, as the real ones do."""

    _lines: list[bytes] = field(default_factory=list)
    _cursors: dict[str, int] = field(default_factory=dict)

    def append(
        self,
        drafts: Sequence[Draft],
        *,
        seen: int,
        recorded_at: Instant,
        cursors: Mapping[str, int] | None = None,
    ) -> list[Entry]:
        if seen != len(self._lines):
            raise Moved(f"the journal stands at {len(self._lines)}, not at {seen}")
        lines = [encode(draft, recorded_at) for draft in drafts]
        self._lines.extend(lines)
        self._cursors.update(cursors or {})
        return [decode(seen + 1 + i, line) for i, line in enumerate(lines)]

    def head(self) -> int:
        return len(self._lines)

    def read(self, after: int, limit: int) -> list[Entry]:
        return [decode(position, line) for position, line in self.lines(after, limit)]

    def lines(self, after: int, limit: int) -> list[tuple[int, bytes]]:
        return [(after + 1 + i, line) for i, line in enumerate(self._lines[after : after + limit])]

    def cursor(self, name: str) -> int:
        return self._cursors.get(name, 0)

    def close(self) -> None:
        return None


@dataclass
class MemoryWorking:
    """`Working` in memory, for tests and replay."""

    _things: dict[tuple[str, str], tuple[dict[str, object], Instant | None]] = field(default_factory=dict)

    def put(
        self,
        kind: str,
        key: str,
        value: Mapping[str, object],
        *,
        until_at: Instant | None = None,
    ) -> None:
        self._things[(kind, key)] = (dict(value), until_at)

    def get(self, kind: str, key: str, now: Instant) -> dict[str, object] | None:
        value, until_at = self._things.get((kind, key), (None, None))
        return dict(value) if value is not None and (until_at is None or now < until_at) else None

    def take(self, kind: str, key: str, now: Instant) -> dict[str, object] | None:
        value = self.get(kind, key, now)
        self._things.pop((kind, key), None)
        return value

    def all(self, kind: str, now: Instant) -> dict[str, dict[str, object]]:
        keys = sorted(key for k, key in self._things if k == kind)
        living = {key: self.get(kind, key, now) for key in keys}
        return {key: value for key, value in living.items() if value is not None}

    def remove(self, kind: str, key: str) -> None:
        self._things.pop((kind, key), None)

    def sweep(self, now: Instant) -> int:
        dead = [name for name, (_, until_at) in self._things.items() if until_at is not None and until_at <= now]
        for name in dead:
            del self._things[name]
        return len(dead)

    def close(self) -> None:
        return None

"""Readings whose arrival log is the local store's and whose archive is another one, for pages and export. Pure."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from collector.readings import Reading
from collector.sample import Instant
from collector.storage import Arrival, ChannelSeen, Readings, Series


class Archive(Protocol):
    """The reading side of `Readings`, with the same promises."""

    def series(self, channel: str, from_at: Instant, until_at: Instant) -> Series:
        """Return a channel's readings in [from, until)."""
        ...

    def before(self, channel: str, at: Instant) -> Reading | None:
        """Return the channel's last reading measured before the instant, or None."""
        ...

    def channels(self) -> list[ChannelSeen]:
        """Return every channel, by name."""
        ...

    def close(self) -> None:
        """Let go of it; a second call does nothing."""
        ...


@dataclass(frozen=True, slots=True)
class ArchivedReadings:
    """`Readings`: what arrives is kept by the local store; series are read from the archive that a feeder fills."""

    local: Readings
    archive: Archive

    def append(self, arrivals: Sequence[Arrival]) -> int:
        """Keep the messages in the local store, which is the first durable copy."""
        return self.local.append(arrivals)

    def head(self) -> int:
        """Return the position of the last message."""
        return self.local.head()

    def arrivals(self, after: int, limit: int) -> list[Arrival]:
        """Return messages of the local arrival log."""
        return self.local.arrivals(after, limit)

    def refused(self, after: int, limit: int) -> list[Arrival]:
        """Return messages of the local arrival log that could not be read."""
        return self.local.refused(after, limit)

    def series(self, channel: str, from_at: Instant, until_at: Instant) -> Series:
        """Return a channel's readings from the archive."""
        return self.archive.series(channel, from_at, until_at)

    def before(self, channel: str, at: Instant) -> Reading | None:
        """Return the channel's last reading before the instant from the archive."""
        return self.archive.before(channel, at)

    def channels(self) -> list[ChannelSeen]:
        """Return every channel in the archive."""
        return self.archive.channels()

    def trim(self, before_at: Instant, passed: int) -> int:
        """Trim the local arrival log."""
        return self.local.trim(before_at, passed)

    def close(self) -> None:
        """Let go of both."""
        self.archive.close()
        self.local.close()


def compared(local: Readings, archive: Archive) -> tuple[int, list[str]]:
    """Return how many readings the local store has, and each channel whose readings the archive has otherwise.

    Every reading is compared: its instant, its value, its quality and its receipt.
    """
    seen = {found.channel for found in local.channels()}
    count, other = 0, [found.channel for found in archive.channels() if found.channel not in seen]
    for channel in sorted(seen):
        ours, theirs = (store.series(channel, -math.inf, math.inf) for store in (local, archive))
        count += len(ours.values)
        columns = ("measured_at", "values", "quality", "received_at")
        if not all(np.array_equal(getattr(ours, name), getattr(theirs, name)) for name in columns):
            other.append(channel)
    return count, sorted(other)

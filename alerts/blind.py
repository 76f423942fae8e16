"""Sensors that go on sending but tell nothing: when one stood still although air never does. Pure: no clock, no I/O.

While it stands still it counts as silent: the next sensor leads, and where there is none the unit is unwatched.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from alerts.history import Array
from alerts.learned import CHANGE, GRID_S, KEPT_S, QUARTER_S, QUARTERS, Recent
from alerts.surroundings import UNTRUSTED, Fetch, Last
from collector.readings import Reading
from collector.sample import Instant, Quality
from collector.storage import Series

STUCK_S = 6 * 3600.0
"""House: the same value for this long, after it had changed before: more than two turns of any compressor. [s]"""
CHANGED_TIMES = 20
"""House: so often must the value have changed in what is kept before a pause means anything."""
RESTS = 4.0
"""House: and so many times as long as it ever rested before in what is kept; a coarse sensor rests by night. [1]"""
MOVED_SHARE = 1.0 / 3.0
"""House: one that used to change from reading to reading at least this often is blind once it is stuck, and then its
unit is unwatched, which wakes people. A coarse sensor that rests for hours is told by day, and goes on leading. [1]"""
Span = tuple[Instant, Instant]
"""From the first value of a pause, still a measurement, to the first one that differs (infinite: none has yet)."""


def stuck_after_s(times: Sequence[float], values: Sequence[float], moved_share: float = 0.0) -> float | None:
    """Return how long a pause must last to mean that a sensor is stuck, by what it did before. [s]

    None where it moved less than that share of the time before, or hardly at all: then no pause says anything.
    """
    changes, longest, since = 0, 0.0, times[0] if times else 0.0
    for at, before, value in zip(times[1:], values, values[1:], strict=False):
        if abs(value - before) > CHANGE:
            changes, longest, since = changes + 1, max(longest, at - since), at
    return max(STUCK_S, RESTS * longest) if changes >= max(CHANGED_TIMES, moved_share * len(values)) else None


def stuck_since(recent: Recent, moved_share: float = 0.0) -> Instant | None:
    """Return since when a sensor has been stuck by what is kept of it; None where it is not."""
    since = recent.unchanged_since()
    if since is None or recent.times[-1] - since < STUCK_S:
        return None
    before = len(recent.before(since))
    need_s = stuck_after_s(recent.times[:before], recent.values[:before], moved_share)
    return since if need_s is not None and recent.times[-1] - since >= need_s else None


def stuck_spans(times_at: Array, values: Array) -> list[Span]:
    """Return when a channel was stuck and blind in a record of it, in order of time."""
    if not times_at.size:
        return []
    first = np.flatnonzero(np.diff(times_at // GRID_S, prepend=-np.inf))
    times, thin = times_at[first], values[first]
    begins = np.concatenate(([0], np.flatnonzero(np.abs(np.diff(thin)) > CHANGE) + 1))
    ends = np.concatenate((begins[1:], [times.size]))
    found = []
    for begin, end in zip(begins.tolist(), ends.tolist(), strict=True):
        rested_s = times[end - 1] - times[begin]
        if rested_s < STUCK_S:
            continue
        since = int(np.searchsorted(times, times[begin] + STUCK_S - KEPT_S))
        need_s = stuck_after_s(times[since:begin].tolist(), thin[since:begin].tolist(), MOVED_SHARE)
        if need_s is not None and rested_s >= need_s:
            found.append((float(times[begin]), float(times[end]) if end < times.size else np.inf))
    return found


class Believed:
    """What the store says of some channels over two weeks, with the times in which they were stuck marked as faults."""

    def __init__(self, channels: Iterable[str], fetch: Fetch, last: Last, now: Instant) -> None:
        self._fetch, self._last = fetch, last
        self._from_at = (now - QUARTERS * QUARTER_S) // QUARTER_S * QUARTER_S - 2 * KEPT_S
        self._until_at = now + KEPT_S
        self._kept = {name: fetch(name, self._from_at, now + KEPT_S) for name in dict.fromkeys(channels)}
        self.spans = {name: _spans(series) for name, series in self._kept.items()}

    def raw(self, channel: str, from_at: Instant, until_at: Instant) -> Series:
        """Return readings as they were sent."""
        kept = self._kept.get(channel)
        if kept is None or from_at < self._from_at or until_at > self._until_at:
            return self._fetch(channel, from_at, until_at)
        a, b = np.searchsorted(kept.measured_at, (from_at, until_at))
        return Series(kept.measured_at[a:b], kept.values[a:b], kept.quality[a:b], kept.received_at[a:b])

    def fetch(self, channel: str, from_at: Instant, until_at: Instant) -> Series:
        """Return readings, those of a stuck sensor marked as faults."""
        series = self.raw(channel, from_at, until_at)
        spans = self.spans.get(channel)
        if not spans:
            return series
        quality = series.quality.copy()
        for begin, end in spans:
            quality[(series.measured_at > begin) & (series.measured_at < end)] |= int(Quality.PROBE_FAULT)
        return replace(series, quality=quality)

    def last(self, channel: str, until_at: Instant) -> Reading | None:
        """Return the last reading before an instant that did not come from a stuck sensor."""
        for begin, end in reversed(self.spans.get(channel, ())):
            if begin < until_at <= end:
                return self._last(channel, begin + 0.001)
        return self._last(channel, until_at)

    def blind_since(self, channel: str) -> Instant | None:
        """Return since when a channel has been stuck and still is; None where it is not."""
        spans = self.spans.get(channel)
        return spans[-1][0] if spans and np.isinf(spans[-1][1]) else None


def _spans(series: Series) -> list[Span]:
    good = (series.quality & UNTRUSTED) == 0
    return stuck_spans(series.measured_at[good], series.values[good])

"""Sensors that go on sending but tell nothing: one that stands still although air never does, or reads in °F. Pure.

Meanwhile it counts as silent: the next sensor leads, and where there is none the unit is unwatched.
"""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import replace
from statistics import median
from typing import NamedTuple

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
FAHRENHEIT_S, FAHRENHEIT_C, LEAST_STEP_C = 3600.0, 4.0, 15.0
"""House: for an hour, what would be the usual temperature if it were read in °F, and is far from it in °C. [s], [K]"""
STILL_C = LEAST_STEP_C + 5.0
"""House: until it reads less than this it still reads in °F. [°C]"""
STUCK, FAHRENHEIT = "stuck", "unit of measure"
"""Why a sensor is blind, as an alarm names it for a cause."""


class Span(NamedTuple):
    """When a channel told nothing, and why."""

    after_at: Instant
    """The last value that was still a measurement."""
    until_at: Instant
    """The first one that is a measurement again; infinite: none yet is."""
    why: str


class Blind(NamedTuple):
    """A sensor that tells nothing now."""

    since_at: Instant
    value_c: float
    """What it read then; a stuck one reads it still. [°C]"""
    why: str

    def lasts(self, value_c: float) -> bool:
        """Return whether a sensor that now reads this still tells nothing."""
        return value_c > STILL_C if self.why == FAHRENHEIT else abs(value_c - self.value_c) <= CHANGE


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


def blind_by(recent: Recent, value_c: float) -> Blind | None:
    """Return that a sensor tells nothing, by what is kept of it and what it reads; None where it does tell. [°C]"""
    since = stuck_since(recent, MOVED_SHARE)
    if since is not None and abs(value_c - recent.values[-1]) <= CHANGE:
        return Blind(since, value_c, STUCK)
    if value_c > STILL_C and in_fahrenheit(recent, stands=False):
        hot = next(i for i in range(len(recent.values) - 1, -1, -1) if recent.values[i] <= LEAST_STEP_C)
        return Blind(recent.times[hot], value_c, FAHRENHEIT)
    return None


def in_fahrenheit(recent: Recent, *, stands: bool) -> bool:
    """Return whether the last hour makes sense only in °F."""
    if not recent.times or recent.times[-1] - recent.times[0] < FAHRENHEIT_S and not stands:
        return False
    if not stands and recent.values[-1] < LEAST_STEP_C:
        return False
    begin = recent.times[-1] - FAHRENHEIT_S
    hour = [(value - 32.0) / 1.8 for value in recent.since(begin)]
    if stands:
        return min(hour) > -10.0 and min(recent.since(begin)) > LEAST_STEP_C + 5.0
    cold = [value for value in recent.before(begin) if value < LEAST_STEP_C]
    if len(cold) < 20 or len(hour) < 5:
        return False
    usual = sorted(cold)[len(cold) // 2]
    values = recent.since(begin)
    fits = all(
        abs(f - usual) < 3 * FAHRENHEIT_C and v - usual > LEAST_STEP_C for f, v in zip(hour, values, strict=True)
    )
    return fits and abs(median(hour) - usual) < FAHRENHEIT_C and _leapt(recent.values, usual + LEAST_STEP_C)


def _leapt(values: Sequence[float], line: float) -> bool:
    """Return whether the values came above a line in one leap, as no room that warms does."""
    below = next((i for i in range(len(values) - 1, -1, -1) if values[i] <= line), None)
    return below is not None and below + 1 < len(values) and values[below + 1] - values[below] > LEAST_STEP_C


def blind_spans(times_at: Array, values: Array) -> list[Span]:
    """Return when a channel was blind in a record of it, in order of time."""
    first = np.flatnonzero(np.diff(times_at // GRID_S, prepend=-np.inf))
    times, thin = times_at[first], values[first]
    return sorted([*_stuck_spans(times, thin), *_fahrenheit_spans(times, thin)])


def _stuck_spans(times: Array, thin: Array) -> Iterator[Span]:
    if not times.size:
        return
    begins = np.concatenate(([0], np.flatnonzero(np.abs(np.diff(thin)) > CHANGE) + 1))
    ends = np.concatenate((begins[1:], [times.size]))
    # Shorter pauses are everywhere, and need no second look.
    long = times[ends - 1] - times[begins] >= STUCK_S
    for begin, end in zip(begins[long].tolist(), ends[long].tolist(), strict=True):
        since = int(np.searchsorted(times, times[begin] + STUCK_S - KEPT_S))
        need_s = stuck_after_s(times[since:begin].tolist(), thin[since:begin].tolist(), MOVED_SHARE)
        if need_s is not None and times[end - 1] - times[begin] >= need_s:
            yield Span(float(times[begin]), float(times[end]) if end < times.size else np.inf, STUCK)


def _fahrenheit_spans(times: Array, thin: Array) -> Iterator[Span]:
    leaps = np.flatnonzero((thin[:-1] <= LEAST_STEP_C) & (np.diff(thin) > LEAST_STEP_C))
    over_at = -np.inf
    for last in leaps.tolist():
        if times[last] < over_at:
            continue
        cold = np.flatnonzero(thin[last + 1 :] <= STILL_C)
        end = last + 1 + int(cold[0]) if cold.size else times.size
        if _turned(times, thin, last, end):
            over_at = float(times[end]) if end < times.size else np.inf
            yield Span(float(times[last]), over_at, FAHRENHEIT)


def _turned(times: Array, thin: Array, last: int, end: int) -> bool:
    """Return whether what follows a leap was found to be in °F while it came, within half a day of it."""
    since = int(np.searchsorted(times, times[last] + FAHRENHEIT_S - KEPT_S))
    for now in range(last + 1, end):
        if times[now] - times[last] > KEPT_S / 2.0:
            return False
        if times[now] - times[last + 1] >= FAHRENHEIT_S:
            seen = Recent(times[since : now + 1].tolist(), thin[since : now + 1].tolist())
            if in_fahrenheit(seen, stands=False):
                return True
    return False


def believing(air: Collection[str], fetch: Fetch) -> Fetch:
    """Return the same fetch with the times in which one of the `air` channels was blind marked as faults."""

    def believed(channel: str, from_at: Instant, until_at: Instant) -> Series:
        if channel not in air:
            return fetch(channel, from_at, until_at)
        # Whether it stands still is judged by the day before.
        series = fetch(channel, from_at - 2 * KEPT_S, until_at)
        begin = int(np.searchsorted(series.measured_at, from_at))
        m = _marked(series, _spans(series))
        return Series(m.measured_at[begin:], m.values[begin:], m.quality[begin:], m.received_at[begin:])

    return believed


def _marked(series: Series, spans: Sequence[Span]) -> Series:
    if not spans:
        return series
    quality = series.quality.copy()
    for span in spans:
        told_nothing = (series.measured_at > span.after_at) & (series.measured_at < span.until_at)
        quality[told_nothing] |= int(Quality.PROBE_FAULT)
    return replace(series, quality=quality)


class Believed:
    """What the store says of some channels over two weeks, with the times in which they were blind marked as faults."""

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
        """Return readings, those of a blind sensor marked as faults."""
        return _marked(self.raw(channel, from_at, until_at), self.spans.get(channel, ()))

    def last(self, channel: str, until_at: Instant) -> Reading | None:
        """Return the last reading before an instant that did not come from a blind sensor."""
        for span in reversed(self.spans.get(channel, ())):
            if span.after_at < until_at <= span.until_at:
                return self._last(channel, span.after_at + 0.001)
        return self._last(channel, until_at)

    def blind(self, channel: str, value_c: float) -> Blind | None:
        """Return that a channel, which reads this, is blind; None where it is not. [°C]"""
        spans = self.spans.get(channel)
        if not spans or not np.isinf(spans[-1].until_at):
            return None
        return Blind(spans[-1].after_at, value_c, spans[-1].why)


def _spans(series: Series) -> list[Span]:
    good = (series.quality & UNTRUSTED) == 0
    return blind_spans(series.measured_at[good], series.values[good])

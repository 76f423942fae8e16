"""The air of a unit as movements between turning points, and the level at which it swings. Pure: no clock, no I/O."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median
from typing import NamedTuple

from alerts.learned import GRID_S, Recent
from collector.sample import Instant

HOUR_S = 3600.0
LEAST_SWING_C = 0.5
"""House: a smaller movement is noise. [K]"""
LONE_C, NEIGHBOURS_C = 4.0, 2.0
"""House: a lone value this far from both neighbours, which agree, is the sensor's. [K]"""
JITTER_S = 60.0
"""Readings are not quite evenly spaced: so much earlier counts as well. [s]"""


class Swing(NamedTuple):
    """One movement of the air from a turning point to the next, by position in the record."""

    begin: int
    end: int


@dataclass(frozen=True, slots=True)
class Air:
    """The air of a unit over the last day, without lone values."""

    times: Sequence[Instant]
    values: Sequence[float]

    def height(self, swing: Swing) -> float:
        """Return how far the air moved, below 0 for a fall. [K]"""
        return self.values[swing.end] - self.values[swing.begin]

    def span_s(self, swing: Swing) -> float:
        """Return how long that took. [s]"""
        return self.times[swing.end] - self.times[swing.begin]

    def quickest(self, swing: Swing) -> float:
        """Return the quickest that it moved from one reading to the next. [K/s]"""
        return max(
            abs(self.values[i + 1] - self.values[i]) / max(self.times[i + 1] - self.times[i], GRID_S)
            for i in range(swing.begin, swing.end)
        )

    def heard_s(self, from_at: Instant, silent_s: float) -> float:
        """Return how long the air has been heard since an instant, without silences longer than a span. [s]"""
        late = [at for at in self.times if at >= from_at]
        return sum(b - a for a, b in pairwise(late) if b - a <= silent_s)

    def risen(self, begin: int, span_s: float) -> float | None:
        """Return how far the air has risen so long after a position; None where the record ends before. [K]"""
        for i in range(begin, len(self.times)):
            if self.times[i] - self.times[begin] >= span_s - JITTER_S:
                return self.values[i] - self.values[begin]
        return None


def smoothed(recent: Recent) -> Air:
    """Return the record without lone values, which are the sensor's and not the room's."""
    t, v = recent.times, recent.values
    keep = [
        not 0 < i < len(v) - 1
        or abs(v[i + 1] - v[i - 1]) >= NEIGHBOURS_C
        or min(abs(v[i] - v[i - 1]), abs(v[i] - v[i + 1])) <= LONE_C
        for i in range(len(v))
    ]
    return Air(
        [at for at, kept in zip(t, keep, strict=True) if kept], [c for c, kept in zip(v, keep, strict=True) if kept]
    )


def hourly(record: Air) -> list[float]:
    """Return the median of the hour before each reading: the level at which the air swings. [°C]"""
    found, first = [], 0
    for i, at in enumerate(record.times):
        while record.times[first] < at - HOUR_S:
            first += 1
        found.append(median(record.values[first : i + 1]))
    return found


def swings_of(record: Air) -> list[Swing]:
    """Return the movements between the turning points of the air, in order; what is smaller than noise is none."""
    v, found = record.values, list[Swing]()
    begin = high = low = 0
    for i in range(1, len(v)):
        high, low = (i if v[i] > v[high] else high), (i if v[i] < v[low] else low)
        if high > begin and v[high] - max(v[begin], v[i]) >= LEAST_SWING_C:
            turn = high
        elif low > begin and min(v[begin], v[i]) - v[low] >= LEAST_SWING_C:
            turn = low
        else:
            continue
        found.append(Swing(begin, turn))
        begin = turn
        high, low = max(range(turn, i + 1), key=v.__getitem__), min(range(turn, i + 1), key=v.__getitem__)
    if begin < len(v) - 1:
        found.append(Swing(begin, len(v) - 1))
    return found

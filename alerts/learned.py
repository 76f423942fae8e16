"""What a channel has said in the last day, kept small: what a sensor is judged by against its own past. Pure."""

from bisect import bisect_left
from collections.abc import Iterable
from dataclasses import dataclass, field
from statistics import median

from collector.sample import Instant

KEPT_S = 86_400.0
"""How much of the past is kept. [s]"""
GRID_S = 240.0
"""The first reading of each such stretch is kept: at most 361 a channel, whenever the keeping began. [s]"""
CHANGE = 1e-9
"""A smaller difference than this is the same value."""


@dataclass(slots=True)
class Recent:
    """The readings of one channel over the last day, thinned on a fixed grid of time, in order."""

    times: list[Instant] = field(default_factory=list)
    values: list[float] = field(default_factory=list)

    def take(self, at: Instant, value: float) -> None:
        """Keep a reading that is the first of its stretch, and drop what is older than a day."""
        if self.times and (at < self.times[-1] or at // GRID_S == self.times[-1] // GRID_S):
            return
        self.times.append(at)
        self.values.append(value)
        if self.times[0] < at - KEPT_S:
            old = bisect_left(self.times, at - KEPT_S)
            del self.times[:old], self.values[:old]

    def since(self, at: Instant) -> list[float]:
        """Return the values kept from an instant on."""
        return self.values[bisect_left(self.times, at) :]

    def before(self, at: Instant) -> list[float]:
        """Return the values kept until an instant."""
        return self.values[: bisect_left(self.times, at)]

    def unchanged_since(self) -> Instant | None:
        """Return since when the value has been what it is now; None before anything was kept."""
        if not self.values:
            return None
        since = self.times[-1]
        for at, value in zip(reversed(self.times), reversed(self.values), strict=True):
            if abs(value - self.values[-1]) > CHANGE:
                break
            since = at
        return since

    def changes(self, until_at: Instant) -> int:
        """Return how often one kept value differed from the one before it, until an instant."""
        kept = self.before(until_at)
        return sum(abs(b - a) > CHANGE for a, b in zip(kept, kept[1:], strict=False))

    def lone_jumps(self, size: float, apart: float) -> int:
        """Return how many values stand alone: `size` from both neighbours to one side, which are within `apart`."""
        v = self.values
        return sum(
            abs(after - before) < apart
            and (value - before > size < value - after or before - value > size < after - value)
            for before, value, after in zip(v, v[1:], v[2:], strict=False)
        )

    def usual(self, until_at: Instant) -> float | None:
        """Return the median of what was kept until an instant; None where that is less than an hour and a half."""
        kept = self.before(until_at)
        return median(kept) if len(kept) * GRID_S >= 5400.0 else None


def apart(one: Recent, other: Recent, since_at: Instant) -> float | None:
    """Return the median difference of two channels since an instant, reading by reading; None with less than ten."""
    values = {at // GRID_S: value for at, value in zip(other.times, other.values, strict=True) if at >= since_at}
    differences = [
        value - values[at // GRID_S]
        for at, value in zip(one.times, one.values, strict=True)
        if at >= since_at and at // GRID_S in values
    ]
    return median(differences) if len(differences) >= 10 else None


def folded(readings: Iterable[tuple[Instant, float]]) -> Recent:
    """Return what is kept of readings in order of measured time."""
    recent = Recent()
    for at, value in readings:
        recent.take(at, value)
    return recent

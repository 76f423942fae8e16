"""Short rises of a unit's air, and which of them come every day at the same time: its defrosts. Pure: no clock, no I/O.

After models 6.1: a rise of more than 2 K within 15 minutes, back within an hour, that recurs.
"""

from bisect import bisect_right
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median

from collector.sample import Instant

DAY_S = 86_400.0
RISE_C, RISE_S, BACK_S = 2.0, 900.0, 3600.0
"""Models 6.1, but back within an hour (house): a heater's half hour and the way back. [K], [s]"""
BACK_SHARE = 0.25
"""House: air is back when it has lost all but this much of the rise. [1]"""
SAME_S = 900.0
"""House: rises this close in the time of day, on different days, are the same defrost: timers slip."""
MOST_DAYS = 0.7
"""House: what comes on fewer than this share of the days is a door. [1]"""
MOST_BUMPS = 1000


@dataclass(frozen=True, slots=True)
class Bump:
    """One short rise."""

    at: Instant
    height_c: float
    length_s: float
    """From its beginning until the air was back. [s]"""


@dataclass(frozen=True, slots=True)
class Defrost:
    """A rise that comes at the same time of nearly every day."""

    second: float
    """Seconds after midnight UTC."""
    height_c: float
    length_s: float

    def near(self, at: Instant, within_s: float = SAME_S) -> bool:
        """Return whether an instant is about the time of day at which it begins."""
        return apart_s(at % DAY_S, self.second) <= within_s


@dataclass(slots=True)
class Bumps:
    """Finds the short rises in air that is fed in order."""

    done: deque[Bump] = field(default_factory=lambda: deque(maxlen=MOST_BUMPS))
    _past: deque[tuple[Instant, float]] = field(default_factory=deque)
    _from: tuple[Instant, float] | None = None
    """The low before the rise that is under way."""
    _peak_c: float = 0.0

    def take(self, at: Instant, value: float) -> None:
        """Look at the next reading."""
        if self._from is not None:
            self._follow(self._from, at, value)
            return
        while self._past and at - self._past[0][0] > RISE_S:
            self._past.popleft()
        low = min(self._past, key=lambda row: row[1], default=(at, value))
        self._past.append((at, value))
        if value - low[1] > RISE_C:
            self._from, self._peak_c = low, value

    def _follow(self, low: tuple[Instant, float], at: Instant, value: float) -> None:
        self._peak_c = max(self._peak_c, value)
        height = self._peak_c - low[1]
        back = value <= low[1] + BACK_SHARE * height
        if back and at - low[0] <= BACK_S:
            self.done.append(Bump(low[0], height, at - low[0]))
        if back or at - low[0] > BACK_S:
            self._from = None
            self._past.clear()
            self._past.append((at, value))

    def forget(self, before_at: Instant) -> None:
        """Drop what is older."""
        while self.done and self.done[0].at < before_at:
            self.done.popleft()


def apart_s(one: float, other: float) -> float:
    """Return how far two times of day are apart, over midnight if that is nearer. [s]"""
    off = abs(one - other) % DAY_S
    return min(off, DAY_S - off)


def recurring(bumps: Sequence[Bump], days: int, least_c: float = RISE_C) -> tuple[Defrost, ...]:
    """Return the rises of at least a height [K] that come at the same time of nearly every one of so many days."""
    rest = sorted((b for b in bumps if b.height_c >= least_c), key=lambda b: b.at % DAY_S)
    seconds = [b.at % DAY_S for b in rest]
    found: list[Defrost] = []
    for i, second in enumerate(seconds):
        if found and apart_s(found[-1].second, second) <= 2 * SAME_S:
            continue
        group = rest[i : bisect_right(seconds, second + SAME_S)]
        if len({int(b.at // DAY_S) for b in group}) >= max(MOST_DAYS * days, 3):
            found.append(
                Defrost(
                    median(b.at % DAY_S for b in group), median(b.height_c for b in group),
                    median(b.length_s for b in group),
                )
            )  # fmt: skip
    return tuple(found)

"""What a channel has said in the last day, and its quarters of a day over two weeks: its own past, kept small. Pure."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import groupby, pairwise
from statistics import fmean, median
from typing import NamedTuple

from collector.sample import Instant

KEPT_S = 86_400.0
"""How much of the past is kept. [s]"""
GRID_S = 240.0
"""The first reading of each such stretch is kept: at most 361 a channel, whenever the keeping began. [s]"""
CHANGE = 1e-9
"""A smaller difference than this is the same value."""
QUARTER_S = 21_600.0
"""A quarter of a day by UTC, of which one figure each is kept. [s]"""
QUARTERS = 56
"""Two weeks of them."""
LEAST_IN_QUARTER = 20
"""House: fewer readings than this say nothing of a quarter."""
STEP_AFTER_S, STEP_BEFORE_S, STEP_WITHIN_S = 3600.0, 1800.0, 660.0
"""House: a step is seen where all of the hour after lies above all of the half hour before, within 11 minutes. [s]"""
LEAST_STEP_C = 3.0
"""House: a smaller rise than this is no step. [K]"""
LEAST_IN_STEP = 5
"""House: so many values make the hour after a step: a sensor that speaks every ten minutes has six."""
JUMP_C, NEIGHBOURS_C = 4.0, 2.0
"""House: a lone value this far from both neighbours, which agree within so much: air has no such moods. [K]"""


class Quarter(NamedTuple):
    """A quarter of a day of one channel."""

    number: int
    """Quarters since 1970."""
    middle: float
    """Median of its values. [channel's unit]"""
    stir: float
    """Median of what one value is from the one before it: how much the cycle moves it. [channel's unit]"""


class Step(NamedTuple):
    """A rise within minutes that stayed for an hour."""

    at: Instant
    """The first value after it."""
    before: float
    """The most of the half hour before. [channel's unit]"""
    rise: float
    """The least of the hour after, above that. [K]"""


class Change(NamedTuple):
    """How the level of whole days went, the newest day first."""

    levels: tuple[float, float, float, float]
    """Means of the quarters of four spans, each `days` long, one behind the other. [channel's unit]"""
    stirs: tuple[float, float]
    """How much the cycle moved it in the newest and in the oldest of them."""
    last_quarter: int
    days: int

    @property
    def total(self) -> float:
        """Return by how much the newest span lies above the oldest. [channel's unit]"""
        return self.levels[0] - self.levels[3]

    @property
    def steps(self) -> tuple[float, float, float]:
        """Return the three differences from span to span, the newest first. [channel's unit]"""
        a, b, c, d = self.levels
        return a - b, b - c, c - d


@dataclass(slots=True)
class Recent:
    """The readings of one channel over the last day, thinned on a fixed grid of time, in order."""

    times: list[Instant] = field(default_factory=list)
    values: list[float] = field(default_factory=list)
    quarters: list[Quarter] = field(default_factory=list)
    """Whole quarters of a day, the oldest first, at most two weeks of them."""
    step: Step | None = None
    """The last step upwards, while it is in what is kept and no value has come back from it."""
    jumps: list[Instant] = field(default_factory=list)
    """When a value stood alone, far from both its neighbours, which agreed."""
    _changes: dict[int, Change | None] = field(default_factory=dict, compare=False, repr=False)
    """What `change` said since the last quarter was closed."""

    def take(self, at: Instant, value: float) -> None:
        """Keep a reading that is the first of its stretch, and drop what is older than a day."""
        if self.times and (at < self.times[-1] or at // GRID_S == self.times[-1] // GRID_S):
            return
        if self.times and at // QUARTER_S != self.times[-1] // QUARTER_S:
            self._close_quarter()
        self.times.append(at)
        self.values.append(value)
        if self.times[0] < at - KEPT_S:
            old = bisect_left(self.times, at - KEPT_S)
            del self.times[:old], self.values[:old]
        self._look_for_jump()
        self._look_for_step()

    def _close_quarter(self) -> None:
        number = int(self.times[-1] // QUARTER_S)
        if self.quarters and self.quarters[-1].number >= number:
            return
        quarter = quarter_of(number, self.values[bisect_left(self.times, number * QUARTER_S) :])
        if quarter is not None:
            self.quarters.append(quarter)
            del self.quarters[:-QUARTERS]
            self._changes.clear()

    def _look_for_step(self) -> None:
        step = self.step
        if step is not None and (self.values[-1] <= step.before or step.at < self.times[0] + STEP_BEFORE_S):
            self.step = None
        first = bisect_left(self.times, self.times[-1] - STEP_AFTER_S)
        if self.step is not None or first < 3 or len(self.times) - first < LEAST_IN_STEP:
            return
        least = min(self.values[first:])
        for last in (first - 1, first - 2):
            begin = bisect_left(self.times, self.times[last] - STEP_BEFORE_S)
            most = max(self.values[begin : last + 1])
            close = self.times[first] - self.times[last] <= STEP_WITHIN_S
            if close and last - begin >= 2 and least - most >= LEAST_STEP_C:
                self.step = Step(self.times[first], most, least - most)
                return

    def usual_c(self) -> float | None:
        """Return the median level of the quarters kept; None where there is less than a day of them."""
        return median(q.middle for q in self.quarters) if len(self.quarters) >= 4 else None

    def first_level_c(self) -> float | None:
        """Return the mean level of the first three days kept; None where four days are not kept."""
        return fmean(q.middle for q in self.quarters[:12]) if len(self.quarters) >= 16 else None

    def stir(self, from_at: Instant, until_at: Instant) -> float | None:
        """Return the median of what one value is from the one before it in a stretch; None with less than ten."""
        part = self.values[bisect_left(self.times, from_at) : bisect_right(self.times, until_at)]
        return median(abs(b - a) for a, b in pairwise(part)) if len(part) >= 10 else None

    def middle(self, from_at: Instant, until_at: Instant) -> float | None:
        """Return the median of a stretch; None with less than five values."""
        part = self.values[bisect_left(self.times, from_at) : bisect_right(self.times, until_at)]
        return median(part) if len(part) >= 5 else None

    def change(self, days: int, now: Instant) -> Change | None:
        """Return how the level went over four spans of so many days up to now; None where too little is known."""
        if not self.quarters or self.quarters[-1].number < now // QUARTER_S - 2:
            return None
        if days not in self._changes:
            self._changes[days] = self._change(days)
        return self._changes[days]

    def _change(self, days: int) -> Change | None:
        last, span = self.quarters[-1].number, 4 * days
        parts = [
            [q for q in self.quarters if last - (back + 1) * span < q.number <= last - back * span] for back in range(4)
        ]
        if any(len(part) < 3 * days for part in parts):
            return None
        newest, second, third, oldest = (fmean(q.middle for q in part) for part in parts)
        stirs = fmean(q.stir for q in parts[0]), fmean(q.stir for q in parts[3])
        return Change((newest, second, third, oldest), stirs, last, days)

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

    def _look_for_jump(self) -> None:
        if self.jumps and self.jumps[0] < self.times[0]:
            del self.jumps[: bisect_left(self.jumps, self.times[0])]
        if len(self.values) < 3:
            return
        before, value, after = self.values[-3:]
        off = min(value - before, value - after) > JUMP_C or min(before - value, after - value) > JUMP_C
        if off and abs(after - before) < NEIGHBOURS_C:
            self.jumps.append(self.times[-2])

    def usual(self, until_at: Instant) -> float | None:
        """Return the median of what was kept until an instant; None where that is less than an hour and a half."""
        kept = self.before(until_at)
        return median(kept) if len(kept) * GRID_S >= 5400.0 else None


def apart(one: Recent, other: Recent, since_at: Instant) -> float | None:
    """Return the median difference of two channels since an instant, reading by reading; None with less than ten."""
    mine, theirs = bisect_left(one.times, since_at), bisect_left(other.times, since_at)
    values = {at // GRID_S: value for at, value in zip(other.times[theirs:], other.values[theirs:], strict=True)}
    differences = [
        value - values[at // GRID_S]
        for at, value in zip(one.times[mine:], one.values[mine:], strict=True)
        if at // GRID_S in values
    ]
    return median(differences) if len(differences) >= 10 else None


def quarter_of(number: int, values: Sequence[float]) -> Quarter | None:
    """Return the figures of a quarter of a day from its thinned values; None where they are too few."""
    if len(values) < LEAST_IN_QUARTER:
        return None
    return Quarter(number, median(values), median(abs(b - a) for a, b in pairwise(values)))


def folded(readings: Iterable[tuple[Instant, float]]) -> Recent:
    """Return what is kept of up to two weeks of readings in order of measured time, as taking each would leave it."""
    recent = Recent()
    thin = [next(part) for _, part in groupby(readings, key=lambda reading: reading[0] // GRID_S)]
    if not thin:
        return recent
    last = thin[-1][0] // QUARTER_S
    for number, part in groupby(thin, key=lambda reading: reading[0] // QUARTER_S):
        quarter = quarter_of(int(number), [value for _, value in part]) if number < last else None
        if quarter is not None:
            recent.quarters.append(quarter)
    del recent.quarters[:-QUARTERS]
    # Quarters that are there already are not made anew from what is left of them.
    for at, value in thin[bisect_left(thin, (thin[-1][0] - 2 * KEPT_S,)) :]:
        recent.take(at, value)
    return recent

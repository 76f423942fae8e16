"""What is usual for one unit, learned from its own quiet days: level, warmest hour, stretches, cycle, defrosts. Pure.

Nothing here moves a limit or what is counted. A day that was far warmer than usual, or in which the slow air passed
the limit, is no example of the usual; single values far above the limit count as if they were just above it. Medians
over two weeks of such days are what a unit is judged by, so that neither a busy Saturday nor a fault becomes a habit.
"""

from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from math import expm1, isfinite, nan
from statistics import fmean, median

from alerts.defrosts import Bump, Bumps, Defrost, recurring
from collector.sample import Instant

DAY_S, HOUR_S = 86_400.0, 3600.0
DAYS = 14
"""Models 6.1: a baseline over the last one to two weeks. [d]"""
LEAST_DAYS = 3
"""House: fewer quiet days than this are no habit; until then nothing is usual."""
GRID_S = 240.0
"""The first reading of each such stretch is looked at, whenever the looking began. [s]"""
LEAST_COVER = 0.75
"""House: a day of which less than this was heard is no example."""
GAP_S = 2700.0
"""House: over a longer silence nothing is concluded from the values on both sides. [s]"""
CLIP_ABOVE_C, CLIP_C = 3.0, -5.0
"""House: a value further above the limit, or colder, counts as this (models 6.1: clip before summing). [K], [°C]"""
SLOW_S, MEAN_S, LEVEL_S = 6 * HOUR_S, 2 * HOUR_S, 12 * HOUR_S
"""House: time constants of the slow air (the size of a tub's own, models 1.6), of its mean, and of its level. [s]"""
FAR_C = 0.7
"""House: a day this much warmer than usual in its mean is no example of the usual. [K]"""
TURN_C = 0.4
"""House: a rise or fall of this much is a turn of the compressor and no noise. [K]"""
ABOVE_SWING = 1.5
"""House: a defrost rises this many times as far as the compressor's own turns. [1]"""
SPREAD = 1.4826
"""The standard deviation of normal values over their median absolute deviation."""


@dataclass(frozen=True, slots=True)
class Day:
    """One day of a unit, summed up."""

    number: int
    """Days since 1970, UTC."""
    mean_c: float
    high_c: float
    """The highest slow air. [°C]"""
    warming_s: float
    above_s: float
    turns: int
    swing_c: float
    """How far the air fell before it turned, in the middle. [K]"""
    by_hour_c: tuple[float, ...]
    """Mean air of each hour of the UTC day; NaN where it was not heard."""


@dataclass(frozen=True, slots=True)
class Usual:
    """What is usual for a unit: medians over its quiet days."""

    days: int
    level_c: float
    """Mean air of a day. [°C]"""
    level_spread_c: float
    high_c: float
    """The highest that the slow air comes to on a day: after its busiest hour. [°C]"""
    high_spread_c: float
    warming_s: float
    """The longest that the air stays above the slow air on a day, so that a product would warm without a pause. [s]"""
    above_s: float
    """The longest that the air stays above the limit on a day. [s]"""
    turns: float
    """How often a day the air turns from falling to rising. [1/d]"""
    swing_c: float
    """How far it falls between two turns. [K]"""
    by_hour_c: tuple[float, ...]
    """Mean air of each hour of the UTC day; NaN where it is not known. [°C]"""
    defrosts: tuple[Defrost, ...]
    """Rises that come at the same time of nearly every day."""

    @property
    def cycle_s(self) -> float | None:
        """Return how long the cooling usually takes from one rest to the next; None where it hardly ever rests. [s]"""
        return DAY_S / self.turns if self.turns >= 6.0 else None


@dataclass(slots=True)
class _Sum:
    """The day that is running."""

    number: int
    covered_s: float = 0.0
    sum_c: float = 0.0
    high_c: float = -273.0
    warming_s: float = 0.0
    above_s: float = 0.0
    swings_c: list[float] = field(default_factory=list)
    hour_s: list[float] = field(default_factory=lambda: [0.0] * 24)
    hour_c: list[float] = field(default_factory=lambda: [0.0] * 24)

    def add(self, at: Instant, value: float, dt: float) -> None:
        hour = int(at % DAY_S // HOUR_S)
        self.covered_s += dt
        self.sum_c += value * dt
        self.hour_s[hour] += dt
        self.hour_c[hour] += value * dt

    def closed(self) -> Day | None:
        """Return the day, or None if too little of it was heard."""
        if self.covered_s < LEAST_COVER * DAY_S:
            return None
        hours = tuple(c / s if s > 0.0 else nan for c, s in zip(self.hour_c, self.hour_s, strict=True))
        mean_c = self.sum_c / self.covered_s
        turns, swing_c = len(self.swings_c), median(self.swings_c) if self.swings_c else 0.0
        return Day(self.number, mean_c, self.high_c, self.warming_s, self.above_s, turns, swing_c, hours)


@dataclass(slots=True)
class LearnedUnit:
    """What a unit's air has been like, and how it stands beside that now. Fed in order of measured time."""

    limit_c: float
    days: deque[Day] = field(default_factory=deque)
    """The quiet days of the last two weeks."""
    at: Instant | None = None
    air_c: float = nan
    slow_c: float = nan
    """The air through a filter of `SLOW_S`: what a product of six hours would be. [°C]"""
    mean_c: float = nan
    """The air through a filter of `MEAN_S`: its mean, a sawtooth's too. [°C]"""
    level_c: float = nan
    """The air through a filter of `LEVEL_S`: where the unit is heading over days. [°C]"""
    warming_since: Instant | None = None
    """Since when the air has been above the slow air at every look: the product warms without a pause."""
    turned_at: deque[Instant] = field(default_factory=lambda: deque(maxlen=120))
    """When the air last turned from falling to rising."""
    _bumps: Bumps = field(default_factory=Bumps)
    _above_since: Instant | None = None
    _falling: bool = False
    _edge_c: float = nan
    _crest_c: float = nan
    _step: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    """The last span between two readings, and how much of the way the three filters go in it."""
    _today: _Sum | None = None
    _usual: Usual | None = None
    _stale: bool = False

    @property
    def usual(self) -> Usual | None:
        """Return what is usual for the unit; None until it has had `LEAST_DAYS` quiet days."""
        if self._stale:
            self._usual, self._stale = usual_of(self.days, self._bumps.done), False
        return self._usual

    @property
    def bumps(self) -> Sequence[Bump]:
        """Return the short rises of the last two weeks, defrosts and doors, in order."""
        return self._bumps.done

    @property
    def warming_s(self) -> float:
        """Return for how long the air has been above the slow air without a pause. [s]"""
        return 0.0 if self.warming_since is None or self.at is None else self.at - self.warming_since

    def take(self, at: Instant, value: float) -> None:
        """Look at a reading of the unit's air, if it is the first of its stretch of the grid."""
        if self.at is not None and (at <= self.at or at // GRID_S == self.at // GRID_S):
            return
        clipped = min(max(value, CLIP_C), self.limit_c + CLIP_ABOVE_C)
        self._close_day(at)
        if self.at is None:
            self.slow_c = self.mean_c = self.level_c = clipped
        elif at - self.at <= GAP_S:
            self._pass(at, value, clipped)
        else:
            self.warming_since = self._above_since = None
        self.at, self.air_c = at, value
        self._mark(at, value)

    def _pass(self, at: Instant, value: float, clipped: float) -> None:
        dt = at - (self.at or at)
        before = min(max(self.air_c, CLIP_C), self.limit_c + CLIP_ABOVE_C)
        middle = 0.5 * (before + clipped)
        if dt != self._step[0]:
            self._step = (dt, -expm1(-dt / SLOW_S), -expm1(-dt / MEAN_S), -expm1(-dt / LEVEL_S))
        _, slow, mean, level = self._step
        self.slow_c += slow * (middle - self.slow_c)
        self.mean_c += mean * (middle - self.mean_c)
        self.level_c += level * (middle - self.level_c)
        if self._today is not None:
            self._today.add(at, middle, dt)

    def _mark(self, at: Instant, value: float) -> None:
        today = self._today
        if today is None:
            return
        today.high_c = max(today.high_c, self.slow_c)
        if value > self.slow_c:
            self.warming_since = at if self.warming_since is None else self.warming_since
            today.warming_s = max(today.warming_s, at - self.warming_since)
        else:
            self.warming_since = None
        if value > self.limit_c:
            self._above_since = at if self._above_since is None else self._above_since
            today.above_s = max(today.above_s, at - self._above_since)
        else:
            self._above_since = None
        self._bumps.take(at, value)
        fell_c = self._turned(value)
        if fell_c > 0.0:
            today.swings_c.append(fell_c)
            self.turned_at.append(at)

    def _turned(self, value: float) -> float:
        """Return how far the air had fallen if it has just turned to rising, by more than noise; else 0. [K]"""
        if not isfinite(self._edge_c):
            self._edge_c = self._crest_c = value
        if not self._falling:
            self._edge_c = max(self._edge_c, value)
            if self._edge_c - value >= TURN_C:
                self._falling, self._crest_c, self._edge_c = True, self._edge_c, value
            return 0.0
        self._edge_c = min(self._edge_c, value)
        if value - self._edge_c < TURN_C:
            return 0.0
        fell_c, self._falling, self._edge_c = self._crest_c - self._edge_c, False, value
        return fell_c

    def _close_day(self, at: Instant) -> None:
        number = int(at // DAY_S)
        if self._today is not None and number == self._today.number:
            return
        closed = self._today.closed() if self._today is not None else None
        self._today = _Sum(number)
        if closed is not None and self._is_quiet(closed):
            self.days.append(closed)
        while self.days and self.days[0].number < number - DAYS:
            self.days.popleft()
        self._bumps.forget(at - DAYS * DAY_S)
        self._stale = True

    def _is_quiet(self, day: Day) -> bool:
        if day.high_c > self.limit_c:
            return False
        return len(self.days) < LEAST_DAYS or day.mean_c <= median(d.mean_c for d in self.days) + FAR_C


def usual_of(days: Sequence[Day], bumps: Iterable[Bump] = ()) -> Usual | None:
    """Return what is usual by so many quiet days; None by fewer than `LEAST_DAYS`."""
    if len(days) < LEAST_DAYS:
        return None
    level_c, level_spread_c = middle_and_spread([d.mean_c for d in days])
    high_c, high_spread_c = middle_and_spread([d.high_c for d in days])
    numbers, swing_c = {d.number for d in days}, median(d.swing_c for d in days)
    return Usual(
        len(days), level_c, level_spread_c, high_c, high_spread_c,
        median(d.warming_s for d in days), median(d.above_s for d in days), fmean(d.turns for d in days), swing_c,
        tuple(_middle(hour) for hour in zip(*(d.by_hour_c for d in days), strict=True)),
        recurring([b for b in bumps if int(b.at // DAY_S) in numbers], len(days), ABOVE_SWING * swing_c),
    )  # fmt: skip


def middle_and_spread(values: Sequence[float]) -> tuple[float, float]:
    """Return the median of values and their robust standard deviation, in their own unit."""
    middle = median(values)
    return middle, SPREAD * median(abs(v - middle) for v in values)


def _middle(values: Iterable[float]) -> float:
    known = [v for v in values if isfinite(v)]
    return median(known) if known else nan


def learned(limit_c: float, readings: Iterable[tuple[Instant, float]]) -> LearnedUnit:
    """Return what is learned from readings of a unit's air in order of measured time."""
    unit = LearnedUnit(limit_c)
    for at, value in readings:
        unit.take(at, value)
    return unit

"""What is counted on the simulated nights: false alarms, who was told in time, what was missed, causes named."""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from simulators.bench_nights_play import LIMIT_C, Played, Raised
from simulators.nights import DAY_S, EVERY_S, HOUR_S, OF_A_SENSOR, OF_THE_KITCHEN, Trouble, Wrong

MERGED_S = 2 * HOUR_S
"""Alarms of one unit less than this apart are one episode."""
AFTERMATH_S = 12 * HOUR_S
"""What is told so soon after a fault was mended belongs to it."""
NEAR_S = 6 * HOUR_S
"""An alarm this long before, or after, the product truly was above its limit is not false."""
DAY_BEGINS_H, DAY_ENDS_H = 7.0, 21.0
"""What wakes nobody is told between these hours."""
UNIT_MONTH_S = 30 * DAY_S

WEAK = frozenset({"cooling"})
EITHER = "drift or creep"
"""Said where one sensor alone goes up day by day: it reads the same either way, and what is to be done is the same."""
RIGHT: dict[Wrong, frozenset[str]] = {
    Wrong.COMPRESSOR_STOPS: WEAK, Wrong.COMPRESSOR_FAILS_SLOWLY: WEAK | {"creep"}, Wrong.FAN_STOPS: WEAK,
    Wrong.CREEP: frozenset({"creep", "setting", EITHER}), Wrong.DOOR_LEFT_OPEN: frozenset({"door"}),
    Wrong.DEFROST_STAYS: frozenset({"defrost"}), Wrong.SET_TOO_WARM: frozenset({"setting"}),
    Wrong.SET_TOO_COLD: frozenset({"cold"}), Wrong.POWER: frozenset({"connectivity", "power"}),
    Wrong.GATEWAY: frozenset({"connectivity", "power"}), Wrong.SILENT: frozenset({"silent", "connectivity"}),
    Wrong.STUCK: frozenset({"stuck"}), Wrong.JUMPS: frozenset({"jumps"}),
    Wrong.DRIFTS: frozenset({"drift", "neighbours", EITHER}), Wrong.FAHRENHEIT: frozenset({"unit of measure"}),
    Wrong.ELSEWHERE: frozenset({"elsewhere", "neighbours"}),
}  # fmt: skip
"""Which causes describe each fault rightly."""
SAYS = {
    "product_freezing": "cold", "unwatched": "connectivity", "nothing_arrives": "connectivity",
    "units_silent": "connectivity",
    "channel_silent": "silent", "sensor_stuck": "stuck", "sensor_jumps": "jumps", "sensor_unit": "unit of measure",
    "sensors_disagree": "neighbours", "warm_level": "setting", "door_open": "door",
    "defrost_stays": "defrost", "weak_cooling": "cooling", "sensor_elsewhere": "elsewhere",
    "sensor_drift": "drift", "too_cold": "cold", "cure_stalled": "cold",
}  # fmt: skip
"""What each kind of alarm says is behind it; an alarm that names a cause of its own says that."""


@dataclass(frozen=True, slots=True)
class Told:
    """One alarm as somebody hears of it."""

    at: float
    wakes: bool
    cause: str
    count: int = 1
    """How often it was told: once, and once for every change."""


@dataclass(frozen=True, slots=True)
class Event:
    """One fault, what came of it, and what was told."""

    trouble: Trouble
    crossed_at: float
    """When the product truly passed its limit; infinite where it never did."""
    told: tuple[Told, ...]

    @property
    def harmful(self) -> bool:
        """Return whether the product truly passed its limit."""
        return math.isfinite(self.crossed_at)

    @property
    def lead_s(self) -> float:
        """Return how long before the crossing somebody was told; minus infinity where nobody ever was. [s]"""
        return self.crossed_at - min((t.at for t in self.told), default=math.inf)

    @property
    def right(self) -> bool:
        """Return whether the right cause was named, and nobody was woken for a wrong one."""
        right = RIGHT[self.trouble.wrong]
        wrongly = any(t.wakes and t.cause and t.cause not in right for t in self.told)
        return any(t.cause in right for t in self.told) and not wrongly

    @property
    def found(self) -> bool:
        """Return whether a sensor or transport fault was told as one."""
        return any(t.cause in RIGHT[self.trouble.wrong] for t in self.told)

    @property
    def of_a_sensor(self) -> bool:
        """Return whether it was a fault of a sensor or of the way its readings come."""
        return self.trouble.wrong in OF_A_SENSOR or self.trouble.wrong is Wrong.GATEWAY


def told_at(raised_at: float, *, wakes: bool) -> float:
    """Return when a person hears of it: at once, or in the morning. [s since 1970]"""
    hour = raised_at % DAY_S / HOUR_S
    if wakes or DAY_BEGINS_H <= hour < DAY_ENDS_H:
        return raised_at
    morning = raised_at - raised_at % DAY_S + DAY_BEGINS_H * HOUR_S
    return morning if hour < DAY_BEGINS_H else morning + DAY_S


def cause_of(alarm: Raised) -> str:
    """Return the cause that an alarm names; empty where it names none."""
    return alarm.cause or SAYS.get(alarm.kind, "")


def told_of(alarm: Raised) -> Told:
    """Return an alarm as somebody hears of it."""
    return Told(told_at(alarm.raised_at, wakes=alarm.wakes), alarm.wakes, cause_of(alarm), 1 + alarm.changes)


def crossed_at(played: Played, trouble: Trouble) -> float:
    """Return when the unit's product truly passed its limit because of a fault, for a quarter of an hour at least."""
    product = played.product_c[:, played.units.index(trouble.unit)]
    rows = (played.times_at >= trouble.from_at) & (played.times_at < trouble.until_at + AFTERMATH_S)
    over = rows & (product > LIMIT_C)
    lasting = over[:-3] & over[1:-2] & over[2:-1] & over[3:]
    first = np.flatnonzero(lasting)
    return float(played.times_at[first[0]]) if first.size else math.inf


Heard = dict[int, list[tuple[float, Told]]]
"""For each unit, when each alarm was raised and how it was heard."""


def events(played: Sequence[Played], told: Sequence[Heard] | None = None) -> list[Event]:
    """Return every fault with what was told of its unit while it lasted.

    `told` replaces the watch's own alarms by others, kitchen by kitchen.
    """
    found = []
    for number, p in enumerate(played):
        for t in p.troubles:
            if told is None:
                mine = [(a.raised_at, told_of(a)) for a in p.alarms if a.unit in (t.unit, -1)]
            else:
                mine = told[number][t.unit]
            until_at = t.until_at + (MERGED_S if t.wrong in OF_THE_KITCHEN else 0.0)
            of_transport = t.wrong in OF_THE_KITCHEN or t.wrong is Wrong.SILENT
            heard = tuple(
                heard for at, heard in mine
                if t.from_at <= at < until_at and (of_transport or not _of_an_outage(p, at, heard))
            )  # fmt: skip
            found.append(Event(t, crossed_at(p, t), heard))
    return found


def _of_an_outage(p: Played, at: float, heard: Told) -> bool:
    """Return whether an alarm told truly of a short outage of the uplink, which is another thing than the fault."""
    said = heard.cause in RIGHT[Wrong.GATEWAY] or heard.cause in RIGHT[Wrong.SILENT]
    return said and any(begin <= at <= end + HOUR_S for begin, end in p.outages)


def false_alarms(played: Iterable[Played]) -> list[tuple[int, Raised]]:
    """Return what was told of units with nothing wrong, one for each episode."""
    found: list[tuple[int, Raised]] = []
    for p in played:
        last: dict[int, float] = {}
        for alarm in p.alarms:
            if meant(p, alarm.unit, alarm.raised_at):
                continue
            if alarm.raised_at - last.get(alarm.unit, -math.inf) >= MERGED_S:
                found.append((alarm.unit, alarm))
            last[alarm.unit] = alarm.ended_at
    return found


def meant(p: Played, unit: int, at: float) -> bool:
    """Return whether something was truly wrong with the unit at about an instant."""
    if any(begin <= at <= end + HOUR_S for begin, end in p.outages):
        return True
    if any(t.unit in (unit, -1) and t.from_at <= at <= t.until_at + AFTERMATH_S for t in p.troubles):
        return True
    if unit < 0:
        return bool(p.troubles)
    near = np.abs(p.times_at - at) <= NEAR_S
    return bool((p.product_c[near, p.units.index(unit)] > LIMIT_C).any())


def unit_months(played: Iterable[Played]) -> float:
    """Return how long units were watched, in months of 30 days."""
    return sum(len(p.units) * p.times_at.size * EVERY_S for p in played) / UNIT_MONTH_S


def poisson_interval(count: int, level: float = 0.95) -> tuple[float, float]:
    """Return the exact interval of a Poisson mean after `count` events: both tails by inversion.

    Garwood's interval (1936, from memory); the same as half chi-square quantiles, which the tests hold it to.
    """
    tail = (1.0 - level) / 2.0
    lower = 0.0 if count == 0 else _inverted(lambda mean: 1.0 - _at_most(count - 1, mean), tail, rising=True)
    return lower, _inverted(lambda mean: _at_most(count, mean), tail, rising=False)


def _at_most(count: int, mean: float) -> float:
    """Return the chance of at most `count` events."""
    if mean <= 0.0:
        return 1.0
    logs = [k * math.log(mean) - mean - math.lgamma(k + 1.0) for k in range(count + 1)]
    return min(math.fsum(map(math.exp, logs)), 1.0)


def _inverted(chance: Callable[[float], float], tail: float, *, rising: bool) -> float:
    low, high = 0.0, 10.0
    while (chance(high) < tail) if rising else (chance(high) > tail):
        high *= 2.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        if (chance(middle) < tail) is rising:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


@dataclass(frozen=True, slots=True)
class EstimateScore:
    """How far the product estimate was from the truth while its sensor told the truth. [°C]"""

    bias_c: float
    p95_c: float
    covered: float
    """Share of hours in which the truth lay in the interval that claims 90 %."""
    width_c: float
    """Median width of that interval. [K]"""
    hours: int


def estimate_score(played: Sequence[Played]) -> EstimateScore:
    """Return error and coverage of the estimate, every hour but those with a sensor or transport fault."""
    errors, inside, widths = [], [], []
    for p in played:
        for i, unit in enumerate(p.units):
            rows = p.estimates[p.estimates[:, 0] == unit]
            rows = rows[rows[:, 1] > p.times_at[0] + DAY_S]
            for t in p.troubles:
                if t.unit == unit and (t.wrong in OF_A_SENSOR or t.wrong in OF_THE_KITCHEN):
                    rows = rows[(rows[:, 1] < t.from_at) | (rows[:, 1] > t.until_at + 2 * DAY_S)]
            truth = np.interp(rows[:, 1], p.times_at, p.product_c[:, i])
            errors.append(rows[:, 2] - truth)
            inside.append((rows[:, 5] <= truth) & (truth <= rows[:, 6]))
            widths.append(rows[:, 6] - rows[:, 5])
    off, within, width = np.concatenate(errors), np.concatenate(inside), np.concatenate(widths)
    p95 = float(np.percentile(np.abs(off), 95))
    return EstimateScore(float(off.mean()), p95, float(within.mean()), float(np.median(width)), off.size)

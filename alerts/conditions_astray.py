"""Sensors that no longer tell of their unit: gone elsewhere, or going astray day by day; and a level that creeps. Pure.

What one sensor alone says is never proof: a setting that creeps up and a sensor that reads higher and higher look the
same. Where a neighbour tells them apart it is believed; where none does, both are said.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from statistics import median

from alerts.learned import QUARTER_S, STEP_WITHIN_S, Change, Recent, Step
from collector.findings import Condition, Parameters
from collector.sample import Instant

FAR_STEP_C = 6.0
"""House, set on simulated nights: no room warms so far within minutes and stays there; doors left wide open came to
5.8 K, ordinary life to 2.5 K. [K]"""
CYCLE_AFTER_S, CYCLE_SHARE, CYCLE_LEAST_C, LEVEL_SHARE = 10_800.0, 0.4, 0.2, 0.3
"""House: a smaller step is one too, where for three hours the cycle goes on as if nothing had happened, round a level
that stays: a compressor that felt what the sensor reads would not rest. [s], shares of cycle and step, [K]"""
ELSEWHERE_S = 3600.0
STILL_THERE_C = 3.0
"""House: told already, a sensor is still elsewhere while its last hour is so far above its usual level. [K]"""
LEAST_DAY_C, LEAST_TOTAL_C = 0.15, 1.0
"""House, set on simulated nights: what three days move a level at least, each of them and together; ordinary life came
to 0.06 and 0.34 K. [K]"""
UNEVEN = 4.0
"""House: a day that moves it more than so many times another is a setting that was turned, or weather. [1]"""
SAME_CYCLE = (0.6, 1.6)
"""House: with another cycle than before it is the unit that has changed. [1]"""
WENT_ALONG, STAYED = 0.6, 0.35
"""House: shares of the change that a neighbour goes along with, or does not. [1]"""
GONE_BACK_C = 0.5
"""House: told already, it is over within this of the level before. [K]"""
SPANS_DAYS = (1, 3)
EITHER = "drift or creep"
"""The cause that is named where one sensor alone goes up: nobody can tell it from a setting that creeps."""


@dataclass(frozen=True, slots=True)
class Astray:
    """One sensor whose level went up or down over days."""

    channel: str
    change: Change
    neighbour: str
    """`along`, `stayed`, or empty where none can tell."""

    @property
    def cause(self) -> str:
        """Return what that says is behind it."""
        if self.neighbour == "along":
            return "creep"
        # A thermostat that wears, and a coil that ices, let a room grow warmer; hardly anything makes it colder.
        return "drift" if self.neighbour == "stayed" or self.change.total < 0 else EITHER


def conditions_of_places(
    about: Parameters, unit: str, air: Mapping[str, Recent], now: Instant, standing: Collection[str]
) -> list[Condition]:
    """Return which air sensors measure another place, which go astray, and whether the unit's own level creeps."""
    away = [name for name in air if elsewhere(name, air, stands="sensor_elsewhere" in standing)]
    moved = [a for name in air if name not in away and (a := astray(name, air, now)) is not None]
    found = []
    if away:
        steps = [r.step.at for n in away if (r := air[n]).step is not None]
        found.append(_condition("sensor_elsewhere", away, min(steps, default=now), about, unit))
    for kind, mine in (
        ("sensor_drift", [a for a in moved if a.cause == "drift"]),
        ("level_creeps", [a for a in moved if a.cause != "drift"]),
    ):
        seen = {a.channel for a in moved} | set(away)
        off = [n for n, r in air.items() if kind in standing and n not in seen and _off(r, now)]
        if mine or off:
            found.append(_moved(kind, mine, off, now, about, unit))
    return found


def elsewhere(name: str, air: Mapping[str, Recent], *, stands: bool) -> bool:
    """Return whether a sensor went up within minutes as no room does, its neighbours did not, and it stays there."""
    recent = air[name]
    if not recent.times:
        return False
    end, step = recent.times[-1], recent.step
    hour = median(recent.since(end - ELSEWHERE_S))
    if step is None:
        usual = recent.usual_c()
        return stands and usual is not None and hour - usual > STILL_THERE_C
    half = step.before + 0.5 * step.rise
    if hour < half or any(_went_too(other, step) for n, other in air.items() if n != name):
        return False
    return stands or step.rise >= FAR_STEP_C or _cycle_goes_on(recent, step)


def _went_too(other: Recent, step: Step) -> bool:
    """Return whether a neighbour rose at the same time: then it is the room."""
    before = [v for t, v in zip(other.times, other.values, strict=True) if step.at - 5400.0 <= t < step.at - 600.0]
    after = [v for t, v in zip(other.times, other.values, strict=True) if step.at <= t < step.at + ELSEWHERE_S]
    return len(before) >= 5 and len(after) >= 5 and median(after) - median(before) > 0.5 * step.rise


def _cycle_goes_on(recent: Recent, step: Step) -> bool:
    """Return whether the value went on up and down by as much as before, round a level that stayed."""
    until = step.at + CYCLE_AFTER_S
    if recent.times[-1] < until:
        return False
    before = recent.stir(step.at - CYCLE_AFTER_S, step.at - STEP_WITHIN_S)
    after = recent.stir(step.at, until)
    first, last = recent.middle(step.at, step.at + ELSEWHERE_S), recent.middle(until - ELSEWHERE_S, until)
    if before is None or after is None or first is None or last is None or before < CYCLE_LEAST_C:
        return False
    return after >= CYCLE_SHARE * before and abs(last - first) < LEVEL_SHARE * step.rise


def astray(name: str, air: Mapping[str, Recent], now: Instant) -> Astray | None:
    """Return how a sensor's level went steadily over days while the cycle stayed as it was; None where it did not."""
    for days in SPANS_DAYS:
        change = air[name].change(days, now)
        if change is not None and _steady(change):
            return Astray(name, change, _beside(name, air, change, now))
    return None


def _off(recent: Recent, now: Instant) -> bool:
    """Return whether the last day's level is still far from what it was at the beginning of what is kept."""
    change, first = recent.change(1, now), recent.first_level_c()
    return change is not None and first is not None and abs(change.levels[0] - first) > GONE_BACK_C


def _steady(change: Change) -> bool:
    steps = change.steps if change.total > 0 else tuple(-s for s in change.steps)
    newest, oldest = change.stirs
    same_cycle = SAME_CYCLE[0] * oldest <= newest <= SAME_CYCLE[1] * oldest
    even = min(steps) >= LEAST_DAY_C and max(steps) <= UNEVEN * min(steps)
    return same_cycle and even and abs(change.total) >= LEAST_TOTAL_C


def _beside(name: str, air: Mapping[str, Recent], change: Change, now: Instant) -> str:
    """Return what the neighbours say of a change: `along`, `stayed`, or nothing."""
    others = [c for n, r in air.items() if n != name and (c := r.change(change.days, now)) is not None]
    shares = [c.total / change.total for c in others]
    if any(share >= WENT_ALONG for share in shares):
        return "along"
    return "stayed" if any(share <= STAYED for share in shares) else ""


def _moved(kind: str, moved: list[Astray], off: list[str], now: Instant, about: Parameters, unit: str) -> Condition:
    names = [*(a.channel for a in moved), *off]
    if not moved:
        return _condition(kind, names, now, about, unit)
    most = max(moved, key=lambda a: abs(a.change.total))
    days = 3 * most.change.days
    figures: Parameters = {
        **about, "cause": most.cause, "moved_c": round(abs(most.change.total), 1), "days": days,
        "way": "up" if most.change.total > 0 else "down",
    }  # fmt: skip
    since = (most.change.last_quarter + 1) * QUARTER_S - days * 86_400.0
    return replace(
        _condition(kind, names, since, figures, unit), sentence="unit_creeps" if most.cause == "creep" else kind
    )


def _condition(kind: str, names: list[str], since: Instant, about: Parameters, unit: str) -> Condition:
    lots = str(about.get("lots") or "")
    figures = {**about, "since_at": round(since), "channels": ", ".join(sorted(names))}
    category = "temperature" if kind == "level_creeps" else "sensor"
    return Condition(
        unit, kind, category, False, since, tuple(lots.split(", ")) if lots else (), sentence=kind, parameters=figures
    )

"""The units of the kitchen in order of the time left to act, a sentence each. Pure: no clock, no I/O."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from alerts.sentences import clock_text, span_text
from api.office import Estimate, Estimates
from collector.batches import Batch
from collector.kitchen import Alarm, Kitchen
from collector.readings import Quantity, Unit
from collector.sample import Instant

OLD_S = 900.0
"""House (rules e-6): an estimate older than this says nothing of now. [s]"""
STEADY_C_PER_H = 0.3
"""House: the air is called steady below this. [K/h]"""


@dataclass(frozen=True, slots=True)
class UnitNow:
    """One unit as it stands now: what is known, what stands in it, and how long there is to act."""

    unit: Unit
    limit_c: float
    left_s: float
    """Seconds until meat may pass the limit; 0 where it may have, infinite where nothing points there."""
    sentence: str
    batches: tuple[Batch, ...]
    alarms: tuple[Alarm, ...]
    estimates: Mapping[str, Estimate]


def zone_of(kitchen: Kitchen, unit: str | None = None) -> str:
    """Return the time zone in which people of a unit, or of the only site, read times."""
    site = kitchen.site_of(unit)
    return site.zone if site is not None else "UTC"


def units_now(
    kitchen: Kitchen, estimates: Estimates, limit_of: Callable[[Kitchen, Unit], float], now: Instant
) -> list[UnitNow]:
    """Return every unit, the one with the least time left first."""
    found = [unit_now(kitchen, unit, estimates, limit_of(kitchen, unit), now) for unit in kitchen.units.values()]
    return sorted(found, key=lambda u: (u.left_s, -_warmest_share(u), u.unit.name))


def unit_now(kitchen: Kitchen, unit: Unit, estimates: Estimates, limit_c: float, now: Instant) -> UnitNow:
    """Return one unit as it stands now."""
    here = estimates.get(unit.id, {})
    batches = kitchen.standing_in(unit.id, now)
    alarms = tuple(a for a in kitchen.active_alarms() if a.condition.unit == unit.id)
    known = {lot: estimate for lot, estimate in here.items() if any(b.lot == lot for b in batches)}
    left_s = _left_s(known, alarms, bool(batches), limit_c, now)
    sentence = _sentence(kitchen, unit, known, batches, limit_c, now)
    return UnitNow(unit, limit_c, left_s, sentence, batches, alarms, known)


def _warmest_share(unit: UnitNow) -> float:
    return max((e.likely_c - unit.limit_c for e in unit.estimates.values()), default=-math.inf)


def _left_s(
    estimates: Mapping[str, Estimate], alarms: tuple[Alarm, ...], occupied: bool, limit_c: float, now: Instant
) -> float:
    left = [
        0.0 if a.condition.early_at is None else max(0.0, a.condition.early_at - now)
        for a in alarms
        if a.condition.wakes
    ]
    left += [0.0 for e in estimates.values() if e.upper_c > limit_c]
    if occupied and all(now - e.at > OLD_S for e in estimates.values()):
        # What nobody watches may pass at any time, though it need not: behind what is known to pass.
        left.append(OLD_S)
    return min(left, default=math.inf)


def _trend(estimates: Mapping[str, Estimate]) -> str:
    known = [e.trend_c_per_h for e in estimates.values() if e.trend_c_per_h is not None]
    if not known:
        return ""
    trend = max(known, key=abs)
    if abs(trend) < STEADY_C_PER_H:
        return ", steady"
    return ", rising" if trend > 0 else ", falling"


def figure(value_c: float) -> str:
    """Return a temperature as it is printed: `−1.5 °C`."""
    return f"{value_c:.1f} °C".replace("-", "−")


def _sentence(
    kitchen: Kitchen, unit: Unit, estimates: Mapping[str, Estimate], batches: tuple[Batch, ...], limit_c: float,
    now: Instant,
) -> str:  # fmt: skip
    zone = zone_of(kitchen, unit.id)
    if not batches and not any(a.quantity is Quantity.AIR_TEMPERATURE for a in kitchen.assignments_of(unit.id, now)):
        return "Nothing is curing in it, and no sensor watches its air."
    if not batches:
        return "Nothing is curing in it."
    if not estimates:
        return "Nothing is known of the meat in it: measure it, and enter what the probe reads."
    warmest = max(estimates.values(), key=lambda e: e.likely_c)
    latest_at = max(e.at for e in estimates.values())
    if now - latest_at > OLD_S:
        return (
            f"Nothing known for {span_text(now - latest_at)}; at {clock_text(latest_at, zone)} "
            f"the warmest meat was at {figure(warmest.likely_c)} (estimate)."
        )
    air = "" if warmest.air_c is None else f" Air {figure(warmest.air_c)}{_trend(estimates)}."
    above = warmest.likely_c > limit_c
    place = f"above the limit of {figure(limit_c)}" if above else f"limit {figure(limit_c)}"
    return f"Warmest meat {figure(warmest.likely_c)} (estimate), {place}.{air}"

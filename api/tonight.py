"""The units of the kitchen in order of the time left to act, a sentence each. Pure: no clock, no I/O."""

import math
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from alerts.holdover import HoldOver, Standing, if_cooling_stopped
from alerts.science.forecast import time_to_limit_constant
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
    if_stays_s: float
    """Seconds until meat passes the limit if the air stays as warm as it is now; infinite where it would not."""
    sentence: str
    batches: tuple[Batch, ...]
    alarms: tuple[Alarm, ...]
    estimates: Mapping[str, Estimate]


def zone_of(kitchen: Kitchen, unit: str | None = None) -> str:
    """Return the time zone in which people of a unit, or of the only site, read times."""
    site = kitchen.site_of(unit)
    return site.zone if site is not None else "UTC"


def out_words(kitchen: Kitchen, unit: str) -> str:
    """Return since when, by whom and why a unit is out of service; empty where it is in service."""
    out = kitchen.out_of_service.get(unit)
    if out is None:
        return ""
    since = clock_text(out.since_at, zone_of(kitchen, unit), day=True)
    by = kitchen.people[out.by].name if out.by in kitchen.people else out.by
    return f"Out of service since {since}, by {by}: {out.reason.rstrip('. ')}."


def units_now(
    kitchen: Kitchen, estimates: Estimates, limit_of: Callable[[Kitchen, Unit], float], now: Instant
) -> list[UnitNow]:
    """Return every unit, the one with the least time left first."""
    # Gathered in one pass: asking the kitchen unit by unit would look at every batch for every unit.
    standing, alarms = _by_unit(kitchen, now)
    found = [
        _unit_now(kitchen, unit, estimates, limit_of(kitchen, unit), standing[unit.id], alarms[unit.id], now)
        for unit in kitchen.units.values()
    ]
    return sorted(found, key=lambda u: (u.left_s, u.if_stays_s, -_warmest_share(u), u.unit.name))


def unit_now(kitchen: Kitchen, unit: Unit, estimates: Estimates, limit_c: float, now: Instant) -> UnitNow:
    """Return one unit as it stands now."""
    alarms = [a for a in kitchen.active_alarms() if a.condition.unit == unit.id]
    return _unit_now(kitchen, unit, estimates, limit_c, kitchen.standing_in(unit.id, now), alarms, now)


def hold_overs(unit: UnitNow, now: Instant) -> dict[str, HoldOver]:
    """Return when each batch of a unit would pass its limit if cooling stopped now, where enough is known of it."""
    found = {}
    for lot, e in unit.estimates.items():
        if now - e.at <= OLD_S and e.tau_s is not None:
            standing = Standing(e.likely_c, e.upper_c, e.air_c if e.air_c is not None else e.likely_c, e.tau_s)
            found[lot] = if_cooling_stopped(unit.unit, unit.limit_c, standing)
    return found


def _by_unit(kitchen: Kitchen, now: Instant) -> tuple[dict[str, list[Batch]], dict[str, list[Alarm]]]:
    standing: dict[str, list[Batch]] = defaultdict(list)
    alarms: dict[str, list[Alarm]] = defaultdict(list)
    for _, batch in sorted(kitchen.batches.items()):
        if batch.ended_at is None:
            for unit in dict.fromkeys(p.unit for p in batch.placements if p.unit is not None):
                if batch.stands_in(unit, now):
                    standing[unit].append(batch)
    for alarm in kitchen.active_alarms():
        alarms[alarm.condition.unit].append(alarm)
    return standing, alarms


def _unit_now(
    kitchen: Kitchen, unit: Unit, estimates: Estimates, limit_c: float, standing: Sequence[Batch],
    standing_alarms: Sequence[Alarm], now: Instant,
) -> UnitNow:  # fmt: skip
    here, batches, alarms = estimates.get(unit.id, {}), tuple(standing), tuple(standing_alarms)
    known = {lot: estimate for lot, estimate in here.items() if any(b.lot == lot for b in batches)}
    fresh = _fresh(known, now)
    left_s = _left_s(known, alarms, [b for b in batches if b.lot not in fresh], limit_c, now)
    sentence = _sentence(kitchen, unit, known, batches, limit_c, now)
    return UnitNow(unit, limit_c, left_s, _if_stays_s(fresh, limit_c), sentence, batches, alarms, known)


def _if_stays_s(estimates: Mapping[str, Estimate], limit_c: float) -> float:
    crossings = (
        time_to_limit_constant(e.likely_c, e.air_c, limit_c, e.tau_s)
        for e in estimates.values()
        if e.air_c is not None and e.tau_s is not None
    )
    return min(crossings, default=math.inf)


def _warmest_share(unit: UnitNow) -> float:
    return max((e.likely_c - unit.limit_c for e in unit.estimates.values()), default=-math.inf)


def _left_s(
    estimates: Mapping[str, Estimate], alarms: tuple[Alarm, ...], unknown: Sequence[Batch], limit_c: float, now: Instant
) -> float:
    left = [
        0.0 if a.condition.early_at is None else max(0.0, a.condition.early_at - now)
        for a in alarms
        if a.condition.wakes
    ]
    left += [0.0 for e in estimates.values() if e.upper_c > limit_c]
    if unknown:
        # What nobody watches may pass at any time, though it need not: behind what is known to pass.
        left.append(OLD_S)
    return min(left, default=math.inf)


def _fresh(estimates: Mapping[str, Estimate], now: Instant) -> dict[str, Estimate]:
    return {lot: e for lot, e in estimates.items() if now - e.at <= OLD_S}


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
    if unit.id in kitchen.out_of_service:
        return f"{out_words(kitchen, unit.id)} Nothing stands in it, and nothing of it is told."
    if not batches and not any(a.quantity is Quantity.AIR_TEMPERATURE for a in kitchen.assignments_of(unit.id, now)):
        return "Nothing is curing in it, and no sensor watches its air."
    if not batches:
        return "Nothing is curing in it."
    if not estimates:
        return "Nothing is known of the meat in it: measure it, and enter what the probe reads."
    fresh = _fresh(estimates, now)
    warmest = max((fresh or estimates).values(), key=lambda e: e.likely_c)
    latest_at = max(e.at for e in estimates.values())
    if not fresh:
        return (
            f"Nothing known for {span_text(now - latest_at)}; at {clock_text(latest_at, zone)} "
            f"the warmest meat was at {figure(warmest.likely_c)} (estimate)."
        )
    unknown = ", ".join(b.lot for b in batches if b.lot not in fresh)
    untold = f" Nothing is known of {unknown}." if unknown else ""
    air = "" if warmest.air_c is None else f" Air {figure(warmest.air_c)}{_trend(fresh)}."
    above = warmest.likely_c > limit_c
    place = f"above the limit of {figure(limit_c)}" if above else f"limit {figure(limit_c)}"
    return f"Warmest meat {figure(warmest.likely_c)} (estimate), {place}.{air}{untold}"

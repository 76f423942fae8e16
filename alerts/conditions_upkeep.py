"""What keeps sensors worth believing: their batteries, their clocks, their checks. All can wait for morning. Pure."""

import math
from collections.abc import Collection, Mapping
from dataclasses import replace
from statistics import median

from alerts.clocks import Lags
from alerts.heard import Heard
from alerts.learned import Recent
from alerts.rules_measuring import instruments_of
from collector.findings import Condition, Parameters
from collector.kitchen import Kitchen
from collector.readings import BASE_UNIT, Quantity
from collector.sample import Instant

LOW_PCT, BACK_PCT = 15.0, 20.0
"""House: a battery this low may end any day; changed once it is so full again. [%]"""
FALLS_BELOW_PCT, LEAST_FALL_PCT, LOOKED_S, AHEAD_S = 40.0, 3.0, 12 * 3600.0, 3 * 86_400.0
"""House: below the first, one that lost at least so much in what is kept of a day, of half a day at least, and will be
low within three days as it goes on. Told already, it is over once it has gained as much. [%], [s]"""


def due_checks(kitchen: Kitchen, unit: str, interval_s: float) -> dict[str, Instant]:
    """Return when the check of each thermometer of a unit is due; one that was never checked was new when assigned."""
    channels = [
        a.channel for a in kitchen.said if a.unit == unit and a.until_at is None and BASE_UNIT[a.quantity] == "Cel"
    ]
    return {i.channel: i.due_at(interval_s) for i in instruments_of(kitchen, channels, math.inf)}


def battery_low(heard: Heard, recent: Recent | None, *, stands: bool) -> bool:
    """Return whether a battery is low, or soon will be as it falls."""
    if heard.assignment.quantity is not Quantity.BATTERY or math.isnan(heard.value):
        return False
    if heard.value < (BACK_PCT if stands else LOW_PCT):
        return True
    return heard.value < FALLS_BELOW_PCT and recent is not None and _falls(recent, stands=stands)


def _falls(recent: Recent, *, stands: bool) -> bool:
    third = len(recent.values) // 3
    if not third or recent.times[-1] - recent.times[0] < LOOKED_S:
        return False
    early, late = median(recent.values[:third]), median(recent.values[-third:])
    if stands:
        return late - early < LEAST_FALL_PCT
    # From the middle of the first third to the middle of the last is two thirds of the time.
    per_s = (early - late) / ((recent.times[-1] - recent.times[0]) * 2.0 / 3.0)
    return early - late >= LEAST_FALL_PCT and late - per_s * AHEAD_S <= LOW_PCT


def conditions_of_upkeep(
    about: Parameters, unit: str, channels: Mapping[str, Heard], recent: Mapping[str, Recent],
    clocks: Mapping[str, Lags], due: Mapping[str, Instant], now: Instant, standing: Collection[str],
) -> list[Condition]:  # fmt: skip
    """Return which batteries are low, which clocks wrong, which checks overdue: one condition each, naming channels."""
    found = []
    stands = "battery_low" in standing
    low = [n for n, h in channels.items() if battery_low(h, recent.get(n), stands=stands)]
    if low:
        charge = round(min(channels[n].value for n in low))
        found.append(_condition("battery_low", low, now, {**about, "charge_pct": charge}, unit))
    wrong = {
        n: w for n, lags in clocks.items()
        if n in channels
        and not channels[n].silent(now, stands=False)
        and (w := lags.wrong(stands="clock_wrong" in standing)) is not None
    }  # fmt: skip
    if wrong:
        worst_s = max((lag for _, lag in wrong.values() if lag is not None), default=None)
        off = {**about, "lag_min": None if worst_s is None else round(worst_s / 60.0)}
        said = _condition("clock_wrong", list(wrong), min(since for since, _ in wrong.values()), off, unit)
        found.append(said if worst_s is not None else replace(said, sentence="clock_doubted"))
    overdue = {n: at for n, at in due.items() if at <= now}
    if overdue:
        found.append(_condition("calibration_overdue", list(overdue), min(overdue.values()), about, unit))
    return found


def _condition(kind: str, names: list[str], since: Instant, about: Parameters, unit: str) -> Condition:
    lots = str(about.get("lots") or "")
    figures = {**about, "since_at": round(since), "channels": ", ".join(sorted(names))}
    return Condition(
        unit, kind, "sensor", False, since, tuple(lots.split(", ")) if lots else (), sentence=kind, parameters=figures
    )

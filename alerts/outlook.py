"""When the product of a unit may pass its limit, from the last hours of its air, and when that is told. Pure.

A wait that is the same for every unit is late for a quiet one and noisy for a busy one. So what the unit's own defrosts
and deliveries usually take decides how long warm air is waited for.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from statistics import median

from alerts.learned_unit import LearnedUnit, Usual
from alerts.science.forecast import Spread, early_likely_late
from alerts.science.heat import filter_step
from collector.sample import Instant

SLOPE_WINDOW_S = 1800.0
"""Models 5.3: the slope is taken over 20 to 30 minutes."""
NO_RECOVERY_S = 3300.0
"""House, set on simulated nights: air not once below the limit for this long is no defrost and no delivery. [s]"""
NO_PAUSE, SHORTEST_S, LONGEST_S = 2.0, 1500.0, 3300.0
"""House, set on simulated nights: air above its slow self for so many times the longest that is usual for the unit is
no defrost and no delivery; what is usual counts as this at least and at most. [1], [s]"""
UNUSUAL_SPREADS, LEAST_SPREAD_C = 3.0, 0.075
"""House: slow air so many robust deviations above the warmest hour of the unit's usual days is unusual; the spread of
two quiet weeks counts as this at least. [1], [K]"""
MEAN_HORIZON_S = 2 * 3600.0
"""House: an unusual mean that takes the meat past its limit this soon is told, though the air comes and goes. [s]"""
CLOSE_C, URGENT_S = 0.25, 1800.0
"""House: meat this close below its limit that likely passes it this soon is told whatever is usual. [K], [s]"""
FAR_S = 2400.0
"""House: where meat likely passes its limit that soon, air far above it for so long is no delivery. [s]"""
FALLS_ON, COOLS_C, TURNS_C = 0.5, 0.3, 0.05
"""House: falling air is believed to go on half as fast; meat that would stay this far below its limit then, cools; this
far, it turns. [1], [K]"""
HORIZON_S = 6 * 3600.0
"""House: a crossing that is likely this soon is told now. [s]"""
SPREAD = Spread(product_c=0.3, air_c=0.3, slope_c_per_s=0.3 / 3600.0, ln_tau=0.35)
"""House: what is not known of the state, the air, its slope and the time constant of a product nobody has measured."""


@dataclass(frozen=True, slots=True)
class Outlook:
    """Seconds until the product passes its limit; infinite where it never does as things are."""

    early_s: float
    likely_s: float
    late_s: float
    cools: bool = False
    """Whether the air falls so fast that the product would stay well below its limit if it went on half as fast."""
    turns: bool = False
    """Whether it would stay below its limit at all."""


def is_urgent(warm_s: float, far_s: float, seen: Outlook, below_c: float) -> bool:
    """Return whether the product passes its limit so soon that a person is told whatever is usual for the unit.

    Every reading of the air has been above the limit for `warm_s`, and far above it, at the unit's limit for its air,
    for `far_s`; the product is `below_c` below its limit.
    """
    waited = far_s >= FAR_S or (below_c <= CLOSE_C and warm_s >= NO_RECOVERY_S)
    return waited and seen.likely_s <= URGENT_S and not seen.turns


def is_due(warm_s: float, seen: Outlook, by_mean: Outlook, air: LearnedUnit) -> bool:
    """Return whether a person is told now that the product may pass its limit.

    `warm_s` is for how long every reading of the air has been above the limit, `seen` the outlook from its last half
    hour, and `by_mean` that from its mean. Before anything is usual for the unit, a fixed wait decides.
    """
    comes = seen.likely_s <= HORIZON_S and not seen.cools
    usual = air.usual
    if usual is None:
        return comes and warm_s >= NO_RECOVERY_S
    if comes and air.warming_s >= longest_wait_s(usual):
        return True
    return by_mean.likely_s <= MEAN_HORIZON_S and is_unusual(usual, air.slow_c)


def is_on_its_way(seen: Outlook, air: LearnedUnit) -> bool:
    """Return whether product that was told of still warms and may pass its limit, though the air is below it now."""
    return air.warming_since is not None and seen.early_s <= HORIZON_S


def may_be_due(warm_s: float, far_s: float, air: LearnedUnit) -> bool:
    """Return whether it is worth looking ahead: whether any of the waits of `is_due` and `is_urgent` is over."""
    usual = air.usual
    if warm_s >= NO_RECOVERY_S or far_s >= FAR_S or usual is None:
        return warm_s >= NO_RECOVERY_S or far_s >= FAR_S
    return air.warming_s >= longest_wait_s(usual) or is_unusual(usual, air.slow_c)


def longest_wait_s(usual: Usual) -> float:
    """Return how long the air of a unit may stay above its slow self before that is no defrost and no delivery. [s]"""
    return NO_PAUSE * min(max(usual.warming_s, SHORTEST_S), LONGEST_S)


def is_unusual(usual: Usual, slow_c: float) -> bool:
    """Return whether the slow air is far above what it comes to after the unit's busiest hour."""
    return slow_c - usual.high_c >= UNUSUAL_SPREADS * max(usual.high_spread_c, LEAST_SPREAD_C)


def slope_c_per_s(air: Iterable[tuple[Instant, float]]) -> tuple[float, float]:
    """Return the robust level of the air now and its slope, by the median of pairwise slopes (Theil-Sen). [°C], [K/s]

    The pairs are the first half of the window against the second, one each, so the cost is that of a sort.
    """
    record = list(air)
    if not record:
        raise ValueError("no air, no slope")
    begin = record[-1][0] - SLOPE_WINDOW_S
    window = [(at, value) for at, value in record if at >= begin]
    half = len(window) // 2
    pairs = zip(window[:half], window[len(window) - half :], strict=True)
    slopes = [(v1 - v0) / (t1 - t0) for (t0, v0), (t1, v1) in pairs if t1 > t0]
    slope = median(slopes) if slopes else 0.0
    end = window[-1][0]
    level = median(value + slope * (end - at) for at, value in window[-15:])
    return level, slope


def outlook(
    air: Iterable[tuple[Instant, float]], limit_c: float, ambient_c: float, warmest: tuple[float, float],
    usual_c: float | None = None,
) -> Outlook:  # fmt: skip
    """Return when the tub `warmest` (temperature [°C], time constant [s]) passes its limit, from the last air on.

    Air that falls is on its way to `usual_c`, or to 1 K below the limit where nothing is usual yet.
    """
    product_c, tau_s = warmest
    level, slope = slope_c_per_s(air)
    crossing = early_likely_late(product_c, level, slope, limit_c, tau_s, max(ambient_c, level), SPREAD)
    towards_c = min(limit_c - 1.0 if usual_c is None else usual_c, limit_c - 0.5)
    peak_c = peak_in_falling_air(product_c, level, FALLS_ON * slope, towards_c, tau_s) if slope < 0.0 else math.inf
    times = crossing.early_s, crossing.likely_s, crossing.late_s
    return Outlook(*times, cools=peak_c < limit_c - COOLS_C, turns=peak_c < limit_c - TURNS_C)


def outlook_by_mean(mean_c: float, limit_c: float, ambient_c: float, warmest: tuple[float, float]) -> Outlook:
    """Return when the tub passes its limit if the air goes on as warm as it has been in the mean, up and down."""
    product_c, tau_s = warmest
    crossing = early_likely_late(product_c, mean_c, 0.0, limit_c, tau_s, max(ambient_c, mean_c), SPREAD)
    return Outlook(crossing.early_s, crossing.likely_s, crossing.late_s)


def sooner(one: Outlook, other: Outlook) -> Outlook:
    """Return the earlier of two outlooks, time by time."""
    early, likely = min(one.early_s, other.early_s), min(one.likely_s, other.likely_s)
    return Outlook(early, likely, min(one.late_s, other.late_s), one.cools, one.turns)


def peak_in_falling_air(product_c: float, air_c: float, slope_c_per_s: float, towards_c: float, tau_s: float) -> float:
    """Return the highest that a product comes to while air falls towards a level, ever more slowly. [°C]

    The air begins with the slope given, which is below zero, and is followed for six hours in steps of five minutes.
    """
    rate = -slope_c_per_s / max(air_c - towards_c, 0.3)
    highest = now_c = product_c
    for step in range(72):
        before, after = (towards_c + (air_c - towards_c) * math.exp(-rate * 300.0 * n) for n in (step, step + 1))
        if now_c >= before:
            break
        now_c = filter_step(now_c, before, after, 300.0, tau_s)
        highest = max(highest, now_c)
    return highest

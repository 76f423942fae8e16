"""Product that stands close to its limit, and air that is warmer for hours than its unit usually is. Pure."""

from collections.abc import Iterable
from typing import NamedTuple

from alerts.learned_unit import LearnedUnit
from collector.findings import Condition, Parameters
from collector.sample import Instant

NEAR_C, AWAY_C = 0.25, 0.55
"""House: this close below the limit is near; back once it is this far below. [K]"""
NEAR_S = 10_800.0
"""House: near for this long is no busy hour but a setting, weak cooling, or a slow creep. [s]"""
HABIT_C, HABIT_NEAR_S = 0.2, 43_200.0
"""House: where product comes near its limit on most days, and the slow air is at most this far above its usual height,
near for this long is told: a unit that is usually too warm is a fault and no habit, but no news either. [K], [s]"""
OFF_DELAY_S = 26 * 3600.0
"""House: and over once it has not been near for a whole day: what comes back every afternoon is one alarm. [s]"""
ABOVE_USUAL_C, ABOVE_SPREADS = 0.6, 5.0
"""House, set on simulated nights: a half day's level so far above the usual one, and so many of the robust deviations
of its days, is no weather and no busy day. [K], [1]"""


class Level(NamedTuple):
    """One tub as this condition sees it."""

    lot: str
    likely_c: float
    near_since: Instant | None
    spoken_at: Instant
    near_until: Instant | None = None
    """When it was last near, by the wider margin."""


def near_since(before: Instant | None, at: Instant, warmest_c: float, limit_c: float) -> Instant | None:
    """Return since when a tub has been near its limit, or above it, given since when it was at the last reading."""
    if warmest_c > limit_c - NEAR_C:
        return before if before is not None else at
    return before if warmest_c > limit_c - AWAY_C else None


class Patience(NamedTuple):
    """How long product near its limit is waited for before it is told, and before it is over. [s]"""

    wait_s: float
    off_delay_s: float


IMPATIENT = Patience(NEAR_S, 0.0)


def patience_near(air: LearnedUnit, limit_c: float) -> Patience:
    """Return the patience with a unit: more where its product comes near the limit on most days, as it does now."""
    usual = air.usual
    if usual is None or usual.high_c <= limit_c - AWAY_C:
        return IMPATIENT
    return Patience(HABIT_NEAR_S if air.slow_c <= usual.high_c + HABIT_C else NEAR_S, OFF_DELAY_S)


def warm_level(
    about: Parameters, unit: str, tubs: Iterable[Level], patience: Patience = IMPATIENT, *,
    stands: bool = False,
) -> Condition | None:  # fmt: skip
    """Return that product has stood near its limit for hours; for the morning, since passing it is told by itself."""
    near = [t for t in tubs if _is_near(t, patience, stands=stands)]
    if not near:
        return None
    since = min(t.spoken_at if t.near_since is None else t.near_since for t in near)
    lots = tuple(sorted({t.lot for t in near}))
    figures = {
        **about,
        "product_c": round(max(t.likely_c for t in near), 1),
        "since_at": round(since),
        "over_lots": ", ".join(lots),
    }
    return Condition(
        unit, "warm_level", "temperature", False, since, lots, sentence="warm_level", parameters=figures
    )  # fmt: skip


def _is_near(tub: Level, patience: Patience, *, stands: bool) -> bool:
    if tub.near_since is not None and (stands or tub.spoken_at - tub.near_since >= patience.wait_s):
        return True
    return stands and tub.near_until is not None and tub.spoken_at - tub.near_until < patience.off_delay_s


def above_usual(
    about: Parameters, unit: str, lots: tuple[str, ...], air: LearnedUnit, *, stands: bool
) -> Condition | None:
    """Return that a unit has been warmer for half a day than it usually is, whatever its limit; for the morning."""
    usual = air.usual
    if usual is None or air.at is None:
        return None
    least_c = max(ABOVE_USUAL_C, ABOVE_SPREADS * usual.level_spread_c)
    above_c = air.level_c - usual.level_c
    if above_c <= (0.5 * least_c if stands else least_c):
        return None
    figures = {
        **about, "above_c": round(above_c, 1), "level_c": round(air.level_c, 1), "usual_c": round(usual.level_c, 1),
        "since_at": round(air.at),
    }  # fmt: skip
    return Condition(
        unit, "above_usual", "temperature", False, air.at, lots, sentence="above_usual", parameters=figures
    )  # fmt: skip

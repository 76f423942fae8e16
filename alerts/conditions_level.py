"""Product that stands close to its limit, or creeps towards it, while the air still comes back now and then. Pure."""

from collections.abc import Iterable
from typing import NamedTuple

from collector.findings import Condition, Parameters
from collector.sample import Instant

NEAR_C, AWAY_C = 0.25, 0.55
"""House: this close below the limit is near; back once it is this far below. [K]"""
NEAR_S = 10_800.0
"""House: near for this long is no busy hour but a setting, weak cooling, or a slow creep. [s]"""


class Level(NamedTuple):
    """One tub as this condition sees it."""

    lot: str
    likely_c: float
    near_since: Instant | None
    spoken_at: Instant


def near_since(before: Instant | None, at: Instant, warmest_c: float, limit_c: float) -> Instant | None:
    """Return since when a tub has been near its limit, or above it, given since when it was at the last reading."""
    if warmest_c > limit_c - NEAR_C:
        return before if before is not None else at
    return before if warmest_c > limit_c - AWAY_C else None


def warm_level(about: Parameters, unit: str, tubs: Iterable[Level]) -> Condition | None:
    """Return that product has stood near its limit for hours; for the morning, since passing it is told by itself."""
    near = [t for t in tubs if t.near_since is not None and t.spoken_at - t.near_since >= NEAR_S]
    if not near:
        return None
    since = min(t.near_since for t in near if t.near_since is not None)
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

"""Product that is well on its way to ice, and cures that stand still in the cold. Pure: no clock, no I/O.

Cold meat is no danger to who eats it: all of this is for the morning. The estimate has no latent heat, so below the
freezing point it reads too cold; what it says of ice is a reason to look.
"""

import math
from collections.abc import Iterable
from typing import NamedTuple

from alerts.science.forecast import time_to_limit_constant
from alerts.science.salt import FULL_C, STOP_C
from collector.batches import Batch, Stage
from collector.findings import Condition, Parameters
from collector.sample import Instant

BACK_C = 0.3
"""House: cold that has begun is over so far above its line. [K]"""
COLD_S, BELOW_USUAL_C, ICE_POINT_C = 10_800.0, 1.5, 0.0
"""House: for so long at 1.1 °C or below, and so far below what the unit usually is or at the freezing point of water:
a setting that was turned, or a compressor that does not stop; no unit of the simulated ordinary months came near."""
STALLED_LEAST_S, STALLED_SHARE = 6 * 3600.0, 0.05
"""Rules e-5, house: lost curing time of less than this, or than this share of the plan, changes no plan. [s], [1]"""
FREEZES_C = -1.5
"""Rules e-5: at or below this meat may freeze. [°C]"""


class Cold(NamedTuple):
    """One tub as these conditions see it."""

    lot: str
    likely_c: float
    tau_s: float
    cold_since: Instant | None
    """Since when it has been at 1.1 °C or below."""
    stalled_since: Instant | None
    """Since when it has been where its cure stands still; None out of the cure."""
    cure_s: float
    """How long its cure is planned to be. [s]"""
    spoken_at: Instant


def stop_line_c(batch: Batch, at: Instant) -> float:
    """Return at or below which temperature a batch does not cure (rules e-5); minus infinity out of the cure. [°C]"""
    cures = any(
        span.stage is Stage.CURE and span.from_at <= at and (span.until_at is None or at < span.until_at)
        for span in batch.stages
    )
    if not cures:
        return -math.inf
    return FULL_C if batch.plan.published_days else STOP_C


def cold_since(before: Instant | None, at: Instant, product_c: float, line_c: float) -> Instant | None:
    """Return since when product has been at a line or below, given since when it was at the last reading."""
    if product_c <= line_c:
        return before if before is not None else at
    return before if product_c <= line_c + BACK_C else None


def too_cold(
    about: Parameters, unit: str, tubs: Iterable[Cold], usual_c: float | None, air_c: float, *, stands: bool
) -> Condition | None:
    """Return that product has long been far below what this unit usually is, and when its air would freeze it."""
    cold = [
        t for t in tubs
        if t.cold_since is not None and t.spoken_at - t.cold_since >= COLD_S
        and (stands or t.likely_c <= ICE_POINT_C or (usual_c is not None and t.likely_c <= usual_c - BELOW_USUAL_C))
    ]  # fmt: skip
    if not cold:
        return None
    since = min(t.cold_since for t in cold if t.cold_since is not None)
    to_ice_s = min(time_to_limit_constant(-t.likely_c, -air_c, -FREEZES_C, t.tau_s) for t in cold)
    lots = tuple(sorted({t.lot for t in cold}))
    figures: Parameters = {
        **about, "product_c": round(min(t.likely_c for t in cold), 1), "since_at": round(since),
        "usual_c": None if usual_c is None else round(usual_c, 1), "over_lots": ", ".join(lots),
        "ice_at": round(max(t.spoken_at for t in cold) + to_ice_s) if math.isfinite(to_ice_s) else None,
    }  # fmt: skip
    return Condition(unit, "too_cold", "cold", False, since, lots, sentence="too_cold", parameters=figures)


def cure_stalled(about: Parameters, unit: str, tubs: Iterable[Cold]) -> Condition | None:
    """Return which batches have been too cold to cure for longer than their plans bear."""
    stalled = [
        t for t in tubs
        if t.stalled_since is not None
        and t.spoken_at - t.stalled_since >= max(STALLED_LEAST_S, STALLED_SHARE * t.cure_s)
    ]  # fmt: skip
    if not stalled:
        return None
    since = min(t.stalled_since for t in stalled if t.stalled_since is not None)
    lots = tuple(sorted({t.lot for t in stalled}))
    figures: Parameters = {
        **about, "product_c": round(min(t.likely_c for t in stalled), 1), "since_at": round(since),
        "over_lots": ", ".join(lots),
    }  # fmt: skip
    return Condition(unit, "cure_stalled", "cold", False, since, lots, sentence="cure_stalled", parameters=figures)

"""From readings, placements and hand readings to what the meat of a batch has been through. Pure: no clock, no I/O.

A batch meets its readings here, when it is judged: through its placements and the channels' assignments at that
time. The estimate is the exact first-order filter of the air (or of a probe in the tub, taken as it reads), in three
copies that part in a gap: the likely one, an upper one that warms towards the surroundings with cooling off, and a
lower one that cools towards the coldest air the unit makes.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from alerts.history import Array, BatchHistory, TubHistory, UnknownTime
from alerts.science.heat import backward_bound, product_temperature
from alerts.science.warmest import surface_temperature
from alerts.surroundings import IN_WATER, Fetch, Paths, Surroundings, cut_at, paths_of, start_c, surroundings_of, tau_of
from collector.batches import Batch, Stage, Where
from collector.kitchen import Kitchen
from collector.logs import Composition
from collector.sample import Instant

HAND_AFTER_GAP_S = 1800.0
"""House (rules e-6): a hand reading this soon after a gap bounds it backwards."""
LOW_TAU_SHARE = 0.527
"""Tenth percentile of a log-normal with sigma 0.5: the low end of a time constant that nobody has measured."""


@dataclass(frozen=True, slots=True)
class Copies:
    """The three copies of one tub's estimate at one instant. [°C]"""

    likely_c: float
    lower_c: float
    upper_c: float


def _filtered(paths: Paths, tau_s: float, start: Copies) -> tuple[Array, Array, Array]:
    likely = product_temperature(paths.times_at, paths.likely_c, tau_s, start.likely_c)
    if not paths.gaps and start.lower_c == start.likely_c == start.upper_c:
        return likely, likely, likely
    upper = product_temperature(paths.times_at, paths.upper_c, tau_s, start.upper_c)
    lower = product_temperature(paths.times_at, paths.lower_c, tau_s, start.lower_c)
    return likely, np.minimum(lower, likely), np.maximum(upper, likely)


def tub_history(
    batch: Batch,
    tub: str,
    kitchen: Kitchen,
    fetch: Fetch,
    until_at: Instant,
    since_at: Instant | None = None,
    *,
    bulk: bool = False,
) -> TubHistory | None:
    """Return the three copies of one tub's estimate from filling until an instant; None before anything is known.

    With `since_at` the record begins there, from copies wide apart: after six time constants nothing is left of them.
    With `bulk` a hung piece's surface is left out: the state that the filter carries on.
    """
    hands = hands_of(batch, tub, until_at)
    begun = surroundings_of(batch, tub, kitchen, fetch, until_at, since_at)
    stretches = cut_at(begun, [at for at, _ in hands])
    if not stretches:
        return None
    copies, known = _first_copies(batch, stretches[0], since_at)
    by_instant = dict(hands)
    parts: list[tuple[Array, Array, Array, Array]] = []
    gaps: list[UnknownTime] = []
    for s in stretches:
        if s.from_at in by_instant:
            measured = by_instant[s.from_at]
            copies = Copies(measured, measured, measured)
            low_tau = s.tau_s if batch.plan.tau_s is not None else s.tau_s * LOW_TAU_SHARE
            parts = _bounded_back(parts, gaps, s, measured, low_tau)
        paths = paths_of(s)
        likely, lower, upper = _filtered(paths, s.tau_s, copies)
        parts.append(
            _judged(batch, s, paths, (likely, lower, upper)) if not bulk else (paths.times_at, likely, lower, upper)
        )
        gaps.extend(paths.gaps)
        copies = Copies(float(likely[-1]), float(lower[-1]), float(upper[-1]))
    return _history(batch, tub, kitchen, stretches, parts, gaps, known)


def hands_of(batch: Batch, tub: str, until_at: Instant) -> list[tuple[Instant, float]]:
    """Return what a probe in the meat read by hand, in order; the end of a cooling log is such a reading too."""
    read = [
        (h.measured_at, h.value)
        for h in batch.hand_readings
        if h.measure == "temperature" and h.where is not Where.AIR and h.tub in (None, tub)
    ]
    cooled = [log.points[-1] for log in batch.core_logs if log.stage == Stage.COOL and log.points]
    return sorted((at, value) for at, value in [*read, *cooled] if at < until_at)


def _first_copies(batch: Batch, first: Surroundings, since_at: Instant | None) -> tuple[Copies, bool]:
    filled, known = start_c(batch)
    if since_at is not None and since_at > batch.started_at:
        air = float(first.air_c[0]) if first.air_c.size else first.ambient_c
        return Copies(air, min(air, first.coldest_c), max(air, first.ambient_c)), True
    if filled is not None and known:
        return Copies(filled, filled, filled), True
    # An unknown start lies between ice and the warmest the surroundings can be; nothing else is known of it.
    assumed = filled if filled is not None else (float(first.air_c[0]) if first.air_c.size else first.ambient_c)
    return Copies(assumed, min(assumed, 0.0), max(assumed, 10.0)), False


def _judged(
    batch: Batch, s: Surroundings, paths: Paths, copies: tuple[Array, Array, Array]
) -> tuple[Array, Array, Array, Array]:
    """Return the copies at the warmest part: of soaked meat its surface is at the water's temperature at once."""
    likely, lower, upper = copies
    if s.cause == IN_WATER:
        around = (paths.likely_c, paths.lower_c, paths.upper_c)
        wet = [np.maximum(copy, water) for copy, water in zip(copies, around, strict=True)]
        return paths.times_at, wet[0], wet[1], wet[2]
    if batch.plan.arrangement != "tub":
        return _warmest(paths, likely, lower, upper)
    return paths.times_at, likely, lower, upper


def _warmest(paths: Paths, likely: Array, lower: Array, upper: Array) -> tuple[Array, Array, Array, Array]:
    # Under brine the brine is the surface; a hung piece has a surface that runs ahead of it (rules A24).
    return (
        paths.times_at,
        surface_temperature(likely, paths.likely_c),
        surface_temperature(lower, paths.lower_c),
        surface_temperature(upper, paths.upper_c),
    )


def _bounded_back(
    parts: list[tuple[Array, Array, Array, Array]],
    gaps: Sequence[UnknownTime],
    s: Surroundings,
    measured: float,
    tau_s: float,
) -> list[tuple[Array, Array, Array, Array]]:
    """Return the parts with the upper copy of a gap that has just ended bounded by the hand reading behind it."""
    if not gaps or s.from_at - gaps[-1].until_at > HAND_AFTER_GAP_S:
        return parts
    coldest = min(s.coldest_c, measured)
    bounded = []
    for times, likely, lower, upper in parts:
        inside = (times >= gaps[-1].from_at) & (times <= s.from_at)
        bound = backward_bound(measured, coldest, np.maximum(s.from_at - times, 0.0), tau_s)
        bounded.append((times, likely, lower, np.where(inside, np.maximum(np.minimum(upper, bound), likely), upper)))
    return bounded


def _history(
    batch: Batch,
    tub: str,
    kitchen: Kitchen,
    stretches: Sequence[Surroundings],
    parts: Sequence[tuple[Array, Array, Array, Array]],
    gaps: Sequence[UnknownTime],
    known: bool,
) -> TubHistory:
    times, likely = (np.concatenate([part[column] for part in parts]) for column in (0, 1))
    lower = upper = likely
    # While nothing has parted the copies they are one array, and need not be laid end to end three times.
    if not all(low is mid is up for _, mid, low, up in parts):
        lower, upper = (np.concatenate([part[column] for part in parts]) for column in (2, 3))
    channels = tuple(dict.fromkeys(channel for s in stretches for channel in s.channels))
    stated = [a.uncertainty_c for a in kitchen.assignments if a.channel in channels]
    uncertainty = max(stated, default=0.5)
    apart = np.zeros(likely.size, dtype=bool)
    if lower is not likely:
        apart = np.maximum(upper - likely, likely - lower) > uncertainty
    for gap in gaps:
        apart |= (times >= gap.from_at) & (times <= gap.until_at)
    inside = (np.searchsorted(s.times_at, (s.from_at, s.until_at)) for s in stretches if s.channels)
    readings = sum(int(after - first) for first, after in inside)
    return TubHistory(
        tub, times, likely, lower, upper, apart, tuple(gaps), channels, readings, tau_of(batch), uncertainty, known
    )


def batch_history(batch: Batch, kitchen: Kitchen, fetch: Fetch, now: Instant) -> BatchHistory | None:
    """Return everything a rule may look at for a batch as it is known now; None where its site is not described."""
    until_at = min(now, batch.ended_at) if batch.ended_at is not None else now
    units = [p.unit for p in batch.placements if p.unit is not None]
    site = kitchen.site_of(units[0] if units else None)
    if site is None:
        return None
    traced = (tub_history(batch, tub, kitchen, fetch, until_at) for tub in batch.tubs)
    limits = [kitchen.units[u].limit_c for u in units if u in kitchen.units]
    return BatchHistory(
        batch,
        site,
        tuple(t for t in traced if t is not None and t.times_at.size >= 2),
        min((limit for limit in limits if limit is not None), default=None),
        kitchen.cure_end_at(batch.lot),
        until_at,
        compositions_of(kitchen, batch.as_made.curing_salt_lot, now),
    )


def compositions_of(kitchen: Kitchen, lot: str, until_at: Instant) -> tuple[Composition, ...]:
    """Return what people have read on the bags of a lot of curing salt, up to an instant, in the order of reading."""
    named = (one for one in kitchen.compositions if lot and one.curing_salt_lot.casefold() == lot.casefold())
    return tuple(one for one in named if one.confirmed_at <= until_at)

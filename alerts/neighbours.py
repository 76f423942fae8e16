"""Two air sensors of one unit that do not agree: when, by how much, and which of them a hand reading contradicts. Pure.

Everything goes by medians of ten minutes, so that a door or one wild value makes no quarrel.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from alerts.history import Array
from alerts.surroundings import Fetch, corrected
from collector.batches import Batch, HandReading, Where
from collector.instruments import by_checks
from collector.kitchen import Kitchen
from collector.logs import UnderTest
from collector.readings import Assignment, Quantity
from collector.sample import Instant

BIN_S = 600.0
AGREES_C = 1.0
"""House: a hand reading this near to a sensor bears it out; a hand probe is let pass at 1 K. [K]"""
HAND_AFTER_S = 1800.0
"""House: a hand reading this long after the quarrel still speaks of it. [s]"""


@dataclass(frozen=True, slots=True)
class Disagreement:
    """Two sensors of one unit further apart than any room explains, for too long."""

    unit: str
    leads: str
    """Channel that leads the estimate."""
    other: str
    from_at: Instant
    until_at: Instant
    difference_c: float
    """The most by which the other is above (or below) the one that leads. [K]"""
    contradicted: str = ""
    """Channel that a hand reading speaks against; empty while none has."""


def disagreements(
    batch: Batch, kitchen: Kitchen, fetch: Fetch, until_at: Instant, *, difference_c: float, at_least_s: float
) -> tuple[Disagreement, ...]:
    """Return where sensors of the units that a batch stood in were apart by more than a difference for a time."""
    found = []
    for unit, from_at, to_at in _stays(batch, until_at):
        air = [a for a in kitchen.assignments_of(unit) if a.quantity is Quantity.AIR_TEMPERATURE and a.lot is None]
        channels = list(dict.fromkeys(a.channel for a in air))
        for other in channels[1:]:
            pair = channels[0], other
            for begin, end, apart_c in _apart(air, pair, fetch, (from_at, to_at), difference_c):
                if end - begin >= at_least_s:
                    one = Disagreement(unit, *pair, begin, end, round(apart_c, 1))
                    found.append(
                        replace(one, contradicted=_contradicted(one, air, kitchen, batch, fetch, difference_c))
                    )
    return tuple(found)


def _stays(batch: Batch, until_at: Instant) -> Iterable[tuple[str, Instant, Instant]]:
    """Yield each unit in which any tub stood, from its first arrival to its last leaving."""
    units = dict.fromkeys(p.unit for p in batch.placements if p.unit is not None)
    for unit in units:
        here = [p for p in batch.placements if p.unit == unit and p.from_at < until_at]
        if here:
            yield unit, min(p.from_at for p in here), max(min(p.until_at or until_at, until_at) for p in here)


def _read(
    air: Iterable[Assignment], channel: str, fetch: Fetch, from_at: Instant, until_at: Instant
) -> tuple[Array, Array]:
    times, values = [np.empty(0)], [np.empty(0)]
    for a in air:
        begin, end = max(from_at, a.from_at), min(until_at, a.until_at or until_at)
        if a.channel == channel and begin < end:
            at, value = corrected(fetch(channel, begin, end), a)
            times.append(at)
            values.append(value)
    return np.concatenate(times), np.concatenate(values)


def _medians(times: Array, values: Array) -> dict[int, float]:
    bins = (times // BIN_S).astype(np.int64)
    order = np.argsort(bins, kind="stable")
    bins, values = bins[order], values[order]
    first = np.flatnonzero(np.diff(bins, prepend=bins[0] - 1)) if bins.size else np.empty(0, dtype=np.int64)
    parts = np.split(values, first[1:]) if first.size else []
    return {int(bins[i]): float(np.median(part)) for i, part in zip(first, parts, strict=True)}


def _apart(
    air: Iterable[Assignment], pair: tuple[str, str], fetch: Fetch, span: tuple[Instant, Instant], difference_c: float
) -> Iterable[tuple[Instant, Instant, float]]:
    held = list(air)
    leads, other = (_medians(*_read(held, channel, fetch, *span)) for channel in pair)
    begin, end, most = None, 0, 0.0
    for at in sorted(leads.keys() & other.keys()):
        apart = other[at] - leads[at]
        goes_on = begin is not None and at - end <= 3
        if abs(apart) > difference_c and goes_on:
            end, most = at, max(most, apart, key=abs)
        elif abs(apart) > difference_c:
            if begin is not None:
                yield begin * BIN_S, (end + 1) * BIN_S, most
            begin, end, most = at, at, apart
        elif begin is not None:
            yield begin * BIN_S, (end + 1) * BIN_S, most
            begin = None
    if begin is not None:
        yield begin * BIN_S, (end + 1) * BIN_S, most


def _contradicted(
    one: Disagreement, air: Iterable[Assignment], kitchen: Kitchen, batch: Batch, fetch: Fetch, difference_c: float
) -> str:
    held = list(air)
    hands = [h for h in (*kitchen.unit_readings, *batch.hand_readings) if _speaks(h, one)]
    for hand in sorted(hands, key=lambda h: h.measured_at, reverse=True):
        near = {}
        for channel in (one.leads, one.other):
            _, values = _read(held, channel, fetch, hand.measured_at - BIN_S, hand.measured_at + BIN_S)
            if values.size:
                near[channel] = abs(float(np.median(values)) - hand.value)
        if len(near) == 2:
            wrong, right = max(near, key=lambda c: near[c]), min(near, key=lambda c: near[c])
            if near[right] <= AGREES_C and near[wrong] > difference_c - AGREES_C and near[wrong] > near[right]:
                return wrong
    return ""


def _speaks(hand: HandReading, one: Disagreement) -> bool:
    of_air = hand.measure == "temperature" and hand.where is Where.AIR and hand.unit in (None, one.unit)
    return of_air and one.from_at <= hand.measured_at <= one.until_at + HAND_AFTER_S


def without(kitchen: Kitchen, silenced: Iterable[tuple[str, Instant, Instant]]) -> Kitchen:
    """Return the kitchen as if these channels had been out of their place for these times: the others lead."""
    tests = tuple(UnderTest(channel, from_at, until_at) for channel, from_at, until_at in silenced)
    if not tests:
        return kitchen
    return replace(kitchen, assignments=by_checks(kitchen.said, kitchen.calibrations, (*kitchen.under_test, *tests)))

"""Cooling that has grown weaker than on the day before: it takes fewer and slower turns. Pure: no clock, no I/O.

A fan that turns slowly, a coil that ices over and a compressor that fails little by little all show long before meat
is in danger: the air falls more slowly, and so the turns become fewer. A busy hour makes them fewer but not slower, and
a quiet night slower but not fewer. It is looked at once an hour, and must show twice.
"""

from bisect import bisect_right
from collections.abc import Sequence
from typing import NamedTuple

from alerts.learned import Recent
from alerts.swings import Air, smoothed, swings_of
from collector.sample import Instant

HOUR_S = 3600.0
LATE_S, APART_S, SILENT_S = 4 * HOUR_S, 8 * HOUR_S, 1800.0
"""House: the last four hours are held against those of the day that are eight hours old or more. [s]"""
LEAST_BEFORE, LEAST_LATE, LEAST_HEARD = 8, 3, 0.75
"""House: so many turns must be known of each, and so much of the last hours heard."""
AS_HIGH, NO_HIGHER = 0.5, 1.7
"""House: what falls less or more than this, in shares of the usual, is no turn."""
SLOWER, FEWER = 0.7, 0.75
"""House, set on simulated nights: in 64 ordinary unit-months no two hours running were below both."""
BACK_SLOWER, BACK_FEWER = 0.85, 0.9
"""House: told already, it is over above either of these."""


class Turning(NamedTuple):
    """How the turns of the last hours compare with those of the day before, as shares."""

    quick: float
    often: float


def turning(record: Air, until_at: Instant) -> Turning | None:
    """Return how quickly and how often a unit cools in the hours before an instant; None where too little is known."""
    stop = bisect_right(record.times, until_at)
    air = Air(record.times[:stop], record.values[:stop])
    falls = [s for s in swings_of(air) if air.height(s) < 0]
    old = [s for s in falls if air.times[s.end] <= until_at - APART_S]
    if len(old) < LEAST_BEFORE:
        return None
    swing_c = sorted(-air.height(s) for s in old)[len(old) // 2]
    turns = [s for s in falls if AS_HIGH * swing_c <= -air.height(s) <= NO_HIGHER * swing_c]
    before = sorted(air.quickest(s) for s in turns if air.times[s.end] <= until_at - APART_S)
    late = sorted(air.quickest(s) for s in turns if air.times[s.end] >= until_at - LATE_S)
    heard_s = air.heard_s(until_at - LATE_S, SILENT_S)
    before_s = Air(air.times[: bisect_right(air.times, until_at - APART_S)], ()).heard_s(0.0, SILENT_S)
    if len(before) < LEAST_BEFORE or len(late) < LEAST_LATE or heard_s < LEAST_HEARD * LATE_S:
        return None
    often = (len(late) / heard_s) / (len(before) / before_s)
    return Turning(late[(3 * len(late)) // 4] / before[len(before) // 2], often)


def looked_at(recent: Recent) -> tuple[Turning | None, Turning | None]:
    """Return how the unit cooled at the last full hour and one before it."""
    hour_at = recent.times[-1] // HOUR_S * HOUR_S
    record = smoothed(recent)
    return turning(record, hour_at), turning(record, hour_at - HOUR_S)


def is_weak(seen: Sequence[Turning | None], *, stands: bool) -> bool:
    """Return whether a unit cools in fewer and slower turns than on the day before, given its last two looks.

    Told already, it stands while nothing is known of turns: a unit that no longer cools at all has none.
    """
    if stands:
        return seen[0] is None or (seen[0].quick < BACK_SLOWER and seen[0].often < BACK_FEWER)
    return all(t is not None and t.quick < SLOWER and t.often < FEWER for t in seen)

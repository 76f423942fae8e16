"""Excursions that only late readings have told of, and when they were learned.

Until then the time was unknown, or known to be cold; what an unknown stretch may have been is judged by its bound
(rules e-6) and is no excursion. Pure: no clock, no I/O.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from alerts.case import NOISE_C, case_of
from alerts.cold_record import excursions
from alerts.history import BatchHistory, TubHistory
from alerts.judgement import confirmed_rows
from alerts.rulebook.book import Rulebook
from alerts.rulebook.site_limits import with_site_limits
from alerts.science.exposure import Stretch
from alerts.surroundings import Fetch
from alerts.trace import batch_history
from collector.batches import Batch
from collector.kitchen import Kitchen
from collector.sample import Instant
from collector.storage import Series

LATE_S = 900.0
"""House (rules e-6): what is received so long after it was measured said nothing of then in time. [s]"""
TIME_CONSTANTS = 6.0
"""How far before an excursion a late reading may have changed it."""

KnownBy = Callable[[Instant], Mapping[str, Sequence[Stretch]]]
"""Excursions by tub, as they were known when everything up to an instant had arrived."""


@dataclass(frozen=True, slots=True)
class Learned:
    """An excursion, or a part of one, that was in no reading when it happened."""

    tub: str
    excursion: Stretch
    """The peak is that of the whole."""
    learned_at: Instant
    """When the readings had arrived by which it is known."""


def learned_late(
    batch: Batch, history: BatchHistory, kitchen: Kitchen, book: Rulebook, fetch: Fetch, now: Instant
) -> tuple[Learned, ...]:
    """Return the excursions of a batch that only late readings have told of, tub by tub."""
    book = with_site_limits(book, kitchen.site_limits)
    shortest_s = book.scaled("excursion.shortest")

    @cache
    def known_by(arrived_at: Instant) -> Mapping[str, Sequence[Stretch]]:
        seen = batch_history(batch, kitchen, lambda *asked: _arrived(fetch(*asked), arrived_at), now)
        return {} if seen is None else {tub.tub: _known_stretches(seen, tub, kitchen, book, now) for tub in seen.tubs}

    found = []
    for tub in history.tubs:
        for one in _known_stretches(history, tub, kitchen, book, now):
            late = sorted(set(_late_arrivals(tub, one, fetch)))
            in_time = known_by(-np.inf).get(tub.tub, ()) if late else (one,)
            for part in _without(one, in_time, shortest_s):
                found.append(Learned(tub.tub, part, _learned_at(tub.tub, part, shortest_s, late, known_by)))
    return tuple(found)


def _without(one: Stretch, known: Sequence[Stretch], shortest_s: float) -> Iterator[Stretch]:
    """Yield the parts of a stretch that no known one covers, each long enough to be an excursion."""
    begin = one.from_at
    for from_at, until_at in [*((s.from_at, s.until_at) for s in known), (one.until_at, np.inf)]:
        end = min(from_at, one.until_at)
        if end - begin >= shortest_s - 1.0:
            yield Stretch(begin, end, one.peak_c)
        begin = max(begin, until_at)


def _known_stretches(
    history: BatchHistory, tub: TubHistory, kitchen: Kitchen, book: Rulebook, now: Instant
) -> list[Stretch]:
    """Return a tub's excursions as rule e-2 looks for them, in what is known: a bound is no excursion yet."""
    case = case_of(history, book, confirmed_rows(kitchen, book), now)
    shortest, join = book.scaled("excursion.shortest"), book.scaled("excursion.join")
    records = [run for piece in case.pieces(tub, "e-2") for run in piece.known()]
    return excursions(records, case.limit_c + NOISE_C, at_least_s=shortest, join_s=join)


def _arrived(series: Series, arrived_at: Instant) -> Series:
    """Return what was known by an instant, with whatever came in time."""
    known = (series.received_at <= arrived_at) | (series.received_at - series.measured_at <= LATE_S)
    return Series(series.measured_at[known], series.values[known], series.quality[known], series.received_at[known])


def _late_arrivals(tub: TubHistory, one: Stretch, fetch: Fetch) -> Iterator[Instant]:
    for channel in tub.channels:
        series = fetch(channel, one.from_at - TIME_CONSTANTS * tub.tau_s, one.until_at + 1.0)
        late = series.received_at[series.received_at - series.measured_at > LATE_S]
        yield from np.unique(late).tolist()


def _learned_at(tub: str, part: Stretch, shortest_s: float, late: Sequence[Instant], known_by: KnownBy) -> Instant:
    """Return the first late arrival by which a part was known."""
    low, high = 0, len(late) - 1
    while low < high:
        middle = (low + high) // 2
        found = known_by(late[middle]).get(tub, ())
        known = any(_overlap_s(part, other) >= shortest_s - 1.0 for other in found)
        low, high = (low, middle) if known else (middle + 1, high)
    return late[low]


def _overlap_s(one: Stretch, other: Stretch) -> float:
    return min(one.until_at, other.until_at) - max(one.from_at, other.from_at)

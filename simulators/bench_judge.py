"""How long judging one batch takes, beside one bare numpy pass with the same arithmetic."""

import math
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from alerts.case import case_of
from alerts.history import Array, BatchHistory
from alerts.judgement import judged
from alerts.rulebook.book import Rulebook
from alerts.rulebook.shelf import load
from alerts.rules_budget import applies
from alerts.science.heat import product_temperature
from alerts.science.salt import cure_rate_practice
from alerts.surroundings import Fetch
from alerts.trace import batch_history
from collector.kitchen import Kitchen
from collector.present import Present
from collector.readings import Reading
from collector.readings_sqlite import SqliteReadings
from collector.sample import Message
from collector.storage import Arrival, MemoryJournal, Series
from simulators.bench_kitchen import PreparedReadings, Size, air, drafts, probe, record
from simulators.bench_row import Row, Samples

DAYS = 30.0
REPEATS = 15
FROM_AT = 1_790_000_000.0
NODES = ((0.5 - math.sqrt(0.15), 5 / 18), (0.5, 8 / 18), (0.5 + math.sqrt(0.15), 5 / 18))
AT_MOST = 3.0
SIZE = Size(units=1, probed=True)
LOT = "u000-0"


@dataclass(frozen=True, slots=True)
class Bare:
    """What the bare pass needs of a rulebook: plain numbers."""

    lines_c: tuple[float, ...]
    degree_line_c: float
    bands_c: tuple[tuple[float, float], ...]
    ice_c: float
    rate: Callable[[Array], Array]


def kitchen_of(size: Size) -> Kitchen:
    """Return the kitchen as the journal makes it."""
    present = Present(MemoryJournal(), lambda: FROM_AT)
    present.decide(lambda kitchen: drafts(size, FROM_AT))
    return present.kitchen


def bare_numbers(history: BatchHistory, book: Rulebook, now: float) -> Bare:
    """Return the limits that the rules look at for this very batch."""
    case = case_of(history, book, frozenset(), now)
    bands = []
    for rule in book.rules:
        if rule.id.startswith("e-3 ") and applies(case, rule):
            for row in book.bands(rule):
                low = max(case.base_c, row.above_c or case.base_c)
                bands.append((low, math.inf if row.up_to_c is None else row.up_to_c))
    rate = partial(
        cure_rate_practice,
        stop_c=book.scaled("cure.stop"),
        full_c=book.scaled("cure.full"),
        activation_j_mol=book.scaled("cure.activation"),
    )
    lines = (case.limit_c, book.scaled("warm.line"))
    return Bare(lines, case.limit_c, tuple(bands), book.scaled("ice.line"), rate)


def bare_pass(bare: Bare, tubs: Sequence[tuple[Array, Array, float]]) -> float:
    """Return the sum of every measure, so that none of them can be left out."""
    found = 0.0
    for times, around_c, tau_s in tubs:
        temps = product_temperature(times, around_c, tau_s, 3.0)
        spans = np.diff(times)
        for line in (*bare.lines_c, bare.ice_c):
            above = temps > line
            found += np.flatnonzero(above[1:] != above[:-1]).size
        over = np.maximum(temps - bare.degree_line_c, 0.0)
        found += float(np.sum((over[1:] + over[:-1]) * spans)) / 2
        coldest = min(low for low, _ in bare.bands_c)
        warm = temps > coldest
        warm_c, warm_s = temps[:-1][warm[1:]], spans[warm[1:]]
        for low, high in bare.bands_c:
            found += float(np.sum(warm_s[(warm_c > low) & (warm_c <= high)]))
        rise = np.diff(temps)
        found += sum(weight * float(np.sum(bare.rate(temps[:-1] + node * rise) * spans)) for node, weight in NODES)
    return found


def in_turns(*works: Callable[[], object], repeats: int = REPEATS) -> tuple[Samples, ...]:
    """Return how long each of several things takes, warm; in turns, so that memory and caches meet all alike. [ms]"""
    taken: tuple[list[float], ...] = tuple([] for _ in works)
    for turn in range(repeats + 1):
        for work, found in zip(works, taken, strict=True):
            begun = time.perf_counter()
            work()
            if turn:
                found.append((time.perf_counter() - begun) * 1e3)
    return tuple(Samples(tuple(found), "ms") for found in taken)


def judge(folder: Path, scale: float) -> Iterator[Row]:
    """Measure one batch over 30 days of two channels: the air of its unit, and a probe in one of its two tubs."""
    days = max(DAYS * scale, 0.2)
    past = record(FROM_AT, days)
    readings = PreparedReadings(prepared={air(0): past, probe(0): past})
    kitchen, book, now = kitchen_of(SIZE), load("US"), FROM_AT + days * 86_400.0

    def once(fetch: Fetch) -> object:
        return judged(kitchen, LOT, fetch, book, now, "bench")

    history = batch_history(kitchen.batches[LOT], kitchen, readings.series, now)
    assert history is not None
    bare = bare_numbers(history, book, now)
    tubs = [(past.measured_at, past.values, tau_s) for tau_s in (history.tubs[0].tau_s, 1.0)]
    yardstick, measured, traced = in_turns(
        lambda: bare_pass(bare, tubs),
        lambda: once(readings.series),
        lambda: batch_history(kitchen.batches[LOT], kitchen, readings.series, now),
    )
    ratio = measured.median / yardstick.median
    stored = _stored(folder, past)
    try:
        read, whole = in_turns(
            lambda: [stored.series(name, FROM_AT, now) for name in (air(0), probe(0))],
            lambda: once(stored.series),
            repeats=5,
        )
    finally:
        stored.close()
    yield Row(
        f"judge one batch, {days:.0f} d",
        str(measured),
        str(yardstick),
        ratio,
        f"at most {AT_MOST:g} times",
        ratio <= AT_MOST,
        (
            f"one a minute, two channels, two tubs: 2 x {past.values.size:,} points, arrays in memory; of it the "
            f"estimate takes {traced}",
            "yardstick: one bare numpy pass, filter as a blocked scan, each measure of the rules once, nothing checked",
            f"beside it: both channels read from SQLite {read}; judged from SQLite {whole}",
        ),
    )


def _stored(folder: Path, past: Series) -> SqliteReadings:
    store = SqliteReadings(folder / "judge.sqlite")
    group: list[Arrival] = []
    for at, value, received in zip(
        past.measured_at.tolist(), past.values.tolist(), past.received_at.tolist(), strict=True
    ):
        for name in (air(0), probe(0)):
            reading = Reading(name, at, value, "Cel", received, at)
            group.append(Arrival(Message(name, b"", received), (reading,)))
        if len(group) >= 2_000:
            store.append(group)
            group = []
    if group:
        store.append(group)
    return store

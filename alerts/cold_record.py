"""Those parts of a tub's record that a rule looks at, and what is known of them. Pure: no clock, no I/O."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from alerts.history import Array, TubHistory
from alerts.science.exposure import Stretch, stretches_above
from collector.batches import Batch, Stage
from collector.sample import Instant


@dataclass(frozen=True, slots=True)
class Piece:
    """An unbroken part of one tub's record, in points as `TubHistory` has them."""

    times_at: Array
    likely_c: Array
    held_c: Array
    clock_c: Array
    unknown: npt.NDArray[np.bool_]

    @property
    def has_unknown(self) -> bool:
        """Return whether anything in it is unknown."""
        return bool(self.unknown.any())

    @property
    def held(self) -> tuple[Array, Array]:
        """Return instants and the temperatures that a hold looks at. [s since 1970 UTC], [°C]"""
        return self.times_at, self.held_c

    def known(self) -> Iterator[tuple[Array, Array]]:
        """Yield each run of instants and likely temperatures without unknown time. [s since 1970 UTC], [°C]"""
        if not self.has_unknown:
            yield self.times_at, self.likely_c
            return
        known = np.concatenate(([False], ~self.unknown, [False]))
        edges = np.flatnonzero(known[1:] != known[:-1])
        for first, after in zip(edges[::2], edges[1::2], strict=True):
            if after - first >= 2:
                yield self.times_at[first:after], self.likely_c[first:after]


def between(tub: TubHistory, from_at: Instant, until_at: Instant) -> Piece | None:
    """Return the record between two instants, cut on straight lines between points; None where nothing is left."""
    times = tub.times_at
    first = int(np.searchsorted(times, from_at, side="right")) - 1
    after = int(np.searchsorted(times, until_at, side="left"))
    first, last = max(first, 0), min(after, times.size - 1)
    if last <= first or until_at <= times[0] or from_at >= times[-1]:
        return None
    part = slice(first, last + 1)
    cut = times[part]
    ends = max(from_at, float(cut[0])), min(until_at, float(cut[-1]))
    unknown = tub.unknown[part]
    columns = (tub.likely_c[part], tub.held_c()[part], tub.clock_c()[part])
    if ends == (cut[0], cut[-1]):
        return Piece(cut, *columns, unknown)
    # A point inside a segment is as unknown as the segment: either end of it decides.
    flags = unknown.copy()
    flags[0] |= ends[0] > cut[0] and unknown[1]
    flags[-1] |= ends[1] < cut[-1] and unknown[-2]
    moved = cut.copy()
    moved[0], moved[-1] = ends
    likely, held, clock = (_cut(cut, column, ends) for column in columns)
    return Piece(moved, likely, held, clock, flags)


def _cut(times: Array, temps: Array, ends: tuple[float, float]) -> Array:
    moved = temps.copy()
    for at, inner, end in ((0, 1, ends[0]), (-1, -2, ends[1])):
        span = times[inner] - times[at]
        if span != 0 and end != times[at]:
            moved[at] = temps[at] + (temps[inner] - temps[at]) * ((end - times[at]) / span)
    return moved


@dataclass(frozen=True, slots=True)
class InWindow:
    """A batch was in a stage that may be warm, within a window that somebody stands for (half-open)."""

    stage: Stage
    from_at: Instant
    until_at: Instant
    """Infinity while the stage goes on."""
    lowest_c: float
    """Minus infinity where the window is open below. [°C]"""
    highest_c: float
    """Infinity where it is open above. [°C]"""
    ends_at: Instant
    """From here on the stage has lasted longer than it may."""
    source: str
    rows: tuple[str, ...] = ()
    """Ids of the rulebook rows it is made of; none for a window of the plan's own."""


def inside(tub: TubHistory, window: InWindow, margin_c: float) -> list[tuple[Instant, Instant]]:
    """Return the stretches of a stage in which the product was no warmer than its window, and not too long in it.

    Colder than the window is inside here: it harms nothing that warmth inside it would not harm more.
    """
    piece = between(tub, window.from_at, min(window.until_at, window.ends_at))
    if piece is None:
        return []
    over = stretches_above(*piece.held, window.highest_c + margin_c, at_least_s=0.0, join_s=0.0)
    found, begin = [], float(piece.times_at[0])
    for stretch in over:
        if begin < stretch.from_at:
            found.append((begin, stretch.from_at))
        begin = stretch.until_at
    if begin < float(piece.times_at[-1]):
        found.append((begin, float(piece.times_at[-1])))
    return found


def pieces(
    tub: TubHistory,
    batch: Batch,
    stages: Iterable[Stage],
    from_at: Instant,
    until_at: Instant,
    windows: Sequence[InWindow] = (),
    margin_c: float = 0.0,
) -> tuple[Piece, ...]:
    """Return the parts of the record between two instants that fall in some stages, or in none at all.

    Time that no stage claims is judged with the rest: what nobody has said is no reason to look away. A stage with a
    window is judged where the product was above it by more than a margin, or longer in it than it may be.
    """
    judged = frozenset(stages)
    windowed = {window.from_at for window in windows}
    left_out = sorted(
        [
            (span.from_at, np.inf if span.until_at is None else span.until_at)
            for span in batch.stages
            if span.stage not in judged and span.from_at not in windowed
        ]
        + [stretch for window in windows for stretch in inside(tub, window, margin_c)]
    )
    found, begin = [], from_at
    for out_from, out_until in [*left_out, (until_at, np.inf)]:
        piece = between(tub, begin, min(out_from, until_at)) if begin < out_from else None
        if piece is not None:
            found.append(piece)
        begin = max(begin, out_until)
    return tuple(found)


def excursions(
    records: Iterable[tuple[Array, Array]], limit_c: float, *, at_least_s: float, join_s: float
) -> list[Stretch]:
    """Return the stretches above a limit over several records in order of time. [s since 1970 UTC], [°C]

    Within a record as `stretches_above`; those of neighbouring records join by the same distance.
    """
    joined: list[Stretch] = []
    for times, temps in records:
        for found in stretches_above(times, temps, limit_c, at_least_s=at_least_s, join_s=join_s):
            if joined and found.from_at - joined[-1].until_at < join_s:
                last = joined.pop()
                found = Stretch(last.from_at, found.until_at, max(last.peak_c, found.peak_c))
            joined.append(found)
    return joined


def warm_points(times: Array, temps: Array, above_c: float) -> tuple[Array, Array]:
    """Return the points that bound time above a temperature; a line between two that are not is never above it."""
    warm = temps > above_c
    kept = warm.copy()
    kept[1:] |= warm[:-1]
    kept[:-1] |= warm[1:]
    return times[kept], temps[kept]


def reached_at(
    records: Iterable[tuple[Array, Array]], measure: Callable[[Array, Array], float], threshold: float
) -> Instant | None:
    """Return the first point at which a sum over records came to a threshold, both at two decimals; None if never.

    `measure` is what a record adds; it never falls when the record goes on.
    """
    before = 0.0
    for times, temps in records:
        if times.size < 2:
            continue
        after = before + measure(times, temps)
        if round(after, 2) >= threshold:
            low, high = 1, times.size - 1
            while low < high:
                middle = (low + high) // 2
                part = measure(times[: middle + 1], temps[: middle + 1])
                low, high = (low, middle) if round(before + part, 2) >= threshold else (middle + 1, high)
            return float(times[low])
        before = after
    return None


def unknown_s(tub: TubHistory, from_at: Instant, until_at: Instant) -> float:
    """Return the time between two instants for which nothing trustworthy is known, echoes of gaps included. [s]"""
    if not tub.unknown.any():
        return 0.0
    piece = between(tub, from_at, until_at)
    if piece is None:
        return 0.0
    return float(np.diff(piece.times_at)[piece.unknown[:-1] | piece.unknown[1:]].sum())

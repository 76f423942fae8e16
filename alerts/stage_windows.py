"""Which stage of a batch may be warm, within which window, and who stands for it. Pure: no clock, no I/O."""

import math
from collections.abc import Iterator

from alerts.cold_record import InWindow
from alerts.rulebook.book import Rulebook, Window
from collector.batches import Batch, Method, Plan, Stage, StageSpan
from collector.sample import Instant

MAY_BE_WARM = (Stage.REST, Stage.SMOKE, Stage.DRY, Stage.COOK, Stage.COOL)
"""Stages that a window may be given to; the others are cold whatever a plan says."""
DRY = (Method.DRY_BY_WEIGHT, Method.DRY_IN_EXCESS)
CURING = (Stage.CURE, Stage.REST)


def windows_of(batch: Batch, book: Rulebook, confirmed: frozenset[str], until_at: Instant) -> tuple[InWindow, ...]:
    """Return the windows of a batch's stages, one for each stretch that has one; the plan's own goes first."""
    found: list[InWindow] = []
    used = dict.fromkeys(MAY_BE_WARM, 0.0)
    for span in sorted(batch.stages, key=lambda span: span.from_at):
        if span.stage not in used or span.from_at >= until_at:
            continue
        window = _by_plan(batch.plan, span, used[span.stage]) or _published(batch, span, book, confirmed)
        if window is not None:
            found.append(window)
            used[span.stage] += min(window.until_at, until_at) - span.from_at
    return tuple(found)


def _until(span: StageSpan) -> Instant:
    return math.inf if span.until_at is None else span.until_at


def _by_plan(plan: Plan, span: StageSpan, used_s: float) -> InWindow | None:
    """Return the plan's window of a stage; what earlier stretches of the stage have used of its time is gone."""
    for window in plan.windows:
        if window.stage is span.stage and window.source.strip():
            ends_at = span.from_at + max(window.longest_s - used_s, 0.0)
            bounds = window.lowest_c, window.highest_c
            return InWindow(span.stage, span.from_at, _until(span), *bounds, ends_at, window.source.strip())
    return None


def _published(batch: Batch, span: StageSpan, book: Rulebook, confirmed: frozenset[str]) -> InWindow | None:
    for window in _fitting(batch, span, book, confirmed):
        lowest_c = -math.inf if window.coolest is None else book.scaled(window.coolest)
        highest_c = math.inf if window.warmest is None else book.scaled(window.warmest)
        rows = tuple(row for row in (window.coolest, window.warmest, window.after) if row is not None)
        source = "; ".join(dict.fromkeys(book.limits[row].source for row in rows))
        return InWindow(
            span.stage, span.from_at, _until(span), lowest_c, highest_c, math.inf, f"{source}: {window.words}", rows
        )  # fmt: skip
    return None


def _fitting(batch: Batch, span: StageSpan, book: Rulebook, confirmed: frozenset[str]) -> Iterator[Window]:
    """Yield the published windows that a stage of this batch may stand in.

    Those that are held are for whole dry-cured cuts: neither immersed nor injected. The first part of a window's id
    names its cut. A row from memory excuses no warmth before a named person has compared it with the document.
    """
    plan = batch.plan
    if plan.method not in DRY:
        return
    said = f"{plan.cut} {plan.name}".casefold()
    for window in book.windows.values():
        rows = [book.limits[row] for row in (window.coolest, window.warmest, window.after) if row is not None]
        known = all(row.known != "memory" or row.id in confirmed for row in rows)
        fits = span.stage in window.stages and plan.meat in (window.meats or (plan.meat,))
        named = window.id.partition(".")[0] in said
        if fits and named and known and _cured_for_s(batch, span) >= _needed_s(book, window):
            yield window


def _needed_s(book: Rulebook, window: Window) -> float:
    return 0.0 if window.after is None else book.scaled(window.after)


def _cured_for_s(batch: Batch, span: StageSpan) -> float:
    """Return how long the batch had cured and equalised before a stage began, to the minute. [s]"""
    spans = [one for one in batch.stages if one.stage in CURING and one.from_at < span.from_at]
    total = sum(min(_until(one), span.from_at) - one.from_at for one in spans)
    return round(total / 60.0) * 60.0

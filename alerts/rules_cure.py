"""Rule e-5: curing time that did not count because it was too cold, and ice. Pure: no clock, no I/O."""

import math
from dataclasses import dataclass
from functools import partial

from alerts.case import NOISE_C, Case, Judged, evidence_of, finding, minutes, outcome_of, worst
from alerts.checks import next_check
from alerts.cold_record import between, excursions
from alerts.history import Array, TubHistory
from alerts.science.salt import cure_clock, cure_rate_practice
from collector.batches import Packing, Stage
from collector.findings import Evidence, Finding, Parameters, Tier
from collector.sample import Instant

MEASURE = "curing time still to be added"


def cure_closed_at(case: Case) -> Instant | None:
    """Return when the batch left the cure for good; None while it is curing, or never was said to be."""
    spans = [span for span in case.history.batch.stages if span.stage is Stage.CURE]
    ends = [span.until_at for span in spans if span.until_at is not None]
    return max(ends) if spans and len(ends) == len(spans) else None


def longest_cure_s(case: Case) -> float:
    """Return the longest cure that is proposed without a person. [s]"""
    plan = case.history.batch.plan
    longest = plan.cure_s * case.book.scaled("cure.longest")
    return min(longest, case.book.scaled("sealed.longest")) if plan.packing is Packing.SEALED else longest


@dataclass(frozen=True, slots=True)
class _Clock:
    """How much of one tub's cure did not count. [s]"""

    begun_at: Instant
    until_at: Instant
    lost_s: float
    likely_lost_s: float
    unknown: bool


def _clock(case: Case, tub: TubHistory, until_at: Instant) -> _Clock | None:
    history, book = case.history, case.book
    placed = min(p.from_at for p in history.batch.placements if p.tub == tub.tub)
    begun = max(history.batch.started_at, placed)
    if begun >= until_at:
        return None
    piece = between(tub, begun, until_at)
    stop, full = book.scaled("cure.stop") + NOISE_C, book.scaled("cure.full") - NOISE_C
    rate = partial(
        cure_rate_practice,
        published_days=history.batch.plan.published_days,
        stop_c=stop,
        full_c=full,
        activation_j_mol=book.scaled("cure.activation"),
    )

    def lost(temps: Array | None, times: Array | None) -> float:
        if temps is None or times is None:
            return until_at - begun
        return max(until_at - begun - cure_clock(times, temps, rate, breaks_c=(stop, full)), 0.0)

    if piece is None:
        return _Clock(begun, until_at, until_at - begun, 0.0, True)
    lost_s = lost(piece.clock_c, piece.times_at)
    # Where all is known the clock looks at the likely copy already, and one count serves for both.
    likely_lost_s = lost(piece.likely_c, piece.times_at) if piece.has_unknown else lost_s
    return _Clock(begun, until_at, lost_s, likely_lost_s, piece.has_unknown)


def _slack_minutes(case: Case) -> int:
    """Return the smallest loss that asks for anything: none at all under published days. [min]"""
    plan, book = case.history.batch.plan, case.book
    if plan.published_days:
        return 1
    return minutes(max(book.scaled("cure.slack"), book.scaled("cure.slack_share") * plan.cure_s))


def judge_cure(case: Case) -> Finding | None:
    """Return the finding of rule e-5; None before the cure has begun."""
    history = case.history
    closed = cure_closed_at(case)
    until_at = min(case.until_at, history.cure_end_at, math.inf if closed is None else closed)
    # What a signed extension has already given is not asked for again.
    given_s = max(0.0, history.cure_end_at - history.batch.planned_end_at)
    slack = _slack_minutes(case)
    results, clocks = [], {}
    for tub in history.tubs:
        clock = _clock(case, tub, until_at)
        if clock is None:
            continue
        missing, likely = (minutes(max(s - given_s, 0.0)) for s in (clock.lost_s, clock.likely_lost_s))
        tier, known = (Tier.EXTEND if short >= slack else Tier.NONE for short in (missing, likely))
        clocks[tub.tub] = clock
        results.append(Judged(tub, tier, known, clock.unknown, float(missing), clock.begun_at, clock.until_at))
    result = worst(results)
    if result is None:
        return None
    return _found(case, result, results, clocks[result.tub.tub], closed is not None)


def _found(case: Case, result: Judged, results: list[Judged], clock: _Clock, closed: bool) -> Finding:
    history, slack = case.history, _slack_minutes(case)
    outcome = outcome_of(case, results)
    add_s = result.value * 60 if result.tier is Tier.EXTEND and not closed else 0.0
    new_end = next_check(history.site.checks, history.site.zone, history.cure_end_at + add_s) if add_s else None
    over_long = new_end is not None and new_end > clock.begun_at + longest_cure_s(case)
    tier, sentence = result.tier, f"e-5 {outcome.value.replace('_', ' ')}"
    rows: tuple[str, ...] = ("cure.stop", "cure.full")
    if result.tier is Tier.EXTEND:
        sentence = "e-5 extend"
        rows += () if history.batch.plan.published_days else ("cure.slack", "cure.slack_share")
    if over_long:
        tier, sentence = Tier.HOLD, "e-5 over long"
        sealed = history.batch.plan.packing is Packing.SEALED
        rows = (*rows, "cure.longest", *(("sealed.longest",) if sealed else ()))
    if closed and result.tier is Tier.EXTEND:
        tier, sentence = Tier.RECORDED, "e-5 ended short"
    parameters: Parameters = {
        "tub": result.tub.tub,
        "lost_minutes": minutes(clock.lost_s),
        "add_minutes": result.value if result.tier is Tier.EXTEND else 0.0,
        "lowest_c": _lowest(result),
        "new_end_at": new_end,
        "due_at": round(clock.until_at) if over_long else None,
        "published_days": int(history.batch.plan.published_days),
        "stop_c": case.book.scaled("cure.full" if history.batch.plan.published_days else "cure.stop"),
    }
    evidence = evidence_of(result, measure=MEASURE, unit="min", threshold=slack)
    return finding(case, "e-5", (outcome, tier, sentence), evidence, rows, parameters, add_s=add_s)


def _lowest(result: Judged) -> float | None:
    piece = between(result.tub, result.from_at, result.until_at)
    return None if piece is None else round(float(piece.clock_c.min()), 1)


def judge_ice(case: Case) -> Finding | None:
    """Return the finding that asks to look for ice; None where the product was never so cold for so long."""
    line, long_minutes = case.book.scaled("ice.line"), minutes(case.book.scaled("ice.time"))
    results, lowest = [], {}
    for tub in case.history.tubs:
        # Upside down, so that "at or below the line" becomes "above": the line itself counts.
        parts = case.pieces(tub, "e-5 ice")
        turned = [(piece.times_at, -piece.likely_c) for piece in parts]
        cold = excursions(turned, -line - NOISE_C, at_least_s=0.0, join_s=0.0)
        longest = max(cold, key=lambda s: s.until_at - s.from_at, default=None)
        if longest is not None and minutes(longest.until_at - longest.from_at) >= long_minutes:
            unknown = any(piece.has_unknown for piece in parts)
            span = float(minutes(longest.until_at - longest.from_at)), longest.from_at, longest.until_at
            results.append(Judged(tub, Tier.RECORDED, Tier.RECORDED, unknown, *span))
            lowest[tub.tub] = -longest.peak_c
    result = worst(results)
    if result is None:
        return None
    evidence: Evidence = evidence_of(result, measure="longest stretch at or below", unit="min", threshold=long_minutes)
    parameters: Parameters = {
        "tub": result.tub.tub,
        "minutes": result.value,
        "line_c": line,
        "lowest_c": round(lowest[result.tub.tub], 1),
    }
    said = outcome_of(case, results), Tier.RECORDED, "e-5 ice"
    return finding(case, "e-5 ice", said, evidence, ("ice.line", "ice.time"), parameters)

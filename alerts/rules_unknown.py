"""Rule e-6: time for which nothing trustworthy is known. Pure: no clock, no I/O."""

from collections.abc import Sequence

from alerts.case import Case, finding, minutes
from alerts.cold_record import between, unknown_s
from alerts.history import TubHistory
from alerts.science.exposure import time_above
from collector.findings import Evidence, Finding, Outcome, Parameters, Tier

JUDGED_BY_BOUND = ("e-2", "e-3", "e-4")
"""Rules that judge unknown time at its upper bound."""
MEASURE = "time for which nothing trustworthy is known"


def judge_unknown(case: Case, others: Sequence[Finding]) -> tuple[Finding, ...]:
    """Return the findings of rule e-6, given what e-2, e-3 and e-4 have said: none where everything is known.

    The gap itself is recorded. It holds only where the upper bound made one of them hold, and never rejects.
    """
    found = []
    if case.holes or not case.history.tubs:
        found.append(_no_record(case))
    gapped = [(tub, s) for tub in case.history.tubs if (s := _unknown(case, tub)) > 0]
    if gapped:
        found.append(_bounded(case, max(gapped, key=lambda pair: pair[1])[0], others))
    return tuple(found)


def _unknown(case: Case, tub: TubHistory) -> float:
    gaps = sum(max(0.0, min(gap.until_at, case.until_at) - gap.from_at) for gap in tub.gaps)
    return max(gaps, unknown_s(tub, float(tub.times_at[0]), case.until_at))


def _no_record(case: Case) -> Finding:
    begun, shortest = case.history.batch.started_at, case.book.scaled("gap.shortest")
    from_at = min((hole.from_at for hole in case.holes), default=begun)
    until_at = max((hole.until_at for hole in case.holes), default=case.until_at)
    # A batch made a moment ago has had no chance to be read; a hold would say more than is known.
    tier = Tier.HOLD if until_at - from_at > shortest else Tier.RECORDED
    span = minutes(until_at - from_at)
    parameters: Parameters = {
        "tub": ", ".join(dict.fromkeys(hole.tub for hole in case.holes)) or ", ".join(case.history.batch.tubs),
        "minutes": span,
        "due_at": round(from_at + shortest) if tier is Tier.HOLD else None,
    }
    evidence = Evidence(from_at, until_at, (), 0, until_at - from_at, MEASURE, span, "min", None)
    said = Outcome.CANNOT_TELL, tier, "e-6 no record"
    return finding(case, "e-6", said, evidence, ("gap.shortest",), parameters)


def _bounded(case: Case, tub: TubHistory, others: Sequence[Finding]) -> Finding:
    by_bound = [
        f
        for f in others
        if f.rule.split()[0] in JUDGED_BY_BOUND and f.outcome is Outcome.CANNOT_TELL and f.tier is Tier.HOLD
    ]
    begun = float(tub.times_at[0])
    gaps = [gap for gap in tub.gaps if gap.from_at < case.until_at]
    flagged = tub.times_at[tub.unknown & (tub.times_at <= case.until_at)]
    from_at = min([gap.from_at for gap in gaps] + ([float(flagged[0])] if flagged.size else []), default=begun)
    until_at = max([gap.until_at for gap in gaps] + ([float(flagged[-1])] if flagged.size else []), default=begun)
    until_at = min(until_at, case.until_at)
    piece = between(tub, from_at, until_at)
    gap_s = sum(min(gap.until_at, case.until_at) - gap.from_at for gap in gaps)
    # A segment counts as unknown by either end; what lies outside the evidence is not counted here.
    value = minutes(max(gap_s, unknown_s(tub, from_at, until_at)))
    parameters: Parameters = {
        "tub": tub.tub,
        "minutes": minutes(gap_s),
        "unknown_minutes": value,
        "gaps": len(gaps),
        "cause": "; ".join(dict.fromkeys(gap.cause for gap in gaps)),
        "limit_c": case.limit_c,
        "bound_c": None if piece is None else round(float(piece.held_c.max()), 1),
        "above_minutes": 0 if piece is None else minutes(time_above(*piece.held, case.limit_c)),
        "rules": ", ".join(f.rule for f in by_bound),
        "due_at": min((d for f in by_bound if isinstance(d := f.parameters.get("due_at"), int | float)), default=None),
    }
    tier = Tier.HOLD if by_bound else Tier.RECORDED
    evidence = Evidence(
        round(from_at, 3),
        round(until_at, 3),
        tub.channels,
        tub.readings,
        float(value * 60),
        MEASURE,
        value,
        "min",
        None,
    )
    said = Outcome.CANNOT_TELL, tier, "e-6 hold" if by_bound else "e-6 gap"
    return finding(case, "e-6", said, evidence, ("gap.intervals", "gap.shortest"), parameters)

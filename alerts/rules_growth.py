"""Rule e-4: growth beyond what the limit itself would have allowed, organism by organism. Pure: no clock, no I/O."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from alerts.case import NOISE_C, Case, Judged, evidence_of, finding, outcome_of, rank, worst
from alerts.cold_record import Piece, reached_at, warm_points
from alerts.history import Array, TubHistory
from alerts.rulebook.book import Rule
from alerts.rulebook.curves import CURVES, Curve
from alerts.science.growth import excess_log10
from collector.findings import Evidence, Finding, Outcome, Parameters, Tier
from collector.sample import Instant

UNIT = "log10"
Records = Iterable[tuple[Array, Array]]


@dataclass(frozen=True, slots=True)
class _Tub:
    judged: Judged
    pieces: tuple[Piece, ...]


class _Growth:
    """The growth of one organism in one batch, and the row from which it holds."""

    def __init__(self, case: Case, rule: Rule, curve: Curve, hold: str) -> None:
        self.case, self.rule, self.curve, self.hold = case, rule, curve, hold
        self.threshold = case.book.scaled(hold)

    def warm(self, records: Records) -> Iterable[tuple[Array, Array]]:
        """Yield what of each record bounds time above the limit: nothing else can add to the excess."""
        for times, temps in records:
            found = warm_points(times, temps, self.case.limit_c + NOISE_C)
            if found[0].size >= 2:
                yield found

    def excess(self, times: Array, temps: Array) -> float:
        """Return the growth in a record beyond that at the limit of the stage. [log10]"""
        return excess_log10(times, temps, self.curve.rate, self.case.limit_c)

    def grown(self, records: Records) -> float:
        """Return the excess as it is printed and compared: two decimals. [log10]"""
        return round(math.fsum(self.excess(*record) for record in self.warm(records)), 2)

    def tier(self, grown: float) -> Tier:
        """Return what an excess leads to: a hold, and never more."""
        return Tier.HOLD if grown >= self.threshold else Tier.NONE

    def judged(self, tub: TubHistory) -> _Tub:
        parts = self.case.pieces(tub, self.rule.id)
        unknown = any(piece.has_unknown for piece in parts)
        grown = self.grown(piece.held for piece in parts)
        tier = known = self.tier(grown)
        if unknown and tier is not Tier.NONE:
            known = self.tier(self.grown(run for piece in parts for run in piece.known()))
        span = float(tub.times_at[0]), self.case.until_at
        return _Tub(Judged(tub, tier, known, unknown, grown, *span), parts)

    def due_at(self, tub: _Tub) -> Instant:
        """Return the point of the record at which the hold became due. [s since 1970 UTC]"""
        records = self.warm(piece.held for piece in tub.pieces)
        at = reached_at(records, self.excess, self.threshold)
        return self.case.until_at if at is None else at


def judge_growth(case: Case) -> tuple[Finding, ...]:
    """Return one finding of rule e-4 for each organism that is judged on the batch's route."""
    found = []
    for rule in case.book.rules:
        tiers = rule.tiers_on(case.history.batch.plan.route)
        if rule.id in CURVES and tiers is not None and tiers.hold is not None:
            found.append(_judge(_Growth(case, rule, CURVES[rule.id], tiers.hold)))
    return tuple(found)


def _judge(growth: _Growth) -> Finding:
    case, rule = growth.case, growth.rule
    tubs = [growth.judged(tub) for tub in case.history.tubs]
    result = worst(tub.judged for tub in tubs)
    outcome = outcome_of(case, [tub.judged for tub in tubs])
    rows: tuple[str, ...] = ("cold.limit", growth.curve.row)
    if result is None:
        begun = case.history.batch.started_at
        nothing = Evidence(begun, case.until_at, (), 0, case.until_at - begun, rule.measure, None, UNIT, None)
        return finding(case, rule.id, (outcome, Tier.NONE, "e-4 nothing read"), nothing, rows, {"hazard": rule.name})
    chosen = next(tub for tub in tubs if tub.judged is result)
    if result.tier is Tier.HOLD:
        rows += (growth.hold,)
    evidence = evidence_of(result, measure=rule.measure, unit=UNIT, threshold=growth.threshold)
    said = outcome, result.tier, _sentence(outcome, result.tier)
    return finding(case, rule.id, said, evidence, rows, _parameters(growth, chosen))


def _sentence(outcome: Outcome, tier: Tier) -> str:
    return f"e-4 {tier.value if rank(tier) else outcome.value.replace('_', ' ')}"


def _parameters(growth: _Growth, tub: _Tub) -> Parameters:
    result, factor = tub.judged, growth.case.book.scaled("growth.factor")
    return {
        "tub": result.tub.tub,
        "hazard": growth.rule.name,
        "growth": result.value,
        # Printed, and never compared with anything: published rates differ by more than this.
        "growth_low": round(result.value / factor, 2),
        "growth_high": round(result.value * factor, 2),
        "factor": factor,
        "threshold": growth.threshold,
        "limit_c": growth.case.limit_c,
        "due_at": round(growth.due_at(tub)) if result.tier is Tier.HOLD else None,
    }

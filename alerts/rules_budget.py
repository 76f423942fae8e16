"""Rule e-3: shares of the published times that a batch has used, hazard by hazard. Pure: no clock, no I/O."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from alerts.case import NOISE_C, Case, Judged, evidence_of, finding, outcome_of, rank, worst
from alerts.cold_record import Piece, reached_at, warm_points
from alerts.history import Array, TubHistory
from alerts.rulebook.book import Limit, Rule, Tiers
from alerts.rulebook.loader import MEATS
from alerts.science.exposure import time_in_band
from collector.batches import Method, Packing, Plan
from collector.findings import Evidence, Finding, Outcome, Tier
from collector.sample import Instant

Records = Iterable[tuple[Array, Array]]
Shares = Mapping[str, float]
"""Share used by each row, by its id. [1]"""


def airless(plan: Plan, thick_mm: float) -> bool:
    """Return whether the meat, or its inside, is taken as shut off from air."""
    shut = plan.packing in (Packing.UNDER_BRINE, Packing.SEALED) or plan.method is Method.INJECTED
    return shut or plan.bone_in or plan.thickness_mm > thick_mm


def applies(case: Case, rule: Rule) -> bool:
    """Return whether a time budget counts for a batch: its meat, how it is kept, and how it will be eaten."""
    plan = case.history.batch.plan
    # A kind of meat that nobody has listed is taken for the worst of them.
    meat = not rule.meats or plan.meat in rule.meats or plan.meat not in MEATS
    shut = rule.condition != "airless" or airless(plan, case.book.scaled("thickness.airless"))
    return meat and shut and rule.tiers_on(plan.route) is not None


@dataclass(frozen=True, slots=True)
class _Band:
    row: Limit
    low_c: float
    high_c: float


def _bands(case: Case, rule: Rule) -> list[_Band]:
    """Return the bands that count: from the counting base on, closed above."""
    found = []
    for row in case.book.bands(rule):
        low = case.base_c if row.above_c is None else max(row.above_c, case.base_c)
        high = math.inf if row.up_to_c is None else row.up_to_c
        if low < high:
            found.append(_Band(row, low + NOISE_C, high + NOISE_C))
    return found


def _used(bands: Sequence[_Band], records: Records) -> dict[str, float]:
    used = {band.row.id: 0.0 for band in bands}
    coldest = min((band.low_c for band in bands), default=math.inf)
    for whole_times, whole_temps in records:
        if whole_temps.max() <= coldest:
            continue
        times, temps = warm_points(whole_times, whole_temps, coldest)
        warmest = float(temps.max())
        for band in bands:
            if warmest > band.low_c:
                used[band.row.id] += time_in_band(times, temps, band.low_c, band.high_c) / band.row.scaled
    return used


def _share(used: Shares) -> float:
    """Return the sum as it is printed and compared: two decimals. [1]"""
    return round(math.fsum(used.values()), 2)


@dataclass(frozen=True, slots=True)
class _Tub:
    judged: Judged
    used: Shares
    reject_share: float
    unchecked_share: float
    """What a reject would have looked at, had every row been confirmed. [1]"""
    pieces: tuple[Piece, ...]


class _Budget:
    """One time budget of one batch."""

    def __init__(self, case: Case, rule: Rule, tiers: Tiers) -> None:
        self.case, self.rule, self.tiers = case, rule, tiers
        self.bands = _bands(case, rule)
        self.sure = [band for band in self.bands if case.may_reject(band.row.id)]

    def reached(self, share: float, key: str | None) -> bool:
        return key is not None and share >= self.case.book.scaled(key)

    def tier(self, share: float) -> Tier:
        """Return what a share leads to short of a reject."""
        if self.reached(share, self.tiers.hold) or self.reached(share, self.tiers.cook_or_discard):
            return Tier.HOLD
        return Tier.RECORDED if self.reached(share, self.tiers.recorded) else Tier.NONE

    def step(self, share: float) -> str | None:
        """Return the id of the highest share that was reached short of a reject."""
        steps = (self.tiers.cook_or_discard, self.tiers.hold, self.tiers.recorded)
        return next((key for key in steps if self.reached(share, key)), None)

    def judged(self, tub: TubHistory) -> _Tub:
        parts = self.case.pieces(tub, self.rule.id)
        unknown = any(piece.has_unknown for piece in parts)
        used = _used(self.bands, (piece.held for piece in parts))
        share = _share(used)
        tier = known = self.tier(share)
        if unknown and tier is not Tier.NONE:
            known = self.tier(_share(_used(self.bands, (run for piece in parts for run in piece.known()))))
        sure, unchecked = self._certain(tub, share)
        if self.reached(sure, self.tiers.reject):
            tier = known = Tier.REJECT
        span = float(tub.times_at[0]), self.case.until_at
        return _Tub(Judged(tub, tier, known, unknown, share, *span), used, sure, unchecked, parts)

    def _certain(self, tub: TubHistory, share: float) -> tuple[float, float]:
        """Return the shares that a reject looks at: by rows that may reject, and by all rows. [1]"""
        if not self.reached(share, self.tiers.reject):
            return 0.0, 0.0
        cold = self.case.sure_pieces(tub, self.rule.id)
        lowered = [(times, temps - tub.uncertainty_c) for piece in cold for times, temps in piece.known()]
        return _share(_used(self.sure, lowered)), _share(_used(self.bands, lowered))

    def due_at(self, tub: _Tub, threshold: float) -> Instant:
        """Return the point of the record at which a share reached a threshold. [s since 1970 UTC]"""
        coldest = min(band.low_c for band in self.bands)
        warm = (warm_points(*piece.held, coldest) for piece in tub.pieces)
        at = reached_at(warm, lambda times, temps: math.fsum(_used(self.bands, [(times, temps)]).values()), threshold)
        return self.case.until_at if at is None else at

    def next_tier_at(self, tub: _Tub) -> Instant | None:
        """Return when a reject is reached if the meat stays as warm as it may be now; None where it is not nearing."""
        if self.tiers.reject is None or not tub.pieces or self.case.history.batch.ended_at is not None:
            return None
        last = tub.pieces[-1]
        now_c, end = float(last.held_c[-1]), float(last.times_at[-1])
        band = next((band for band in self.sure if band.low_c < now_c <= band.high_c), None)
        if band is None or end < self.case.until_at:
            return None
        left = self.case.book.scaled(self.tiers.reject) - math.fsum(tub.used[sure.row.id] for sure in self.sure)
        return end + max(left, 0.0) * band.row.scaled


def judge_budgets(case: Case) -> tuple[Finding, ...]:
    """Return one finding of rule e-3 for each hazard that counts for the batch."""
    found = []
    for rule in case.book.rules:
        tiers = rule.tiers_on(case.history.batch.plan.route)
        if rule.id.startswith("e-3 ") and tiers is not None and applies(case, rule):
            found.append(_judge(_Budget(case, rule, tiers)))
    return tuple(found)


def _judge(budget: _Budget) -> Finding:
    case, rule = budget.case, budget.rule
    tubs = [budget.judged(tub) for tub in case.history.tubs]
    result = worst(tub.judged for tub in tubs)
    outcome = outcome_of(case, [tub.judged for tub in tubs])
    if result is None:
        begun = case.history.batch.started_at
        nothing = Evidence(begun, case.until_at, (), 0, case.until_at - begun, rule.measure, None, "1", None)
        said = outcome, Tier.NONE, "e-3 nothing read"
        return finding(case, rule.id, said, nothing, ("cold.base",), {"hazard": rule.name})
    chosen = next(tub for tub in tubs if tub.judged is result)
    step = budget.tiers.reject if result.tier is Tier.REJECT else budget.step(result.value)
    # Without anything reached, what is printed beside the share is the lowest step there is.
    lowest = min((key for key in _steps(budget.tiers)), key=case.book.scaled)
    threshold = case.book.scaled(step or lowest)
    rows = tuple(row for row, share in chosen.used.items() if share > 0) + ((step,) if step else ())
    parameters = _parameters(budget, chosen, threshold)
    value = chosen.reject_share if result.tier is Tier.REJECT else result.value
    evidence = evidence_of(result, measure=rule.measure, unit="1", threshold=threshold, value=value)
    said = outcome, result.tier, _sentence(budget, outcome, result.tier, step)
    return finding(case, rule.id, said, evidence, rows, parameters)


def _steps(tiers: Tiers) -> list[str]:
    return [key for key in (tiers.recorded, tiers.hold, tiers.cook_or_discard, tiers.reject) if key is not None]


def _sentence(budget: _Budget, outcome: Outcome, tier: Tier, step: str | None) -> str:
    if tier is Tier.NONE:
        return f"e-3 {outcome.value.replace('_', ' ')}"
    if tier is Tier.HOLD and step is not None and step == budget.tiers.cook_or_discard:
        return "e-3 cook or discard"
    return f"e-3 {tier.value}"


def _parameters(budget: _Budget, tub: _Tub, threshold: float) -> dict[str, float | int | str | None]:
    result, tiers = tub.judged, budget.tiers
    held = rank(result.tier) >= rank(Tier.HOLD)
    at_next = budget.next_tier_at(tub) if result.tier is Tier.HOLD else None
    first = min((budget.case.book.scaled(k) for k in (tiers.hold, tiers.cook_or_discard) if k), default=threshold)
    stopped = budget.reached(tub.unchecked_share, tiers.reject) and result.tier is not Tier.REJECT
    warmest = max((float(np.max(piece.held_c)) for piece in tub.pieces), default=None)
    return {
        "tub": result.tub.tub,
        "hazard": budget.rule.name,
        "share": result.value,
        "reject_share": tub.reject_share if result.tier is Tier.REJECT else None,
        "threshold": threshold,
        "base_c": budget.case.base_c,
        "uncertainty_c": result.tub.uncertainty_c,
        "peak_c": None if warmest is None else round(warmest, 1),
        "would_reject": 1 if stopped else 0,
        "due_at": round(budget.due_at(tub, first)) if held else None,
        "next_tier_at": None if at_next is None else round(at_next),
    }

"""Rule e-7: how cold brine and meat were at filling, and how soon the mix was at the limit. Pure: no clock, no I/O."""

import math
from dataclasses import dataclass

from alerts.case import NOISE_C, Case, Judged, evidence_of, finding, minutes, outcome_of, worst
from alerts.cold_record import between
from alerts.history import TubHistory
from alerts.science.exposure import stretches_above
from collector.batches import Method, Packing
from collector.findings import Evidence, Finding, Outcome, Parameters, Tier
from collector.sample import Instant

WET_METHODS = (Method.IMMERSION, Method.INJECTED)
MEASURE = "time from filling until at the limit"


@dataclass(frozen=True, slots=True)
class Start:
    """What was entered at filling, and what it allows."""

    missing: tuple[str, ...]
    """What was not entered: `brine`, `meat`."""
    brine_c: float | None
    meat_c: float | None
    too_warm: bool
    """Whether the meat was warmer than any may be."""
    allowed_s: float | None
    """How long the product may take to reach the limit; None where nothing allows it to be above. [s]"""
    row: str
    """The row that allows it."""
    cap_c: float
    """Warmer than this it is no longer the warmth that was filled, and an excursion all the same. [°C]"""


def start_of(case: Case) -> Start:
    """Return what the as-made sheet says of the start, and how long it allows the product to be above the limit."""
    batch, book = case.history.batch, case.book
    wet = batch.plan.packing is Packing.UNDER_BRINE or batch.plan.method in WET_METHODS
    brine_c, meat_c = (batch.as_made.brine_c if wet else None), batch.as_made.meat_c
    missing = (("brine",) if wet and brine_c is None else ()) + (("meat",) if meat_c is None else ())
    if not missing and not all(tub.start_known for tub in case.history.tubs):
        missing = ("start",)
    too_warm = meat_c is not None and meat_c > book.scaled("start.meat_highest")
    warm_brine = brine_c is not None and brine_c > case.limit_c
    warm_meat = meat_c is not None and meat_c > case.limit_c
    row = "start.brine_time" if warm_brine else "start.meat_time"
    allowed_s = book.scaled(row) if (warm_brine or warm_meat) and not missing and not too_warm else None
    return Start(
        missing, brine_c, meat_c, too_warm, allowed_s, row, _cap_c(case, brine_c if warm_brine else meat_c, row)
    )


def _cap_c(case: Case, filled_c: float | None, row: str) -> float:
    """Return the warmest that is still the warmth of filling; under a unit's own limit, the rulebook's. [°C]"""
    general_c = case.book.scaled("cold.limit")
    if filled_c is None or filled_c <= general_c:
        return general_c
    return math.inf if row == "start.brine_time" else case.book.scaled("start.meat_highest")


@dataclass(frozen=True, slots=True)
class Cooling:
    """How long one tub took to come down to the limit after filling."""

    judged: Judged
    late: bool
    pending: bool
    """Still above, but with time left."""
    peak_c: float
    """The warmest until it was at the limit. [°C]"""


def _cooling(case: Case, tub: TubHistory, allowed_s: float) -> Cooling | None:
    parts = case.pieces(tub, "e-7")
    if not parts:
        return None
    times, temps = parts[0].held
    begun, end = float(times[0]), float(times[-1])
    limit_c = case.limit_c + NOISE_C
    warm = [s for s in stretches_above(times, temps, limit_c, at_least_s=0.0, join_s=0.0) if s.from_at == begun]
    down_at = warm[0].until_at if warm else begun
    still = bool(warm) and down_at == end and temps[-1] > limit_c
    late = down_at > begun + allowed_s
    window = between(tub, begun, begun + allowed_s)
    unknown = window is not None and window.has_unknown
    tier = Tier.HOLD if late else Tier.RECORDED
    known = Tier.RECORDED if unknown else tier
    judged = Judged(tub, tier, known, unknown, float(minutes(down_at - begun)), begun, down_at)
    return Cooling(judged, late, still and not late, warm[0].peak_c if warm else case.limit_c)


def exempt_until(case: Case, start: Start, tub: TubHistory) -> Instant:
    """Return until when warmth after filling is no excursion; minus infinity where none is allowed."""
    cooling = None if start.allowed_s is None else _cooling(case, tub, start.allowed_s)
    if cooling is None or cooling.late or cooling.peak_c > start.cap_c + NOISE_C:
        return -math.inf
    return math.inf if cooling.pending else cooling.judged.until_at


def judge_brine_age(case: Case) -> Finding | None:
    """Return how old a boiled brine was at filling; None where it was not boiled, or nobody said when.

    The two stages of cooling food are for cooked meat: a brine is judged by its temperature at filling and its age.
    """
    batch = case.history.batch
    boiled_at = batch.as_made.brine_boiled_at
    if boiled_at is None or batch.plan.packing is not Packing.UNDER_BRINE:
        return None
    age, oldest = minutes(batch.started_at - boiled_at), minutes(case.book.scaled("start.brine_age"))
    parameters: Parameters = {"age_minutes": float(age), "oldest_minutes": float(oldest)}
    begun = batch.started_at
    evidence = Evidence(begun, begun, (), 0, 0.0, "age of the boiled brine", float(age), "min", float(oldest))
    said = Outcome.WITHIN, Tier.NONE, "e-7 brine fresh"
    if age > oldest:
        said = Outcome.OUTSIDE, Tier.RECORDED, "e-7 brine old"
    return finding(case, "e-7 brine", said, evidence, ("start.brine_age",), parameters)


def judge_start(case: Case, start: Start) -> Finding:
    """Return the finding of rule e-7."""
    filled: Parameters = {"brine_c": _shown(start.brine_c), "meat_c": _shown(start.meat_c), "limit_c": case.limit_c}
    if start.missing:
        said = Outcome.CANNOT_TELL, Tier.HOLD, "e-7 not entered"
        parameters = {**filled, "missing": " and ".join(start.missing), "due_at": case.history.batch.started_at}
        return finding(case, "e-7", said, _entered(case, None, None), ("cold.limit",), parameters)
    if start.too_warm:
        said = Outcome.OUTSIDE, Tier.HOLD, "e-7 meat too warm"
        highest = case.book.scaled("start.meat_highest")
        parameters = {**filled, "highest_c": highest, "due_at": case.history.batch.started_at}
        return finding(case, "e-7", said, _entered(case, start.meat_c, highest), ("start.meat_highest",), parameters)
    if start.allowed_s is not None:
        return _judge_warm(case, start, start.allowed_s, filled)
    advice = case.book.scaled("start.meat_advice")
    if start.meat_c is not None and start.meat_c > advice:
        said = Outcome.OUTSIDE, Tier.RECORDED, "e-7 meat above advice"
        parameters = {**filled, "advice_c": advice}
        return finding(case, "e-7", said, _entered(case, start.meat_c, advice), ("start.meat_advice",), parameters)
    said = Outcome.WITHIN, Tier.NONE, "e-7 within"
    return finding(case, "e-7", said, _entered(case, start.meat_c, advice), ("start.meat_advice", "cold.limit"), filled)


def _judge_warm(case: Case, start: Start, allowed_s: float, filled: Parameters) -> Finding:
    coolings = [c for tub in case.history.tubs if (c := _cooling(case, tub, allowed_s)) is not None]
    result = worst(c.judged for c in coolings)
    rows = (start.row, "cold.limit")
    if result is None:
        said = Outcome.CANNOT_TELL, Tier.RECORDED, "e-7 no record"
        return finding(case, "e-7", said, _entered(case, start.brine_c, case.limit_c), rows, filled)
    chosen = next(c for c in coolings if c.judged is result)
    sentence = "e-7 late" if chosen.late else "e-7 not yet" if chosen.pending else "e-7 in time"
    outcome = outcome_of(case, [c.judged for c in coolings])
    allowed = float(minutes(allowed_s))
    parameters = {**filled, "tub": result.tub.tub, "minutes": result.value, "allowed_minutes": allowed}
    parameters["by_at"] = round(result.from_at + allowed_s)
    if chosen.late:
        parameters["due_at"] = parameters["by_at"]
    evidence = evidence_of(result, measure=MEASURE, unit="min", threshold=allowed)
    return finding(case, "e-7", (outcome, result.tier, sentence), evidence, rows, parameters)


def _entered(case: Case, value: float | None, threshold: float | None) -> Evidence:
    begun = case.history.batch.started_at
    return Evidence(begun, begun, (), 0, 0.0, "temperature entered at filling", _shown(value), "°C", threshold)


def _shown(value: float | None) -> float | None:
    return None if value is None else round(value, 1)

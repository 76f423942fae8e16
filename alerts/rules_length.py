"""Rule e-10: sealed or in the cure for too long, and in what vessel. Pure: no clock, no I/O.

In a sealed pack the days above the line count, those of which nothing is known with them; where a rulebook names no
line, every day does. A controlling factor helps where the rulebook knows one, the plan states it, and somebody has
measured it against a row that was read in the document.
"""

from dataclasses import dataclass

from alerts.case import NOISE_C, Case, finding, minutes
from alerts.making import evened_out, made_of, measured_last, states_salt
from alerts.rules_cure import cure_closed_at
from alerts.science.exposure import time_above
from alerts.vessel import bare_metal, stainless
from collector.batches import Packing
from collector.findings import Evidence, Finding, Outcome, Parameters, Tier

MEASURE_SEALED = "time sealed above the line"
FACTORS = (("salt", "sealed.factor_salt", 1), ("aw", "sealed.factor_aw", -1), ("ph", "sealed.factor_ph", -1))
"""Measures that show a controlling factor, their rows, and whether more (1) or less (-1) of them counts."""


def judge_length(case: Case) -> Finding | None:
    """Return the finding of rule e-10; None for an open tub or a brine that is not over-long."""
    sealed = case.history.batch.plan.packing is Packing.SEALED
    return _sealed(case) if sealed else _over_long(case)


@dataclass(frozen=True, slots=True)
class _Sealed:
    """How long one tub was above the line: known, and at most. [s]"""

    tub: str
    known_s: float
    held_s: float
    unknown: bool
    """Whether of part of the time that counts nothing is known, however short of the line its bound stays."""


def _line_c(case: Case) -> float | None:
    row = case.book.limits.get("sealed.above")
    return None if row is None else row.value


def _time_in(case: Case, tub: str) -> _Sealed:
    line = _line_c(case)
    above_c = -273.15 if line is None else line + NOISE_C
    held_s = sum(hole.until_at - hole.from_at for hole in case.holes if hole.tub == tub)
    known_s, unknown = 0.0, held_s > 0
    for record in case.history.tubs:
        if record.tub == tub:
            parts = case.pieces(record, "e-10")
            held_s += sum(time_above(*part.held, above_c) for part in parts)
            known_s += sum(time_above(times, temps, above_c) for part in parts for times, temps in part.known())
            unknown |= any(part.has_unknown for part in parts)
    if line is None:
        # Every day counts, whatever the temperature was: nothing about them is unknown.
        known_s, unknown = held_s, False
    return _Sealed(tub, known_s, held_s, unknown)


def _factor(case: Case) -> str:
    """Return what is known of a controlling factor: `none`, `shown`, `contradicted` or `not measured`."""
    if not case.history.batch.plan.controlling_factor or _line_c(case) is None:
        return "none"
    found = []
    for measure, row, sign in FACTORS:
        reading, limit = measured_last(case, measure), case.book.limits.get(row)
        if reading is not None and limit is not None:
            read = limit.known != "memory" or row in case.confirmed
            found.append((sign * reading.value >= sign * limit.value, read))
    if any(passes and read for passes, read in found):
        return "shown"
    return "contradicted" if found and not any(passes for passes, _ in found) else "not measured"


def _salt_of(case: Case) -> Parameters:
    """Return the salt that the meat's water ends with, as made: a controlling factor at most once it has evened out."""
    batch = case.history.batch
    mix = made_of(case)
    found = evened_out(batch.plan, mix) if states_salt(mix) else None
    return {"salt_made": None, "salt_made_most": None} if found is None else {
        "salt_made": found.least, "salt_made_most": found.most,
    }  # fmt: skip


def _sealed(case: Case) -> Finding:
    batch, row = case.history.batch, case.book.limits["sealed.longest"]
    tubs = [_time_in(case, tub) for tub in batch.tubs]
    result = max(tubs, key=lambda one: one.held_s)
    factor, longest = _factor(case), minutes(row.scaled)
    over, known = minutes(result.held_s) >= longest, minutes(result.known_s) >= longest
    outcome, tier, sentence = Outcome.WITHIN, Tier.NONE, "e-10 sealed"
    if over and factor == "shown":
        sentence = "e-10 factor shown"
    elif over and factor == "not measured":
        outcome, tier, sentence = Outcome.CANNOT_TELL, Tier.RECORDED, "e-10 factor not measured"
    elif over:
        outcome = Outcome.OUTSIDE if known else Outcome.CANNOT_TELL
        tier, sentence = Tier.HOLD, "e-10 sealed too long"
    elif minutes(batch.plan.cure_s) >= longest and factor in ("none", "contradicted"):
        outcome, tier, sentence = Outcome.OUTSIDE, Tier.RECORDED, "e-10 plan too long"
    elif any(one.unknown for one in tubs):
        outcome, sentence = Outcome.CANNOT_TELL, "e-10 sealed cannot tell"
    line = _line_c(case)
    parameters: Parameters = {
        "tub": result.tub,
        "sealed_minutes": minutes(result.held_s),
        "longest_minutes": longest,
        "plan_minutes": minutes(batch.plan.cure_s),
        "line_c": line,
        "above": "" if line is None else f" above {line:.1f} °C",
        "factor": batch.plan.controlling_factor,
        **_salt_of(case),
        "due_at": batch.started_at + row.scaled if tier is Tier.HOLD else None,
    }
    rows = ("sealed.longest",) if line is None else ("sealed.longest", "sealed.above")
    until_at = max(batch.started_at, case.until_at)
    span = round(batch.started_at, 3), round(until_at, 3)
    gap_s = float(round(result.held_s - result.known_s))
    shown = minutes(result.held_s)
    evidence = Evidence(*span, (), 0, gap_s, MEASURE_SEALED, shown, "min", float(longest))
    return finding(case, "e-10", (outcome, tier, sentence), evidence, rows, parameters)


def _in_cure_s(case: Case) -> float:
    """Return how long it has been in the cure, or was. [s]"""
    closed = cure_closed_at(case)
    until_at = case.until_at if closed is None else min(case.until_at, closed)
    return max(0.0, until_at - case.history.batch.started_at)


def _over_long(case: Case) -> Finding | None:
    """Return the notice that a cure goes on for much longer than planned; None where it does not."""
    batch, long_s = case.history.batch, _in_cure_s(case)
    most_s = batch.plan.cure_s * case.book.scaled("cure.longest")
    if minutes(long_s) <= minutes(most_s):
        return None
    parameters: Parameters = {"cure_minutes": minutes(long_s), "plan_minutes": minutes(batch.plan.cure_s)}
    span = round(batch.started_at, 3), round(batch.started_at + long_s, 3)
    evidence = Evidence(*span, (), 0, 0.0, "time in the cure", minutes(long_s), "min", float(minutes(most_s)))
    said = Outcome.OUTSIDE, Tier.NONE, "e-10 over long"
    return finding(case, "e-10", said, evidence, ("cure.longest",), parameters)


def judge_vessel(case: Case) -> Finding | None:
    """Return what the vessel does to the cure: bare metal holds, stainless steel is recorded once it is long in it."""
    batch = case.history.batch
    metal, long_s = bare_metal(batch.plan.vessel), _in_cure_s(case)
    longest = case.book.limits["vessel.stainless_longest"]
    rows: tuple[str, ...] = ()
    if metal:
        said = Outcome.OUTSIDE, Tier.HOLD, "e-10 vessel bare"
    elif stainless(batch.plan.vessel) and minutes(long_s) > minutes(longest.scaled):
        said, rows = (Outcome.OUTSIDE, Tier.RECORDED, "e-10 vessel stainless"), ("vessel.stainless_longest",)
    else:
        return None
    parameters: Parameters = {
        "vessel": metal or batch.plan.vessel,
        "cure_minutes": minutes(long_s),
        "longest_minutes": minutes(longest.scaled),
        "due_at": batch.started_at if metal else None,
    }
    span = round(batch.started_at, 3), round(batch.started_at + long_s, 3)
    evidence = Evidence(*span, (), 0, 0.0, "time in the vessel", minutes(long_s), "min", None)
    return finding(case, "e-10 vessel", said, evidence, rows, parameters)

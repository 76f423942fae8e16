"""Rule e-11, cooked: one row of the cook table kept to, and one way to cool. Pure: no clock, no I/O."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from alerts.case import Case, finding
from alerts.core_record import Fall, Run, fall, held_enough, held_s, runs, sessions
from alerts.rulebook.book import Cooling, Limit
from collector.batches import Method, Plan, Stage
from collector.findings import Evidence, Finding, Outcome, Parameters, Tier
from collector.sample import Instant

WHOLE, OPENED, POULTRY = "cook.whole", "cook.opened", "cook.poultry"
WHOLE_MEATS = ("pork", "beef", "lamb")
"""Meats of the roast table, Food Code 3-401.11(B); lamb is from memory."""
OPENED_WORDS = (
    "needled",
    "jointed",
    "boned and rolled",
    "rolled",
    "stuffed",
    "tenderised",
    "diced",
    "sliced",
    "chopped",
)


def opened(plan: Plan) -> bool | None:
    """Return whether what was the surface now lies inside the meat; None where nobody has said."""
    said = f"{plan.cut} {plan.name}".casefold()
    if plan.method is Method.INJECTED or plan.pump_percent or any(word in said for word in OPENED_WORDS):
        return True
    return plan.opened


def cook_table(plan: Plan) -> str:
    """Return the table that a batch is cooked by; what no table names is cooked by the hottest."""
    if plan.meat in WHOLE_MEATS:
        return WHOLE if opened(plan) is False else OPENED
    return OPENED if plan.meat == "offal" else POULTRY


def _seconds(span_s: float) -> str:
    whole = round(span_s)
    return (
        f"{whole} s"
        if whole < 120
        else f"{whole // 60} min"
        if whole % 60 == 0
        else f"{whole // 60} min {whole % 60} s"
    )


def _asked(rows: Sequence[Limit]) -> str:
    """Return the rows of a table in words; of a long one the first, the middle and the last."""
    few = rows if len(rows) <= 4 else (rows[0], rows[len(rows) // 2], rows[-1])
    return ", or ".join(f"{row.at_c:.1f} °C for {_seconds(row.scaled)}" for row in few)


def cooked_by(run: Run, rows: Sequence[Limit]) -> Limit | None:
    """Return the row of a table that a run kept to, the hottest first; None where it kept to none."""
    return next((row for row in reversed(rows) if held_enough(run.points, row)), None)


def _runs(case: Case, stage: str) -> tuple[Run, ...]:
    return runs(case.history.batch.core_logs, stage, case.said_until_at, case.book.scaled("excursion.join"))


def last_cook(case: Case) -> tuple[Run, ...]:
    """Return the runs of the last cooking that was logged; none where none was."""
    groups = sessions(_runs(case, "cook"), case.book.scaled("excursion.join"))
    return groups[-1] if groups else ()


def _going_on(case: Case, stage: Stage) -> bool:
    return case.history.batch.stage_at(case.until_at) is stage


def _evidence(case: Case, run: Run, value: float | None, unit: str, threshold: float | None) -> Evidence:
    from_at = max(run.from_at, case.history.batch.started_at)
    until_at = max(from_at, run.until_at)
    return Evidence(from_at, until_at, (), len(run.points), 0.0, f"core by probe {run.probe}", value, unit, threshold)


def _missing(case: Case, rule: str, parameters: Parameters) -> Finding:
    evidence = Evidence(case.history.batch.started_at, case.until_at, (), 0, 0.0, "core log", None, "", None)
    said = Outcome.CANNOT_TELL, Tier.NONE, f"{rule} missing"
    return finding(case, rule, said, evidence, (), {**parameters, "blocks": 1})


def judge_cook(case: Case) -> Finding:
    """Return whether the last cooking kept to a row of its table, by every probe that followed it."""
    cook = last_cook(case)
    if not cook:
        return _missing(case, "e-11 cook", {})
    plan, table = case.history.batch.plan, cook_table(case.history.batch.plan)
    rows = case.book.rows(table)
    kept = [(run, cooked_by(run, rows)) for run in cook]
    failed = [run for run, row in kept if row is None]
    if not failed:
        run, row = min(((run, row) for run, row in kept if row is not None), key=lambda pair: pair[0].highest_c)
        return _kept(case, run, row, table)
    whole = case.book.rows(WHOLE)
    unsaid = plan.meat in WHOLE_MEATS and opened(plan) is None
    by_whole = [(run, found) for run in cook if (found := cooked_by(run, whole)) is not None]
    if unsaid and len(by_whole) == len(cook):
        coolest, kept_to = min(by_whole, key=lambda pair: pair[0].highest_c)
        return _kept(case, coolest, kept_to, table, unsaid=True)
    return _failed(case, min(failed, key=lambda run: run.highest_c), table)


def _kept(case: Case, run: Run, row: Limit, table: str, *, unsaid: bool = False) -> Finding:
    held = held_s(run.points, row.at_c) if row.at_c is not None else None
    parameters: Parameters = {
        "at_c": row.at_c,
        "seconds": _seconds(held or 0.0),
        "needed": _seconds(row.scaled),
        "table": case.book.tables[WHOLE if unsaid else table].words,
        "asked": _asked(case.book.rows(table)),
        "peak_c": round(run.highest_c, 1),
        "blocks": int(unsaid),
    }
    evidence = _evidence(case, run, float(round(held or 0.0)), "s", row.scaled)
    said = Outcome.WITHIN, Tier.NONE, "e-11 cook within"
    if unsaid:
        said = Outcome.CANNOT_TELL, Tier.NONE, "e-11 cook opened unknown"
    return finding(case, "e-11 cook", said, evidence, (row.id,), parameters)


def _failed(case: Case, run: Run, table: str) -> Finding:
    rows = case.book.rows(table)
    parameters: Parameters = {
        "peak_c": round(run.highest_c, 1),
        "table": case.book.tables[table].words,
        "asked": _asked(rows),
        "blocks": 1,
    }
    evidence = _evidence(case, run, round(run.highest_c, 1), "°C", rows[-1].at_c)
    if _going_on(case, Stage.COOK):
        said = Outcome.CANNOT_TELL, Tier.NONE, "e-11 cook not yet"
        return finding(case, "e-11 cook", said, evidence, (), parameters)
    said = Outcome.OUTSIDE, Tier.HOLD, "e-11 cook short"
    return finding(
        case, "e-11 cook", said, evidence, tuple(row.id for row in rows), {**parameters, "due_at": round(run.until_at)}
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Way:
    """One run judged by one way to cool."""

    way: Cooling
    run: Run
    falls: tuple[Fall, ...]

    @property
    def outcome(self) -> Outcome:
        outcomes = {one.outcome for one in self.falls}
        if Outcome.OUTSIDE in outcomes:
            return Outcome.OUTSIDE
        return Outcome.CANNOT_TELL if Outcome.CANNOT_TELL in outcomes else Outcome.WITHIN


def _by_way(case: Case, run: Run, way: Cooling, last_hot_at: Instant | None) -> _Way:
    return _Way(way, run, tuple(fall(run, row, last_hot_at) for row in case.book.steps(way.id)))


def _last_hot_at(cook: Sequence[Run], run: Run) -> Instant | None:
    before = [one.until_at for one in cook if one.until_at <= run.from_at]
    return min(before, default=None)


def judge_cooling(case: Case, protected: bool | None) -> Finding:
    """Return whether the meat cooled in time after its last cooking, by every probe that followed it.

    A cooling that was too slow stays so when the meat is cooked again: what spores have made meanwhile is not undone.
    """
    cook, cooled = last_cook(case), _runs(case, "cool")
    general = next(way for way in case.book.cooling.values() if way.nitrite is None)
    last = case.book.steps(general.id)[-1]
    begun_at = min((run.from_at for run in cook), default=-math.inf)
    after = [run for run in cooled if run.from_at >= begun_at]
    judged = [_judged(case, run, cook, protected) for run in cooled]
    slow = [one for one in judged if one.tier is Tier.HOLD]
    if slow:
        return slow[-1]
    if not after:
        first = case.book.steps(general.id)[0]
        return _missing(case, "e-11 cooling", {"from_c": first.from_c, "to_c": last.to_c})
    latest = [found for run, found in zip(cooled, judged, strict=True) if run in after]
    return next((found for found in latest if found.outcome is not Outcome.WITHIN), latest[-1])


def _judged(case: Case, run: Run, cook: Sequence[Run], protected: bool | None) -> Finding:
    """Return what one run of cooling shows, by the way that is kindest to it of those that may be used."""
    hot_at = _last_hot_at(cook, run)
    ways = [_by_way(case, run, way, hot_at) for way in case.book.cooling.values()]
    general = next(one for one in ways if one.way.nitrite is None)
    cured = [one for one in ways if one.way.nitrite is not None and one.outcome is not Outcome.OUTSIDE]
    usable = [one for one in cured if protected and _confirmed(case, one)]
    best = next((one for one in (general, *usable) if one.outcome is Outcome.WITHIN), None)
    if best is not None:
        return _found(case, best, Outcome.WITHIN, Tier.NONE, "within")
    if general.outcome is not Outcome.OUTSIDE or usable:
        one = general if general.outcome is not Outcome.OUTSIDE else usable[0]
        begun = all(step.most_s != math.inf or step.outcome is Outcome.WITHIN or _open(step) for step in one.falls)
        return _found(case, one, Outcome.CANNOT_TELL, Tier.NONE, "not yet" if begun and _hot(one) else "unknown")
    if cured and protected is None:
        return _found(case, general, Outcome.CANNOT_TELL, Tier.HOLD, "nitrite unknown", cured[0].way.nitrite)
    if cured and protected:
        return _found(case, general, Outcome.CANNOT_TELL, Tier.HOLD, "not confirmed")
    return _found(case, general, Outcome.OUTSIDE, Tier.HOLD, "slow")


def _open(step: Fall) -> bool:
    return step.outcome is Outcome.CANNOT_TELL


def _hot(one: _Way) -> bool:
    """Return whether the log begins hot enough to show when the cooling began."""
    first = one.falls[0].row
    return first.from_c is not None and one.run.points[0][1] >= first.from_c


def _confirmed(case: Case, one: _Way) -> bool:
    named = [*one.way.steps, *((one.way.nitrite,) if one.way.nitrite else ())]
    return all(case.book.limits[row].known != "memory" or row in case.confirmed for row in named)


def _steps(one: _Way) -> str:
    """Return how each step went, in words."""
    said = []
    for step in one.falls:
        span = f"{step.row.from_c:.1f} to {step.row.to_c:.1f} °C"
        least, most = round(step.least_s / 60), step.most_s
        if math.isinf(most):
            said.append(f"{span} not shown, {_span(least)} so far" if least else f"{span} not shown")
        elif round(most / 60) == least:
            said.append(f"{span} in {_span(least)}")
        else:
            said.append(f"{span} in {_span(least)} to {_span(round(most / 60))}")
    return "; ".join(said)


def _span(whole: int) -> str:
    hours, rest = divmod(whole, 60)
    return f"{rest} min" if not hours else f"{hours} h {rest:02d} min" if rest else f"{hours} h"


def _found(
    case: Case, one: _Way, outcome: Outcome, tier: Tier, sentence: str, nitrite: str | None = None
) -> Finding:  # fmt: skip
    worst = next((step for step in one.falls if step.outcome is Outcome.OUTSIDE), one.falls[-1])
    first, last = one.falls[0].row, one.falls[-1].row
    parameters: Parameters = {
        "steps": _steps(one),
        "way": one.way.words,
        "from_c": first.from_c,
        "to_c": last.to_c,
        "minutes": float(round(worst.least_s / 60)),
        "nitrite": "" if nitrite is None else case.book.limits[nitrite].printed,
        "due_at": round(worst.due_at) if tier is Tier.HOLD else None,
        "blocks": 0 if outcome is Outcome.WITHIN else 1,
    }
    allowed = round(worst.row.scaled / 60)
    evidence = _evidence(case, one.run, float(round(worst.least_s / 60)), "min", float(allowed))
    rows = tuple(step.row.id for step in one.falls) + ((one.way.nitrite,) if one.way.nitrite else ())
    return finding(case, "e-11 cooling", (outcome, tier, f"e-11 cooling {sentence}"), evidence, rows, parameters)

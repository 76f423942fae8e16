"""Rule e-9: how strong the brine is, and how much salt the meat ends with. Pure: no clock, no I/O.

Salt is never a safety credit: more of it improves nothing here but these two findings. Strength is all sodium chloride,
that of the curing salt included, over salt and water; sugar is left out.
"""

from alerts.case import Case, finding, rank
from alerts.making import (
    WET_METHODS,
    Between,
    brine_strength,
    evened_out,
    made_of,
    measured_last,
    planned,
    states_salt,
)
from collector.batches import Method, Route
from collector.findings import Evidence, Finding, Outcome, Parameters, Tier

Said = tuple[Outcome, Tier, str, tuple[str, ...]]
SATURATED, WEAKEST = ("brine.saturation",), ("brine.weakest",)
LEAST, WARN = ("salt.aqueous_least",), ("salt.aqueous_warn",)


def judge_salt(case: Case) -> tuple[Finding, ...]:
    """Return the findings of rule e-9: of the brine where there is one, of the meat where it is eaten as cured."""
    plan = case.history.batch.plan
    found = [_brine(case)] if plan.method in WET_METHODS else []
    return (*found, _meat(case)) if plan.route is Route.UNCOOKED else tuple(found)


def _mixes(case: Case) -> tuple[Between | None, Between | None]:
    """Return the strength of the brine by the plan and as made; None where nobody said anything of salt."""
    batch = case.history.batch
    meant, weighed = planned(batch.plan), made_of(case)
    return (
        brine_strength(meant) if states_salt(meant) else None,
        brine_strength(weighed) if states_salt(weighed) else None,
    )


def _strongest(said: list[Said]) -> Said:
    return max(said, key=lambda one: rank(one[1]))


def _brine(case: Case) -> Finding:
    by_plan, as_made = _mixes(case)
    most, least = (case.book.limits[row].value for row in ("brine.saturation", "brine.weakest"))
    said: list[Said] = []
    if as_made is not None and as_made.most > most:
        outcome = Outcome.OUTSIDE if as_made.least > most else Outcome.CANNOT_TELL
        said.append((outcome, Tier.HOLD, "e-9 brine saturated", SATURATED))
    if by_plan is not None and by_plan.most > most:
        outcome = Outcome.OUTSIDE if by_plan.least > most else Outcome.CANNOT_TELL
        said.append((outcome, Tier.HOLD, "e-9 plan saturated", SATURATED))
    if any(one is not None and one.least < least for one in (as_made, by_plan)):
        said.append((Outcome.OUTSIDE, Tier.RECORDED, "e-9 brine weak", WEAKEST))
    said.append(_as_measured(case, least) if as_made is None else (Outcome.WITHIN, Tier.NONE, "e-9 brine", WEAKEST))
    return _finding(case, "e-9 brine", _strongest(said), as_made, by_plan, "strength")


def _as_measured(case: Case, least: float) -> Said:
    """Return what a measured strength says of a brine that cannot be reckoned: sugar reads as salt, never less."""
    reading = measured_last(case, "strength")
    if reading is not None and round(reading.value, 2) < least:
        return Outcome.OUTSIDE, Tier.RECORDED, "e-9 brine measured weak", WEAKEST
    batch = case.history.batch
    sugar = batch.plan.sugar_kg > 0 or (batch.as_made.sugar_kg or 0.0) > 0
    if reading is None or sugar:
        return Outcome.CANNOT_TELL, Tier.NONE, "e-9 brine not known", WEAKEST
    return Outcome.WITHIN, Tier.NONE, "e-9 brine measured", WEAKEST


def _meat(case: Case) -> Finding:
    batch = case.history.batch
    by_plan, as_made = (
        evened_out(batch.plan, mix) if states_salt(mix) else None for mix in (planned(batch.plan), made_of(case))
    )
    measured = measured_last(case, "salt")
    said: list[Said] = []
    if measured is not None:
        # What a laboratory found in the meat decides; what was reckoned is shown beside it.
        said += _against(case, Between(*(2 * [round(measured.value, 2)])), "measured")
        said.append((Outcome.WITHIN, Tier.NONE, "e-9 meat measured", WARN))
    else:
        said += [] if as_made is None else _against(case, as_made, "as made")
        said += [] if by_plan is None else _against(case, by_plan, "by plan")
        if as_made is None:
            excess = batch.plan.method is Method.DRY_IN_EXCESS
            sentence = "e-9 meat in excess" if excess else "e-9 meat not known"
            said.append((Outcome.CANNOT_TELL, Tier.RECORDED, sentence, WARN))
        said.append((Outcome.WITHIN, Tier.NONE, "e-9 meat", WARN))
    return _finding(case, "e-9", _strongest(said), as_made, by_plan, "salt")


def _against(case: Case, found: Between, how: str) -> list[Said]:
    least, warn = (case.book.limits[row].value for row in (*LEAST, *WARN))
    if found.least < least:
        outcome = Outcome.OUTSIDE if found.most < least else Outcome.CANNOT_TELL
        return [(outcome, Tier.HOLD, f"e-9 meat too little {how}", LEAST)]
    if found.least < warn:
        outcome = Outcome.OUTSIDE if found.most < warn else Outcome.CANNOT_TELL
        return [(outcome, Tier.RECORDED, f"e-9 meat little {how}", WARN)]
    return []


def _finding(
    case: Case, rule: str, said: Said, as_made: Between | None, by_plan: Between | None, measure: str
) -> Finding:
    outcome, tier, sentence, rows = said
    begun, reading, limit = case.history.batch.started_at, measured_last(case, measure), case.book.limits[rows[0]]
    parameters: Parameters = {
        "salt_made": None if as_made is None else as_made.least,
        "salt_made_most": None if as_made is None else as_made.most,
        "salt_planned": None if by_plan is None else by_plan.least,
        "salt_measured": None if reading is None else round(reading.value, 2),
        "measured_by": "" if reading is None else reading.method or reading.probe,
        "limit": limit.value,
        "due_at": begun if tier is Tier.HOLD else None,
    }
    figure = parameters["salt_measured"] if "measured" in sentence else parameters["salt_made"]
    shown = figure if isinstance(figure, int | float) else None
    evidence = Evidence(begun, begun, (), 0, 0.0, "salt over salt and water", shown, "%", limit.value)
    return finding(case, rule, (outcome, tier, sentence), evidence, rows, parameters)

"""Rule e-8: nitrite and nitrate that went in, by the plan and as made. Pure: no clock, no I/O.

Nothing here ever improves by what is not known: a class that nobody chose is judged by the strictest that it may be, a
mass that nobody entered by its bound, and where nothing can be reckoned it cannot be told, and nothing is released.
"""

from dataclasses import dataclass

from alerts.case import Case, finding, rank
from alerts.making import (
    WET_METHODS,
    Classes,
    Ingoing,
    Mix,
    by_method_one,
    classes_of,
    in_unit_of,
    ingoing,
    made_of,
    measured_last,
    pickup_percent,
    planned,
)
from alerts.rulebook.book import ProductClass
from collector.batches import Method
from collector.findings import Evidence, Finding, Outcome, Parameters, Tier

BASED_ON_SALT = "ppm NaNO2"


@dataclass(frozen=True, slots=True)
class _Making:
    """The nitrite of one batch, and what bounds it."""

    classes: Classes
    plan: Ingoing
    made: Ingoing
    mixes: tuple[Mix, Mix]
    """Plan, and as made."""

    @property
    def cured(self) -> bool:
        return any(mix.cured for mix in self.mixes)


@dataclass(frozen=True, slots=True)
class _Said:
    """One thing that can be said of the nitrite; the strongest is."""

    outcome: Outcome
    tier: Tier
    sentence: str
    rows: tuple[str, ...] = ()


def _making(case: Case) -> _Making:
    batch = case.history.batch
    meant, weighed = planned(batch.plan), made_of(case)
    return _Making(
        classes_of(batch.plan, case.book, batch.planned_by),
        ingoing(batch.plan, case.book, meant),
        ingoing(batch.plan, case.book, weighed),
        (meant, weighed),
    )


def nitrite_protected(case: Case) -> bool | None:
    """Return whether enough nitrite went in for meat to be cooled as cured meat; None where it cannot be told.

    As made, never as planned, and by the method that decides. A figure that is only a bound tells nothing here.
    """
    weighed = made_of(case)
    if not weighed.cured:
        return False
    found = ingoing(case.history.batch.plan, case.book, weighed)
    if found.decided is None:
        return None
    enough = found.decided >= case.book.limits["nitrite.protected"].value
    # A bound from above that does not reach it will not reach it either.
    return enough if found.known else None if enough else _falls_short(found)


def _falls_short(found: Ingoing) -> bool | None:
    return None if any("injected" in name for name in found.missing) else False


def judge_nitrite(case: Case) -> tuple[Finding, ...]:
    """Return the findings of rule e-8.

    Nitrite; nitrate where any went in; what remained where a laboratory measured it; whether the meat counts as
    nitrite-protected.
    """
    making = _making(case)
    outside = _out_of_scope(case, making)
    if outside is not None:
        return (outside,)
    if not making.cured:
        none = _finding(case, making, _Said(Outcome.WITHIN, Tier.NONE, "e-8 none"), {})
        return (none, _protection(case, making))
    found = [_ingoing_finding(case, making), _nitrate(case, making), _residual(case, making)]
    return (*(one for one in found if one is not None), _protection(case, making))


def _out_of_scope(case: Case, making: _Making) -> Finding | None:
    unjudged = [one for one in making.classes.possible if not one.judged]
    if not unjudged:
        return None
    said = _Said(Outcome.CANNOT_TELL, Tier.HOLD, "e-8 out of scope")
    return _finding(case, making, said, {"due_at": case.history.batch.started_at})


def _limits(case: Case, possible: tuple[ProductClass, ...]) -> list[tuple[float, str]]:
    """Return the ingoing limits that may hold as ppm of the sodium salt, with their rows, strictest first."""
    rows = [case.book.limits[one.ingoing] for one in possible if one.ingoing is not None]
    return sorted((row.value / in_unit_of(row, 1000.0) * 1000.0, row.id) for row in rows)


def _over(case: Case, found: Ingoing, row: str, factor: float = 1.0) -> bool:
    """Return whether a figure is over a row, in the row's own unit."""
    limit = case.book.limits[row]
    return found.decided is not None and in_unit_of(limit, found.decided) > limit.value * factor


def _ingoing_finding(case: Case, making: _Making) -> Finding:
    said = max(_everything_said(case, making), key=lambda one: rank(one.tier))
    held = said.tier is Tier.HOLD
    parameters: Parameters = {
        "due_at": case.history.batch.started_at if held else None,
        "would_reject": int(held and said.sentence == "e-8 over as made" and _twice(case, making)),
    }
    return _finding(case, making, said, parameters)


def _twice(case: Case, making: _Making) -> bool:
    """Return whether what was made is known to be so far over the loosest limit that it may have."""
    limits, factor = _limits(case, making.classes.possible), case.book.scaled("nitrite.reject_factor")
    return making.made.known and bool(limits) and _over(case, making.made, limits[-1][1], factor)


def _everything_said(case: Case, making: _Making) -> list[_Said]:
    limits = _limits(case, making.classes.possible)
    found: list[_Said] = []
    if limits:
        found += _against(case, making, strictest=limits[0][1], loosest=limits[-1][1])
    found += _too_little(case, making)
    if not making.classes.settled:
        found.append(_Said(Outcome.CANNOT_TELL, Tier.RECORDED, "e-8 no class"))
    elif not limits:
        found.append(_residual_only(case, making))
    if making.mixes[1].cured and not making.made.known:
        found.append(_Said(Outcome.CANNOT_TELL, Tier.RECORDED, "e-8 not entered"))
    elif making.mixes[0].cured and not making.plan.known:
        found.append(_Said(Outcome.CANNOT_TELL, Tier.RECORDED, "e-8 plan says too little"))
    if limits:
        # Behind what cannot be told: an approver's reason does not make up for a figure that is missing.
        found += _methods_differ(case, making, limits[-1][1])
    return [*found, _Said(Outcome.WITHIN, Tier.NONE, "e-8 within", (limits[-1][1],) if limits else ())]


def _against(case: Case, making: _Making, *, strictest: str, loosest: str) -> list[_Said]:
    """Return what follows from the limits; where residual-only classes are possible too, no reject."""
    found = []
    bounded = all(one.ingoing is not None for one in making.classes.possible)
    if bounded and _twice(case, making) and all(case.may_reject(row) for row in (loosest, "nitrite.reject_factor")):
        found.append(_Said(Outcome.OUTSIDE, Tier.REJECT, "e-8 reject", (loosest, "nitrite.reject_factor")))
    if _over(case, making.made, loosest) and bounded:
        outcome = Outcome.OUTSIDE if making.made.known else Outcome.CANNOT_TELL
        found.append(_Said(outcome, Tier.HOLD, "e-8 over as made", (loosest,)))
    if _over(case, making.plan, loosest) and bounded:
        found.append(_Said(Outcome.OUTSIDE, Tier.HOLD, "e-8 over by plan", (loosest,)))
    if any(_over(case, one, strictest) for one in (making.made, making.plan)):
        found.append(_Said(Outcome.CANNOT_TELL, Tier.HOLD, "e-8 may be over", (strictest,)))
    return found


def _methods_differ(case: Case, making: _Making, row: str) -> list[_Said]:
    """Return a warning where Method One decides and passes while Method Two does not: an approver gives the reason."""
    if not by_method_one(case.history.batch.plan):
        return []
    two = [Ingoing(one.two, None, None, ()) for one in (making.plan, making.made)]
    differ = any(_over(case, one, row) for one in two)
    return [_Said(Outcome.OUTSIDE, Tier.RECORDED, "e-8 methods differ", (row,))] if differ else []


def _too_little(case: Case, making: _Making) -> list[_Said]:
    meant, weighed = making.plan.decided, making.made.decided
    share = case.book.scaled("nitrite.least_share")
    if not making.mixes[1].cured:
        weighed = 0.0
    elif not making.made.known and "how much was injected" in making.made.missing:
        return []
    if meant is None or weighed is None or weighed >= share * meant:
        return []
    known = making.plan.known
    outcome = Outcome.OUTSIDE if known else Outcome.CANNOT_TELL
    return [_Said(outcome, Tier.HOLD, "e-8 too little", ("nitrite.least_share",))]


# ------------------------------------------------------------------------------------------ what a laboratory measured


def _residual_said(case: Case, row: str) -> _Said:
    reading, limit = measured_last(case, "nitrite"), case.book.limits[row]
    if reading is None:
        return _Said(Outcome.CANNOT_TELL, Tier.RECORDED, "e-8 residual not measured", (row,))
    if round(reading.value, 1) > limit.value:
        return _Said(Outcome.OUTSIDE, Tier.HOLD, "e-8 residual over", (row,))
    return _Said(Outcome.WITHIN, Tier.NONE, "e-8 residual within", (row,))


def _residual_only(case: Case, making: _Making) -> _Said:
    row = making.classes.possible[0].residual if making.classes.possible else None
    if row is None:
        return _Said(Outcome.CANNOT_TELL, Tier.RECORDED, "e-8 no class")
    return _residual_said(case, row)


def _residual(case: Case, making: _Making) -> Finding | None:
    """Return what was measured against the limit of what may remain, where a class has both limits."""
    classes = making.classes
    row = classes.possible[0].residual if classes.settled and classes.possible else None
    if row is None or classes.possible[0].residual_only or measured_last(case, "nitrite") is None:
        return None
    said = _residual_said(case, row)
    parameters: Parameters = {"due_at": case.history.batch.started_at if said.tier is Tier.HOLD else None}
    return _finding(case, making, said, parameters, rule="e-8 residual")


# ------------------------------------------------------------------------------------------------ nitrate, protection


def _nitrate(case: Case, making: _Making) -> Finding | None:
    """Return the finding on nitrate; None where none went in, or a class is not settled or holds no figure for it."""
    classes = making.classes
    row = classes.possible[0].nitrate_ingoing if classes.settled and classes.possible else None
    if row is None:
        return None
    limit = case.book.limits[row]
    meant, weighed = (ingoing(case.history.batch.plan, case.book, mix, "nitrate") for mix in making.mixes)
    unsaid = making.mixes[1].nitrate_percent is None and making.mixes[1].cured
    if not any(one.decided for one in (meant, weighed)):
        if not (unsaid and limit.value == 0):
            return None
        said = _Said(Outcome.CANNOT_TELL, Tier.NONE, "e-8 nitrate not said", (row,))
    elif any(_over(case, one, row) for one in (meant, weighed)):
        said = _Said(Outcome.OUTSIDE, Tier.HOLD, "e-8 nitrate over", (row,))
    elif weighed.known:
        said = _Said(Outcome.WITHIN, Tier.NONE, "e-8 nitrate within", (row,))
    else:
        said = _Said(Outcome.CANNOT_TELL, Tier.NONE, "e-8 nitrate not said", (row,))
    parameters: Parameters = {
        "nitrate": None if weighed.decided is None else in_unit_of(limit, weighed.decided),
        "planned_nitrate": None if meant.decided is None else in_unit_of(limit, meant.decided),
        "nitrate_limit": limit.value,
        "nitrate_unit": limit.unit,
        "due_at": case.history.batch.started_at if said.tier is Tier.HOLD else None,
    }
    return _finding(case, making, said, parameters, rule="e-8 nitrate", value=parameters["nitrate"])


def _protection(case: Case, making: _Making) -> Finding:
    protected = nitrite_protected(case)
    if protected is None:
        said = _Said(Outcome.CANNOT_TELL, Tier.NONE, "e-8 protection not known", ("nitrite.protected",))
    elif protected:
        said = _Said(Outcome.WITHIN, Tier.NONE, "e-8 protected", ("nitrite.protected",))
    else:
        said = _Said(Outcome.OUTSIDE, Tier.NONE, "e-8 not protected", ("nitrite.protected",))
    return _finding(case, making, said, {}, rule="e-8 protection")


def _finding(
    case: Case,
    making: _Making,
    said: _Said,
    more: Parameters,
    *,
    rule: str = "e-8",
    value: float | int | str | None = None,
) -> Finding:
    begun, plan = case.history.batch.started_at, case.history.batch.plan
    row = case.book.limits[said.rows[0]] if said.rows else None
    unit = row.unit if row is not None and row.unit.startswith("ppm") else BASED_ON_SALT
    limit = row.value if row is not None and row.unit == unit else None
    reading = measured_last(case, "nitrite")
    classes = making.classes
    parameters: Parameters = {
        "class": " or ".join(one.words for one in classes.possible) or "none",
        "chosen_by": classes.chosen_by,
        "by_one": int(by_method_one(plan)),
        "injected": int(plan.method is Method.INJECTED),
        "planned": _in(case, said, making.plan.decided),
        "made": _in(case, said, making.made.decided if making.mixes[1].cured else 0.0),
        "method_one": _in(case, said, making.made.one),
        "method_two": _in(case, said, making.made.two),
        "planned_method_one": _in(case, said, making.plan.one),
        "planned_method_two": _in(case, said, making.plan.two),
        "pickup_percent": pickup_percent(plan, case.book) if plan.method in WET_METHODS else None,
        "limit": limit,
        "unit": unit,
        "missing": " and ".join(making.made.missing or making.plan.missing),
        "protected_limit": case.book.limits["nitrite.protected"].value,
        "residual": None if reading is None else round(reading.value, 1),
        "laboratory": "" if reading is None else reading.method or reading.probe,
        **more,
    }
    shown = parameters["made"] if value is None else value
    measured = shown if isinstance(shown, int | float) else None
    evidence = Evidence(begun, begun, (), 0, 0.0, f"{rule} as made", measured, unit, limit)
    return finding(case, rule, (said.outcome, said.tier, said.sentence), evidence, said.rows, parameters)


def _in(case: Case, said: _Said, ppm: float | None) -> float | None:
    """Return a figure in the unit of the row that decided: as the salt where none did. [ppm]"""
    row = case.book.limits[said.rows[0]] if said.rows else None
    if ppm is None or row is None or row.unit not in ("ppm NaNO2", "ppm NO2"):
        return ppm
    return in_unit_of(row, ppm)

"""Rule e-11, eaten as cured: the process, the control of parasites, and the water activity. Pure: no clock, no I/O."""

import re
from collections.abc import Sequence

import numpy as np

from alerts.case import NOISE_C, Case, finding, minutes
from alerts.cold_record import between
from alerts.rulebook.book import Rulebook
from alerts.science.exposure import stretches_above
from collector.batches import Batch, HandReading, Method, Plan, Stage
from collector.findings import Evidence, Finding, Outcome, Parameters, Tier

WITHOUT_IT = ("beef", "lamb", "poultry")
"""Meats in which nobody looks for Trichinella; offal of no named animal is taken for pork."""
FREE_OF_IT = frozenset(
    "venison deer elk moose chamois hare rabbit pheasant ox beef veal calf lamb mutton goat duck goose".split()
)
"""House: words in the cut that name an animal in which nobody looks for it."""
CURED = "published cure"
TESTED = "officially tested meat"


def _said(case: Case, sentence: str, outcome: Outcome, parameters: Parameters, rows: tuple[str, ...] = ()) -> Finding:
    evidence = Evidence(case.history.batch.started_at, case.until_at, (), 0, 0.0, "the plan", None, "", None)
    rule = " ".join(sentence.split()[:2])
    parameters = {**parameters, "blocks": 0 if outcome is Outcome.WITHIN else 1}
    return finding(case, rule, (outcome, Tier.NONE, sentence), evidence, rows, parameters)


def process_named(plan: Plan) -> bool:
    """Return whether a plan names its process; for poultry only an approved one will do, which has a number (A5)."""
    process = plan.process.strip()
    return any(sign.isdigit() for sign in process) if plan.meat == "poultry" else bool(process)


def may_carry_parasites(plan: Plan) -> bool:
    """Return whether Trichinella is looked for in a meat; what nobody has listed is taken for the worst."""
    said = f"{plan.cut} {plan.name}".casefold()
    spared = plan.meat != "pork" and bool(FREE_OF_IT & set(re.findall(r"[a-z]+", said)))
    return plan.meat not in WITHOUT_IT and not spared


def parasites_controlled(plan: Plan, book: Rulebook) -> bool:
    """Return whether a plan names a control of parasites that its rulebook takes (A4)."""
    return bool(plan.parasite_control) and not (book.authority == "US" and plan.parasite_control == TESTED)


def judge_process(case: Case) -> Finding:
    """Return whether the plan names the process by which the meat may be eaten uncooked."""
    plan = case.history.batch.plan
    if not process_named(plan):
        missing = "poultry" if plan.meat == "poultry" else "missing"
        return _said(case, f"e-11 process {missing}", Outcome.CANNOT_TELL, {})
    return _said(case, "e-11 process within", Outcome.WITHIN, {"process": plan.process.strip()})


def judge_parasites(case: Case) -> tuple[Finding, ...]:
    """Return how parasites were controlled; nothing for a meat in which nobody looks for them."""
    plan = case.history.batch.plan
    control = plan.parasite_control
    if not may_carry_parasites(plan):
        return ()
    if not control:
        return (_said(case, "e-11 parasites missing", Outcome.CANNOT_TELL, {}),)
    if control == CURED:
        return (_published_cure(case),)
    if not parasites_controlled(plan, case.book):
        return (_said(case, "e-11 parasites not enough", Outcome.OUTSIDE, {"control": control}),)
    if control == TESTED:
        return (_said(case, "e-11 parasites tested", Outcome.WITHIN, {}),)
    return (_said(case, "e-11 parasites stated", Outcome.WITHIN, {"control": control}),)


def _published_cure(case: Case) -> Finding:
    """Return whether the dry cure of hams was kept to: days, salt, soak, and then one row of warmth (figures of 5b)."""
    batch, book = case.history.batch, case.book
    days, salt_percent = _cured_days(case), _salt_percent(batch)
    soaked = minutes(sum(soak.until_at - soak.from_at for soak in batch.soaks))
    rows: tuple[str, ...] = ("parasite.ham_days", "parasite.ham_salt", "parasite.ham_soak")
    lacking = []
    if batch.plan.method not in (Method.DRY_BY_WEIGHT, Method.DRY_IN_EXCESS):
        lacking.append("a dry cure")
    if days < book.limits["parasite.ham_days"].value:
        lacking.append(f"{book.limits['parasite.ham_days'].printed} of cure ({days:.1f} counted)")
    if salt_percent is None or salt_percent < book.limits["parasite.ham_salt"].value:
        shown = "not entered" if salt_percent is None else f"{salt_percent:.1f} %"
        lacking.append(f"{book.limits['parasite.ham_salt'].printed} of salt to the meat ({shown})")
    if soaked > minutes(book.scaled("parasite.ham_soak")):
        lacking.append(f"a soak of at most {book.limits['parasite.ham_soak'].printed}")
    dried = _dried(case)
    if dried is None:
        lacking.append("drying or smoking at one of its temperatures for its days, by what was read")
    unchecked = [row for row in (*rows, *((dried[0],) if dried else ())) if not _checked(case, row)]
    if unchecked:
        lacking.append("that a named person compares its rows with the document")
    parameters: Parameters = {"days": f"{days:.1f}", "salt": f"{salt_percent or 0:.1f}", "lacking": "; ".join(lacking)}
    if lacking or dried is None:
        return _said(case, "e-11 parasites cure short", Outcome.CANNOT_TELL, parameters, rows)
    shown_as: Parameters = {**parameters, "at_c": book.limits[dried[0]].at_c, "minutes": float(dried[1])}
    return _said(case, "e-11 parasites cured", Outcome.WITHIN, shown_as, (*rows, dried[0]))


def _checked(case: Case, row: str) -> bool:
    return case.book.limits[row].known != "memory" or row in case.confirmed


def _cured_days(case: Case) -> float:
    """Return how long the meat was in the cure, what was too cold not counted. [d]"""
    floor = case.book.scaled("cure.full") - NOISE_C
    counted = []
    for tub in case.history.tubs:
        total = 0.0
        for span in case.history.batch.stages:
            if span.stage is not Stage.CURE or span.from_at >= case.until_at:
                continue
            end = case.until_at if span.until_at is None else min(span.until_at, case.until_at)
            piece = between(tub, span.from_at, end)
            if piece is not None:
                warm = stretches_above(piece.times_at, piece.clock_c, floor, at_least_s=0.0, join_s=0.0)
                total += sum(one.until_at - one.from_at for one in warm)
        counted.append(total)
    return min(counted, default=0.0) / 86_400.0


def _salt_percent(batch: Batch) -> float | None:
    made = batch.as_made
    return None if made.salt_kg is None or made.meat_kg <= 0 else 100.0 * made.salt_kg / made.meat_kg


def _dried(case: Case) -> tuple[str, int] | None:
    """Return the row of drying that every tub kept to, by the lower estimate, and for how long. [min]"""
    table = case.book.tables.get("parasite.drying")
    if table is None or not case.history.tubs:
        return None
    for row in (case.book.limits[name] for name in table.rows):
        held = [_warm_minutes(case, index, row.at_c or 0.0) for index in range(len(case.history.tubs))]
        if min(held) >= minutes(row.scaled):
            return row.id, min(held)
    return None


def _warm_minutes(case: Case, index: int, at_c: float) -> int:
    """Return the longest unbroken time of a tub at or above a temperature while it was smoked or dried. [min]"""
    tub, longest = case.history.tubs[index], 0.0
    for span in case.history.batch.stages:
        if span.stage not in (Stage.SMOKE, Stage.DRY) or span.from_at >= case.until_at:
            continue
        end = case.until_at if span.until_at is None else min(span.until_at, case.until_at)
        piece = between(tub, span.from_at, end)
        if piece is None:
            continue
        lowest = np.where(piece.unknown, piece.clock_c, piece.likely_c)
        warm = stretches_above(piece.times_at, lowest, at_c - NOISE_C, at_least_s=0.0, join_s=0.0)
        longest = max([longest, *(one.until_at - one.from_at for one in warm)])
    return minutes(longest)


def latest_aw(readings: Sequence[HandReading]) -> HandReading | None:
    """Return the measurement that decides: the latest of each tub, or of the batch, and of these the highest."""
    latest: dict[str | None, HandReading] = {}
    for reading in sorted(readings, key=lambda reading: reading.measured_at):
        latest[reading.tub] = reading
    return max(latest.values(), key=lambda reading: reading.value, default=None)


def judge_aw(case: Case) -> Finding:
    """Return whether the water activity was measured, and how; the process's figure decides, else that of the book."""
    batch, limit = case.history.batch, case.book.limits["release.aw"]
    own = batch.plan.process_aw if batch.plan.process.strip() else None
    allowed = limit.value if own is None else own
    rows: tuple[str, ...] = (limit.id,) if own is None else ()
    measured = [one for one in batch.hand_readings if one.measure == "aw" and one.measured_at <= case.said_until_at]
    reading = latest_aw(measured)
    parameters: Parameters = {"aw_limit": f"{allowed:g}", "blocks": 1}
    if reading is None:
        return _said(case, "e-11 aw missing", Outcome.CANNOT_TELL, parameters, rows)
    value = round(reading.value, 3)
    parameters = {**parameters, "aw": f"{value:g}", "method": reading.method}
    at = max(reading.measured_at, batch.started_at)
    evidence = Evidence(at, at, (), len(measured), 0.0, "water activity", value, "aw", allowed)
    outcome, sentence = Outcome.WITHIN, "e-11 aw within"
    if value > allowed:
        outcome, sentence = Outcome.OUTSIDE, "e-11 aw high"
    elif not reading.method.strip():
        outcome, sentence = Outcome.CANNOT_TELL, "e-11 aw no method"
    parameters = {**parameters, "method": reading.method or "method not said", "blocks": int(outcome != "within")}
    return finding(case, "e-11 aw", (outcome, Tier.NONE, sentence), evidence, rows, parameters)

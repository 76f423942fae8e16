"""The page of one batch: what is proposed and why, what happened, and everything that can be written down about it."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from fastapi import APIRouter, Request
from fastapi.responses import Response

from alerts.rules_release import blocks
from alerts.sentences_findings import DIVERT, PROPOSED, finding_text, instant_text, leave_it
from api.actions.signing import choices
from api.actions.standing import BLOCKING, Standing, as_now, standing
from api.auth.signed import OfficeHere
from api.doing import NotThere, book_for
from api.explaining import explained
from api.office import Office
from api.pages import batch_forms as forms
from api.pages.by_lot import ByLot
from api.pages.daily_forms import daily_forms
from api.pages.forms import Form
from api.pages.frame import Framed
from api.pages.learned import learned_lines
from api.pages.making_forms import DONE as MAKING_DONE
from api.pages.making_forms import LOGS, LOGS_OF_ENDED, SIGNED, making_forms
from api.pages.rendering import Frame, show
from api.pages.telling import by_words
from api.pages.wording import DISPOSITIONS, degrees, long_text, short_text
from api.tonight import zone_of
from collector.batches import AsMade, Batch, Plan
from collector.findings import Disposition, Finding, Outcome, Proposal, Tier
from collector.kitchen import Kitchen
from collector.sample import Instant

router = APIRouter()
DONE = {
    "move": "The move is written down.",
    "hand": "The hand reading is written down; the batch is judged again with it.",
    "action": "The corrective action is written down.",
    "as-made": "The sheet is written down; the first one stays in the journal.",
    "places": "Where it stood is corrected; the batch is judged again with it.",
    "stage": "The stage is written down.",
    "end": "The batch has ended.",
    "sign": "Your decision is written down under your name.",
    "start": "The batch is started. It is watched from now on.",
    **MAKING_DONE,
}
OUTCOMES = {Outcome.WITHIN: "within", Outcome.OUTSIDE: "outside", Outcome.CANNOT_TELL: "cannot tell"}


@dataclass(frozen=True, slots=True)
class Said:
    """One finding: the rule, what it says, its outcome in a word."""

    rule: str
    outcome: str
    words: str


@dataclass(frozen=True, slots=True)
class ProposalBlock:
    """What binds now or is proposed, with everything that led to it."""

    kind: str
    title: str
    signed: str
    """Who signed what, when and why; empty while nobody has."""
    advice: tuple[str, ...]
    reasons: tuple[Said, ...]
    waits: tuple[Said, ...]
    """What a release still asks for."""
    others: tuple[Said, ...]
    basis: str


@dataclass(frozen=True, slots=True)
class TubLine:
    """One tub: where it stands, and what is estimated of it."""

    tub: str
    where: str


@dataclass(frozen=True, slots=True)
class Moment:
    """One line of the timeline."""

    at: str
    by: str
    words: str
    position: int


@dataclass(frozen=True, slots=True)
class BatchContext:
    """Context of the page."""

    lot: str
    name: str
    what: str
    ended: str
    done: str
    block: ProposalBlock | None
    paragraph: str
    held: bool
    estimate: str
    tubs: tuple[TubLine, ...]
    plan: tuple[tuple[str, str], ...]
    sheet: tuple[tuple[str, str], ...]
    learned: tuple[str, ...]
    """Excursions that only late readings have told of."""
    timeline: tuple[Moment, ...]
    sign: Form | None
    writes: tuple[Form, ...]
    corrects: tuple[Form, ...]


def _said(finding: Finding, zone: str) -> Said:
    return Said(finding.rule, OUTCOMES[finding.outcome], finding_text(finding, zone))


def _advice(disposition: Disposition | None, proposal: Proposal | None, zone: str) -> Iterable[str]:
    if disposition is Disposition.HOLD:
        yield leave_it(proposal.findings if proposal is not None else ())
    if disposition is Disposition.REJECT:
        yield "Set it apart and mark it; an approver signs before it is disposed of."
    if proposal is None:
        return
    if disposition is Disposition.HOLD and proposal.decide_by_at is not None:
        late = " That time has passed: decide now." if proposal.judged_until_at > proposal.decide_by_at else ""
        yield f"Decide by {instant_text(proposal.decide_by_at, zone)}.{late}"
    yield from (finding_text(found, zone) for found in proposal.findings if found.sentence == DIVERT)
    if proposal.new_end_at is not None:
        yield f"The cure goes on until {instant_text(proposal.new_end_at, zone)}."
    if disposition in (Disposition.HOLD, Disposition.REJECT):
        yield "Nothing of it is released meanwhile."


def _signed(stands: Standing, kitchen: Kitchen, zone: str) -> str:
    if stands.sign_off is None:
        return ""
    record = stands.sign_off
    decided = DISPOSITIONS[record.sign_off.disposition]
    newer = "" if stands.signed else " What is proposed has changed since, and waits for a signature."
    name = by_words(kitchen, record.sign_off.person)
    return f"{name} signed on {short_text(record.at, zone)}: {decided}. {record.sign_off.reason}.{newer}"


def block_of(kitchen: Kitchen, lot: str, fresh: Proposal | None = None) -> ProposalBlock | None:
    """Return what binds a batch or is proposed for it, in words; None before it was first judged."""
    stands, zone = standing(kitchen, lot), zone_of(kitchen)
    if stands.disposition is None:
        return None
    proposal = as_now(kitchen, lot, fresh)
    findings = proposal.findings if proposal is not None else ()
    released = stands.disposition is Disposition.RELEASE
    rejected = stands.disposition is Disposition.REJECT

    def shown(found: Finding) -> bool:
        return released and found.rule.startswith("e-11 ") and found.outcome is Outcome.WITHIN

    decided = f"Signed: {DISPOSITIONS[stands.disposition]}."
    basis = ""
    if proposal is not None:
        until = instant_text(proposal.judged_until_at, zone)
        since = instant_text(stands.proposal.at, zone) if stands.proposal is not None else until
        basis = (
            f"Judged up to {until} by rulebook {proposal.rulebook}, {proposal.software}; "
            f"the outcome has stood since {since}."
        )
    return ProposalBlock(
        kind=str(stands.disposition),
        title=decided if stands.signed else PROPOSED[stands.disposition],
        signed=_signed(stands, kitchen, zone),
        advice=tuple(_advice(stands.disposition, proposal, zone)),
        reasons=tuple(_said(f, zone) for f in findings if f.tier is not Tier.NONE or shown(f)),
        waits=tuple(_said(f, zone) for f in findings if f.tier is Tier.NONE and blocks(f) and not rejected),
        others=tuple(
            _said(f, zone)
            for f in findings
            if f.tier is Tier.NONE and not blocks(f) and not shown(f) and f.sentence != DIVERT
        ),
        basis=basis,
    )


PARTED_C = 0.1
"""Bounds further apart than this are said too. [K]"""


def _estimate(office: Office, batch: Batch) -> str:
    """Return the estimate of the warmest tub now, in a sentence."""
    now = office.clock()
    found = [e for unit in office.estimates().values() for lot, e in unit.items() if lot == batch.lot]
    if batch.ended_at is not None:
        return ""
    if not found:
        return "Nothing is known of this meat now: measure it, and enter what the probe reads."
    warmest = max(found, key=lambda e: e.likely_c)
    old = f", {long_text(now - warmest.at)} ago" if now - warmest.at > 900.0 else ""
    bounds = f"between {degrees(warmest.lower_c)} and {degrees(warmest.upper_c)}"
    if warmest.claimed_c is not None:
        low, high = warmest.claimed_c
        parted = warmest.upper_c - warmest.lower_c >= PARTED_C
        bounds = f"{degrees(low).removesuffix(' °C')} to {degrees(high)} with 90 %" + (
            f"; at worst {bounds}" if parted else ""
        )
    return f"Warmest tub {degrees(warmest.likely_c)}{old} (estimate, {bounds})."


def tub_lines(batch: Batch, kitchen: Kitchen, zone: str) -> Iterable[TubLine]:
    """Return where each tub stands."""
    for tub in batch.tubs:
        last = [p for p in batch.placements if p.tub == tub][-1]
        if last.until_at is not None:
            yield TubLine(tub, f"gone since {short_text(last.until_at, zone)}")
            continue
        where = "out on the bench, air about " + degrees(last.bench_c)
        if last.unit is not None:
            where = "in " + (kitchen.units[last.unit].name if last.unit in kitchen.units else last.unit)
        yield TubLine(tub, f"{where} since {short_text(last.from_at, zone)}")


def _masses(kg: Iterable[tuple[str, float | None]]) -> Iterable[tuple[str, str]]:
    return ((name, "not entered" if value is None else f"{value:g} kg") for name, value in kg)


def plan_lines(batch: Batch, kitchen: Kitchen, zone: str) -> tuple[tuple[str, str], ...]:
    """Return a batch's plan, name and value."""
    p = batch.plan
    return (
        ("Meat", f"{p.meat}, {p.cut}{', bone in' if p.bone_in else ''}, {p.thickness_mm:g} mm at its thickest"),
        ("Method", f"{p.method}, {p.packing}; to be eaten: {p.route}"),
        ("Cure", f"{p.cure_s / 86_400.0:g} days, until {instant_text(kitchen.cure_end_at(batch.lot), zone)}"),
        *_masses([("Water", p.water_kg), ("Salt", p.salt_kg), ("Sugar", p.sugar_kg)]),
        *_masses([("Curing salt", p.curing_salt_kg)]),
        ("Class of product", _class_words(batch, kitchen)),
        *_way_out(p),
    )  # fmt: skip


def _class_words(batch: Batch, kitchen: Kitchen) -> str:
    """Return the class that sets the limit of nitrite, and who chose it."""
    if not batch.plan.product_class:
        return "not chosen"
    return f"{batch.plan.product_class}, chosen by {by_words(kitchen, batch.planned_by)}"


def _way_out(p: Plan) -> Iterable[tuple[str, str]]:
    """Return what a plan says of stages that may be warm and of the way out, where it says anything."""
    if p.opened is not None:
        yield "Inside", "opened" if p.opened else "never opened"
    if p.process:
        yield "Process", p.process + ("" if p.process_aw is None else f", aw {p.process_aw:g} or less")
    if p.parasite_control:
        yield "Parasites", p.parasite_control
    for w in p.windows:
        span = f"{degrees(w.lowest_c)} to {degrees(w.highest_c)}, at most {w.longest_s / 86_400.0:g} days"
        yield f"Window, {w.stage}", f"{span} ({w.source})"


def sheet_lines(batch: Batch) -> tuple[tuple[str, str], ...]:
    """Return a batch's as-made sheet, name and value; what was not entered says so."""
    m = batch.as_made
    masses = [("Meat", m.meat_kg), ("Water", m.water_kg), ("Salt", m.salt_kg), ("Sugar", m.sugar_kg)]
    percent = "not entered" if m.nitrite_percent is None else f"{m.nitrite_percent:g} % by its bag"
    return (
        *_masses([*masses, ("Curing salt", m.curing_salt_kg)]),
        ("Lot of the curing salt", m.curing_salt_lot or "not entered"),
        ("Nitrite", percent),
        *_said_of(m),
        ("Brine at filling", "not entered" if m.brine_c is None else degrees(m.brine_c)),
        ("Core at filling", "not entered" if m.meat_c is None else degrees(m.meat_c)),
        ("Scale", m.scale or "not entered"),
        ("Supplier lots", ", ".join(m.supplier_lots) or "not entered"),
    )


def _said_of(m: AsMade) -> Iterable[tuple[str, str]]:
    """Return what a sheet says beyond what every sheet must, where it says it."""
    if m.nitrate_percent is not None:
        yield "Nitrate", f"{m.nitrate_percent:g} % by its bag"
    if m.pumped_kg is not None:
        yield "Meat after injection", f"{m.pumped_kg:g} kg"
    if m.brine_state:
        yield "Brine", m.brine_state
    if m.delivery_c is not None:
        yield "Meat at delivery", degrees(m.delivery_c)


def _excursion_at(kitchen: Kitchen, lot: str) -> Instant | None:
    """Return when the excursion began that asks for a cause, by the finding that says so."""
    record = kitchen.proposal_of(lot)
    found = [f for f in record.proposal.findings if f.rule == "e-2" and f.tier is not Tier.NONE] if record else []
    return found[0].evidence.from_at if found else None


def _where(batch: Batch, kitchen: Kitchen) -> str:
    units = dict.fromkeys(p.unit for p in batch.placements if p.until_at is None and p.unit is not None)
    return ", ".join(kitchen.units[u].name for u in units if u in kitchen.units)


def forms_of(kitchen: Kitchen, batch: Batch) -> dict[str, Form]:
    """Return the forms of a batch by the last part of their address, correction forms by tub."""
    zone = zone_of(kitchen)
    found = {
        "hand": forms.hand_form(batch),
        "move": forms.move_form(kitchen, batch),
        "action": forms.action_form(batch, zone, _excursion_at(kitchen, batch.lot)),
        "stage": forms.stage_form(batch),
        "as-made": forms.as_made_form(batch, zone),
        "sign": forms.sign_form(batch, standing(kitchen, batch.lot), _where(batch, kitchen)),
        "end": forms.end_form(batch),
        **making_forms(kitchen, batch),
        **daily_forms(kitchen, batch),
    }
    return found | {f"places {tub}": forms.places_form(kitchen, batch, tub, zone) for tub in batch.tubs}


def context(
    office: Office, frame: Frame, lines: ByLot, lot: str, done: str = "", refused: tuple[str, Form] | None = None
) -> BatchContext:
    """Return what the page shows; a refused form takes the place of a fresh one."""
    kitchen, now = office.present.kitchen, office.clock()
    batch = kitchen.batches[lot]
    zone, living, fresh = zone_of(kitchen), batch.ended_at is None, office.judged(lot)
    found = forms_of(kitchen, batch)
    if refused is not None:
        name, form = refused
        # What was refused is looked at anew, so that it names the proposal that the page shows now.
        newest = {key: found[name].value(key) for key in ("proposal",) if key in found[name].values}
        found[name] = replace(form, values={**form.values, **newest})
    stage = batch.stage_at(now)
    may_sign = frame.signs and bool(choices(standing(kitchen, lot)))
    wanted = ("hand", "move", "action", "stage", *LOGS, "end") if living else ("hand", "action", *LOGS_OF_ENDED)
    signed = SIGNED if living and frame.signs else ()
    corrects = ("as-made", *(f"places {tub}" for tub in batch.tubs))
    return BatchContext(
        lot=lot,
        name=batch.plan.name,
        what=f"{batch.plan.meat}, {batch.plan.cut}" + (f"; stage {stage}" if stage is not None and living else ""),
        ended=f"Ended {short_text(batch.ended_at, zone)}." if batch.ended_at is not None else "",
        done=DONE.get(done, ""),
        block=block_of(kitchen, lot, fresh),
        paragraph=explained(kitchen, lot, fresh, book_for(office, kitchen, lot)),
        held=standing(kitchen, lot).disposition in BLOCKING,
        estimate=_estimate(office, batch),
        tubs=tuple(tub_lines(batch, kitchen, zone)),
        plan=plan_lines(batch, kitchen, zone),
        sheet=sheet_lines(batch),
        learned=tuple(learned_lines(office, lot, as_now(kitchen, lot, fresh), zone)),
        timeline=tuple(
            Moment(short_text(line.at, zone), line.by, line.words, line.position)
            for line in reversed(lines.lines(lot, kitchen))
        ),
        sign=found["sign"] if may_sign else None,
        writes=(*(found[name] for name in wanted if frame.operates), *(found[name] for name in signed)),
        corrects=tuple(found[name] for name in corrects) if frame.operates else (),
    )


def by_lot(request: Request, office: Office) -> ByLot:
    """Return the app's one follower of the journal by lot."""
    found: ByLot | None = getattr(request.app.state, "by_lot", None)
    if found is None:
        found = request.app.state.by_lot = ByLot(office.journal)
    return found


@router.get("/batches/{lot}")
def batch_view(request: Request, lot: str, office: OfficeHere, frame: Framed, done: str = "") -> Response:
    """Return the page of one batch."""
    if lot not in office.present.kitchen.batches:
        raise NotThere(f"no batch has lot code {lot}")
    return show("batch.html", context(office, frame, by_lot(request, office), lot, done), frame)

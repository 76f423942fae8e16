"""Sheets to print beside a batch: HOLD / DO NOT USE for what must not be used, and a label for each tub."""

from collections.abc import Iterable
from dataclasses import dataclass

from fastapi import APIRouter
from fastapi.responses import Response

from alerts.explain import dated
from alerts.sentences_findings import finding_words, instant_text, leave_it
from api.actions.standing import BLOCKING, Standing, as_now, standing
from api.auth.signed import OfficeHere
from api.doing import NotThere
from api.explaining import zone_of_batch
from api.pages.batch import tub_lines
from api.pages.frame import Framed
from api.pages.rendering import show
from api.pages.telling import by_words
from collector.batches import Batch
from collector.findings import Disposition, Finding, Proposal, Tier
from collector.kitchen import Kitchen
from collector.sample import Instant

router = APIRouter()


@dataclass(frozen=True, slots=True)
class HoldSheet:
    """Context of the sheet that hangs at what must not be used."""

    lot: str
    name: str
    what: str
    word: str
    """`HOLD` or `REJECT`; empty where neither binds the lot now."""
    since: str
    reasons: tuple[str, ...]
    decide: str
    signed: str
    where: tuple[str, ...]
    do: str
    written: str


@dataclass(frozen=True, slots=True)
class TubLabel:
    """What stands on one tub."""

    tub: str
    where: str


@dataclass(frozen=True, slots=True)
class LabelSheet:
    """Context of the labels of a batch."""

    lot: str
    name: str
    what: str
    started: str
    cure_until: str
    cure_type: str
    words: str
    blocked: str
    tubs: tuple[TubLabel, ...]


def blocked_since(kitchen: Kitchen, lot: str) -> Instant | None:
    """Return since when a hold or a reject has bound a lot without a break, by its proposals and signatures."""
    begun = None
    proposals = [(r.at, r.proposal.disposition) for r in kitchen.proposals.get(lot, ())]
    signed = [(r.at, r.sign_off.disposition) for r in kitchen.sign_offs.get(lot, ())]
    for run in (proposals, signed):
        for at, disposition in reversed(run):
            if disposition not in BLOCKING:
                break
            begun = at if begun is None else min(begun, at)
    return begun


def _reasons(findings: Iterable[Finding], zone: str) -> tuple[str, ...]:
    return tuple(finding_words(f, zone) for f in findings if f.tier in (Tier.HOLD, Tier.REJECT))


def _decide(stands: Standing, proposal: Proposal | None, zone: str) -> str:
    if stands.disposition is Disposition.REJECT:
        return "An approver signs before any of it is disposed of."
    if proposal is None or proposal.decide_by_at is None:
        return "An approver decides; no time is set."
    late = " That time has passed: decide now." if proposal.judged_until_at > proposal.decide_by_at else ""
    return f"An approver decides by {instant_text(proposal.decide_by_at, zone)}.{late}"


def _signed(stands: Standing, kitchen: Kitchen, zone: str) -> tuple[str, str]:
    """Return who signed the hold, and the place that was written down with it."""
    if not stands.signed or stands.sign_off is None:
        return "Nobody has signed it yet. It binds all the same.", ""
    s = stands.sign_off.sign_off
    who = by_words(kitchen, s.person)
    return f"Signed by {who} on {instant_text(stands.sign_off.at, zone)}: {s.reason.rstrip('.')}.", s.where_kept


def _what(batch: Batch) -> str:
    return f"{batch.plan.meat}, {batch.plan.cut}, {batch.as_made.meat_kg:g} kg of meat"


def _held_sheet(kitchen: Kitchen, batch: Batch, proposal: Proposal | None, now: Instant) -> HoldSheet:
    zone, stands = zone_of_batch(kitchen, batch), standing(kitchen, batch.lot)
    findings = () if proposal is None else proposal.findings
    signed, kept = _signed(stands, kitchen, zone)
    since = blocked_since(kitchen, batch.lot)
    held = stands.disposition in BLOCKING
    reject = stands.disposition is Disposition.REJECT
    return HoldSheet(
        lot=batch.lot,
        name=batch.plan.name,
        what=_what(batch),
        word=str(stands.disposition).upper() if held else "",
        since="an unknown time" if since is None else instant_text(since, zone),
        reasons=_reasons(findings, zone),
        decide=_decide(stands, proposal, zone),
        signed=signed,
        where=(
            *([f"Kept in: {kept}"] if kept else []),
            *(f"Tub {line.tub}: {line.where}" for line in tub_lines(batch, kitchen, zone)),
        ),
        do="Leave it cold, apart and marked; do not cook, sell or throw it away yet." if reject else leave_it(findings),
        written=dated(now, zone),
    )


@router.get("/batches/{lot}/hold-sheet")
def hold_sheet(lot: str, office: OfficeHere, frame: Framed) -> Response:
    """Return the sheet to hang at a lot that must not be used; without a hold it says that there is none."""
    kitchen = office.present.kitchen
    if lot not in kitchen.batches:
        raise NotThere(f"no batch has lot code {lot}")
    proposal = as_now(kitchen, lot, office.judged(lot))
    return show("hold_sheet.html", _held_sheet(kitchen, kitchen.batches[lot], proposal, office.clock()), frame)


@router.get("/batches/{lot}/labels")
def labels(lot: str, office: OfficeHere, frame: Framed) -> Response:
    """Return a label for each tub of a batch that still stands somewhere."""
    kitchen = office.present.kitchen
    if lot not in kitchen.batches:
        raise NotThere(f"no batch has lot code {lot}")
    batch, zone = kitchen.batches[lot], zone_of_batch(kitchen, kitchen.batches[lot])
    words = batch.labels[-1].words if batch.labels else ""
    raw = batch.labels and batch.labels[-1].cook_before_eating
    disposition = standing(kitchen, lot).disposition
    living = {p.tub for p in batch.placements if p.until_at is None}
    context = LabelSheet(
        lot=lot,
        name=batch.plan.name,
        what=_what(batch),
        started=dated(batch.started_at, zone),
        cure_until=instant_text(kitchen.cure_end_at(lot), zone),
        cure_type=f"{batch.plan.method}, {batch.plan.packing}; to be eaten: {batch.plan.route}",
        words=f"{words}{' Cook before eating.' if raw else ''}" if words else "",
        blocked=f"{str(disposition).upper()}: DO NOT USE" if disposition in BLOCKING else "",
        tubs=tuple(TubLabel(t.tub, t.where) for t in tub_lines(batch, kitchen, zone) if t.tub in living),
    )
    return show("labels.html", context, frame)

"""The record of one batch, to read and to print: what happened, what each rule says by which figure, who decided."""

from collections.abc import Iterable
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import Response

from alerts.explain import (
    Basis,
    asked_for,
    bases_of,
    dated,
    rulebooks_since,
    signed_text,
    unknowns,
    who_decides,
)
from alerts.rulebook.book import Rulebook
from alerts.sentences_findings import finding_text, span_text
from api.actions.standing import as_now, standing
from api.auth.signed import OfficeHere
from api.doing import NotThere, book_for
from api.explaining import explained, zone_of_batch
from api.office import Office
from api.pages.batch import OUTCOMES, Moment, by_lot, plan_lines, sheet_lines
from api.pages.frame import Framed
from api.pages.learned import learned_of
from api.pages.record_parts import Checked, Span, checked_of, gaps_of, hand_lines, made_lines, spans_of, warm_lines
from api.pages.rendering import show
from api.pages.telling import by_words
from api.pages.wording import short_text
from collector.batches import Batch, Plan
from collector.findings import Evidence, Finding
from collector.kitchen import Kitchen
from collector.sample import Instant

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Told:
    """One finding with what it rests on."""

    rule: str
    outcome: str
    words: str
    evidence: str
    bases: tuple[Basis, ...]


@dataclass(frozen=True, slots=True)
class RecordContext:
    """Context of the record."""

    lot: str
    name: str
    written: str
    zone: str
    paragraph: str
    made_under: tuple[tuple[str, str], ...]
    decides: str
    asked: tuple[str, ...]
    unknown: tuple[str, ...]
    findings: tuple[Told, ...]
    plan: tuple[tuple[str, str], ...]
    sheet: tuple[tuple[str, str], ...]
    stages: tuple[Span, ...]
    places: tuple[Span, ...]
    warm: tuple[str, ...]
    gaps: tuple[str, ...]
    hand: tuple[str, ...]
    made: tuple[tuple[str, str], ...]
    checked: tuple[Checked, ...]
    signed: tuple[str, ...]
    changes: tuple[str, ...]
    rulebook: str
    timeline: tuple[Moment, ...]


def _figure(value: float | None, unit: str) -> str:
    if value is None:
        return "no figure"
    return f"{value:g}{'' if unit in ('', '1') else f' {unit}'}".replace("-", "−")


def evidence_text(e: Evidence, zone: str) -> str:
    """Return what a finding rests on, in a line: span, readings, channels, unknown time, measure against threshold."""
    span = f"{short_text(e.from_at, zone)} to {short_text(e.until_at, zone)}"
    gap = f"{span_text(e.gap_s / 60)} of it unknown" if e.gap_s > 0 else "no unknown time inside it"
    channels = ", ".join(e.channels)
    read = f"about {channels}; rests on no reading" if channels else "rests on no reading"
    if e.readings:
        read = f"{e.readings} readings of {channels}; {gap}" if channels else f"{e.readings} readings; {gap}"
    against = "" if e.threshold is None else f", against {_figure(e.threshold, e.unit)}"
    measure = f"{e.measure}: {_figure(e.value, e.unit)}{against}" if e.measure else "nothing measured"
    return f"{span}; {read}. {measure[0].upper()}{measure[1:]}."


def _told(found: Finding, kitchen: Kitchen, book: Rulebook | None, zone: str) -> Told:
    return Told(
        found.rule,
        OUTCOMES[found.outcome],
        finding_text(found, zone),
        evidence_text(found.evidence, zone),
        bases_of(found, kitchen, book),
    )


def _made_under(kitchen: Kitchen, batch: Batch) -> Iterable[tuple[str, str]]:
    site = kitchen.site_of(next((p.unit for p in batch.placements if p.unit is not None), None))
    yield "Site", "unknown" if site is None else f"{site.name}, rules of {site.authority}"
    yield "Approval", (site.approval if site is not None else "") or "none entered"
    yield "Meat from", ", ".join(batch.as_made.supplier_lots) or "supplier lots not entered"
    if batch.split_from:
        yield "Split from", batch.split_from
    for strand in batch.strands:
        yield "Merged from", f"{strand.lot}, tub {strand.tub}, into tub {strand.into}"
    yield "Portions sold", "not kept here: see the kitchen's own book"
    yield "Kept for", "not said here: as the site's own plan or the authority asks"


def _rulebook(kitchen: Kitchen, lot: str, book: Rulebook | None, by: str) -> str:
    """Return by what the batch was judged, and whether the rulebook is another one now."""
    names = rulebooks_since(kitchen, lot, by)
    now = "no rulebook is shipped for its site now" if book is None else f"shipped now: {book.name}"
    several = "It was judged by one rulebook" if len(names) == 1 else "It was judged by these rulebooks, in this order"
    if not names:
        return f"It was not judged yet; {now}."
    return f"{several}: {', '.join(names)}; {now}. Sources and editions above are those of the rulebook shipped now."


def _changes(kitchen: Kitchen, batch: Batch, zone: str) -> Iterable[str]:
    # One plan more than there are changes where there is none.
    after: list[Plan] = [*(c.before for c in batch.plan_changes[1:]), batch.plan]
    for change, then in zip(batch.plan_changes, after, strict=False):
        who = by_words(kitchen, change.person)
        what = ", ".join(
            f"{name.replace('_', ' ')} from {getattr(change.before, name)} to {getattr(then, name)}"
            for name in Plan.__dataclass_fields__
            if getattr(change.before, name) != getattr(then, name)
        )
        yield f"{short_text(change.changed_at, zone)}, {who}: {what or 'nothing that is kept'}. Reason: {change.reason}"


def context(office: Office, timeline: Iterable[Moment], lot: str, now: Instant) -> RecordContext:
    """Return what the record shows."""
    kitchen = office.present.kitchen
    batch, book, fresh = kitchen.batches[lot], book_for(office, kitchen, lot), office.judged(lot)
    zone, stands, proposal = zone_of_batch(kitchen, batch), standing(kitchen, lot), as_now(kitchen, lot, fresh)
    binds, signed = stands.disposition, stands.signed
    history = office.history(lot)
    return RecordContext(
        lot=lot,
        name=batch.plan.name,
        written=dated(now, zone),
        zone=zone,
        paragraph=explained(kitchen, lot, fresh, book),
        made_under=tuple(_made_under(kitchen, batch)),
        decides=who_decides(batch, proposal, kitchen, zone, binds=binds, signed=signed),
        asked=asked_for(proposal, zone),
        unknown=unknowns(batch, proposal, zone),
        findings=tuple(_told(f, kitchen, book, zone) for f in (() if proposal is None else proposal.findings)),
        plan=plan_lines(batch, kitchen, zone),
        sheet=sheet_lines(batch),
        stages=spans_of(((str(s.stage), s.from_at, s.until_at) for s in batch.stages), zone),
        places=spans_of(((_place(p.tub, p.unit, kitchen, p.bench_c), p.from_at, p.until_at) for p in batch.placements),
                        zone),
        warm=tuple(warm_lines(history, kitchen, book, now, zone, learned_of(office, lot, history, now))),
        gaps=tuple(gaps_of(history, zone)),
        hand=tuple(hand_lines(batch, kitchen, zone)),
        made=tuple(made_lines(batch, kitchen, zone)),
        checked=tuple(checked_of(batch, proposal, history, kitchen, now, zone)),
        signed=tuple(signed_text(r, batch, kitchen, zone) for r in kitchen.sign_offs.get(lot, ())),
        changes=tuple(_changes(kitchen, batch, zone)),
        rulebook=_rulebook(kitchen, lot, book, proposal.rulebook if proposal is not None else ""),
        timeline=tuple(timeline),
    )  # fmt: skip


def _place(tub: str, unit: str | None, kitchen: Kitchen, bench_c: float | None) -> str:
    if unit is None:
        return f"tub {tub}: out of any unit, air about " + ("unknown" if bench_c is None else f"{bench_c:.1f} °C")
    return f"tub {tub}: {kitchen.units[unit].name if unit in kitchen.units else unit}"


@router.get("/batches/{lot}/record")
def record(request: Request, lot: str, office: OfficeHere, frame: Framed) -> Response:
    """Return the record of one batch."""
    kitchen = office.present.kitchen
    if lot not in kitchen.batches:
        raise NotThere(f"no batch has lot code {lot}")
    lines, zone = by_lot(request, office).lines(lot, kitchen), zone_of_batch(kitchen, kitchen.batches[lot])
    moments = (Moment(short_text(line.at, zone), line.by, line.words, line.position) for line in lines)
    return show("record.html", context(office, moments, lot, office.clock()), frame)

"""A batch explained: one printable paragraph, what each limit rests on, what is not known, who must decide. Pure."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from alerts.rulebook.book import Limit, Rulebook
from alerts.rulebook.site_limits import with_site_limits
from alerts.rules_release import blocks
from alerts.sentences_findings import CAUTION, DIVERT, PROPOSED, finding_words, instant_text, leave_it, span_text
from collector.batches import Batch
from collector.findings import Disposition, Finding, Outcome, Proposal, Tier
from collector.kitchen import Kitchen, Person, SignOffRecord
from collector.sample import Instant

LAWS = (
    "9 CFR", "Regulation (E", "Miscellaneous Food Additives Regulations", "Food Safety and Hygiene (England)",
)  # fmt: skip
"""How the sources that are laws or regulations begin; a withdrawn one says `now reserved` and is guidance."""
MODEL_CODES = ("FDA Food Code",)
"""What is law only where a state or a county has adopted it."""
SIGNED = {
    Disposition.CONTINUE: "carry on",
    Disposition.EXTEND: "cure longer",
    Disposition.HOLD: "hold",
    Disposition.REJECT: "reject",
    Disposition.RELEASE: "release",
}
SAME_PERSON = "same person"
TEMPERATURE_RULES = ("e-2", "e-3", "e-4", "e-5", "e-6", "e-7")


@dataclass(frozen=True, slots=True)
class Basis:
    """One limit behind a finding, and everything an inspector asks of it."""

    row: str
    printed: str
    standing: str
    """`law`, `model code`, `guidance`, `house limit` or `the site's own`."""
    source: str
    edition: str
    known: str


def standing_of(limit: Limit) -> str:
    """Return what kind of figure a limit is, in a word or two; no unit."""
    if limit.set_by:
        return "the site's own"
    if limit.known == "house":
        return "house limit"
    if limit.borrowed:
        return "another authority's figure, used here by choice of this house"
    if limit.source.startswith(MODEL_CODES):
        return "model code: law only where it was adopted"
    if limit.source.startswith(LAWS) and "now reserved" not in limit.source:
        return "law"
    return "guidance or published figure"


def known_of(limit: Limit, kitchen: Kitchen, book: Rulebook) -> str:
    """Return how a figure is known and who confirmed it, in words; no unit."""
    if limit.set_by:
        way = "looser" if limit.loosened else "stricter"
        return f"set by {limit.set_by}; {way} than the shipped {limit.shipped}"
    confirmed = kitchen.confirmed.get((book.id, limit.id))
    if limit.known == "house":
        return "no published source: this house chose it"
    if confirmed is not None:
        return f"compared with {confirmed.document} by {name_of(kitchen, confirmed.person)}"
    if limit.known == "memory":
        return "from memory: nobody has compared it with the document"
    return {"read": "read in the document", "computed": "computed from the source"}.get(limit.known, limit.known)


def bases_of(found: Finding, kitchen: Kitchen, book: Rulebook | None) -> tuple[Basis, ...]:
    """Return the limits that a finding names, each with its source and edition; a row not in the book says so."""
    limits = {} if book is None else with_site_limits(book, kitchen.site_limits).limits
    return tuple(_basis(row, limits.get(row), kitchen, book) for row in dict.fromkeys(found.limits))


def _basis(row: str, limit: Limit | None, kitchen: Kitchen, book: Rulebook | None) -> Basis:
    if limit is None or book is None:
        return Basis(row, "unknown", "unknown", "not in the rulebook that is shipped now", "unknown", "unknown")
    source = limit.cited if limit.known != "house" else "house: no published source"
    return Basis(
        row, limit.printed, standing_of(limit), source, limit.edition or "none stated", known_of(limit, kitchen, book)
    )


def name_of(kitchen: Kitchen, person: str) -> str:
    """Return a person's name, or the id of one who is not described."""
    return kitchen.people[person].name if person in kitchen.people else person


def one_person(batch: Batch, record: SignOffRecord) -> bool:
    """Return whether whoever signed also entered the plan or logged the making: then it was no second person's look."""
    made = {one.person for one in batch.core_logs} | {one.person for one in batch.soaks}
    made |= {one.person for one in batch.tasks_done} | {one.person for one in batch.labels}
    planned = {batch.planned_by} | {change.person for change in batch.plan_changes}
    return record.sign_off.person in made | planned


def signed_text(record: SignOffRecord, batch: Batch, kitchen: Kitchen, zone: str) -> str:
    """Return a decision in a sentence: who, when, what, why, where it stands, and whether it was one person."""
    s = record.sign_off
    words = f"{name_of(kitchen, s.person)} signed on {dated(record.at, zone)}: {SIGNED[s.disposition]}"
    same = f" ({SAME_PERSON} as entered the plan or logged the making)" if one_person(batch, record) else ""
    kept = f" It stands in {s.where_kept}." if s.where_kept else ""
    return f"{words}{same}. Reason: {s.reason.rstrip('.')}.{kept}"


def approvers(kitchen: Kitchen) -> tuple[Person, ...]:
    """Return the people who may sign, by id."""
    return tuple(person for _, person in sorted(kitchen.people.items()) if "approver" in person.roles)


def who_decides(
    batch: Batch, proposal: Proposal | None, kitchen: Kitchen, zone: str, *, binds: Disposition | None, signed: bool
) -> str:
    """Return who must decide what by when, in a sentence or two, given what binds now and whether it was signed."""
    names = [person.name for person in approvers(kitchen)]
    who = f"an approver ({' or '.join(names)})" if names else "an approver, and the site has none yet,"
    waits = "signed" if signed else "proposed and waits for a signature"
    match binds:
        case None:
            return f"Nothing is proposed yet; once it is, {who} decides."
        case Disposition.HOLD:
            until = "until another decision is signed" if signed else "meanwhile"
            return f"The hold is {waits}; it binds {until}: {who} decides what becomes of it, {_by(proposal, zone)}."
        case Disposition.REJECT:
            first = "" if signed else f"{who} signs before any of it is disposed of; "
            return f"The reject is {waits}: {first}until it is gone it stands apart, marked."
        case Disposition.EXTEND:
            by = instant_text(kitchen.cure_end_at(batch.lot), zone)
            return f"A longer cure is {waits}. As signed so far it ends on {by}: {who} decides before then."
        case Disposition.RELEASE:
            return f"A release is {waits}" + ("." if signed else f": {who} signs before any of it is served or sold.")
    return f"Nothing waits for a signature now. Before any of it is served or sold {who} signs a release."


def _by(proposal: Proposal | None, zone: str) -> str:
    if proposal is None or proposal.decide_by_at is None:
        return "and no time is set for that"
    late = "; that time has passed" if proposal.judged_until_at > proposal.decide_by_at else ""
    return f"by {instant_text(proposal.decide_by_at, zone)}{late}"


def asked_for(proposal: Proposal | None, zone: str) -> tuple[str, ...]:
    """Return what is still asked for before a release is proposed, a sentence each."""
    findings = () if proposal is None else proposal.findings
    return tuple(finding_words(f, zone) for f in findings if f.tier is Tier.NONE and blocks(f))


def unknowns(batch: Batch, proposal: Proposal | None, zone: str, *, told: bool = False) -> tuple[str, ...]:
    """Return what is not known of a batch, a line each: untold rules, unknown time, an unfilled sheet, no record.

    With `told` the findings that led to what is proposed are left out, since they were told already.
    """
    if proposal is None:
        return ("Nothing has been judged of it yet.", *_not_entered(batch))
    untold = [f for f in proposal.findings if f.outcome is Outcome.CANNOT_TELL and not blocks(f)]
    lines = list(dict.fromkeys(finding_words(f, zone) for f in untold if not told or f.tier is Tier.NONE))
    gaps = [f.evidence.gap_s for f in proposal.findings if f.rule.split()[0] in TEMPERATURE_RULES]
    if gaps and max(gaps) > 0:
        lines.append(f"Time for which nothing trustworthy is known of it: {span_text(max(gaps) / 60)}.")
    if not any(f.evidence.readings for f in proposal.findings):
        lines.append("No finding rests on any reading.")
    return (*lines, *_not_entered(batch))


def _not_entered(batch: Batch) -> Iterable[str]:
    m, wet = batch.as_made, batch.plan.water_kg > 0
    asked = (
        ("water", m.water_kg if wet else 0.0), ("salt", m.salt_kg), ("curing salt", m.curing_salt_kg),
        ("brine temperature at filling", m.brine_c if wet else 0.0), ("core temperature at filling", m.meat_c),
        ("temperature at delivery", m.delivery_c), ("lot of the curing salt", m.curing_salt_lot or None),
        ("scale", m.scale or None), ("supplier lots", m.supplier_lots or None),
        ("whether the brine was fresh", (m.brine_state or None) if wet else ""), ("use-by of the meat", m.use_by_at),
    )  # fmt: skip
    missing = [name for name, value in asked if value is None]
    if missing:
        yield f"Not entered on the as-made sheet: {', '.join(missing)}."


def dated(at: Instant, zone: str) -> str:
    """Return an instant in the time of the walls with its year, for what is read years later."""
    return f"{instant_text(at, zone)} ({datetime.fromtimestamp(at, UTC).astimezone(ZoneInfo(zone)).year})"


def stood_in(batch: Batch, kitchen: Kitchen) -> str:
    """Return where a batch stood, units in order of time."""
    units = dict.fromkeys(p.unit for p in batch.placements)
    names = ["the bench" if u is None else kitchen.units[u].name if u in kitchen.units else u for u in units]
    return ", then ".join(names)


def figures_text(proposal: Proposal, kitchen: Kitchen, book: Rulebook | None) -> str:
    """Return which limits behind what is proposed are published and which are not, each source once."""
    led = [f for f in proposal.findings if f.tier is not Tier.NONE] or list(proposal.findings)
    rows = {b.row: b for f in led for b in bases_of(f, kitchen, book)}
    lost = [b.row for b in rows.values() if b.standing == "unknown"]
    house = [f"{b.row} {b.printed}" for b in rows.values() if b.standing == "house limit"]
    own = [f"{b.row} {b.printed}" for b in rows.values() if b.standing == "the site's own"]
    others = [b for b in rows.values() if b.standing not in ("unknown", "house limit", "the site's own")]
    unchecked = list(dict.fromkeys(b.source for b in others if b.known.startswith("from memory")))
    checked = list(dict.fromkeys(b.source for b in others if b.source not in unchecked))
    said = [
        f"Published limits by {'; '.join(checked)}." if checked else "",
        f"Published, but not checked against the document: {'; '.join(unchecked)}." if unchecked else "",
        f"House limits, without a source: {'; '.join(house)}." if house else "",
        f"Set by this site: {'; '.join(own)}." if own else "",
        f"Not in the rulebook as it is shipped now: {', '.join(lost)}." if lost else "",
    ]
    return " ".join(part for part in said if part)


def paragraph(
    batch: Batch,
    proposal: Proposal | None,
    kitchen: Kitchen,
    book: Rulebook | None,
    zone: str,
    *,
    binds: Disposition | None,
    signed: bool,
) -> str:
    """Return a batch in one printable paragraph: what it is, what binds and why, what is not known, who decides.

    `book` is the shipped rulebook of its site, None where there is none; instants are told in `zone`. `binds` is the
    disposition that holds now (proposed, or `signed`), None before anything was proposed.
    """
    p = batch.plan
    by = f", planned by {name_of(kitchen, batch.planned_by)}" if batch.planned_by else ""
    said = [
        f"{batch.lot}: {p.name} ({p.meat}, {p.cut}, {batch.as_made.meat_kg:g} kg, to be eaten: {p.route}){by}; "
        f"begun on {dated(batch.started_at, zone)}; it stood in {stood_in(batch, kitchen)}.",
        *_bound(binds, proposal, signed=signed),
        who_decides(batch, proposal, kitchen, zone, binds=binds, signed=signed),
        *_reasons(proposal, kitchen, book, zone),
        *_not_known(batch, proposal, zone),
    ]
    record = kitchen.sign_off_of(batch.lot)
    if record is not None:
        said.append(signed_text(record, batch, kitchen, zone))
    if batch.ended_at is not None:
        said.append(f"It ended on {instant_text(batch.ended_at, zone)}.")
    if proposal is not None:
        until = instant_text(proposal.judged_until_at, zone)
        said.append(f"Judged up to {until} by rulebook {proposal.rulebook}, {proposal.software}.")
    return " ".join([*(part for part in said if part), CAUTION])


def _bound(binds: Disposition | None, proposal: Proposal | None, *, signed: bool) -> Iterable[str]:
    if binds is None:
        yield "Not judged yet: nothing is proposed."
        return
    yield f"Signed: {SIGNED[binds]}." if signed else PROPOSED[binds]
    if proposal is not None and proposal.disposition is not binds:
        yield f"The rules propose otherwise now: {SIGNED[proposal.disposition]}."
    if binds is Disposition.HOLD:
        yield leave_it(() if proposal is None else proposal.findings)


def _reasons(proposal: Proposal | None, kitchen: Kitchen, book: Rulebook | None, zone: str) -> Iterable[str]:
    if proposal is None:
        return
    reasons = [f for f in proposal.findings if f.tier is not Tier.NONE or f.sentence == DIVERT]
    if reasons:
        yield "Because: " + " ".join(finding_words(f, zone) for f in reasons)
    elif proposal.disposition is Disposition.CONTINUE:
        yield "No rule found anything that asks for more than to carry on; that is no release."
    if proposal.new_end_at is not None:
        yield f"The cure would go on until {instant_text(proposal.new_end_at, zone)}."
    yield figures_text(proposal, kitchen, book)
    waits = asked_for(proposal, zone) if proposal.disposition is not Disposition.REJECT else ()
    if waits:
        yield "Before it is released: " + " ".join(waits)


def _not_known(batch: Batch, proposal: Proposal | None, zone: str) -> Iterable[str]:
    lines = unknowns(batch, proposal, zone, told=True)
    if lines:
        yield "Not known: " + " ".join(lines)


def rulebooks_since(kitchen: Kitchen, lot: str, now_by: str) -> tuple[str, ...]:
    """Return the rulebooks that judged a batch, in order of time, and the present one where that is another."""
    judged = [r.proposal.rulebook for r in kitchen.proposals.get(lot, ())]
    return tuple(dict.fromkeys([*judged, now_by] if now_by else judged))

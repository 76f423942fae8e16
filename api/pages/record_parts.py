"""Parts of a batch's record: where and when, warm stretches and gaps, what was measured and logged, instruments."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from alerts.case import NOISE_C, case_of
from alerts.cold_record import excursions, unknown_s
from alerts.history import BatchHistory
from alerts.judgement import confirmed_rows
from alerts.late import Learned
from alerts.rulebook.book import Rulebook
from alerts.rulebook.site_limits import with_site_limits
from alerts.sentences import clock_text
from alerts.sentences_findings import span_text
from api.pages.learned import learned_text
from api.pages.telling import MEASURED, by_words
from api.pages.wording import degrees, short_text
from collector.batches import Batch
from collector.findings import Proposal
from collector.instruments import last_check
from collector.kitchen import Kitchen
from collector.sample import Instant


@dataclass(frozen=True, slots=True)
class Span:
    """Something that held from one time until another."""

    what: str
    from_text: str
    until_text: str


@dataclass(frozen=True, slots=True)
class Checked:
    """An instrument, where it was, and its last check."""

    what: str
    where: str
    check: str


def spans_of(found: Iterable[tuple[str, Instant, Instant | None]], zone: str) -> tuple[Span, ...]:
    """Return spans in words of the walls' clock."""
    return tuple(
        Span(what, short_text(from_at, zone), "now" if until_at is None else short_text(until_at, zone))
        for what, from_at, until_at in found
    )


def warm_lines(
    history: BatchHistory | None, kitchen: Kitchen, book: Rulebook | None, now: Instant, zone: str,
    learned: Sequence[Learned] = (),
) -> Iterable[str]:  # fmt: skip
    """Return each stretch above the limit, tub by tub, as rule e-2 looks for them, the first hours included.

    `learned` holds those that only late readings have told of.
    """
    if history is None or book is None or not history.tubs:
        yield "Nothing has been read of it here, so nothing is known of excursions."
        return
    book = with_site_limits(book, kitchen.site_limits)
    case = case_of(history, book, confirmed_rows(kitchen, book), now)
    shortest, join = book.scaled("excursion.shortest"), book.scaled("excursion.join")
    for tub in history.tubs:
        records = [(piece.times_at, piece.held_c) for piece in case.pieces(tub, "e-2")]
        found = excursions(records, case.limit_c + NOISE_C, at_least_s=shortest, join_s=join)
        for one in found:
            unknown = unknown_s(tub, one.from_at, one.until_at)
            since = learned_text(learned, tub.tub, one.from_at, one.until_at, zone)
            part = f"; {span_text(unknown / 60)} of it unknown, taken as warm as it may have been" if unknown else ""
            yield (
                f"Tub {tub.tub}: above {degrees(case.limit_c)} from {short_text(one.from_at, zone)} to "
                f"{short_text(one.until_at, zone)} ({span_text((one.until_at - one.from_at) / 60)}), at most "
                f"{degrees(one.peak_c)}{part} (estimate).{since}"
            )
        if not found:
            yield (
                f"Tub {tub.tub}: no stretch of {span_text(shortest / 60)} or more above {degrees(case.limit_c)} in "
                "what is known, by the estimate."
            )


def gaps_of(history: BatchHistory | None, zone: str) -> Iterable[str]:
    """Return each stretch of which nothing trustworthy is known, tub by tub."""
    for tub in () if history is None else history.tubs:
        for gap in tub.gaps:
            yield (
                f"Tub {tub.tub}: {short_text(gap.from_at, zone)} to {short_text(gap.until_at, zone)} "
                f"({span_text((gap.until_at - gap.from_at) / 60)}): {gap.cause}."
            )


def hand_lines(batch: Batch, kitchen: Kitchen, zone: str) -> Iterable[str]:
    """Return every hand reading of a batch."""
    for r in batch.hand_readings:
        value = degrees(r.value) if r.measure == "temperature" else f"{r.value:g} {MEASURED.get(r.measure, '')}"
        tub = f", tub {r.tub}" if r.tub else ""
        how = f", {r.method}" if r.method else ""
        yield f"{short_text(r.measured_at, zone)}: {value}, {r.where}{tub}, with {r.probe}{how}."


def made_lines(batch: Batch, kitchen: Kitchen, zone: str) -> Iterable[tuple[str, str]]:
    """Return what was logged of its making, and what was done about excursions: what, and the words."""
    for task in batch.tasks_done:
        done = f"{short_text(task.done_at, zone)}, by {by_words(kitchen, task.person)}"
        yield "Task", f"{task.task}, {done}" + (f" ({task.note})" if task.note else "")
    for soak in batch.soaks:
        span = f"{short_text(soak.from_at, zone)} to {short_text(soak.until_at, zone)}"
        yield "Soak", f"{span}, water {degrees(soak.water_c)}, by {by_words(kitchen, soak.person)}"
    for log in batch.core_logs:
        points = ", ".join(f"{degrees(value)} at {clock_text(at, zone)}" for at, value in log.points)
        yield f"Core, {log.stage}", f"{points}; by {log.probe}, {by_words(kitchen, log.person)}"
    for label in batch.labels:
        raw = "; cook before eating" if label.cook_before_eating else ""
        by = by_words(kitchen, label.person)
        yield "Label", f"{label.words}{raw}; {short_text(label.applied_at, zone)}, {by}"
    for a in batch.actions:
        yield (
            "Corrective action",
            (
                f"For the excursion of {short_text(a.excursion_at, zone)}. Cause: {a.cause}. Control regained: "
                f"{a.control_regained}. Prevention: {a.prevention}. Food: {a.food_disposed}."
            ),
        )
    for d in batch.disposals:
        when = f"{short_text(d.disposed_at, zone)}, by {by_words(kitchen, d.person)}"
        seen = f"seen by {d.witness}" if d.witness else "nobody is named who saw it"
        yield "Disposal", f"{d.mass_kg:g} kg: {d.how}; {seen}; {when}"


def checked_of(
    batch: Batch, proposal: Proposal | None, history: BatchHistory | None, kitchen: Kitchen, now: Instant, zone: str
) -> Iterable[Checked]:
    """Return every instrument that told of a batch, where it was, and its last check."""
    by_finding = [c for f in (() if proposal is None else proposal.findings) for c in f.evidence.channels]
    by_tub = [c for tub in (() if history is None else history.tubs) for c in tub.channels]
    until_at = now if batch.ended_at is None else batch.ended_at
    for channel in dict.fromkeys([*by_finding, *by_tub]):
        said = [a for a in kitchen.said if a.channel == channel]
        where = f"{str(said[-1].quantity).replace('_', ' ')}, {said[-1].place}" if said else "not known"
        yield Checked(channel, where, _check(kitchen, channel, until_at, zone))
    hands = dict.fromkeys((r.probe, str(r.where)) for r in batch.hand_readings if r.probe)
    for probe, where in hands:
        yield Checked(probe, f"by hand, {where}", _check(kitchen, probe, until_at, zone))
    for probe in dict.fromkeys(log.probe for log in batch.core_logs):
        yield Checked(probe, "by hand, core while cooked or cooled", _check(kitchen, probe, until_at, zone))
    if batch.as_made.scale:
        yield Checked(batch.as_made.scale, "scale of the as-made sheet",
                      _check(kitchen, batch.as_made.scale, until_at, zone))  # fmt: skip


def _check(kitchen: Kitchen, instrument: str, until_at: Instant, zone: str) -> str:
    check = last_check(kitchen.calibrations, instrument, until_at)
    if check is None:
        return "no check is entered under this name"
    unit = "g" if check.kind == "scale" else "K"
    found, left = (f"{value:+g} {unit}".replace("-", "−") for value in (check.as_found, check.as_left))
    late = " (overdue)" if check.due_at < until_at else ""
    beyond = "" if check.passed else f"; beyond its tolerance of {check.tolerance:g} {unit}"
    return (
        f"{short_text(check.checked_at, zone)} against {check.reference} by {by_words(kitchen, check.person)}: "
        f"as found {found}, as left {left}{beyond}; due {short_text(check.due_at, zone)}{late}"
    )

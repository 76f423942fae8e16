"""Excursions that were in no reading when they happened: what people read of when they were learned."""

from collections.abc import Iterable, Sequence

from alerts.history import BatchHistory
from alerts.judgement import believing_air
from alerts.late import Learned, learned_late
from api.doing import book_for
from api.office import Office
from api.pages.wording import degrees, short_text
from collector.findings import Proposal
from collector.sample import Instant

ARRIVED_LATE = "from readings that arrived late"


def learned_of(office: Office, lot: str, history: BatchHistory | None, now: Instant) -> tuple[Learned, ...]:
    """Return the excursions of a batch that only late readings have told of."""
    kitchen = office.present.kitchen
    book = book_for(office, kitchen, lot)
    if history is None or book is None:
        return ()
    return learned_late(
        kitchen.batches[lot], history, kitchen, book, believing_air(kitchen, office.readings.series), now
    )


def learned_lines(office: Office, lot: str, proposal: Proposal | None, zone: str) -> Iterable[str]:
    """Return what the page of a batch says of them; nothing is looked for where rule e-2 found no excursion."""
    found = [f for f in (proposal.findings if proposal is not None else ()) if f.rule == "e-2"]
    if not any(f.parameters.get("excursions") for f in found):
        return
    for one in learned_of(office, lot, office.history(lot), office.clock()):
        s = one.excursion
        yield (
            f"Tub {one.tub} was above its limit from {short_text(s.from_at, zone)} to {short_text(s.until_at, zone)}, "
            f"at most {degrees(s.peak_c)} (estimate). Learned at {short_text(one.learned_at, zone)}, {ARRIVED_LATE}."
        )


def learned_text(learned: Sequence[Learned], tub: str, from_at: Instant, until_at: Instant, zone: str) -> str:
    """Return what the record adds to a stretch above the limit: when it was learned, where that was later."""
    late = [
        one
        for one in learned
        if one.tub == tub and one.excursion.from_at < until_at and from_at < one.excursion.until_at
    ]
    return "".join(
        f" Of this, {short_text(one.excursion.from_at, zone)} to {short_text(one.excursion.until_at, zone)} was "
        f"learned at {short_text(one.learned_at, zone)}, {ARRIVED_LATE}."
        for one in late
    )

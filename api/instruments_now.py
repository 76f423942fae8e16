"""What is known of every instrument now: its last check, when the next is due, what was judged by it. Pure."""

from collections.abc import Callable
from dataclasses import dataclass

from alerts.rulebook.book import Rulebook
from api.actions.checking import INTERVAL, test_of
from collector.instruments import last_check
from collector.kitchen import Kitchen
from collector.logs import Calibration
from collector.readings import BASE_UNIT, Assignment
from collector.sample import Instant

NOTICE = "check.notice"
BookFor = Callable[[str | None], Rulebook | None]


@dataclass(frozen=True, slots=True)
class InstrumentNow:
    """One instrument as it stands."""

    instrument: str
    kind: str
    unit: str | None
    place: str
    check: Calibration | None
    due_at: Instant | None
    """None where nothing says when."""
    state: str
    """`overdue`, `due soon`, `checked`, `not checked yet` or `unknown`."""
    out_since: Instant | None
    lots: tuple[str, ...]
    """Batches that were judged by it since its last check, or since it was assigned."""
    thermometer: bool


def instruments_now(kitchen: Kitchen, book_for: BookFor, now: Instant) -> tuple[InstrumentNow, ...]:
    """Return every channel that is assigned, then every hand probe and scale by name; overdue ones first."""
    found = [_channel(kitchen, a, book_for(a.unit), now) for a in kitchen.said if a.until_at is None]
    book = book_for(next(iter(kitchen.units), None))
    probes = {r.probe for b in kitchen.batches.values() for r in b.hand_readings}
    named = {(name, "probe") for name in probes}
    named |= {(c.instrument, c.kind) for c in kitchen.calibrations if c.kind != "channel"}
    found += [_by_hand(kitchen, name, kind, book, now) for name, kind in sorted(named)]
    order = ("overdue", "due soon", "unknown", "not checked yet", "checked")
    return tuple(sorted(found, key=lambda one: (order.index(one.state), one.instrument)))


def _state(check: Calibration | None, due_at: Instant | None, book: Rulebook | None, now: Instant) -> str:
    if due_at is None:
        return "unknown"
    if due_at <= now:
        return "overdue"
    if book is not None and due_at - now <= book.scaled(NOTICE):
        return "due soon"
    return "checked" if check is not None else "not checked yet"


def _channel(kitchen: Kitchen, one: Assignment, book: Rulebook | None, now: Instant) -> InstrumentNow:
    check = last_check(kitchen.calibrations, one.channel, now)
    first = min(a.from_at for a in kitchen.said if a.channel == one.channel)
    since = first if check is None else check.checked_at
    new = None if book is None else first + book.scaled(INTERVAL["channel"])
    due_at, out = new if check is None else check.due_at, test_of(kitchen, one.channel)
    return InstrumentNow(
        one.channel, "channel", one.unit, one.place, check, due_at, _state(check, due_at, book, now),
        None if out is None else out.from_at, _stood_by(kitchen, one, since), BASE_UNIT[one.quantity] == "Cel",
    )  # fmt: skip


def _stood_by(kitchen: Kitchen, one: Assignment, since: Instant) -> tuple[str, ...]:
    return tuple(
        lot for lot, batch in sorted(kitchen.batches.items())
        if one.lot in (None, lot)
        and any(p.unit == one.unit and (p.until_at is None or p.until_at > since) for p in batch.placements)
    )  # fmt: skip


def _by_hand(kitchen: Kitchen, name: str, kind: str, book: Rulebook | None, now: Instant) -> InstrumentNow:
    check = last_check([c for c in kitchen.calibrations if c.kind == kind], name, now)
    since = 0.0 if check is None else check.checked_at
    lots = tuple(
        lot for lot, batch in sorted(kitchen.batches.items())
        if any(r.probe == name and r.measured_at > since for r in batch.hand_readings)
    )  # fmt: skip
    due_at = None if check is None else check.due_at
    return InstrumentNow(
        name, kind, None, "", check, due_at, _state(check, due_at, book, now), None, lots, kind == "probe"
    )

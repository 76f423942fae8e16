"""What a kitchen file changes in a kitchen: the events that bring it in, each with a line for people. Pure.

Applied a second time a file changes nothing. What it leaves out stays as it is, so an older file takes back neither
a tub that was carried elsewhere meanwhile nor a temperature entered since; what it says differently is brought in with
its reason, and what must not change once it was written is a fault that says what to do instead.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields, replace
from datetime import UTC, datetime

from collector.assignments import merged
from collector.batches import AsMade, Batch, HandReading, Placement
from collector.events import (
    AsMadeCorrected,
    AssignmentEnded,
    BatchEnded,
    BatchStarted,
    Draft,
    Event,
    HandReadingEntered,
    PersonDescribed,
    PlacementCorrected,
    RotaDescribed,
    SiteDescribed,
    StageBegun,
    TubMoved,
    UnitDescribed,
)
from collector.kitchen import Kitchen
from collector.kitchen_file import DescribedBatch, KitchenFile
from collector.readings import Assignment
from collector.rota import RotaStep, hours_text
from collector.sample import Instant
from collector.toml_faults import Fault, in_order
from collector.toml_lines import Place

BY = "system"
AHEAD_S = 60.0
"""House: how far a time in the file may be ahead of our clock, for what has happened. [s]"""


@dataclass(frozen=True, slots=True)
class Change:
    """One event, and the line that says it to people."""

    at: Instant
    event: Event
    line: str
    by: str = BY


@dataclass(frozen=True, slots=True)
class Changes:
    """What a file brings in, in order; with faults, nothing."""

    drafts: tuple[Draft, ...]
    lines: tuple[str, ...]
    """What changes, one line for people each."""
    faults: tuple[Fault, ...] = ()


def changes(kitchen: Kitchen, described: KitchenFile, now: Instant) -> Changes:
    """Return what a file changes in a kitchen; no drafts where it says what is known already.

    Descriptions are dated `now`; what happened (a batch started or ended, a reading, a move) is dated when it did.
    """
    faults = in_order([*_reference_faults(kitchen, described), *_history_faults(kitchen, described)])
    if faults:
        return Changes((), (), faults)
    found = [*_descriptions(kitchen, described, now), *_assignments(kitchen, described)]
    for batch in described.batches:
        known = kitchen.batches.get(batch.lot)
        reason = f"as described in {described.sheet.file}"
        found += _new_batch(batch) if known is None else _known_batch(known, batch, now, reason)
        found += _hand_readings(known, batch)
        found += _end(known, batch)
    drafts = tuple(Draft(change.at, change.by, change.event) for change in found)
    return Changes(drafts, tuple(change.line for change in found))


def _written(at: Instant) -> str:
    return datetime.fromtimestamp(at, UTC).strftime("%Y-%m-%d %H:%MZ")


def _descriptions(kitchen: Kitchen, described: KitchenFile, now: Instant) -> Iterator[Change]:
    site = described.site
    if kitchen.sites.get(site.id) != site:
        yield Change(now, SiteDescribed(site), f"site {site.id}: {_differences(kitchen.sites.get(site.id), site)}")
    for unit in described.units:
        if kitchen.units.get(unit.id) != unit:
            yield Change(now, UnitDescribed(unit), f"unit {unit.id}: {_differences(kitchen.units.get(unit.id), unit)}")
    for who in described.people:
        if kitchen.people.get(who.id) != who:
            event = PersonDescribed(who.id, who.name, who.roles)
            yield Change(now, event, f"person {who.id}: {_differences(kitchen.people.get(who.id), who)}")
    if described.rota and kitchen.rota != described.rota:
        steps = ", then ".join(_called(step) for step in described.rota)
        yield Change(now, RotaDescribed(described.rota), f"rota: {steps}")
    for row in dict.fromkeys(described.confirmed):
        if (row.rulebook, row.row) not in kitchen.confirmed:
            yield Change(now, row, f"rulebook {row.rulebook}: {row.person} confirmed {row.row}", row.person)
    for own in described.own_limits:
        if kitchen.site_limits.get(own.limit) != own:
            yield Change(now, own, f"own limit {own.limit}: {own.value:g}, {own.person}: {own.reason}", own.person)


def _differences(before: object, after: object) -> str:
    if before is None:
        return "new"
    pairs = [(f.name, getattr(before, f.name), getattr(after, f.name)) for f in fields(after)]  # type: ignore[arg-type]
    return ", ".join(f"{name} {_plain(old)} becomes {_plain(new)}" for name, old, new in pairs if old != new)


def _plain(value: object) -> str:
    if value is None or value == "":
        return "(not entered)"
    if isinstance(value, tuple):
        return "+".join(map(str, value)) or "(not entered)"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _assignments(kitchen: Kitchen, described: KitchenFile) -> Iterator[Change]:
    for channel in dict.fromkeys(a.channel for a in described.assignments):
        known = tuple(sorted((a for a in kitchen.said if a.channel == channel), key=lambda a: a.from_at))
        told = tuple(a for a in described.assignments if a.channel == channel)
        for event in merged(known, told, f"as described in {described.sheet.file}"):
            if isinstance(event, AssignmentEnded):
                line = f"channel {channel}: measures nothing of ours from {_written(event.until_at)} on"
                yield Change(event.until_at, event, line)
            else:
                yield Change(event.assignment.from_at, event, _assigned_line(known, event.assignment))


def _assigned_line(known: Sequence[Assignment], new: Assignment) -> str:
    before = next((a for a in known if a.from_at == new.from_at), None)
    if before is not None and before != new:
        return f"channel {new.channel} from {_written(new.from_at)}: {_differences(before, new)}"
    words = new.quantity.replace("_", " ")
    return f"channel {new.channel}: {words} in {new.unit}, {new.place}, from {_written(new.from_at)}"


def _new_batch(batch: DescribedBatch) -> Iterator[Change]:
    started = BatchStarted(batch.lot, batch.plan, batch.as_made, batch.placements, batch.stage)
    tubs = ", ".join(dict.fromkeys(p.tub for p in batch.placements))
    line = f"batch {batch.lot}: new, {batch.plan.name}, started {_written(batch.started_at)}, tub {tubs}"
    yield Change(batch.started_at, started, line)


def _known_batch(known: Batch, batch: DescribedBatch, now: Instant, reason: str) -> Iterator[Change]:
    as_made = _completed(known.as_made, batch.as_made)
    if as_made != known.as_made:
        line = f"batch {batch.lot} as made: {_differences(known.as_made, as_made)}"
        yield Change(now, AsMadeCorrected(batch.lot, as_made, reason), line)
    if batch.stage not in (known.stages[0].stage, known.stages[-1].stage):
        line = f"batch {batch.lot}: stage {known.stages[-1].stage} becomes {batch.stage} from now on"
        yield Change(now, StageBegun(batch.lot, batch.stage, now), line)
    for tub in dict.fromkeys(p.tub for p in batch.placements):
        yield from _placed(known, batch, tub, now, reason)


def _completed(known: AsMade, told: AsMade) -> AsMade:
    entered = {f.name: getattr(told, f.name) for f in fields(told) if getattr(told, f.name) not in (None, "", ())}
    return replace(known, **entered)


def _placed(known: Batch, batch: DescribedBatch, tub: str, now: Instant, reason: str) -> Iterator[Change]:
    before = _in_order(p for p in known.placements if p.tub == tub)
    after = _in_order(p for p in batch.placements if p.tub == tub)
    ended_at = known.ended_at if known.ended_at is not None else batch.ended_at
    if _same(before, after, ended_at) or _older(before, after):
        return
    if _extends(before, after):
        for move in after[len(before) :]:
            placement = replace(move, until_at=None)
            line = f"batch {batch.lot}: tub {tub} goes to {_where(placement)} at {_written(placement.from_at)}"
            yield Change(placement.from_at, TubMoved(batch.lot, placement), line)
        return
    if known.ended_at is not None and after[-1].until_at is None:
        # What the end of the batch closed stays closed.
        after = (*after[:-1], replace(after[-1], until_at=known.ended_at))
    stood = "; ".join(f"{_where(p)} from {_written(p.from_at)}" for p in after)
    line = f"batch {batch.lot}: tub {tub} {'stood otherwise' if before else 'is new'}: {stood}"
    yield Change(now, PlacementCorrected(batch.lot, tub, after, reason), line)


def _where(placement: Placement) -> str:
    return placement.unit if placement.unit is not None else f"the bench ({placement.bench_c:g} °C)"


def _in_order(placements: Iterable[Placement]) -> tuple[Placement, ...]:
    return tuple(sorted(placements, key=lambda p: p.from_at))


def _same(before: Sequence[Placement], after: Sequence[Placement], ended_at: Instant | None) -> bool:
    def closed(placements: Sequence[Placement]) -> list[Placement]:
        return [p if p.until_at is not None else replace(p, until_at=ended_at) for p in placements]

    return closed(before) == closed(after)


def _older(before: Sequence[Placement], after: Sequence[Placement]) -> bool:
    """Return whether the file tells the beginning of what is known: its last place, still open, was left since."""
    last = len(after) - 1
    if len(before) <= last or tuple(before[:last]) != tuple(after[:last]) or after[last].until_at is not None:
        return False
    return replace(before[last], until_at=None) == after[last]


def _extends(before: Sequence[Placement], after: Sequence[Placement]) -> bool:
    """Return whether the file tells what is known and then, from the open end on, moves to where the tub still is."""
    moves = after[len(before) :]
    if not before or not moves or before[-1].until_at is not None or after[-1].until_at is not None:
        return False
    closed = (*before[:-1], replace(before[-1], until_at=moves[0].from_at))
    return closed == tuple(after[: len(before)])


def _hand_readings(known: Batch | None, batch: DescribedBatch) -> Iterator[Change]:
    there = known.hand_readings if known is not None else ()
    for reading, person in zip(batch.hand_readings, batch.measured_by, strict=True):
        if reading not in there:
            line = (
                f"batch {batch.lot}: {person} measured {reading.measure} {reading.value:g} in the {reading.where} "
                f"at {_written(reading.measured_at)}"
            )
            yield Change(reading.measured_at, HandReadingEntered(reading), line, person)


def _end(known: Batch | None, batch: DescribedBatch) -> Iterator[Change]:
    if batch.ended_at is not None and (known is None or known.ended_at is None):
        line = f"batch {batch.lot}: ended {_written(batch.ended_at)}, {batch.ended_reason}"
        yield Change(batch.ended_at, BatchEnded(batch.lot, batch.ended_at, batch.ended_reason), line)


def _history_faults(kitchen: Kitchen, described: KitchenFile) -> Iterator[Fault]:
    """Return what the file says otherwise of things that cannot be changed once they were written."""
    fault = described.sheet.fault
    for index, batch in enumerate(described.batches):
        place: Place = ("batch", index)
        known = kitchen.batches.get(batch.lot)
        taken = next((lot for lot in kitchen.batches if lot.casefold() == batch.lot.casefold()), batch.lot)
        if known is None and taken != batch.lot:
            yield fault((*place, "lot"), f"{batch.lot} differs from {taken} by capitals alone", f"write {taken}")
        if known is None:
            continue
        if known.plan != batch.plan:
            what = f"the plan of {batch.lot} was written when it was started ({_differences(known.plan, batch.plan)})"
            yield fault((*place, "plan"), what, "put the plan back; for other meat, end this batch and start a new lot")
        if known.started_at != batch.started_at:
            what = f"{batch.lot} was started {_written(known.started_at)}"
            yield fault(
                (*place, "started"), what, "put the time back; correct where it stood under [[batch.placement]]"
            )
        if batch.ended_at is not None and known.ended_at not in (None, batch.ended_at):
            what = f"{batch.lot} has ended {_written(known.ended_at or 0.0)}"
            yield fault((*place, "ended"), what, "put the time back")
        yield from _reading_faults(known, batch, place, described)


def _reading_faults(known: Batch, batch: DescribedBatch, place: Place, described: KitchenFile) -> Iterator[Fault]:
    for number, reading in enumerate(batch.hand_readings):
        other = next((r for r in known.hand_readings if _same_look(r, reading)), reading)
        if other.value != reading.value:
            what = f"this hand reading was entered as {other.value:g}"
            mend = "put the figure back; a new measurement is a table of its own, with its own time"
            yield described.sheet.fault((*place, "hand_reading", number, "value"), what, mend)


def _same_look(a: HandReading, b: HandReading) -> bool:
    return replace(a, value=b.value) == b


def future_faults(described: KitchenFile, now: Instant) -> tuple[Fault, ...]:
    """Return what the file says has happened and cannot have yet: a replay may look ahead so, a living kitchen not."""
    fault = described.sheet.fault
    found = []
    for index, batch in enumerate(described.batches):
        for key, at in (("started", batch.started_at), ("ended", batch.ended_at)):
            if at is not None and at > now + AHEAD_S:
                found.append(fault(("batch", index, key), "this time has not come yet", "bring it in when it has come"))
        for number, reading in enumerate(batch.hand_readings):
            if reading.measured_at > now + AHEAD_S:
                place = ("batch", index, "hand_reading", number, "at")
                found.append(fault(place, "this time has not come yet", "enter what was measured, not what will be"))
    return in_order(found)


def _reference_faults(kitchen: Kitchen, described: KitchenFile) -> Iterator[Fault]:
    """Return where the file names what neither it nor the kitchen knows."""
    fault = described.sheet.fault
    units = {*kitchen.units, *(unit.id for unit in described.units)}
    people = {*kitchen.people, *(person.id for person in described.people)}
    tubs = {lot: set(batch.tubs) for lot, batch in kitchen.batches.items()}
    for batch in described.batches:
        tubs.setdefault(batch.lot, set()).update(p.tub for p in batch.placements)
    others = [site for site in kitchen.sites if site != described.site.id]
    if others and described.site.id not in kitchen.sites:
        yield fault(
            ("site", "id"), f"this journal is the one of {others[0]}", "name another data folder, or mend the id"
        )
    for place, unit in _unit_names(described):
        if unit not in units:
            yield fault(
                place, f"no unit is called {unit}", f"use one of: {_listed(units)}; or describe it under [[unit]]"
            )
    for place, person in _person_names(described):
        if person not in people:
            mend = f"use one of: {_listed(people)}; or describe them under [[person]]"
            yield fault(place, f"nobody has the id {person}", mend)
    roles = {**{who.id: who.roles for who in kitchen.people.values()}, **{p.id: p.roles for p in described.people}}
    for index, table in enumerate(described.sheet.values.get("confirmed", [])):
        if "approver" not in roles.get(table["person"], ("approver",)):
            what = f"{table['person']} is no approver"
            yield fault(("confirmed", index, "person"), what, "an approver compares rows with their document")
    for index, own in enumerate(described.own_limits):
        if "approver" not in roles.get(own.person, ("approver",)):
            what = f"{own.person} is no approver"
            yield fault(("own_limit", index, "person"), what, "an approver sets the site's own limits")
    for index, one in enumerate(described.assignments):
        if one.lot is not None and one.lot not in tubs:
            mend = f"use one of: {_listed(tubs)}; or leave lot and tub out"
            yield fault(("channel", index, "lot"), f"no batch has the lot code {one.lot}", mend)
        elif one.lot is not None and one.tub not in tubs[one.lot]:
            mend = f"use one of: {_listed(tubs[one.lot])}"
            yield fault(("channel", index, "tub"), f"{one.lot} has no tub {one.tub}", mend)


def _listed(names: Iterable[str]) -> str:
    return ", ".join(sorted(names)) or "none"


def _called(step: RotaStep) -> str:
    hours = f" ({hours_text(step)})" if step.limited else ""
    return f"{step.person} after {step.after_s / 60:g} min{hours}"


def _unit_names(described: KitchenFile) -> Iterator[tuple[Place, str]]:
    for index, one in enumerate(described.assignments):
        yield ("channel", index, "unit"), one.unit
    for index, batch in enumerate(described.batches):
        for number, placement in enumerate(batch.placements):
            if placement.unit is not None:
                yield ("batch", index, "placement", number, "unit"), placement.unit


def _person_names(described: KitchenFile) -> Iterator[tuple[Place, str]]:
    for index, step in enumerate(described.rota):
        yield ("rota", index, "person"), step.person
    for index, table in enumerate(described.sheet.values.get("confirmed", [])):
        yield ("confirmed", index, "person"), table["person"]
    for index, own in enumerate(described.own_limits):
        yield ("own_limit", index, "person"), own.person
    for index, batch in enumerate(described.batches):
        for number, person in enumerate(batch.measured_by):
            yield ("batch", index, "hand_reading", number, "person"), person

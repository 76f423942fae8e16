"""A kitchen file read: what stands where, who works there, what is curing; or everything that is wrong with it. Pure.

What one file can say of itself is checked here; what must fit what is already known, in `collector.kitchen_changes`.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field

from pydantic import ValidationError

from collector.batches import AsMade, HandReading, Placement, Plan, Stage, placement_faults
from collector.events import RowConfirmed
from collector.events_making import SiteLimitSet
from collector.kitchen import Person
from collector.kitchen_tables import BatchTable, HandReadingTable, KitchenTables
from collector.readings import Assignment, Site, Unit
from collector.rota import RotaStep, overlap, uncovered
from collector.sample import Instant
from collector.toml_faults import Fault, Sheet, in_order, model_faults, read_sheet
from collector.toml_lines import Place

FILE = "kitchen.toml"
MEASURED = {
    "temperature": (-30.0, 120.0, "°C"),
    "strength": (0.0, 26.4, "%"),
    "ph": (0.0, 14.0, "pH"),
    "aw": (0.0, 1.0, "aw"),
    "mass": (0.0, 2000.0, "kg"),
}
"""What a hand reading of each measure can be; outside it is a slip of the pen. House, but for pH and aw (by scale)."""


@dataclass(frozen=True, slots=True)
class DescribedBatch:
    """A batch as a file describes it."""

    lot: str
    plan: Plan
    as_made: AsMade
    started_at: Instant
    stage: Stage
    placements: tuple[Placement, ...]
    hand_readings: tuple[HandReading, ...]
    measured_by: tuple[str, ...]
    """Who took each of the hand readings."""
    ended_at: Instant | None
    ended_reason: str


@dataclass(frozen=True, slots=True)
class KitchenFile:
    """A kitchen as a file describes it, in the order of the file."""

    site: Site
    units: tuple[Unit, ...]
    assignments: tuple[Assignment, ...]
    people: tuple[Person, ...]
    rota: tuple[RotaStep, ...]
    confirmed: tuple[RowConfirmed, ...]
    own_limits: tuple[SiteLimitSet, ...]
    batches: tuple[DescribedBatch, ...]
    sheet: Sheet = field(repr=False, compare=False)
    """Where in the file everything stands."""


def read_kitchen(text: str, file: str = FILE) -> KitchenFile | tuple[Fault, ...]:
    """Return the kitchen that a text describes, or every fault found in it, in the order of its lines."""
    sheet = read_sheet(text, file)
    if isinstance(sheet, Fault):
        return (sheet,)
    try:
        tables = KitchenTables.model_validate(sheet.values)
    except ValidationError as error:
        return model_faults(error, sheet, KitchenTables)
    faults = [
        *_repeated(sheet, "unit", "id", [unit.id for unit in tables.units]),
        *_repeated(sheet, "person", "id", [person.id for person in tables.people]),
        *_repeated(sheet, "own_limit", "limit", [own.limit for own in tables.own_limits]),
        *_repeated(sheet, "batch", "lot", [batch.lot for batch in tables.batches]),
        *_unit_faults(tables, sheet),
        *_channel_faults(tables, sheet),
        *_rota_faults(tables, sheet),
    ]
    for index, batch in enumerate(tables.batches):
        faults += _batch_faults(batch, ("batch", index), sheet)
    return in_order(faults) if faults else _made(tables, sheet)


def _made(tables: KitchenTables, sheet: Sheet) -> KitchenFile:
    return KitchenFile(
        tables.site.made(),
        tuple(unit.made(tables.site.id) for unit in tables.units),
        tuple(channel.made() for channel in tables.channels),
        tuple(Person(person.id, person.name, person.roles) for person in tables.people),
        tuple(step.made() for step in tables.rota),
        tuple(RowConfirmed(c.rulebook, row, c.document, c.person) for c in tables.confirmed for row in c.rows),
        tuple(SiteLimitSet(own.limit, own.value, own.reason, own.person) for own in tables.own_limits),
        tuple(_made_batch(batch) for batch in tables.batches),
        sheet,
    )


def _made_batch(batch: BatchTable) -> DescribedBatch:
    return DescribedBatch(
        batch.lot,
        batch.plan.made(),
        batch.as_made.made(),
        batch.started,
        batch.stage,
        tuple(placement.made() for placement in batch.placements),
        tuple(reading.made(batch.lot) for reading in batch.hand_readings),
        tuple(reading.person for reading in batch.hand_readings),
        batch.ended,
        batch.ended_reason or "",
    )


def _repeated(sheet: Sheet, table: str, key: str, names: list[str]) -> Iterable[Fault]:
    folded = [name.casefold() for name in names]
    for index, name in enumerate(folded):
        first = folded.index(name)
        if first < index:
            what = f"{names[index]} is taken by {table} {first + 1}"
            yield sheet.fault((table, index, key), what, f"give each {table} its own {key}")


def _unit_faults(tables: KitchenTables, sheet: Sheet) -> Iterable[Fault]:
    for index, unit in enumerate(tables.units):
        if unit.coldest_air_c >= unit.ambient_c:
            what = f"the coldest air ({unit.coldest_air_c:g} °C) is not below the warmest around it"
            yield sheet.fault(("unit", index, "coldest_air_c"), what, f"ambient_c is {unit.ambient_c:g}: mend one")


def _channel_faults(tables: KitchenTables, sheet: Sheet) -> Iterable[Fault]:
    for index, one in enumerate(tables.channels):
        place: Place = ("channel", index)
        if one.until_at is not None and one.until_at <= one.from_at:
            yield sheet.fault((*place, "until"), "it ends before it begins", "write the later time here")
        if (one.lot is None) != (one.tub is None):
            what = "a probe stands in one tub of one batch"
            yield sheet.fault((*place, "lot" if one.tub is None else "tub"), what, "name lot and tub, or neither")
        for earlier, other in enumerate(tables.channels[:index]):
            if other.channel == one.channel and _overlap(one.from_at, one.until_at, other.from_at, other.until_at):
                what = f"channel {earlier + 1} says at the same time what {one.channel} measures"
                yield sheet.fault(place, what, "let one end (until) where the next begins (from)")


def _overlap(from_a: Instant, until_a: Instant | None, from_b: Instant, until_b: Instant | None) -> bool:
    return (until_b is None or from_a < until_b) and (until_a is None or from_b < until_a)


def _rota_faults(tables: KitchenTables, sheet: Sheet) -> Iterable[Fault]:
    steps, halves = [step.made() for step in tables.rota], False
    for index, step in enumerate(steps):
        if bool(step.from_time) != bool(step.until_time):
            missing, halves = "until" if step.from_time else "from", True
            yield sheet.fault(("rota", index, missing), "hours have a beginning and an end", f"add {missing}")
        elif step.from_time and step.from_time == step.until_time:
            what = "these hours end as they begin"
            yield sheet.fault(("rota", index, "until"), what, "leave from and until out for the whole day")
    if halves:
        return
    for index, step in enumerate(steps):
        before = [other for other in steps[:index] if overlap(step, other)]
        if any(step.person == other.person for other in before):
            what = f"{step.person} stands on the rota twice at the same hours"
            yield sheet.fault(("rota", index, "person"), what, "keep one, or part their hours")
        if any(step.after_s < other.after_s for other in before):
            what = "this step comes before the one above it"
            yield sheet.fault(("rota", index, "after_minutes"), what, "write the rota in the order of its minutes")
    for begins, ends in uncovered(steps) if steps else ():
        what = f"nobody is called from {begins} to {ends}"
        yield sheet.fault(("rota", len(steps) - 1, "person"), what, "put somebody on the rota for these hours")


def _batch_faults(batch: BatchTable, place: Place, sheet: Sheet) -> Iterable[Fault]:
    if (batch.ended is None) != (batch.ended_reason is None):
        missing = "ended" if batch.ended is None else "ended_reason"
        yield sheet.fault((*place, missing), "an end has a time and a reason", f"add {missing}, or leave both out")
    if batch.ended is not None and batch.ended <= batch.started:
        yield sheet.fault((*place, "ended"), "it ended before it started", "write the later time here")
    if not batch.placements:
        what = "nobody says where the meat stands"
        yield sheet.fault((*place, "placement"), what, "describe each tub under [[batch.placement]]")
    yield from _placement_faults(batch, place, sheet)
    known = {placement.tub for placement in batch.placements}
    for index, reading in enumerate(batch.hand_readings):
        yield from _hand_faults(batch.hand_readings[: index + 1], known, (*place, "hand_reading", index), sheet)
        if reading.at < batch.started - 86_400.0:
            what = "it was measured more than a day before the batch was started"
            yield sheet.fault((*place, "hand_reading", index, "at"), what, "look at the date")


def _placement_faults(batch: BatchTable, place: Place, sheet: Sheet) -> Iterable[Fault]:
    last: dict[str, Placement] = {}
    for index, table in enumerate(batch.placements):
        here, one = (*place, "placement", index), table.made()
        alone = placement_faults((one,))
        for said in alone:
            yield sheet.fault(here, *_parted(said))
        before = last.get(one.tub)
        for said in placement_faults((before, one)) if before is not None else ():
            if said not in (*alone, *placement_faults((before,) if before is not None else ())):
                yield sheet.fault((*here, "from"), *_parted(said))
        if one.unit is not None and one.bench_c is not None:
            yield sheet.fault((*here, "bench_c"), f"tub {one.tub} cannot be in a unit and out of it", "keep one")
        if one.from_at < batch.started:
            what = f"tub {one.tub} stood there before the batch was started"
            yield sheet.fault((*here, "from"), what, "begin at `started`, or mend that")
        end = max(one.from_at, one.until_at or one.from_at)
        if batch.ended is not None and end > batch.ended:
            what = f"tub {one.tub} stood there after the batch had ended"
            yield sheet.fault(here, what, "end at `ended`, or leave until out")
        last[one.tub] = one


def _parted(said: str) -> tuple[str, str]:
    what, _, mend = said.partition("; ")
    return (what, mend) if mend else (what, "write until as the next one's from, to the second")


def _hand_faults(readings: tuple[HandReadingTable, ...], tubs: set[str], place: Place, sheet: Sheet) -> Iterable[Fault]:
    one = readings[-1]
    least, most, unit = MEASURED[one.measure]
    if not least <= one.value <= most:
        what = f"{one.value:g} {unit} is outside {least:g} to {most:g} {unit}"
        yield sheet.fault((*place, "value"), what, "look at the decimal point and the measure")
    if one.tub is not None and one.tub not in tubs:
        yield sheet.fault((*place, "tub"), f"the batch has no tub {one.tub}", f"use one of: {', '.join(sorted(tubs))}")
    if any(_same_look(one, other) for other in readings[:-1]):
        what = "this is measured twice: same time, measure, where, probe and tub"
        yield sheet.fault(place, what, "keep one, or give each its own time")


def _same_look(one: HandReadingTable, other: HandReadingTable) -> bool:
    return (one.at, one.measure, one.where, one.probe, one.tub) == (
        other.at,
        other.measure,
        other.where,
        other.probe,
        other.tub,
    )

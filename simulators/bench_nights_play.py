"""Kitchens of the simulated nights played through the project's own watch, as `replay` plays recorded readings."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from random import Random

import numpy as np

from alerts.history import Array
from alerts.replay import Player, VirtualClock
from alerts.service import Service
from collector.batches import AsMade, Method, Packing, Placement, Plan, Route
from collector.events import BatchStarted, ChannelAssigned, Draft, Event, SiteDescribed, UnitDescribed
from collector.present import Present
from collector.readings import Assignment, Quantity, Reading, Site, Unit
from collector.storage import MemoryJournal, MemoryReadings
from simulators.faults import Sent, Where, delay, lose, reorder, repeat, silence
from simulators.nights import DAY_S, EVERY_S, HOUR_S, OF_THE_KITCHEN, Stretch, Trouble, Wrong

LIMIT_C = 5.0
UNITS_EACH = 4
"""Units of one kitchen: they share power and gateway."""
TICK_S = 300.0
PLAN = Plan(
    "nights", "pork", "ham", Method.IMMERSION, Packing.UNDER_BRINE, Route.COOKED, 60 * DAY_S, 55.0, 3.0,
    water_kg=3.0, salt_kg=0.3,
)  # fmt: skip
MADE = AsMade(3.0, water_kg=3.0, salt_kg=0.3, brine_c=3.0, meat_c=3.0)
AIR, SECOND, DOOR = "air", "second", "door"


@dataclass(frozen=True, slots=True)
class Raised:
    """One alarm as it came about in a kitchen."""

    unit: int
    """Position of the unit; -1 for one of the whole kitchen."""
    kind: str
    wakes: bool
    raised_at: float
    ended_at: float
    changes: int
    sentence: str
    cause: str
    """What the alarm says is behind it; empty where it says nothing."""


@dataclass(frozen=True, slots=True)
class Played:
    """What the watch said of one kitchen, and what was true."""

    units: tuple[int, ...]
    """Positions in the stretch."""
    alarms: tuple[Raised, ...]
    outages: tuple[tuple[float, float], ...]
    """Short outages of the uplink, which belong to ordinary life: when nothing arrived for a while."""
    troubles: tuple[Trouble, ...]
    times_at: Array
    sensor_c: Array
    """As it arrived, NaN where it never did: what a threshold has to go by."""
    received_at: Array
    product_c: Array
    estimates: Array
    """Rows of (unit, time, likely, lower, upper, claimed low, claimed high), one an hour. [1, s, then °C]"""


def channel(unit: int, what: str) -> str:
    """Return the name of a unit's channel."""
    return f"u{unit}/{what}"


def drafts(units: Sequence[int], stretch: Stretch, from_at: float) -> list[Draft]:
    """Return what somebody tells of a kitchen: names, kinds, channels, and a tub in each unit. Nothing else."""
    told: list[Event] = [SiteDescribed(Site("site", "Nights", "UTC", "US"))]
    for unit in units:
        name = f"u{unit}"
        told.append(UnitDescribed(Unit(name, "site", f"Unit {unit}", "cold room")))
        quantities = [(AIR, Quantity.AIR_TEMPERATURE)]
        if not np.isnan(stretch.second_c[0, unit]):
            quantities.append((SECOND, Quantity.AIR_TEMPERATURE))
        if not np.isnan(stretch.contact[0, unit]):
            quantities.append((DOOR, Quantity.DOOR))
        told += [
            ChannelAssigned(Assignment(channel(unit, what), quantity, name, what, from_at, interval_s=EVERY_S))
            for what, quantity in quantities
        ]
        told.append(BatchStarted(f"lot {unit}", PLAN, MADE, (Placement("1", name, from_at),)))
    return [Draft(from_at, "bench", event) for event in told]


def outages(rng: Random, from_at: float, until_at: float) -> list[tuple[float, float]]:
    """Return when the uplink of an ordinary kitchen is down: about once in ten days, 20 to 90 minutes."""
    found, at = [], from_at
    while (at := at + rng.expovariate(1.0 / (10 * DAY_S))) < until_at:
        found.append((at, at + rng.uniform(1200.0, 5400.0)))
    return found


def sent(units: Sequence[int], stretch: Stretch, down: Sequence[tuple[float, float]], rng: Random) -> Iterator[Sent]:
    """Return the readings of one kitchen as they arrive: lost, late, twice, in another order, or not at all."""
    stream: Iterator[Sent] = _measured(units, stretch, rng)
    stream = lose(stream, rng, 0.005)
    stream = repeat(stream, rng, 0.004, 1200.0)
    stream = reorder(stream, rng, 0.002, 900.0)
    for number, (begin, end) in enumerate(down):
        where = Where(None, begin, end)
        stream = silence(stream, where) if number % 3 == 0 else delay(stream, rng, where)
    for t in stretch.troubles:
        if t.unit in units and t.wrong in (*OF_THE_KITCHEN, Wrong.SILENT):
            names = None if t.wrong in OF_THE_KITCHEN else frozenset({channel(t.unit, AIR)})
            stream = silence(stream, Where(names, t.from_at, t.until_at))
    return stream


def _measured(units: Sequence[int], stretch: Stretch, rng: Random) -> Iterator[Sent]:
    columns = []
    for unit in units:
        for what, values in ((AIR, stretch.sensor_c), (SECOND, stretch.second_c), (DOOR, stretch.contact)):
            if not np.isnan(values[0, unit]):
                columns.append((channel(unit, what), values[:, unit].tolist(), round(rng.uniform(0.0, 30.0), 3)))
    columns.sort(key=lambda column: column[2])
    for row, at in enumerate(stretch.times_at.tolist()):
        for name, values, second in columns:
            yield Sent(name, round(values[row], 4), at + second, round(at + second + 0.5 + rng.random(), 3))


def played(units: Sequence[int], stretch: Stretch, seed: int) -> Played:
    """Play one kitchen through the watch and return what it said, beside what was true."""
    rng = Random(seed)
    from_at, until_at = float(stretch.times_at[0]), float(stretch.times_at[-1]) + EVERY_S
    down = outages(rng, from_at + DAY_S, until_at - DAY_S)
    stream = list(sent(units, stretch, down, rng))
    clock = VirtualClock(from_at)
    present = Present(MemoryJournal(), clock)
    told = drafts(units, stretch, from_at)
    present.decide(lambda kitchen: told)
    service = Service(
        present, MemoryReadings(), lambda kitchen, lot, now: None, lambda kitchen, unit: LIMIT_C, clock, {}, {}
    )
    player = Player(service, clock, tick_s=TICK_S)
    unit_of = {"Cel": "Cel", "1": "1"}
    player.run(
        (Reading(s.channel, s.measured_at, s.value, unit_of["1" if s.channel.endswith(DOOR) else "Cel"],
                 s.received_at, s.measured_at) for s in stream),
        until_at,
    )  # fmt: skip
    kitchen = present.kitchen
    alarms = tuple(
        Raised(
            -1 if a.condition.unit.startswith("*") else int(a.condition.unit[1:]),
            a.condition.kind, a.condition.wakes, a.raised_at, a.returned_at or until_at, a.changes,
            a.condition.sentence, str(a.condition.parameters.get("cause") or ""),
        )
        for a in (*kitchen.past_alarms.values(), *kitchen.alarms.values())
    )  # fmt: skip
    rows = [
        (int(e.unit[1:]), e.at, e.likely_c, e.lower_c, e.upper_c, e.claimed_low_c, e.claimed_high_c)
        for e in player.estimates
        if e.at % HOUR_S == 0.0
    ]
    value, received = _arrived(units, stretch, stream)
    mine = tuple(t for t in stretch.troubles if t.unit in units)
    return Played(
        tuple(units), tuple(sorted(alarms, key=lambda a: a.raised_at)), tuple(down), mine, stretch.times_at, value,
        received, stretch.product_c[:, list(units)], np.array(rows).reshape(-1, 7),
    )  # fmt: skip


def _arrived(units: Sequence[int], stretch: Stretch, stream: Sequence[Sent]) -> tuple[Array, Array]:
    """Return the first sensor's readings and when each was first received, shape (times, units of the kitchen)."""
    shape = (stretch.times_at.size, len(units))
    value, received = np.full(shape, np.nan), np.full(shape, np.inf)
    column = {channel(unit, AIR): i for i, unit in enumerate(units)}
    for s in stream:
        i = column.get(s.channel)
        if i is not None:
            row = int((s.measured_at - stretch.times_at[0]) // EVERY_S)
            value[row, i], received[row, i] = s.value, min(received[row, i], s.received_at)
    return value, received

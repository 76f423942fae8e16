"""What the bench measures on: a kitchen of any size, its messages, and records that stand ready as arrays."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from alerts.history import Array
from collector.batches import AsMade, Method, Packing, Placement, Plan, Route
from collector.events import BatchStarted, ChannelAssigned, Draft, Event, SiteDescribed, UnitDescribed
from collector.message import Source, senml_payload
from collector.readings import Assignment, Quantity, Reading, Site, Unit
from collector.sample import Instant
from collector.storage import MemoryReadings, Series

DAY_S = 86_400.0
INTERVAL_S = 60.0
ROOT = "bench"
SOURCES = (Source(f"{ROOT}/#", "senml"),)
PLAN = Plan(
    "bench", "beef", "brisket", Method.IMMERSION, Packing.UNDER_BRINE, Route.COOKED, 40 * DAY_S, 55.0, 3.0,
    water_kg=3.0, salt_kg=0.3,
)  # fmt: skip
MADE = AsMade(3.0, water_kg=3.0, salt_kg=0.3, brine_c=3.0, meat_c=3.0)


@dataclass(frozen=True, slots=True)
class Size:
    """How much stands in the kitchen."""

    units: int
    lots_in_each: int = 1
    probed: bool = False
    """Whether the second tub of each batch has a probe of its own; there is a second one only then."""
    air_dwell_s: float = 2700.0


def air(unit: int) -> str:
    """Return the name of a unit's air channel."""
    return f"{ROOT}/u{unit:03}/air"


def probe(unit: int) -> str:
    """Return the name of the channel of the probe in a unit's tub."""
    return f"{ROOT}/u{unit:03}/brine"


def channels(size: Size) -> list[str]:
    """Return every channel of the kitchen."""
    return [name(unit) for unit in range(size.units) for name in ((air, probe) if size.probed else (air,))]


def drafts(size: Size, from_at: Instant) -> list[Draft]:
    """Return what describes the kitchen, with batches that began at an instant."""
    told: list[Event] = [SiteDescribed(Site("site", "Bench", "Europe/London", "US"))]
    for unit in range(size.units):
        told.extend(_unit(size, unit, from_at))
    return [Draft(from_at, "bench", event) for event in told]


def _unit(size: Size, unit: int, from_at: Instant) -> Iterator[Event]:
    name = f"u{unit:03}"
    yield UnitDescribed(Unit(name, "site", f"Unit {unit}", "cold room", air_dwell_s=size.air_dwell_s))
    yield ChannelAssigned(Assignment(air(unit), Quantity.AIR_TEMPERATURE, name, "by the evaporator", from_at))
    for number in range(size.lots_in_each):
        lot = f"{name}-{number}"
        tubs = ("1", "2") if size.probed else ("1",)
        yield BatchStarted(lot, PLAN, MADE, tuple(Placement(tub, name, from_at) for tub in tubs))
        if size.probed:
            brine = Assignment(
                probe(unit), Quantity.BRINE_TEMPERATURE, name, "in the brine of tub 2", from_at, lot=lot, tub="2"
            )
            yield ChannelAssigned(brine)


def temperature_c(step: int) -> float:
    """Return a cold room's air after so many readings: a slow wave with one sensor step of unrest. [°C]"""
    return round(3.0 + 1.2 * math.sin(step / 9.0) + 0.0625 * (step * 7 % 5 - 2), 4)


def messages(names: list[str], count: int, until_at: Instant) -> Iterator[tuple[str, bytes]]:
    """Yield topic and SenML payload of so many readings, channel after channel, the last of them at an instant."""
    steps = -(-count // len(names))
    for number in range(count):
        step, channel = number // len(names), names[number % len(names)]
        at = round(until_at - (steps - 1 - step) * INTERVAL_S, 3)
        yield channel, senml_payload("", [(channel, "Cel", temperature_c(step), at)])


def record(from_at: Instant, days: float) -> Series:
    """Return a channel's readings, one a minute, received half a second later."""
    count = round(days * DAY_S / INTERVAL_S)
    times: Array = np.linspace(from_at, from_at + count * INTERVAL_S, count, endpoint=False)
    values = np.array([temperature_c(step) for step in range(count)])
    # One warm evening, so that there is something to find: up to five hours in which the room did not cool.
    middle = times[count // 2]
    warm = (times >= middle) & (times < middle + min(5 * 3600.0, 0.1 * days * DAY_S))
    return Series(times, values + 8.0 * warm, np.zeros(count, dtype=np.int64), times + 0.5)


def cut(series: Series, from_at: Instant, until_at: Instant) -> Series:
    """Return the part of a record in [from, until)."""
    part = slice(*np.searchsorted(series.measured_at, (from_at, until_at)).tolist())
    return Series(series.measured_at[part], series.values[part], series.quality[part], series.received_at[part])


@dataclass
class PreparedReadings(MemoryReadings):
    """Readings whose past stands ready as arrays, so that measuring the watch does not measure a store."""

    prepared: Mapping[str, Series] = field(default_factory=dict)

    def series(self, channel: str, from_at: Instant, until_at: Instant) -> Series:
        return cut(self.prepared[channel], from_at, until_at)

    def before(self, channel: str, at: Instant) -> Reading | None:
        past = self.prepared[channel]
        last = int(np.searchsorted(past.measured_at, at)) - 1
        if last < 0:
            return None
        measured_at, received_at = float(past.measured_at[last]), float(past.received_at[last])
        return Reading(channel, measured_at, float(past.values[last]), "Cel", received_at, measured_at)

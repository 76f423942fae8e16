"""Gullwick Smokehouse: the physical side of the demo kitchen, and the week that it has. Pure: no clock, no I/O.

Everything here is invented, the place too. The kitchen's description (plans, people, rota) is written elsewhere from
these facts.

Units, in the order of the arrays
    0 `coldroom`  walk-in cold room of 15 m3, shared with the day's service (kind `cold room`)
    1 `fridge`    upright fridge of 600 litres (kind `fridge`)
    2 `chamber`   curing chamber of 3 m3, in which cured pieces rest cold and humid (kind `chamber`)

Channels (SenML name = MQTT topic; one reading a minute, each at its own second, of the minute's value)
    smokehouse/coldroom/air       Cel   air probe by the evaporator
    smokehouse/coldroom/door      /     1 while open; each minute, and at every change
    smokehouse/coldroom/brine     Cel   probe in the brine of the brisket's tub, from its placing on
    smokehouse/fridge/air         Cel   air probe at the middle shelf
    smokehouse/chamber/air        Cel   air probe
    smokehouse/chamber/humidity   %RH

Batches (`BATCHES`): ham and brisket under brine in the cold room; belly and duck under dry salt in the fridge; loin
resting in the chamber.

The week, in local time; day 0 is the day that begins at `start_at`
    day 0-1, 4   the five batches are placed
    day 2-3      the fridge's thermostat is turned down from 17:00 to 09:00: the belly is too cold for some 14 h
    day 3        the chamber's sensors are silent from 02:20 to 05:50; nothing of it arrives later
    day 4        the cold room's door is left ajar from 18:50 to 21:10: its tubs pass 5 °C for a while, within 4 h
    day 6        "tonight": at 01:40 the cold room's compressor stops; it runs again at 09:10
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from simulators.course import Record, door_openings, run
from simulators.doors import FloatArray
from simulators.faults import Kind, UnitFault
from simulators.presets import CURING_CHAMBER, UPRIGHT, WALK_IN
from simulators.room import Room, Tub

ZONE = ZoneInfo("Europe/London")
UNITS = ("coldroom", "fridge", "chamber")
COLDROOM, FRIDGE, CHAMBER = range(3)
STEP_S = 60.0
PAST_DAYS = 6
"""Whole days of past before the night in which the cold room fails."""

SENML_UNITS = {
    "smokehouse/coldroom/air": "Cel",
    "smokehouse/coldroom/door": "/",
    "smokehouse/coldroom/brine": "Cel",
    "smokehouse/fridge/air": "Cel",
    "smokehouse/chamber/air": "Cel",
    "smokehouse/chamber/humidity": "%RH",
}
"""Every channel and the SenML unit it sends."""
SECOND_OF_MINUTE = dict(zip(SENML_UNITS, (3.0, 5.0, 8.0, 17.0, 31.0, 34.0), strict=True))
DOOR = "smokehouse/coldroom/door"
BRINE_NOISE_C = 0.03
BRINE_STEP_C = 0.0625
HUMIDITY_NOISE_PCT = 0.4


class Measured(NamedTuple):
    """One reading as a device of the kitchen makes it."""

    channel: str
    unit: str
    """SenML unit of the value."""
    value: float
    measured_at: float


@dataclass(frozen=True, slots=True)
class BatchFacts:
    """What is physically true of one batch."""

    key: str
    what: str
    unit: int
    day: int
    at: time
    """Local time of placing on `day`."""
    time_constant_s: float
    capacity_j_k: float
    start_c: float


BATCHES = (
    BatchFacts("ham", "ham under brine in a large tub", COLDROOM, 0, time(9, 20), 7.0 * 3600, 62e3, 4.2),
    BatchFacts("belly", "pork belly under dry salt", FRIDGE, 0, time(11, 5), 3.0 * 3600, 14e3, 4.0),
    BatchFacts("loin", "pork loin, cured, resting hung", CHAMBER, 0, time(15, 40), 4.0 * 3600, 9e3, 3.8),
    BatchFacts("brisket", "brisket under brine", COLDROOM, 1, time(10, 30), 5.0 * 3600, 33e3, 4.6),
    BatchFacts("duck", "duck breasts under dry salt", FRIDGE, 4, time(16, 10), 2.5 * 3600, 6e3, 4.4),
)
BRINE_BATCH = BATCHES[3]
"""The one with a probe in its brine."""


class Span(NamedTuple):
    """A stretch of the story, half-open."""

    from_at: float
    until_at: float


@dataclass(frozen=True, slots=True)
class _Day:
    """One day as simulated, and what the sensors outside the rooms' own probes made of it, a row a minute."""

    record: Record
    contact: FloatArray
    """When the cold room's contact was open, rows (from, until)."""
    brine_c: FloatArray
    humidity_pct: FloatArray


class Story:
    """One week of the smokehouse, the same for generators of the same seed, whatever is asked first.

    Days are simulated in their order when first asked for, and kept; a day of three units takes about a seventh of a
    second. The generator is only ever split (`spawn`): give each story its own.
    """

    def __init__(self, start_at: float, rng: np.random.Generator, zone: ZoneInfo = ZONE) -> None:
        self.zone = zone
        self._rng = rng
        self.start_at = start_at
        self.fault_at = self.local(PAST_DAYS, time(1, 40))
        self.repaired_at = self.local(PAST_DAYS, time(9, 10))
        self.cold_spell = Span(self.local(2, time(17, 0)), self.local(3, time(9, 0)))
        self.warm_evening = Span(self.local(4, time(18, 50)), self.local(4, time(21, 10)))
        self.gap = Span(self.local(3, time(2, 20)), self.local(3, time(5, 50)))
        self.placed_at = {batch.key: self.local(batch.day, batch.at) for batch in BATCHES}
        self.faults = (
            UnitFault(Kind.TOO_COLD, FRIDGE, *self.cold_spell, severity=0.5),
            UnitFault(Kind.DOOR_AJAR, COLDROOM, *self.warm_evening, severity=1.0),
            UnitFault(Kind.COMPRESSOR_STOPPED, COLDROOM, self.fault_at, self.repaired_at),
        )
        self.rooms = self._rooms()
        self._days: list[_Day] = []

    def local(self, day: int, at: time) -> float:
        """Return the instant of a local time on a day of the story; day 0 begins at `start_at`. [s since 1970]"""
        date = datetime.fromtimestamp(self.start_at, self.zone).date() + timedelta(days=day)
        return datetime.combine(date, at, self.zone).timestamp()

    def readings(self, from_at: float, until_at: float) -> Iterator[Measured]:
        """Return what the sensors measure from one instant until another, in order of measuring."""
        for day in self._days_between(from_at, until_at):
            for measured in self._measured_on(day):
                if from_at <= measured.measured_at < until_at:
                    yield measured

    def truth_c(self, batch: str, from_at: float, until_at: float) -> tuple[FloatArray, FloatArray]:
        """Return instants and true temperatures of a batch while it stands, both of shape (times,). [s, °C]"""
        facts = next(facts for facts in BATCHES if facts.key == batch)
        place = self._place(facts)
        times_at, value_c = self._between(from_at, until_at, lambda record: record.tub_c[:, facts.unit, place])
        there = ~np.isnan(value_c)
        return times_at[there], value_c[there]

    def air_truth_c(self, unit: str, from_at: float, until_at: float) -> tuple[FloatArray, FloatArray]:
        """Return the instants and the true air temperature of a unit, both of shape (times,). [s, °C]"""
        place = UNITS.index(unit)
        return self._between(from_at, until_at, lambda record: record.air_c[:, place])

    def _between(
        self, from_at: float, until_at: float, pick: Callable[[Record], FloatArray]
    ) -> tuple[FloatArray, FloatArray]:
        records = [day.record for day in self._days_between(from_at, until_at)]
        times_at = np.concatenate([record.times_at for record in records])
        within = (from_at <= times_at) & (times_at < until_at)
        return times_at[within], np.concatenate([pick(record) for record in records])[within]

    def _days_between(self, from_at: float, until_at: float) -> Iterator[_Day]:
        day = 0
        while self.local(day, time(0)) < until_at:
            if self.local(day + 1, time(0)) > from_at:
                yield self._day(day)
            day += 1

    def _day(self, day: int) -> _Day:
        while len(self._days) <= day:
            self._days.append(self._simulated(len(self._days)))
        return self._days[day]

    def _simulated(self, day: int) -> _Day:
        span = Span(self.local(day, time(0)), self.local(day + 1, time(0)))
        rng = self._rng.spawn(1)[0]
        opened = [door_openings(room, rng, *span, self.zone) for room in self.rooms]
        before = self._days[day - 1].record.state if day else None
        record = run(self.rooms, rng, *span, STEP_S, self.faults, self.zone, opened, before)
        brine_c = record.tub_c[:, COLDROOM, self._place(BRINE_BATCH)]
        brine_c = brine_c + BRINE_NOISE_C * rng.standard_normal(brine_c.shape)
        humidity_pct = record.humidity_pct[:, CHAMBER] + HUMIDITY_NOISE_PCT * rng.standard_normal(brine_c.shape)
        return _Day(
            record,
            _joined(opened[COLDROOM], self.warm_evening, span),
            np.round(brine_c / BRINE_STEP_C) * BRINE_STEP_C,
            np.clip(np.round(humidity_pct, 1), 0.0, 100.0),
        )

    def _rooms(self) -> tuple[Room, ...]:
        def placed(room: Room, unit: int) -> Room:
            tubs = tuple(
                Tub(facts.key, facts.time_constant_s, facts.capacity_j_k, facts.start_c, self.placed_at[facts.key])
                for facts in BATCHES
                if facts.unit == unit
            )
            return replace(room, name=UNITS[unit], tubs=room.tubs + tubs)

        return placed(WALK_IN, COLDROOM), placed(UPRIGHT, FRIDGE), placed(CURING_CHAMBER, CHAMBER)

    def _place(self, facts: BatchFacts) -> int:
        return [tub.name for tub in self.rooms[facts.unit].tubs].index(facts.key)

    def _measured_on(self, day: _Day) -> list[Measured]:
        record = day.record
        minutely = {
            "smokehouse/coldroom/air": record.probe_c[:, COLDROOM],
            DOOR: _contact_at(day.contact, record.times_at + SECOND_OF_MINUTE[DOOR]),
            "smokehouse/coldroom/brine": day.brine_c,
            "smokehouse/fridge/air": record.probe_c[:, FRIDGE],
            "smokehouse/chamber/air": record.probe_c[:, CHAMBER],
            "smokehouse/chamber/humidity": day.humidity_pct,
        }
        made: list[Measured] = []
        for channel, values in minutely.items():
            stamps_at = record.times_at + SECOND_OF_MINUTE[channel]
            in_gap = (self.gap.from_at <= stamps_at) & (stamps_at < self.gap.until_at)
            there = ~np.isnan(values) & ~(in_gap & channel.startswith("smokehouse/chamber/"))
            rows = zip(values[there].tolist(), stamps_at[there].tolist(), strict=True)
            made += [Measured(channel, SENML_UNITS[channel], value, at) for value, at in rows]
        for begin, end in day.contact.tolist():
            made += [Measured(DOOR, SENML_UNITS[DOOR], 1.0, begin), Measured(DOOR, SENML_UNITS[DOOR], 0.0, end)]
        return sorted(made, key=lambda measured: measured.measured_at)


def story(now_at: float, rng: np.random.Generator, zone: ZoneInfo = ZONE) -> Story:
    """Return the week whose cold room fails at the first 01:40 (local) after the given instant."""
    today = datetime.fromtimestamp(now_at, zone).date()
    days = (today, today + timedelta(days=1))
    night = next(date for date in days if datetime.combine(date, time(1, 40), zone).timestamp() > now_at)
    return Story(datetime.combine(night - timedelta(days=PAST_DAYS), time(0), zone).timestamp(), rng, zone)


def _joined(rows: FloatArray, ajar: Span, day: Span) -> FloatArray:
    """Return the openings with a stretch of standing ajar laid over them, as far as it falls on the day."""
    begin, end = max(ajar.from_at, day.from_at), min(ajar.until_at, day.until_at)
    if begin >= end:
        return rows
    touching = (rows[:, 0] <= end) & (rows[:, 1] >= begin)
    if touching.any():
        begin, end = min(begin, rows[touching, 0].min()), max(end, rows[touching, 1].max())
    joined = np.vstack([rows[~touching], [[begin, end]]])
    return joined[np.argsort(joined[:, 0])]


def _contact_at(rows: FloatArray, at: FloatArray) -> FloatArray:
    """Return 1.0 where a door was open at the instant, else 0.0, shape of `at`."""
    place = np.searchsorted(rows[:, 0], at, side="right") - 1
    return np.where((place >= 0) & (at < rows[np.maximum(place, 0), 1] if len(rows) else False), 1.0, 0.0)

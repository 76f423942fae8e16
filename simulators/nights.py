"""Many units over weeks as one array: ordinary life, and everything that can go wrong in it. Pure: no clock, no I/O.

Chance is an argument. Every figure is invented, of the size that small kitchens have. One unit has at most one thing
wrong in a stretch; what its product truly was is known, which is what the watch is measured against.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC
from enum import StrEnum

import numpy as np

from simulators.course import delivered, door_openings, inputs_at
from simulators.doors import QUIET_NIGHT_AND_BUSY_DAY, FloatArray, open_shares
from simulators.faults import SET_POINT_RANGE_K, WIDEST_GAP_SHARE
from simulators.presets import CURING_CHAMBER, UPRIGHT, WALK_IN
from simulators.room import Delivery, Inputs, Room, Rooms, Tub, settled, stack, step

DAY_S, HOUR_S, STEP_S = 86_400.0, 3600.0, 60.0
EVERY_S = 300.0
"""A reading every five minutes."""
PRODUCT = 1
"""Position of the curing tub among what stands in a unit; before it stands the day's stock."""


class Wrong(StrEnum):
    """What can be wrong; severity runs from 0 (mild) to 1 (severe) within what each line says."""

    COMPRESSOR_STOPS = "compressor stops"
    """75 to 100 % of the cooling gone at once."""
    COMPRESSOR_FAILS_SLOWLY = "compressor fails slowly"
    """All of it gone within 60 to 12 hours."""
    CREEP = "slow creep"
    """The thermostat wanders up by 2.5 to 5 K in six days."""
    DOOR_LEFT_OPEN = "door left open"
    """A gap of 3 to 30 % of the doorway."""
    FAN_STOPS = "fan stops"
    """60 to 100 % of its air gone."""
    DEFROST_STAYS = "defrost does not end"
    """The heater on for half of every hour, up to all of it."""
    SET_TOO_WARM = "set too warm"
    """By 2.5 to 7 K."""
    SET_TOO_COLD = "set too cold"
    """By 3.5 to 8 K."""
    POWER = "power cut"
    """Every unit of the kitchen, its gateway too; 3 to 10 hours."""
    GATEWAY = "gateway down"
    """Nothing arrives from the kitchen; 2 to 8 hours, and nothing of it arrives later."""
    SILENT = "sensor silent"
    STUCK = "sensor stuck"
    JUMPS = "sensor jumps"
    """3 to 30 % of its readings are 5 to 20 K off."""
    DRIFTS = "sensor drifts"
    """By 0.4 to 1.2 K a day, up or down."""
    FAHRENHEIT = "sensor in °F"
    ELSEWHERE = "sensor elsewhere"
    """Hanging by the door up to lying in the kitchen: 30 to 100 % of it is the kitchen's air."""


PHYSICAL = tuple(Wrong)[:9]
OF_THE_KITCHEN = (Wrong.POWER, Wrong.GATEWAY)
OF_A_SENSOR = tuple(Wrong)[10:]
LASTS_H = {
    Wrong.COMPRESSOR_STOPS: (20, 30), Wrong.COMPRESSOR_FAILS_SLOWLY: (72, 84), Wrong.CREEP: (144, 150),
    Wrong.DOOR_LEFT_OPEN: (4, 12), Wrong.FAN_STOPS: (24, 40), Wrong.DEFROST_STAYS: (8, 20),
    Wrong.SET_TOO_WARM: (60, 96), Wrong.SET_TOO_COLD: (48, 96), Wrong.POWER: (3, 10), Wrong.GATEWAY: (2, 8),
    Wrong.SILENT: (12, 36), Wrong.STUCK: (48, 96), Wrong.JUMPS: (36, 72), Wrong.DRIFTS: (120, 150),
    Wrong.FAHRENHEIT: (24, 48), Wrong.ELSEWHERE: (24, 60),
}  # fmt: skip
"""How long each stays before somebody mends it. [h]"""


@dataclass(frozen=True, slots=True)
class Trouble:
    """One thing wrong with one unit."""

    wrong: Wrong
    unit: int
    from_at: float
    until_at: float
    severity: float
    sign: float = 1.0
    """Which way a sensor drifts."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """What many units went through; first axis is time (a row every `EVERY_S`), second the unit."""

    rooms: tuple[Room, ...]
    times_at: FloatArray
    sensor_c: FloatArray
    """What the first sensor reads. [°C]"""
    second_c: FloatArray
    """What a second sensor at another place in the unit reads; NaN where there is none. [°C]"""
    product_c: FloatArray
    """What the curing tub truly is. [°C]"""
    contact: FloatArray
    """1 while the door stands open at the instant of the reading; NaN where there is no contact."""
    troubles: tuple[Trouble, ...]


COUNTER = replace(
    UPRIGHT, name="counter fridge", openings_per_hour=tuple(0.6 * r for r in QUIET_NIGHT_AND_BUSY_DAY),
    cooling_w=220.0, set_point_c=2.6, opening_median_s=6.0, door_height_m=0.7, door_width_m=0.5,
)  # fmt: skip
CHAMBER = replace(CURING_CHAMBER, set_point_c=3.1)
KINDS = (WALK_IN, UPRIGHT, CHAMBER, COUNTER)


def fleet(rng: np.random.Generator, count: int) -> tuple[Room, ...]:
    """Return so many units, four kinds in turn, no two alike, each with a curing tub of its own time constant."""
    return tuple(_varied(KINDS[i % len(KINDS)], rng) for i in range(count))


def _varied(kind: Room, rng: np.random.Generator) -> Room:
    def about(value: float, spread: float) -> float:
        return value * math.exp(spread * float(rng.standard_normal()))

    hours = float(np.clip(about(6.0, 0.3), 3.0, 11.0))
    summer = 6.0 if rng.random() < 0.3 else 0.0
    stock = replace(kind.tubs[0], capacity_j_k=about(kind.tubs[0].capacity_j_k, 0.25))
    return replace(
        kind,
        tubs=(stock, Tub("curing", time_constant_s=hours * HOUR_S, capacity_j_k=0.06 * stock.capacity_j_k)),
        set_point_c=kind.set_point_c + float(rng.uniform(-0.5, 0.7)),
        half_band_c=about(kind.half_band_c, 0.15),
        ambient_c=kind.ambient_c + summer + 1.5 * float(rng.standard_normal()),
        cooling_w=about(kind.cooling_w, 0.08) * (1.0 + summer / 40.0),
        defrosts_per_day=int(rng.choice((2, 3, 4))),
        defrost_first_hour=float(rng.uniform(0.0, 6.0)),
        defrost_s=60.0 * float(rng.uniform(15.0, 28.0)),
        heater_w=about(kind.heater_w, 0.12),
        probe_offset_c=0.2 * float(rng.standard_normal()),
        openings_per_hour=tuple(about(1.0, 0.25) * rate for rate in kind.openings_per_hour),
        deliveries=(Delivery(float(rng.uniform(7.0, 10.0)), 0, float(rng.uniform(0.03, 0.12)), 8.0),),
    )


def trouble(
    wrong: Wrong, unit: int, from_at: float, rng: np.random.Generator, severity: float | None = None
) -> Trouble:
    """Return a fault that begins at an instant, as long as its kind lasts, of a severity drawn unless it is given."""
    low, high = LASTS_H[wrong]
    drawn = float(rng.random()) if severity is None else severity
    until_at = from_at + HOUR_S * float(rng.uniform(low, high))
    return Trouble(wrong, unit, from_at, until_at, drawn, float(rng.choice((-1.0, 1.0))))


def lived(
    rooms: Sequence[Room], rng: np.random.Generator, from_at: float, days: float, troubles: Sequence[Trouble] = ()
) -> Stretch:
    """Return what the units go through: busy days, warm pots, weather, habits at the dial, and the troubles given.

    Parameters
    ----------
    rooms : sequence of Room
        The units, stepped together a minute at a time.
    rng : numpy.random.Generator
        Draws everything that happens by chance.
    from_at : float
        When it begins. [s since 1970]
    days : float
        How long. [d]
    troubles : sequence of Trouble
        At most one for each unit.

    Returns
    -------
    Stretch
        Arrays of shape (times, units), a row every five minutes.
    """
    stacked = stack(rooms)
    count, minutes = len(rooms), round(days * 1440)
    edges_at: FloatArray = from_at + STEP_S * np.arange(minutes + 1, dtype=np.float64)
    shares = np.column_stack(
        [
            np.maximum(
                open_shares(door_openings(room, rng, from_at, float(edges_at[-1]), UTC), edges_at),
                (1.0 if room.volume_m3 > 10.0 else 0.5) * _propped(rng, edges_at),
            )
            for room in rooms
        ]
    )
    weather = _weather(rng, count, days)
    habit = np.where(rng.random(count) < 0.25, rng.uniform(-0.7, 0.4, count), 0.0)
    pots = _pots(rooms, rng, from_at, days)
    acting = _Acting(troubles, count)
    state, every = settled(stacked), round(EVERY_S / STEP_S)
    rows: list[tuple[FloatArray, ...]] = []
    for i, at in enumerate(edges_at[:-1].tolist()):
        while pots and pots[0][0] < at + STEP_S:
            _, unit, pot = pots.pop(0)
            state = delivered(state, unit, pot)
        inputs = _ordinary(stacked, inputs_at(stacked, at, UTC, shares[i]), weather, habit, at, from_at)
        inputs = acting.on(inputs, at)
        if i % every == 0:
            rows.append(
                (state.reading_c, state.probe_c, state.node_c[:, 1 + PRODUCT], inputs.open_share, inputs.ambient_c)
            )
        state = step(stacked, state, inputs, STEP_S, rng)
    reading, probe, product, opened, ambient = (np.array(column) for column in zip(*rows, strict=True))
    times_at: FloatArray = edges_at[:-1:every]
    second = _second(rooms, rng, probe)
    contact = np.where(rng.random(count) < 0.5, (opened > 0.02).astype(float), np.nan)
    sensor = as_sensed(times_at, reading, ambient, troubles, rng)
    return Stretch(tuple(rooms), times_at, sensor, second, product, contact, tuple(troubles))


def _weather(rng: np.random.Generator, count: int, days: float) -> FloatArray:
    """Return how much warmer each day is than usual, shape (days + 2, units): one sky over all, slowly changing. [K]"""
    sky = [0.0]
    for _ in range(math.ceil(days) + 1):
        sky.append(0.7 * sky[-1] + 1.6 * float(rng.standard_normal()))
    warmer: FloatArray = np.clip(np.array(sky)[:, None] * rng.uniform(0.5, 1.0, count), -5.0, 5.0)
    return warmer


def _propped(rng: np.random.Generator, edges_at: FloatArray) -> FloatArray:
    """Return how far a door is propped open in each minute: for loading every other day, for cleaning twice a month."""
    share = np.zeros(edges_at.size - 1)
    for first in range(0, share.size, 1440):
        if rng.random() < 0.5:
            begin = first + int(60 * rng.uniform(7.0, 20.0))
            share[begin : begin + int(rng.integers(8, 20))] = rng.uniform(0.05, 0.3)
        if rng.random() < 1.0 / 14.0:
            begin = first + int(60 * rng.uniform(8.0, 21.0))
            share[begin : begin + int(rng.integers(20, 45))] = rng.uniform(0.1, 0.35)
    return share


def _pots(
    rooms: Sequence[Room], rng: np.random.Generator, from_at: float, days: float
) -> list[tuple[float, int, Delivery]]:
    """Return warm food put in: twice a week or so in each unit, by day, and the deliveries of every morning."""
    found = []
    for unit, room in enumerate(rooms):
        for day in range(math.ceil(days)):
            begin = from_at + day * DAY_S
            found += [(begin + d.hour * HOUR_S, unit, d) for d in room.deliveries]
            if rng.random() < 0.3:
                hour, share, goods = rng.uniform(10.0, 21.0), rng.uniform(0.02, 0.06), rng.uniform(25.0, 55.0)
                found.append((begin + hour * HOUR_S, unit, Delivery(float(hour), 0, float(share), float(goods))))
    return sorted(found, key=lambda row: row[:2])


def _ordinary(
    rooms: Rooms, inputs: Inputs, weather: FloatArray, habit: FloatArray, at: float, from_at: float
) -> Inputs:
    day, part = divmod((at - from_at) / DAY_S, 1.0)
    warmer = weather[int(day)] * (1.0 - part) + weather[int(day) + 1] * part
    turned = habit * (8.0 <= (at % DAY_S) / HOUR_S < 20.0)
    return replace(inputs, ambient_c=inputs.ambient_c + warmer, set_point_shift_c=inputs.set_point_shift_c + turned)


class _Acting:
    """The physical troubles as arrays, so that one step costs the same for one unit and for hundreds."""

    def __init__(self, troubles: Sequence[Trouble], count: int) -> None:
        self._from, self._until = np.full(count, np.inf), np.full(count, -np.inf)
        self._severity, self._wrong = np.zeros(count), np.full(count, "", dtype=object)
        for t in troubles:
            if t.wrong in PHYSICAL:
                self._from[t.unit], self._until[t.unit] = t.from_at, t.until_at
                self._severity[t.unit], self._wrong[t.unit] = t.severity, t.wrong
        self._is = {wrong: self._wrong == wrong for wrong in PHYSICAL}

    def on(self, inputs: Inputs, at: float) -> Inputs:
        """Return the inputs as the troubles leave them at an instant."""
        here = (self._from <= at) & (at < self._until)
        if not here.any():
            return inputs
        s, since = self._severity, np.where(here, at - self._from, 0.0)

        def only(wrong: Wrong, effect: FloatArray) -> FloatArray:
            return np.where(here & self._is[wrong], effect, 0.0)

        gone = only(Wrong.COMPRESSOR_STOPS, 0.75 + 0.25 * s)
        gone += only(Wrong.COMPRESSOR_FAILS_SLOWLY, np.minimum(since / (HOUR_S * (60.0 - 48.0 * s)), 1.0))
        shift = only(Wrong.CREEP, (2.5 + 2.5 * s) * np.minimum(since / (6 * DAY_S), 1.0))
        shift += only(Wrong.SET_TOO_WARM, 2.5 + 4.5 * s) - only(Wrong.SET_TOO_COLD, 3.5 + (SET_POINT_RANGE_K - 3.5) * s)
        gap = only(Wrong.DOOR_LEFT_OPEN, 0.03 + (WIDEST_GAP_SHARE - 0.03) * s)
        heating = here & self._is[Wrong.DEFROST_STAYS] & (since % HOUR_S < HOUR_S * (0.5 + 0.5 * s))
        return replace(
            inputs,
            cooling_share=inputs.cooling_share * (1.0 - gone),
            set_point_shift_c=inputs.set_point_shift_c + shift,
            open_share=np.maximum(inputs.open_share, gap),
            fan_share=inputs.fan_share * (1.0 - only(Wrong.FAN_STOPS, 0.6 + 0.4 * s)),
            defrosting=inputs.defrosting | heating,
            power=inputs.power & ~(here & self._is[Wrong.POWER]),
        )


def _second(rooms: Sequence[Room], rng: np.random.Generator, probe_c: FloatArray) -> FloatArray:
    """Return what a second sensor reads in half of the units: another place, another offset, slower."""
    there = rng.random(len(rooms)) < 0.5
    place = rng.uniform(-0.3, 0.6, len(rooms)) + 0.2 * rng.standard_normal(len(rooms))
    slower: FloatArray = probe_c.copy()
    for i in range(1, len(slower)):
        slower[i] += 0.45 * (slower[i - 1] - slower[i])
    read = np.round((slower + place + 0.05 * rng.standard_normal(slower.shape)) / 0.0625) * 0.0625
    second: FloatArray = np.where(there, read, np.nan)
    return second


def as_sensed(
    times_at: FloatArray,
    reading_c: FloatArray,
    ambient_c: FloatArray,
    troubles: Sequence[Trouble],
    rng: np.random.Generator,
) -> FloatArray:
    """Return the readings of sensors that are wrong in themselves: stuck, jumping, drifting, in °F, elsewhere. [°C]"""
    sensed = reading_c.copy()
    for t in troubles:
        rows = np.flatnonzero((times_at >= t.from_at) & (times_at < t.until_at))
        if not rows.size or t.wrong not in OF_A_SENSOR:
            continue
        true = sensed[rows, t.unit]
        sensed[rows, t.unit] = _wrongly(t, times_at[rows], true, ambient_c[rows, t.unit], rng)
    return sensed


def _wrongly(t: Trouble, at: FloatArray, true: FloatArray, ambient: FloatArray, rng: np.random.Generator) -> FloatArray:
    s = t.severity
    if t.wrong is Wrong.STUCK:
        stays: FloatArray = np.full_like(true, true[0])
        return stays
    if t.wrong is Wrong.JUMPS:
        odd = rng.random(true.size) < 0.03 + 0.27 * s
        jumping: FloatArray = true + odd * rng.uniform(5.0, 20.0, true.size) * rng.choice((-1.0, 1.0), true.size)
        return jumping
    if t.wrong is Wrong.DRIFTS:
        astray: FloatArray = true + t.sign * (0.4 + 0.8 * s) * (at - t.from_at) / DAY_S
        return astray
    if t.wrong is Wrong.FAHRENHEIT:
        degrees_f: FloatArray = true * 1.8 + 32.0
        return degrees_f
    if t.wrong is Wrong.ELSEWHERE:
        share = 0.3 + 0.7 * s
        mixed: FloatArray = (1.0 - share) * true + share * ambient + 0.1 * rng.standard_normal(true.size)
        return mixed
    return true

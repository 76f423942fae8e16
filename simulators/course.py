"""What units go through over hours and days. Pure: no clock, no I/O; chance is an argument."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Protocol

import numpy as np

from simulators.doors import FloatArray, open_shares, openings, saturation_vapour_pa
from simulators.room import (
    BoolArray,
    Delivery,
    Inputs,
    Room,
    Rooms,
    RoomState,
    quiet_inputs,
    settled,
    stack,
    step,
)


@dataclass(frozen=True, slots=True)
class Record:
    """A stretch of simulated time; first axis is time, second the unit."""

    times_at: FloatArray
    air_c: FloatArray
    """True air temperature, shape (times, units). [°C]"""
    probe_c: FloatArray
    """As the sensor sends it: lag, offset, noise and steps. [°C]"""
    tub_c: FloatArray
    """True temperatures, shape (times, units, tubs); NaN while a tub is not there. [°C]"""
    humidity_pct: FloatArray
    door_open: FloatArray
    """Share of the step from this instant on that the door was open. [1]"""
    compressor_on: BoolArray
    state: RoomState
    """At the end of the stretch, to go on from."""


class PhysicalFault(Protocol):
    """Something wrong with the units for a while."""

    @property
    def from_at(self) -> float: ...

    @property
    def until_at(self) -> float: ...

    def modify(self, inputs: Inputs, at: float) -> Inputs:
        """Return the inputs as the fault leaves them at the instant."""
        ...


def inputs_at(rooms: Rooms, at: float, zone: tzinfo, open_share: FloatArray) -> Inputs:
    """Return the ordinary inputs of an instant: ambient and defrost by the local hour, doors as given. [°C, 1]"""
    local = datetime.fromtimestamp(at, zone)
    hour = local.hour + local.minute / 60.0 + local.second / 3600.0
    swing = np.cos(2 * math.pi * (hour - rooms["ambient_peak_hour"]) / 24.0)
    every = 24.0 / np.maximum(rooms["defrosts_per_day"], 1e-9)
    since_s = 3600.0 * ((hour - rooms["defrost_first_hour"]) % every)
    defrosting = (rooms["defrosts_per_day"] > 0) & (since_s < rooms["defrost_s"])
    dripping = (rooms["defrosts_per_day"] > 0) & ~defrosting & (since_s < rooms["defrost_s"] + rooms["drip_s"])
    quiet = quiet_inputs(rooms, at)
    return replace(
        quiet,
        ambient_c=rooms["ambient_c"] + rooms["ambient_swing_c"] * swing,
        open_share=open_share,
        defrosting=defrosting,
        cooling_share=np.where(dripping, 0.0, quiet.cooling_share),
    )


def run(
    rooms: Sequence[Room],
    rng: np.random.Generator,
    from_at: float,
    until_at: float,
    step_s: float = 60.0,
    faults: Sequence[PhysicalFault] = (),
    zone: tzinfo = UTC,
    opened: Sequence[FloatArray] | None = None,
    state: RoomState | None = None,
) -> Record:
    """Return what the units go through from one instant until another, a row for the beginning of each step.

    Parameters
    ----------
    rooms : sequence of Room, length units
        The units; simulated side by side.
    rng : numpy.random.Generator
        Draws door openings (unless given) and sensor noise.
    from_at, until_at : float
        Half-open stretch. [s since 1970]
    step_s : float, > 0
        Length of a step. [s]
    faults : sequence of PhysicalFault
        Applied in order while they last.
    zone : tzinfo
        Whose hours the kitchen keeps.
    opened : sequence of ndarray, shape (openings, 2), one per unit, optional
        When each door was open. [s since 1970]
    state : RoomState, optional
        To go on from; without it the units are long at their set point.

    Returns
    -------
    Record
        Arrays of shape (times, units) and (times, units, tubs).
    """
    stacked = stack(rooms)
    times_at = np.arange(from_at, until_at, step_s)
    if opened is None:
        opened = [door_openings(room, rng, from_at, until_at, zone) for room in rooms]
    edges_at = np.append(times_at, times_at[-1] + step_s)
    shares = np.column_stack([open_shares(rows, edges_at) for rows in opened])
    deliveries = _deliveries(rooms, from_at, until_at, zone)
    now = settled(stacked) if state is None else state
    states: list[RoomState] = []
    for i, at in enumerate(times_at.tolist()):
        while deliveries and deliveries[0][0] < at + step_s:
            _, unit, delivery = deliveries.pop(0)
            now = delivered(now, unit, delivery)
        inputs = inputs_at(stacked, at, zone, shares[i])
        for fault in faults:
            if fault.from_at <= at < fault.until_at:
                inputs = fault.modify(inputs, at)
        shares[i] = inputs.open_share
        states.append(now)
        now = step(stacked, now, inputs, step_s, rng)
    return _record(stacked, times_at, states, shares, now)


def _record(
    rooms: Rooms, times_at: FloatArray, states: Sequence[RoomState], shares: FloatArray, end: RoomState
) -> Record:
    at = times_at[:, None, None]
    there = (rooms.tub_from_at <= at) & (at < rooms.tub_until_at)
    air_c = np.array([state.air_c for state in states])
    vapour_pa = np.array([state.vapour_pa for state in states])
    return Record(
        times_at,
        air_c,
        np.array([state.reading_c for state in states]),
        np.where(there, np.array([state.node_c[:, 1:] for state in states]), np.nan),
        np.minimum(100.0, 100.0 * vapour_pa / saturation_vapour_pa(air_c)),
        shares,
        np.array([state.compressor_on for state in states]),
        end,
    )


def delivered(state: RoomState, unit: int, delivery: Delivery) -> RoomState:
    """Return the state once goods have taken the place of a share of a tub. [°C]"""
    node_c = state.node_c.copy()
    node_c[unit, 1 + delivery.tub] += delivery.share * (delivery.goods_c - node_c[unit, 1 + delivery.tub])
    return replace(state, node_c=node_c)


def _deliveries(
    rooms: Sequence[Room], from_at: float, until_at: float, zone: tzinfo
) -> list[tuple[float, int, Delivery]]:
    due: list[tuple[float, int, Delivery]] = []
    day = datetime.fromtimestamp(from_at, zone).replace(hour=0, minute=0, second=0, microsecond=0)
    while day.timestamp() < until_at:
        for unit, room in enumerate(rooms):
            due += [((day + timedelta(hours=d.hour)).timestamp(), unit, d) for d in room.deliveries]
        day += timedelta(days=1)
    return sorted([row for row in due if from_at <= row[0] < until_at], key=lambda row: row[:2])


def door_openings(room: Room, rng: np.random.Generator, from_at: float, until_at: float, zone: tzinfo) -> FloatArray:
    """Return when one unit's door was open, rows (from, until), shape (openings, 2). [s since 1970]"""
    spread = room.opening_spread
    return openings(room.openings_per_hour, room.opening_median_s, spread, rng, from_at, until_at, zone)

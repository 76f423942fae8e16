"""What a refrigerated space is made of, and one step of its heat. Pure: no clock, no I/O; chance is an argument.

One unit is a small network of heat: its air, its linings (skins and racking) and what stands in it, each tub or piece
with its own time constant to the air. The figures of the presets are invented, of the size that small kitchens have;
where a published figure stands behind one, it is named beside it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from simulators.doors import FloatArray, door_conductance, saturation_vapour_pa

BoolArray = NDArray[np.bool_]

# Two-stage, stiffly accurate, L-stable and of second order (Alexander, SIAM J. Numer. Anal. 14, 1977; from memory, not
# checked there; order and stability are tested here).
GAMMA = 1.0 - 1.0 / math.sqrt(2.0)
STILL_AIR_SHARE = 0.5
"""Heat transfer in still air over that in stirred air: textbook correlations give 6-8 against 10-15 W/(m2 K)."""
COIL_WITHOUT_FAN_SHARE = 0.15
"""Share of its cooling that a coil still gives when no air is blown through it (invented)."""
CAPACITY_LIMIT_SHARE = 1.4
"""The most that a warm room can draw from the compressor, over its rated cooling (invented)."""


@dataclass(frozen=True, slots=True)
class Tub:
    """One thing that stands in a unit and lags its air: a tub of brine, a hung piece, the general stock."""

    name: str
    time_constant_s: float = 6 * 3600.0
    """To the unit's stirred air; 4 h hung and 6 h for a tub up to 10 kg are usual (worked from textbook tables). [s]"""
    capacity_j_k: float = 33e3
    """Heat capacity; 5 kg of 9.5 % brine and 4 kg of meat come to 32.7 kJ/K. [J/K]"""
    start_c: float = 3.0
    """Temperature when it is placed. [°C]"""
    from_at: float = -math.inf
    until_at: float = math.inf


@dataclass(frozen=True, slots=True)
class Delivery:
    """Goods that come in every day and take the place of a share of a tub (as a rule the general stock)."""

    hour: float
    """Local hour of the day, 0 to 24. [h]"""
    tub: int
    share: float
    """Share of its heat capacity that is exchanged, 0 to 1. [1]"""
    goods_c: float


@dataclass(frozen=True, slots=True)
class Room:
    """What one unit is made of; the defaults are a walk-in cold room of 15 m3."""

    name: str = "cold room"
    tubs: tuple[Tub, ...] = (Tub("stock", time_constant_s=4 * 3600.0, capacity_j_k=700e3),)
    # -- heat: 700 kJ/K of stock is 200 kg of meat; linings are 36 m2 of thin steel and the racking (invented)
    air_j_k: float = 40e3  # 15 m3 of air (19 kJ/K), coil and light things (invented)
    lining_j_k: float = 120e3
    lining_w_k: float = 290.0  # 36 m2 at 8 W/(m2 K)
    wall_w_k: float = 9.1  # 36 m2 at 0.25 W/(m2 K), 60-100 mm of foam: common practice, no source
    fan_w: float = 60.0
    # -- the room it stands in
    ambient_c: float = 20.0
    ambient_swing_c: float = 3.0  # half the daily range; warmest at ambient_peak_hour
    ambient_peak_hour: float = 16.0
    ambient_humidity_pct: float = 50.0
    # -- cooling: thermostat on the lagged air probe
    set_point_c: float = 2.7
    half_band_c: float = 1.0
    cooling_w: float = 1000.0  # at the set point, compressor running
    cooling_per_k: float = 0.033  # share of cooling_w more per kelvin of warmer air (invented)
    compressor_rest_s: float = 180.0  # never restarts sooner: common practice, no source
    # -- electric defrost by the clock
    defrosts_per_day: int = 4
    defrost_first_hour: float = 2.0
    defrost_s: float = 22 * 60.0
    drip_s: float = 120.0
    heater_w: float = 520.0  # what reaches the air; tuned to 4-6 K
    # -- door
    door_width_m: float = 0.9
    door_height_m: float = 2.0
    door_flow_share: float = 0.8  # Df of the door formula for more than 11 K of difference (from memory, not checked)
    curtain_share: float = 0.0  # E: what a strip curtain holds back, 0.93 when whole
    openings_per_hour: tuple[float, ...] = (0.0,) * 24
    opening_median_s: float = 14.0
    opening_spread: float = 0.7  # standard deviation of ln(seconds)
    deliveries: tuple[Delivery, ...] = ()
    # -- moisture (all invented; only the humidity channel rests on them)
    volume_m3: float = 15.0
    wet_surface_pct: float = 92.0  # equilibrium humidity over what stands in it
    wetting_per_h: float = 1.5
    drying_per_h: float = 4.0
    coil_below_air_k: float = 5.0
    # -- what is measured
    probe_time_constant_s: float = 180.0
    probe_noise_c: float = 0.05
    probe_step_c: float = 0.0625  # resolution of a common one-wire digital sensor at 12 bit
    probe_offset_c: float = 0.0


@dataclass(frozen=True, slots=True)
class Rooms:
    """The same figures side by side, so that many units are stepped at once."""

    rooms: tuple[Room, ...]
    figures: dict[str, FloatArray]
    """Every scalar figure of `Room` by its name, each of shape (units,)."""
    node_j_k: FloatArray
    """Heat capacity of linings and tubs, shape (units, 1 + tubs); absent tubs have capacity 1 and no contact. [J/K]"""
    node_w_k: FloatArray
    """Their contact with stirred air, same shape. [W/K]"""
    start_c: FloatArray
    tub_from_at: FloatArray
    tub_until_at: FloatArray

    def __getitem__(self, name: str) -> FloatArray:
        """Return one figure of every room, shape (units,)."""
        return self.figures[name]


@dataclass(frozen=True, slots=True)
class Inputs:
    """What acts on the units during one step; every array has shape (units,) unless said."""

    ambient_c: FloatArray
    open_share: FloatArray
    """Share of the step, or of the doorway, that stands open; 0 to 1. [1]"""
    defrosting: BoolArray
    present: BoolArray
    """Which tubs stand in the unit, shape (units, tubs)."""
    cooling_share: FloatArray
    """Share of the rated cooling that a running compressor gives. [1]"""
    fan_share: FloatArray
    power: BoolArray
    set_point_shift_c: FloatArray
    stuck_on: BoolArray
    """A compressor that runs whatever its thermostat says."""


@dataclass(frozen=True, slots=True)
class RoomState:
    """What the units are like at one instant; arrays of shape (units,) unless said."""

    air_c: FloatArray
    node_c: FloatArray
    """Linings, then tubs; shape (units, 1 + tubs). [°C]"""
    probe_c: FloatArray
    """The lagged air that the thermostat feels, before noise and offset. [°C]"""
    reading_c: FloatArray
    """What the sensor sends. [°C]"""
    vapour_pa: FloatArray
    calling: BoolArray
    """Whether the thermostat asks for cooling."""
    compressor_on: BoolArray
    rested_s: FloatArray


def stack(rooms: Sequence[Room]) -> Rooms:
    """Return the figures of several rooms as arrays, shape (units,) and (units, 1 + tubs)."""
    tubs = max(len(room.tubs) for room in rooms)
    shape = (len(rooms), tubs)
    capacity, contact = np.ones(shape), np.zeros(shape)
    start, from_at, until_at = np.zeros(shape), np.full(shape, math.inf), np.full(shape, -math.inf)
    for i, room in enumerate(rooms):
        for j, tub in enumerate(room.tubs):
            capacity[i, j], contact[i, j] = tub.capacity_j_k, tub.capacity_j_k / tub.time_constant_s
            start[i, j], from_at[i, j], until_at[i, j] = tub.start_c, tub.from_at, tub.until_at
    names = [field.name for field in fields(Room) if isinstance(getattr(rooms[0], field.name), float | int)]
    figures = {name: np.array([float(getattr(room, name)) for room in rooms]) for name in names}
    return Rooms(
        tuple(rooms),
        figures,
        np.column_stack([figures["lining_j_k"], capacity]),
        np.column_stack([figures["lining_w_k"], contact]),
        start,
        from_at,
        until_at,
    )


def settled(rooms: Rooms, air_c: FloatArray | None = None) -> RoomState:
    """Return the state of units that have long been at their set point (or at the given air temperature). [°C]"""
    air = rooms["set_point_c"].copy() if air_c is None else np.array(air_c, dtype=float)
    vapour = 0.01 * rooms["wet_surface_pct"] * saturation_vapour_pa(air)
    off = np.zeros(air.shape, dtype=bool)
    rested = np.full(air.shape, math.inf)
    return RoomState(air, np.column_stack([air, rooms.start_c]), air, air, vapour, off, off, rested)


def quiet_inputs(rooms: Rooms, at: float) -> Inputs:
    """Return inputs in which nothing happens: door shut, no defrost, everything in order."""
    units = len(rooms.rooms)
    ones, no = np.ones(units), np.zeros(units, dtype=bool)
    present = (rooms.tub_from_at <= at) & (at < rooms.tub_until_at)
    return Inputs(rooms["ambient_c"], np.zeros(units), no, present, ones, ones, ~no, np.zeros(units), no)


def step(rooms: Rooms, state: RoomState, inputs: Inputs, dt_s: float, rng: np.random.Generator) -> RoomState:
    """Return the state one step later; stable for any step, meant for 10 to 60 s.

    Parameters
    ----------
    rooms : Rooms
        Figures of the units, arrays of shape (units,).
    state : RoomState
        At the beginning of the step.
    inputs : Inputs
        What acts during the step, held constant. Temperatures in [°C], shares in [1].
    dt_s : float, > 0
        Length of the step. [s]
    rng : numpy.random.Generator
        Draws the noise of the sensors: `units` numbers a step.

    Returns
    -------
    RoomState
        At the end of the step.

    Notes
    -----
    Air, linings and tubs are a linear network while the inputs stand still; it is solved by a two-stage diagonally
    implicit method of second order, eliminated in closed form because everything touches only the air. The thermostat
    decides at the beginning of the step. Water that condenses on the coil is not carried as a load.
    """
    calling, running, rested = _control(rooms, state, inputs, dt_s)
    air_c, node_c = _heat(rooms, state, inputs, running, dt_s)
    probe_c = _lagged(state.probe_c, state.air_c, air_c, dt_s / rooms["probe_time_constant_s"])
    sent = probe_c + rooms["probe_offset_c"] + rooms["probe_noise_c"] * rng.standard_normal(air_c.shape)
    resolution = rooms["probe_step_c"]
    reading_c = np.round(sent / resolution) * resolution
    vapour_pa = _vapour(rooms, state, inputs, running, dt_s)
    return RoomState(air_c, node_c, probe_c, reading_c, vapour_pa, calling, running, rested)


def _control(rooms: Rooms, state: RoomState, inputs: Inputs, dt_s: float) -> tuple[BoolArray, BoolArray, FloatArray]:
    set_point_c = rooms["set_point_c"] + inputs.set_point_shift_c
    above = state.probe_c - set_point_c
    calling = (above >= rooms["half_band_c"]) | (state.calling & (above > -rooms["half_band_c"]))
    rested = np.where(state.compressor_on, 0.0, state.rested_s)
    may_start = state.compressor_on | (rested >= rooms["compressor_rest_s"])
    running = (calling & may_start | inputs.stuck_on) & ~inputs.defrosting & inputs.power & (inputs.cooling_share > 0)
    return calling, running, np.where(running, 0.0, rested + dt_s)


def _heat(
    rooms: Rooms, state: RoomState, inputs: Inputs, running: BoolArray, dt_s: float
) -> tuple[FloatArray, FloatArray]:
    fan = inputs.fan_share * inputs.power
    contact = rooms.node_w_k * (STILL_AIR_SHARE + (1 - STILL_AIR_SHARE) * fan)[:, None]
    contact[:, 1:] *= inputs.present
    wall = np.zeros_like(contact)
    wall[:, 0] = rooms["wall_w_k"]

    door_w_k = door_conductance(
        state.air_c,
        inputs.ambient_c,
        rooms["door_width_m"],
        rooms["door_height_m"],
        inputs.open_share * rooms["door_flow_share"] * (1 - rooms["curtain_share"]),
    )
    # Cooling that grows with the air temperature is a conductance to a (fictitious) colder body, so it stays implicit.
    sink_c = rooms["set_point_c"] - 1.0 / rooms["cooling_per_k"]
    coil = rooms["cooling_w"] * (COIL_WITHOUT_FAN_SHARE + (1 - COIL_WITHOUT_FAN_SHARE) * fan) * inputs.cooling_share
    relative = np.maximum(0.0, 1.0 + rooms["cooling_per_k"] * (state.air_c - rooms["set_point_c"]))
    limited = np.minimum(1.0, CAPACITY_LIMIT_SHARE / np.maximum(relative, 1e-9))
    coil_w_k = running * coil * rooms["cooling_per_k"] * limited * (relative > 0)

    heat_w = rooms["fan_w"] * fan + rooms["heater_w"] * (inputs.defrosting & inputs.power)
    source_w = door_w_k * inputs.ambient_c + coil_w_k * sink_c + heat_w
    outward_w_k = door_w_k + coil_w_k

    h = GAMMA * dt_s
    per_node = h / rooms.node_j_k
    keep = 1.0 / (1.0 + per_node * (contact + wall))
    take = per_node * contact * keep
    from_outside = per_node * wall * inputs.ambient_c[:, None] * keep
    per_air = h / rooms["air_j_k"]
    denominator = 1.0 + per_air * ((contact * (1.0 - take)).sum(axis=1) + outward_w_k)

    def stage(air: FloatArray, nodes: FloatArray) -> tuple[FloatArray, FloatArray]:
        alone = keep * nodes + from_outside
        new_air = (air + per_air * ((contact * alone).sum(axis=1) + source_w)) / denominator
        return new_air, alone + take * new_air[:, None]

    air1, nodes1 = stage(state.air_c, state.node_c)
    ahead = (1.0 - GAMMA) / GAMMA
    return stage(state.air_c + ahead * (air1 - state.air_c), state.node_c + ahead * (nodes1 - state.node_c))


def _lagged(lagged: FloatArray, before: FloatArray, after: FloatArray, x: FloatArray) -> FloatArray:
    """Exact first-order lag of an input that is linear over the step, x = dt / time constant."""
    share = -np.expm1(-x)
    ramp = share / x
    lag: FloatArray = lagged * (1 - share) + before * (ramp - 1 + share) + after * (1 - ramp)
    return lag


def _vapour(rooms: Rooms, state: RoomState, inputs: Inputs, running: BoolArray, dt_s: float) -> FloatArray:
    """Relax the vapour pressure towards the mean of what feeds it and what takes it, weighted by their rates."""
    door_w_k = door_conductance(
        state.air_c, inputs.ambient_c, rooms["door_width_m"], rooms["door_height_m"], inputs.open_share
    )
    exchange = door_w_k / (1280.0 * rooms["volume_m3"])  # 1.28 kg/m3 and 1.0 kJ/(kg K) near 4 °C
    wetting = rooms["wetting_per_h"] / 3600.0
    drying = rooms["drying_per_h"] / 3600.0 * running
    total = exchange + wetting + drying
    outside = 0.01 * rooms["ambient_humidity_pct"] * saturation_vapour_pa(inputs.ambient_c)
    wet = 0.01 * rooms["wet_surface_pct"] * saturation_vapour_pa(state.node_c[:, 0])
    coil = saturation_vapour_pa(state.air_c - rooms["coil_below_air_k"])
    target = (exchange * outside + wetting * wet + drying * np.minimum(coil, state.vapour_pa)) / total
    return np.minimum(target + (state.vapour_pa - target) * np.exp(-total * dt_s), saturation_vapour_pa(state.air_c))

"""The room model against the same equations solved elsewhere, against published figures, and against itself."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from scipy.integrate import solve_ivp

from simulators.course import run
from simulators.doors import (
    QUIET_NIGHT_AND_BUSY_DAY,
    FloatArray,
    door_conductance,
    open_shares,
    openings,
    saturation_vapour_pa,
)
from simulators.presets import CURING_CHAMBER, UPRIGHT, WALK_IN
from simulators.room import Inputs, Room, Rooms, RoomState, Tub, quiet_inputs, settled, stack, step

HOUR = 3600.0
DAY = 86400.0
DULL = Room(
    openings_per_hour=(0.0,) * 24,
    defrosts_per_day=0,
    fan_w=0.0,
    ambient_swing_c=0.0,
    probe_noise_c=0.0,
    probe_step_c=1e-9,
)
"""A room in which nothing happens and the sensor is perfect."""


def carried_on(
    rooms: Rooms, state: RoomState, inputs: Callable[[float], Inputs], dt_s: float, hours: float
) -> list[RoomState]:
    rng = np.random.default_rng(0)
    states = [state]
    for i in range(round(hours * HOUR / dt_s)):
        states.append(step(rooms, states[-1], inputs(i * dt_s), dt_s, rng))
    return states


def two_nodes() -> Room:
    """The worked example of a room of air with linings and a load: 9.1 and 48 W/K, 700 and 60 kJ/K, 25 °C outside."""
    load = Tub("load", time_constant_s=700e3 / 48.0, capacity_j_k=700e3, start_c=3.0)
    # Linings that touch the air far better than anything else does are one body with it.
    return replace(DULL, tubs=(load,), air_j_k=30e3, lining_j_k=30e3, lining_w_k=1e5, wall_w_k=9.1, ambient_c=25.0)


def test_without_cooling_the_room_warms_with_the_two_time_constants_of_its_capacities_and_conductances() -> None:
    # tau_fast + tau_slow = Cp (1/UA + 1/G) + Cr/UA: the eigenvalues of the two-node equations, worked by hand here.
    room_j_k, load_j_k, wall, contact = 60e3, 700e3, 9.1, 48.0
    total = load_j_k * (1 / wall + 1 / contact) + room_j_k / wall
    product = room_j_k * load_j_k / (wall * contact)
    slow = (total + np.sqrt(total**2 - 4 * product)) / 2
    assert slow / HOUR == pytest.approx(27.0, abs=0.05)
    assert (total - slow) / HOUR == pytest.approx(0.28, abs=0.005)

    rooms = stack([two_nodes()])
    off = replace(quiet_inputs(rooms, 0.0), cooling_share=np.zeros(1))
    states = carried_on(rooms, settled(rooms, np.array([3.0])), lambda _: off, 30.0, 12.0)
    load_c = np.array([state.node_c[0, 1] for state in states])
    hours = np.arange(len(load_c)) * 30.0 / HOUR
    late = hours > 4.0
    slope = np.polyfit(hours[late], np.log(25.0 - load_c[late]), 1)[0]
    assert -1 / slope == pytest.approx(slow / HOUR, rel=0.002)
    # Worked in the same example: 3 to 5 °C in 2.85 h, to 8 °C in 7.23 h.
    assert np.interp([5.0, 8.0], load_c, hours) == pytest.approx([2.85, 7.23], abs=0.01)


def same_by_scipy(rooms: Rooms, inputs: Inputs, state: RoomState, cooling_w: float, until_s: float) -> FloatArray:
    """Air, linings and tubs of one unit after a time, from the plain equations and an adaptive solver."""
    room = rooms.rooms[0]
    contact, capacity = rooms.node_w_k[0], rooms.node_j_k[0]
    ambient = float(inputs.ambient_c[0])

    def rates(_: float, x: FloatArray) -> FloatArray:
        air, nodes = x[0], x[1:]
        into_air = (
            np.sum(contact * (nodes - air))
            + room.fan_w
            - cooling_w * (1 + room.cooling_per_k * (air - room.set_point_c))
        )
        into_nodes = contact * (air - nodes)
        into_nodes[0] += room.wall_w_k * (ambient - nodes[0])
        return np.concatenate([[into_air / room.air_j_k], into_nodes / capacity])

    start = np.concatenate([state.air_c, state.node_c[0]])
    solution = solve_ivp(rates, (0.0, until_s), start, rtol=1e-9, atol=1e-9, method="LSODA")
    end: FloatArray = solution.y[:, -1]
    return end


@pytest.mark.parametrize(("dt_s", "within_c"), [(10.0, 2e-4), (30.0, 2e-3), (60.0, 8e-3)])
@pytest.mark.parametrize("cooled", [False, True])
def test_the_step_agrees_with_an_adaptive_solver_of_the_same_equations(
    dt_s: float, within_c: float, cooled: bool
) -> None:
    tubs = (Tub("brine", 5 * HOUR, 33e3, 9.0), Tub("hung", 2 * HOUR, 6e3, 1.0))
    rooms = stack([replace(DULL, tubs=tubs, fan_w=60.0)])
    state = settled(rooms, np.array([6.0]))
    inputs = replace(quiet_inputs(rooms, 0.0), stuck_on=np.array([cooled]), set_point_shift_c=np.array([90.0]))
    end = carried_on(rooms, state, lambda _: inputs, dt_s, 0.5)[-1]
    expected = same_by_scipy(rooms, inputs, state, rooms.rooms[0].cooling_w if cooled else 0.0, 0.5 * HOUR)
    assert np.concatenate([end.air_c, end.node_c[0]]) == pytest.approx(expected, abs=within_c)


def test_half_the_step_leaves_a_quarter_of_the_error() -> None:
    rooms = stack([DULL])
    state = settled(rooms, np.array([8.0]))
    off = replace(quiet_inputs(rooms, 0.0), cooling_share=np.zeros(1))
    expected = same_by_scipy(rooms, off, state, 0.0, 240.0)[0]
    errors = [
        abs(carried_on(rooms, state, lambda _: off, dt, 240 / HOUR)[-1].air_c[0] - expected) for dt in (20.0, 10.0)
    ]
    assert errors[0] / errors[1] == pytest.approx(4.0, rel=0.25)


@pytest.mark.parametrize(("dt_s", "overshoot_c"), [(60.0, 0.001), (3600.0, 2.0), (1e6, 2.0)])
def test_even_an_absurd_step_stays_bounded_and_ends_at_ambient(dt_s: float, overshoot_c: float) -> None:
    rooms = stack([DULL])
    off = replace(quiet_inputs(rooms, 0.0), cooling_share=np.zeros(1), open_share=np.ones(1))
    states = carried_on(rooms, settled(rooms, np.array([-5.0])), lambda _: off, dt_s, 40 * dt_s / HOUR)
    for state in states:
        assert -5.001 <= state.air_c[0] <= DULL.ambient_c + overshoot_c
    if dt_s > 60:
        assert states[-1].air_c[0] == pytest.approx(DULL.ambient_c, abs=0.1)


def test_a_tub_lags_the_air_of_a_busy_day_as_the_first_order_filter_of_its_time_constant() -> None:
    tubs = (*WALK_IN.tubs, Tub("probe piece", 3 * HOUR, 9e3, 5.0))
    record = run([replace(WALK_IN, tubs=tubs)], np.random.default_rng(5), 0.0, 2 * DAY)
    air, piece = record.air_c[:, 0], record.tub_c[:, 0, 1]
    filtered = [5.0]
    x = 60.0 / (3 * HOUR)
    share = -np.expm1(-x)
    ramp = share / x
    for before, after in zip(air[:-1], air[1:], strict=True):
        filtered.append(filtered[-1] * (1 - share) + before * (ramp - 1 + share) + after * (1 - ramp))
    assert np.ptp(air) > 6.0
    assert piece == pytest.approx(np.array(filtered), abs=0.02)


@pytest.mark.parametrize("room", [WALK_IN, UPRIGHT, CURING_CHAMBER], ids=lambda room: room.name)
def test_a_quiet_unit_swings_about_its_set_point_and_no_further_than_its_lag_explains(room: Room) -> None:
    quiet = replace(room, openings_per_hour=(0.0,) * 24, defrosts_per_day=0, deliveries=(), probe_noise_c=0.0)
    record = run([quiet], np.random.default_rng(1), 0.0, DAY)
    probe = record.probe_c[120:, 0]
    assert probe.min() > room.set_point_c - room.half_band_c - 1.2
    assert probe.max() < room.set_point_c + room.half_band_c + 0.8
    assert record.air_c[120:].mean() == pytest.approx(room.set_point_c, abs=0.5)
    assert 0.05 < record.compressor_on[120:].mean() < 0.6


@pytest.mark.parametrize("room", [WALK_IN, UPRIGHT, CURING_CHAMBER], ids=lambda room: room.name)
def test_the_compressor_never_starts_again_before_its_rest(room: Room) -> None:
    on = run([room], np.random.default_rng(2), 0.0, DAY, step_s=30.0).compressor_on[:, 0]
    stops = np.flatnonzero(on[:-1] & ~on[1:]) + 1
    starts = np.flatnonzero(~on[:-1] & on[1:]) + 1
    rests = [start - stops[stops < start][-1] for start in starts if (stops < start).any()]
    assert len(rests) > 20
    assert min(rests) * 30.0 >= room.compressor_rest_s


@pytest.mark.parametrize("room", [WALK_IN, UPRIGHT, CURING_CHAMBER], ids=lambda room: room.name)
def test_a_defrost_warms_the_air_by_some_kelvins_and_is_over_within_three_quarters_of_an_hour(room: Room) -> None:
    quiet = replace(room, openings_per_hour=(0.0,) * 24, deliveries=())
    record = run([quiet], np.random.default_rng(3), 0.0, 2 * DAY)
    minutes = np.arange(len(record.times_at))
    every = 24 * 60 // room.defrosts_per_day
    since = (minutes - round(room.defrost_first_hour * 60)) % every
    # From the mean of the hour before to the peak.
    rises = []
    for begin in minutes[(since == 0) & (minutes > 300) & (minutes < minutes[-1] - 60)]:
        rises.append(record.probe_c[begin : begin + 45, 0].max() - record.probe_c[begin - 60 : begin, 0].mean())
        assert record.probe_c[begin + 45, 0] < room.set_point_c + room.half_band_c + 0.5
    assert len(rises) >= 2
    assert 3.5 < np.mean(rises) < 6.5
    assert not record.compressor_on[(since > 0) & (since * 60 <= room.defrost_s)].any()


def test_half_a_minute_of_open_door_shows_in_the_air_and_hardly_in_the_tub() -> None:
    tubs = (*WALK_IN.tubs, Tub("brine", 5 * HOUR, 33e3, 2.7))
    room = replace(WALK_IN, tubs=tubs, openings_per_hour=(0.0,) * 24, deliveries=(), defrosts_per_day=0)
    opened = [np.array([[HOUR, HOUR + 30.0]])]
    record = run([room], np.random.default_rng(1), 0.0, 2 * HOUR, step_s=10.0, opened=opened)
    shut = run([room], np.random.default_rng(1), 0.0, 2 * HOUR, step_s=10.0, opened=[np.zeros((0, 2))])
    after = slice(360, 400)
    assert (record.air_c - shut.air_c)[after].max() > 2.0
    assert 0.005 < (record.tub_c - shut.tub_c)[after, 0, 1].max() < 0.1


def test_an_open_door_lets_in_the_volume_that_was_worked_for_moist_air() -> None:
    # 0.9 x 2.0 m, 3 °C/85 % against 25 °C/50 %: 0.480 m3/s with moist densities; dry air is a little less unequal.
    flow = door_conductance(*(np.array([x]) for x in (3.0, 25.0, 0.9, 2.0, 1.0)))
    assert flow[0] / (1006.0 * 1.2759) == pytest.approx(0.480, rel=0.03)


def test_the_vapour_pressure_agrees_with_the_property_library() -> None:
    temperatures_c = np.array([0.5, 4.0, 12.0, 20.0, 30.0])
    expected = [PropsSI("P", "T", t + 273.15, "Q", 0, "Water") for t in temperatures_c]
    assert saturation_vapour_pa(temperatures_c) == pytest.approx(expected, rel=0.003)


def test_doors_are_opened_by_day_at_the_rate_of_the_hour_and_never_at_night() -> None:
    zone = ZoneInfo("Europe/London")
    rows = openings(QUIET_NIGHT_AND_BUSY_DAY, 14.0, 0.7, np.random.default_rng(4), 0.0, 60 * DAY, zone)
    assert (rows[1:, 0] > rows[:-1, 1]).all()
    assert (rows[:, 1] > rows[:, 0]).all()
    # In January 1970 London kept UTC+1.
    hours = ((rows[:, 0] + HOUR) % DAY // HOUR).astype(int)
    counted = np.bincount(hours, minlength=24) / 60
    assert counted[:6].sum() == 0
    assert counted == pytest.approx(np.array(QUIET_NIGHT_AND_BUSY_DAY), abs=1.6)
    assert np.median(rows[:, 1] - rows[:, 0]) == pytest.approx(14.0, rel=0.1)


def test_the_shares_of_the_steps_add_up_to_the_time_that_the_door_was_open() -> None:
    rows = np.array([[30.0, 90.0], [100.0, 101.5], [299.0, 500.0]])
    shares = open_shares(rows, np.arange(0.0, 301.0, 60.0))
    assert shares == pytest.approx(np.array([30, 31.5, 0, 0, 1]) / 60)


def test_a_delivery_brings_exactly_its_heat() -> None:
    room = replace(DULL, deliveries=(replace(WALK_IN.deliveries[0], share=0.25, goods_c=11.0, hour=1.0),))
    record = run([room], np.random.default_rng(1), 0.0, 2 * HOUR)
    assert record.tub_c[59, 0, 0] == pytest.approx(3.0, abs=0.05)
    assert record.tub_c[60, 0, 0] == pytest.approx(record.tub_c[59, 0, 0] * 0.75 + 11.0 * 0.25, abs=0.01)


def test_a_tub_is_there_only_between_its_instants_and_begins_at_its_own_temperature() -> None:
    tubs = (*WALK_IN.tubs, Tub("brisket", 5 * HOUR, 33e3, 8.0, from_at=HOUR, until_at=3 * HOUR))
    tub_c = run([replace(WALK_IN, tubs=tubs)], np.random.default_rng(1), 0.0, 4 * HOUR).tub_c[:, 0, 1]
    assert np.isnan(tub_c[:60]).all()
    assert np.isnan(tub_c[180:]).all()
    assert tub_c[60] == 8.0
    assert tub_c[179] == pytest.approx(3.0 + 5.0 * np.exp(-2 / 5), abs=0.5)


def test_the_same_seed_gives_the_same_record_and_another_seed_another() -> None:
    a, b, c = (run([WALK_IN, UPRIGHT], np.random.default_rng(seed), 0.0, DAY) for seed in (7, 7, 8))
    assert np.array_equal(a.probe_c, b.probe_c)
    assert np.array_equal(a.tub_c, b.tub_c)
    assert not np.array_equal(a.probe_c, c.probe_c)


def test_a_record_cut_in_two_and_carried_on_is_the_whole_record() -> None:
    opened = [np.array([[HOUR, HOUR + 50.0], [20 * HOUR, 20 * HOUR + 8.0]])]
    whole = run([WALK_IN], np.random.default_rng(1), 0.0, DAY, opened=opened)
    rng = np.random.default_rng(1)
    first = run([WALK_IN], rng, 0.0, DAY / 2, opened=opened)
    second = run([WALK_IN], rng, DAY / 2, DAY, opened=opened, state=first.state)
    assert np.array_equal(np.concatenate([first.probe_c, second.probe_c]), whole.probe_c)
    assert np.array_equal(np.concatenate([first.tub_c, second.tub_c]), whole.tub_c)


def test_units_side_by_side_do_not_touch_each_other() -> None:
    rooms = [replace(room, probe_noise_c=0.0) for room in (WALK_IN, UPRIGHT, CURING_CHAMBER)]
    shut = [np.zeros((0, 2))] * 3
    together = run(rooms, np.random.default_rng(1), 0.0, DAY, opened=shut)
    for i, room in enumerate(rooms):
        alone = run([room], np.random.default_rng(1), 0.0, DAY, opened=shut[:1])
        assert together.air_c[:, i] == pytest.approx(alone.air_c[:, 0], abs=1e-9)


def test_defrost_and_doors_keep_the_hours_of_the_site() -> None:
    room = replace(DULL, defrosts_per_day=1, defrost_first_hour=3.0)
    july = 1_783_209_600.0  # 2026-07-05T00:00Z, when London is an hour ahead
    here = run([room], np.random.default_rng(1), july, july + 8 * HOUR, zone=ZoneInfo("Europe/London"))
    there = run([room], np.random.default_rng(1), july, july + 8 * HOUR, zone=UTC)
    assert (np.argmax(here.air_c[:, 0]) - 60 * 2) == pytest.approx(22, abs=3)
    assert np.argmax(there.air_c[:, 0]) - np.argmax(here.air_c[:, 0]) == pytest.approx(60, abs=5)


def test_the_sensor_sends_whole_steps_of_its_resolution_with_its_offset_and_noise() -> None:
    room = replace(DULL, probe_noise_c=0.05, probe_step_c=0.0625, probe_offset_c=0.5, cooling_w=1e-6, ambient_c=2.7)
    record = run([room], np.random.default_rng(1), 0.0, DAY)
    sent = record.probe_c[60:, 0]
    assert np.array_equal(sent, np.round(sent / 0.0625) * 0.0625)
    error = sent - record.air_c[60:, 0]
    assert error.mean() == pytest.approx(0.5, abs=0.01)
    assert error.std() == pytest.approx(np.hypot(0.05, 0.0625 / np.sqrt(12)), rel=0.1)


def test_the_humidity_stays_a_humidity() -> None:
    record = run([WALK_IN, CURING_CHAMBER], np.random.default_rng(6), 0.0, 3 * DAY)
    assert record.humidity_pct.min() > 20
    assert record.humidity_pct.max() <= 100
    assert 70 < record.humidity_pct[:, 1].mean() < 90

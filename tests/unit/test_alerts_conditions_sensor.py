"""Sensors that lie, each with a record that has the fault and one that nearly has it."""

import math

import pytest

from alerts.conditions_sensor import conditions_of_sensors
from alerts.heard import Heard
from alerts.learned import GRID_S, KEPT_S, Recent, folded
from collector.readings import Assignment, Quantity

HOUR, DAY = 3600.0, 86_400.0
Row = tuple[float, float]


def cycling(from_h: float, until_h: float, level: float = 3.0, swing: float = 1.0) -> list[Row]:
    count = round((until_h - from_h) * 12)
    rows = [from_h * HOUR + 300.0 * i for i in range(count)]
    return [(at, round((level + swing * math.sin(at / 400.0)) / 0.0625) * 0.0625) for at in rows]


def kinds(records: dict[str, list[Row]], standing: tuple[str, ...] = (), door: str = "") -> list[str]:
    recent = {name: folded(rows) for name, rows in records.items()}
    now = max(rows[-1][0] for rows in records.values())
    heard = {}
    for name, rows in records.items():
        quantity = Quantity.DOOR if name == door else Quantity.AIR_TEMPERATURE
        a = Assignment(name, quantity, "room", "wall", 0.0, interval_s=300.0)
        heard[name] = Heard(a, rows[-1][0], rows[-1][0], rows[-1][1], rows[-1][0])
    found = conditions_of_sensors({"unit_name": "Room", "lots": "B1"}, "room", heard, recent, now, standing)
    assert all(not c.wakes and c.lots == ("B1",) for c in found)
    return [c.kind for c in found]


def still(from_h: float, until_h: float, value: float = 3.0) -> list[Row]:
    return [(at, value) for at, _ in cycling(from_h, until_h)]


def test_a_sensor_that_stands_still_for_six_hours_after_moving_is_stuck() -> None:
    assert kinds({"air": cycling(0, 10) + still(10, 16.2)}) == ["sensor_stuck"]
    assert kinds({"air": cycling(0, 10) + still(10, 15.8)}) == []


def test_a_sensor_that_never_moved_is_not_called_stuck() -> None:
    assert kinds({"air": still(0, 24)}) == []


def test_a_stuck_sensor_stays_told_when_its_moving_past_is_forgotten() -> None:
    assert kinds({"air": cycling(0, 10) + still(10, 48)}, ("sensor_stuck",)) == ["sensor_stuck"]


def with_jumps(count: int, size: float, length: int = 1) -> list[Row]:
    rows = cycling(0, 20)
    for n in range(count):
        for i in range(length):
            at, value = rows[40 + 30 * n + i]
            rows[40 + 30 * n + i] = (at, value + size)
    return rows


@pytest.mark.parametrize("size", [9.0, -9.0])
def test_four_lone_jumps_in_a_day_are_a_fault_and_three_are_not(size: float) -> None:
    assert kinds({"air": with_jumps(4, size)}) == ["sensor_jumps"]
    assert kinds({"air": with_jumps(3, size)}) == []


def test_what_was_told_to_jump_is_told_of_until_it_has_not_jumped_for_a_day() -> None:
    assert kinds({"air": with_jumps(1, 9.0)}, ("sensor_jumps",)) == ["sensor_jumps"]
    assert kinds({"air": with_jumps(0, 9.0)}, ("sensor_jumps",)) == []


def test_warm_stretches_of_defrosts_are_no_jumps() -> None:
    assert kinds({"air": with_jumps(6, 6.0, length=4)}) == []


def test_a_sensor_that_turns_to_fahrenheit_is_found_within_an_hour_and_a_quarter() -> None:
    turned = [(at, 1.8 * value + 32.0) for at, value in cycling(10, 11.3)]
    assert kinds({"air": cycling(0, 10) + turned}) == ["sensor_unit"]
    assert kinds({"air": cycling(0, 10) + turned[:8]}) == []


def test_a_room_that_has_become_a_kitchen_is_not_in_fahrenheit() -> None:
    assert kinds({"air": cycling(0, 10) + cycling(10, 12, level=24.0, swing=0.5)}) == ["sensor_elsewhere"]
    assert kinds({"air": cycling(0, 10) + cycling(10, 12, level=60.0, swing=0.5)}) == ["sensor_elsewhere"]


def test_a_room_that_warms_to_what_would_be_its_usual_level_in_fahrenheit_is_not_in_fahrenheit() -> None:
    warming = [(at, 3.0 + 34.0 * min((at / HOUR - 10.0) / 3.0, 1.0)) for at, _ in cycling(10, 15)]
    assert kinds({"air": cycling(0, 10) + warming}) == []
    leapt = [(at, 37.0 + math.sin(at / 400.0)) for at, _ in cycling(10, 15)]
    assert kinds({"air": cycling(0, 10) + leapt}) == ["sensor_unit"]


def test_a_coarse_sensor_that_rests_by_night_is_not_stuck() -> None:
    coarse = [(at, 3.0 if at % 20_000.0 < 12_000.0 else 3.0 + at // 600.0 % 2) for at, _ in cycling(0, 20)]
    assert kinds({"air": coarse + still(20, 28)}) == []
    assert kinds({"air": cycling(0, 20) + still(20, 28)}) == ["sensor_stuck"]


def test_neighbours_more_than_a_degree_and_a_half_apart_for_two_hours_disagree() -> None:
    other = [(at, value + 1.8) for at, value in cycling(8, 10.1)]
    near = [(at, value + 1.2) for at, value in cycling(8, 10.1)]
    base = cycling(0, 8)
    assert kinds({"air": cycling(0, 10.1), "second": base + other}) == ["sensors_disagree"]
    assert kinds({"air": cycling(0, 10.1), "second": base + near}) == []
    assert kinds({"air": cycling(0, 10.1), "second": cycling(0, 9.5) + other[19:]}) == []


def test_a_door_open_for_an_hour_is_told_and_one_that_was_shut_between_is_not() -> None:
    shut, opened = still(0, 5, 0.0), still(5, 6.1, 1.0)
    assert kinds({"door": shut + opened}, door="door") == ["door_open"]
    assert kinds({"door": shut + opened[:10]}, door="door") == []
    assert kinds({"door": shut + opened[:6] + [(opened[6][0], 0.0)] + opened[7:]}, door="door") == []


def test_what_is_kept_does_not_depend_on_when_the_keeping_began_and_stays_small() -> None:
    rows = [(60.0 * i, float(i % 7)) for i in range(3 * 1440)]
    late = folded(rows[1440:])
    whole = folded(rows)
    assert (whole.times, whole.values, whole.step) == (late.times, late.values, late.step)
    assert whole.quarters[-len(late.quarters) :] == late.quarters
    assert len(late.times) <= KEPT_S / GRID_S + 1


def test_a_late_reading_is_not_kept_out_of_order() -> None:
    recent = Recent()
    recent.take(1000.0, 1.0)
    recent.take(500.0, 2.0)
    assert recent.times == [1000.0]

"""Sensors that no longer tell of their unit: each with a record that has the fault and one that nearly has it."""

import math
from collections.abc import Callable

import pytest

from alerts.conditions_astray import conditions_of_places
from alerts.learned import QUARTERS, Recent, folded
from collector.findings import Condition

HOUR, DAY = 3600.0, 86_400.0
Row = tuple[float, float]


def cycling(from_h: float, until_h: float, add: Callable[[float], float] = lambda at: 0.0) -> list[Row]:
    count = round((until_h - from_h) * 12)
    rows = [from_h * HOUR + 300.0 * i for i in range(count)]
    return [(at, 3.0 + math.sin(at / 400.0) + add(at)) for at in rows]


def told(records: dict[str, list[Row]], standing: tuple[str, ...] = ()) -> dict[str, Condition]:
    recent = {name: folded(rows) for name, rows in records.items()}
    now = max(rows[-1][0] for rows in records.values())
    found = conditions_of_places({"unit_name": "Room", "lots": "B1"}, "room", recent, now, standing)
    assert all(not c.wakes and c.lots == ("B1",) for c in found)
    return {c.kind: c for c in found}


def rises(per_day: float, from_day: float) -> Callable[[float], float]:
    return lambda at: per_day * max(at / DAY - from_day, 0.0)


def mixed(share: float, from_h: float, swing: float = 1.0) -> Callable[[float], float]:
    """Return what is added to a sensor of which a share is the kitchen's air at 20 °C, its cycle so much the less."""
    return lambda at: share * (17.0 - swing * math.sin(at / 400.0)) if at >= from_h * HOUR else 0.0


@pytest.mark.parametrize("share", [0.5, 1.0])
def test_a_sensor_that_lies_in_the_kitchen_is_told_within_an_hour_and_a_quarter(share: float) -> None:
    assert list(told({"air": cycling(0, 21.2, mixed(share, 20))})) == ["sensor_elsewhere"]
    assert told({"air": cycling(0, 20.8, mixed(share, 20))}) == {}


@pytest.mark.parametrize("every", [60.0, 150.0, 600.0])
def test_it_is_told_whether_a_sensor_speaks_every_minute_or_every_ten(every: float) -> None:
    rows = [every * i for i in range(round(22 * HOUR / every))]
    away = [(at, 3.0 + math.sin(at / 900.0) + mixed(0.6, 20)(at)) for at in rows]
    assert list(told({"air": away})) == ["sensor_elsewhere"]
    assert told({"air": [row for row in away if row[0] < 20.8 * HOUR]}) == {}


def test_a_sensor_by_the_door_is_told_by_a_cycle_that_goes_on() -> None:
    assert list(told({"air": cycling(0, 23.3, mixed(0.33, 20))})) == ["sensor_elsewhere"]
    assert told({"air": cycling(0, 22.5, mixed(0.33, 20))}) == {}


def test_a_door_left_open_stops_the_cycle_and_moves_no_sensor() -> None:
    assert told({"air": cycling(0, 20) + [(at, 8.6) for at, _ in cycling(20, 24)]}) == {}


def test_a_room_that_warms_within_half_an_hour_moves_no_sensor() -> None:
    warming = [(at, 3.0 + 12.0 * min((at / HOUR - 20.0) * 2.0, 1.0)) for at, _ in cycling(20, 24)]
    assert told({"air": cycling(0, 20) + warming}) == {}


def test_what_its_neighbour_went_through_too_is_the_room() -> None:
    up, level = cycling(0, 22, mixed(0.6, 20)), cycling(0, 22)
    assert list(told({"air": up, "second": level})) == ["sensor_elsewhere"]
    assert told({"air": up, "second": level})["sensor_elsewhere"].parameters["channels"] == "air"
    assert told({"air": up, "second": up}) == {}


def test_a_sensor_elsewhere_stays_told_for_days_and_is_over_when_it_comes_back() -> None:
    away = cycling(0, 96, mixed(0.6, 48))
    assert list(told({"air": away}, ("sensor_elsewhere",))) == ["sensor_elsewhere"]
    assert told({"air": away}) == {}
    assert told({"air": away + cycling(96, 98)}, ("sensor_elsewhere",)) == {}


def test_a_sensor_that_reads_lower_day_by_day_is_told_after_three_days() -> None:
    said = told({"air": cycling(0, 24 * 8.6, rises(-0.5, 5.0))})["sensor_drift"]
    assert (said.parameters["way"], said.parameters["days"], said.parameters["cause"]) == ("down", 3, "drift")
    assert said.parameters["moved_c"] == pytest.approx(1.3, abs=0.3)
    assert told({"air": cycling(0, 24 * 7.0, rises(-0.5, 5.0))}) == {}


def test_a_slow_drift_is_told_after_nine_days() -> None:
    said = told({"air": cycling(0, 24 * 13.5, rises(-0.16, 1.0))})["sensor_drift"]
    assert said.parameters["days"] == 9


def test_one_sensor_alone_that_reads_higher_may_be_the_unit_and_that_is_said() -> None:
    said = told({"air": cycling(0, 24 * 8.6, rises(0.5, 5.0))})["level_creeps"]
    assert said.parameters["cause"] == "drift or creep"
    assert said.sentence == "level_creeps"


def test_a_neighbour_tells_a_sensor_that_drifts_from_a_unit_that_creeps() -> None:
    up, level = cycling(0, 24 * 8.6, rises(0.5, 5.0)), cycling(0, 24 * 8.6)
    assert told({"air": up, "second": level})["sensor_drift"].parameters["channels"] == "air"
    said = told({"air": up, "second": [(at, value + 0.4) for at, value in up]})["level_creeps"]
    assert (said.parameters["cause"], said.sentence) == ("creep", "unit_creeps")


def test_a_setting_that_was_turned_is_no_drift() -> None:
    assert told({"air": cycling(0, 24 * 8.6, lambda at: 2.0 if at > 6.2 * DAY else 0.0)}) == {}


def test_a_level_that_moves_with_another_cycle_is_the_unit_failing_and_not_its_sensor() -> None:
    failing = cycling(0, 24 * 8.6, rises(0.5, 5.0))
    failing = [(at, v - math.sin(at / 400.0) * min(max(at / DAY - 5.0, 0.0) / 3.0, 0.9)) for at, v in failing]
    assert told({"air": failing}) == {}


def test_a_drift_stays_told_when_it_has_stopped_and_is_over_when_mended() -> None:
    stopped = cycling(0, 24 * 11, lambda at: rises(-0.5, 5.0)(min(at, 8.0 * DAY)))
    assert list(told({"air": stopped}, ("sensor_drift",))) == ["sensor_drift"]
    assert told({"air": stopped + cycling(24 * 11, 24 * 12.6)}, ("sensor_drift",)) == {}


def test_what_is_kept_of_two_weeks_is_what_taking_each_reading_leaves() -> None:
    rows = cycling(0.1, 24 * 17.3, rises(0.2, 3.0))
    one_by_one = Recent()
    for at, value in rows:
        one_by_one.take(at, value)
    assert folded(rows) == one_by_one
    assert len(one_by_one.quarters) == QUARTERS
    begin = (rows[-1][0] - QUARTERS * 21_600.0) // 21_600.0 * 21_600.0
    assert folded([row for row in rows if row[0] >= begin]) == one_by_one


def test_too_few_readings_say_nothing_of_a_quarter() -> None:
    assert folded(cycling(0, 1) + cycling(12, 25)).quarters[0].number == 2

"""Batteries, clocks and checks, each with a record that has the fault and one that nearly has it."""

import math
from dataclasses import replace
from itertools import pairwise
from random import Random

import pytest

from alerts.clocks import Lags
from alerts.conditions_upkeep import battery_low, conditions_of_upkeep, due_checks
from alerts.heard import Heard
from alerts.learned import Recent, folded
from collector.findings import Condition
from collector.instruments import by_checks
from collector.kitchen import Kitchen
from collector.logs import Calibration
from collector.readings import Assignment, Quantity
from collector.sample import Quality

HOUR, DAY, NOW = 3600.0, 86_400.0, 1_780_000_800.0


def heard(quantity: Quantity, value: float) -> Heard:
    return Heard(Assignment("x", quantity, "room", "wall", 0.0, interval_s=300.0), NOW, NOW, value, NOW)


def told(
    quantity: Quantity = Quantity.AIR_TEMPERATURE, values: tuple[float, ...] = (3.0,), lags: Lags | None = None,
    due_at: float | None = None, standing: tuple[str, ...] = (),
) -> list[Condition]:  # fmt: skip
    every = DAY / max(len(values) - 1, 1)
    recent = folded([(NOW - DAY + every * i, value) for i, value in enumerate(values)])
    found = conditions_of_upkeep(
        {"unit_name": "Room", "lots": "B1"}, "room", {"x": heard(quantity, values[-1])}, {"x": recent},
        {} if lags is None else {"x": lags}, {} if due_at is None else {"x": due_at}, NOW, standing,
    )  # fmt: skip
    assert all(not c.wakes and c.parameters["channels"] == "x" and c.lots == ("B1",) for c in found)
    return found


def battery(*values: float, standing: tuple[str, ...] = ()) -> list[str]:
    return [c.kind for c in told(Quantity.BATTERY, values, standing=standing)]


def test_a_battery_below_fifteen_per_cent_is_low_until_it_is_at_twenty() -> None:
    assert battery(14.9) == ["battery_low"]
    assert battery(15.1) == []
    assert battery(19.0, standing=("battery_low",)) == ["battery_low"]
    assert battery(21.0, standing=("battery_low",)) == []


def test_a_battery_that_falls_so_that_it_will_be_low_in_three_days_is_told_now() -> None:
    assert battery(*(38.0 - 0.4 * i for i in range(25))) == ["battery_low"]
    assert battery(*(38.0 - 0.1 * i for i in range(25))) == []
    assert battery(*(80.0 - 0.4 * i for i in range(25))) == []
    assert battery(*(30.0 + (i % 2) for i in range(25))) == []


@pytest.mark.parametrize("per_day", [4.0, 5.0, 7.0])
def test_a_battery_that_falls_by_whole_per_cents_and_a_little_to_and_fro_is_told_once(per_day: float) -> None:
    said, recent = [False], Recent()
    for n in range(4 * 288):
        at = 300.0 * n
        value = float(round(39.0 - per_day * at / 86_400.0 + 1.4 * math.sin(at / 86_400.0 * 2.0 * math.pi)))
        recent.take(at, value)
        said.append(battery_low(replace(heard(Quantity.BATTERY, value), measured_at=at), recent, stands=said[-1]))
    assert sum(one != other for one, other in pairwise(said)) == 1


def test_what_is_no_battery_may_be_at_three() -> None:
    assert told(Quantity.AIR_TEMPERATURE, (3.0,)) == []


def clock(lags: list[float], quality: Quality = Quality.GOOD, every_s: float = 300.0) -> Lags:
    made = Lags()
    for i, lag in enumerate(lags):
        received = NOW - every_s * (len(lags) - 1 - i)
        made.take(received - lag, received, quality)
    return made


@pytest.mark.parametrize(
    ("lags", "wrong"),
    [
        ([600.0] * 14, True),
        ([600.0] * 11, False),
        ([100.0] * 14, False),
        ([3600.0] * 14, True),
        ([600.0] * 13 + [1.0], False),
        ([3600.0 - 240.0 * i for i in range(14)], False),
        ([300.0 * (i % 3) for i in range(14)], False),
    ],
)
def test_a_clock_is_wrong_when_an_hour_of_readings_lags_by_the_same(lags: list[float], wrong: bool) -> None:
    assert [c.kind for c in told(lags=clock(lags))] == (["clock_wrong"] if wrong else [])


def test_it_says_by_how_much_and_from_when() -> None:
    (said,) = told(lags=clock([600.0] * 14))
    assert said.parameters["lag_min"] == 10
    assert said.since_at == pytest.approx(NOW - 65 * 60.0, abs=300.0)


def test_a_clock_that_nobody_can_believe_is_told_as_that() -> None:
    (said,) = told(lags=clock([0.0] * 14, Quality.CLOCK_DOUBT))
    assert (said.kind, said.sentence) == ("clock_wrong", "clock_doubted")


def test_what_is_kept_of_a_clock_stays_small_and_speaks_for_slow_sensors_too() -> None:
    assert len(clock([0.0] * 3000, every_s=30.0).rows) <= 20
    assert clock([900.0] * 5, every_s=1200.0).wrong() is not None


def test_a_check_is_overdue_from_the_day_it_was_due() -> None:
    assert [c.kind for c in told(due_at=NOW)] == ["calibration_overdue"]
    assert told(due_at=NOW + 1.0) == []
    (said,) = told(due_at=NOW - 5 * DAY)
    assert said.since_at == NOW - 5 * DAY


def test_a_check_puts_off_when_the_next_is_due_and_only_thermometers_of_the_unit_are_checked() -> None:
    said = (
        Assignment("a", Quantity.AIR_TEMPERATURE, "room", "wall", 100.0),
        Assignment("b", Quantity.AIR_TEMPERATURE, "room", "door", 200.0),
        Assignment("door", Quantity.DOOR, "room", "door", 0.0),
        Assignment("c", Quantity.AIR_TEMPERATURE, "other", "wall", 0.0),
        Assignment("d", Quantity.AIR_TEMPERATURE, "room", "wall", 0.0, until_at=50.0),
    )
    check = Calibration("a", "channel", 5000.0, "melting ice", 0.1, 0.1, 9000.0, "bo", 0.5)
    kitchen = Kitchen(said=said, assignments=by_checks(said, (check,), ()), calibrations=(check,))
    assert due_checks(kitchen, "room", 1000.0) == {"a": 9000.0, "b": 1200.0}


@pytest.mark.parametrize(("lag_s", "spread_s"), [(125.0, 9.0), (3600.0, 70.0), (-118.0, 9.0)])
def test_a_wrong_clock_behind_an_unsteady_way_is_told_once(lag_s: float, spread_s: float) -> None:
    lags, said, chance = Lags(), [False], Random(4)
    for n in range(2 * 1440):
        lag = lag_s + spread_s * (chance.random() - 0.5)
        quality = Quality.CLOCK_DOUBT if lag < -120.0 else Quality.GOOD
        lags.take(NOW + 60.0 * n - (0.0 if quality else lag), NOW + 60.0 * n, quality)
        said.append(lags.wrong(stands=said[-1]) is not None)
    assert sum(one != other for one, other in pairwise(said)) <= 1


def test_a_clock_that_was_mended_is_told_as_that_though_its_way_is_unsteady() -> None:
    lags = Lags()
    for n in range(120):
        lags.take(NOW + 60.0 * n - (3600.0 if n < 80 else 5.0 * (n % 7)), NOW + 60.0 * n, Quality.GOOD)
        if n == 70:
            assert lags.wrong() is not None
    assert lags.wrong(stands=True) is None

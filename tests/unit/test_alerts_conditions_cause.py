"""The likely cause among the parameters of what tells of a warm room."""

import math

from alerts.conditions_cause import cause_of, with_causes
from alerts.heard import Taken
from alerts.unit_watch import UnitWatch, take
from collector.findings import Condition
from collector.readings import Assignment, Quantity, Unit

T = 1_780_000_000.0
UNIT = Unit("room", "s", "Room", "cold room")
AIR, SECOND, DOOR = (
    Assignment(name, quantity, "room", name, T, interval_s=300.0)
    for name, quantity in (
        ("air", Quantity.AIR_TEMPERATURE), ("second", Quantity.AIR_TEMPERATURE), ("door", Quantity.DOOR)
    )
)  # fmt: skip
WARM = Condition("room", "product_warm", "temperature", True, T, sentence="product_may_pass", parameters={"air_c": 8.0})
COLD = Condition("room", "product_freezing", "cold", False, T, sentence="product_freezing")
DISAGREE = Condition("room", "sensors_disagree", "sensor", False, T, sentence="sensors_disagree")
SILENT = Condition("room", "channel_silent", "sensor", False, T, sentence="channel_silent")


def warmed(door: float | None = None, second: float | None = None) -> UnitWatch:
    """A unit of twelve hours of turns that has then not cooled for eight."""
    watch = UnitWatch(UNIT, 5.0, T)
    for i in range(20 * 12):
        at = T + 300.0 * i
        value = 2.0 + 2.0 * (0.0, 0.5, 0.8, 1.0, 0.5)[i % 5]
        if i >= 144:
            value = 17.0 - 13.0 * math.exp(-(i - 144) / 72)
        take(watch, AIR, Taken("air", at, at, value))
        if second is not None:
            take(watch, SECOND, Taken("second", at, at, second))
        if door is not None:
            take(watch, DOOR, Taken("door", at, at, door if i >= 144 else 0.0))
    return watch


def named(watch: UnitWatch, *found: Condition) -> list[object]:
    return [c.parameters.get("cause") for c in with_causes(watch, found)]


def test_a_warm_room_is_told_with_its_likely_cause_and_a_cold_one_without() -> None:
    assert named(warmed(), WARM, COLD) == ["cooling", None]


def test_nothing_but_the_parameters_of_a_condition_changes() -> None:
    made = with_causes(warmed(), [WARM, COLD])
    assert made[1] is COLD
    assert (made[0].key, made[0].wakes, made[0].sentence, made[0].lots) == (WARM.key, True, "product_may_pass", ())
    assert made[0].parameters["air_c"] == 8.0


def test_the_contact_of_its_door_is_asked() -> None:
    assert named(warmed(door=1.0), WARM) == ["door"]
    assert named(warmed(door=0.0), WARM) == ["cooling"]


def test_beside_a_sensor_in_doubt_no_cause_is_named_but_silence_casts_none() -> None:
    assert named(warmed(), WARM, DISAGREE) == ["", None]
    assert with_causes(warmed(), [WARM, DISAGREE])[0].parameters["cause_doubted"] == 1
    assert named(warmed(), WARM, SILENT) == ["cooling", None]


def test_a_second_sensor_that_shows_nothing_of_it_casts_doubt() -> None:
    assert named(warmed(second=3.0), WARM) == [""]


def test_without_readings_nothing_is_said() -> None:
    watch = UnitWatch(UNIT, 5.0, T)
    assert with_causes(watch, [WARM]) == [WARM]


def test_it_is_looked_at_once_for_each_reading() -> None:
    watch = warmed()
    assert cause_of(watch) is cause_of(watch)
    first = cause_of(watch)
    take(watch, AIR, Taken("air", T + 20 * 3600 + 300, T + 20 * 3600 + 300, 12.0))
    assert cause_of(watch) is not first


def test_what_days_say_of_a_creeping_level_goes_before_what_one_day_says() -> None:
    figures = {"cause": "drift or creep"}
    creeps = Condition("room", "level_creeps", "temperature", False, T, sentence="level_creeps", parameters=figures)
    assert named(UnitWatch(UNIT, 5.0, T), WARM, creeps) == ["drift or creep", "drift or creep"]
    assert named(warmed(), WARM, creeps) == ["cooling", "drift or creep"]

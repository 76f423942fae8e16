"""The likely cause among the parameters of what tells of a warm room."""

import math

from alerts.conditions_cause import cause_of, heaters_and_doors, with_causes
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


HEATED = [2.0 + 0.95 * i for i in range(24)]
AJAR = [4.5, 6.2, 7.0, 7.3, *[7.4] * 20]


def seen(tail: list[float], standing: tuple[str, ...] = (), door: float | None = None) -> list[tuple[str, str]]:
    """What is told, by its air alone, of a unit with twelve hours of turns before."""
    watch = UnitWatch(UNIT, 5.0, T)
    turns = [2.0 + 2.0 * (0.0, 0.5, 0.8, 1.0, 0.5)[i % 5] for i in range(144)]
    for i, value in enumerate([*turns, *tail]):
        at = T + 300.0 * i
        take(watch, AIR, Taken("air", at, at, value))
        if door is not None:
            take(watch, DOOR, Taken("door", at, at, door))
    found = heaters_and_doors(watch, standing)
    assert not any(c.wakes for c in found)
    return [(c.kind, c.sentence) for c in found]


def test_a_heater_or_a_door_that_keeps_the_air_warm_for_long_is_told_by_day() -> None:
    assert seen(HEATED) == [("defrost_stays", "defrost_stays")]
    assert seen(AJAR) == [("door_open", "door_seems_open")]


def test_not_yet_after_an_hour_and_not_of_a_room_that_merely_warms() -> None:
    assert seen(HEATED[:16]) == []
    assert seen(AJAR[:13]) == []
    assert seen([17.0 - 13.0 * math.exp(-i / 72) for i in range(80)]) == []


def test_it_stands_until_the_air_has_been_below_the_limit() -> None:
    standing = ("defrost_stays", "door_open")
    assert [kind for kind, _ in seen([6.0] * 3, standing)] == ["defrost_stays", "door_open"]
    assert seen([6.0, 6.0, 4.9], standing) == []


def test_where_the_door_has_a_contact_it_alone_speaks() -> None:
    assert seen(AJAR, door=0.0) == []
    assert seen(AJAR, ("door_open",), door=0.0) == []


def crept(*sensors: Assignment) -> UnitWatch:
    """A unit whose turns go on as ever while its level has risen a little all day."""
    watch = UnitWatch(UNIT, 5.0, T)
    for i in range(24 * 12):
        at = T + 300.0 * i
        value = 4.0 + 2.0 * (0.0, 0.5, 0.8, 1.0, 0.5)[i % 5] + 0.4 * i / 288
        for one in sensors:
            take(watch, one, Taken(one.channel, at, at, value))
    return watch


def test_one_sensor_alone_cannot_tell_a_setting_that_creeps_from_its_own_drift() -> None:
    assert named(crept(AIR), WARM) == ["drift or creep"]
    assert named(crept(AIR, SECOND), WARM) == ["creep"]


def test_what_keeps_sensors_up_casts_no_doubt_on_what_they_say() -> None:
    for kind in ("battery_low", "clock_wrong", "calibration_overdue"):
        assert named(warmed(), WARM, Condition("room", kind, "sensor", False, T, sentence=kind)) == ["cooling", None]

"""Product that stands close to its limit, and product that nearly does."""

from alerts.conditions_level import NEAR_S, Level, near_since, warm_level
from alerts.heard import Heard, Taken
from alerts.trace import Copies
from alerts.unit_watch import TubState, UnitWatch, take
from alerts.watch import conditions
from collector.readings import Assignment, Quantity, Unit

HOUR = 3600.0
ABOUT: dict[str, float | int | str | None] = {"unit_name": "Room", "limit_c": 5.0, "air_c": 4.9}


def marked(levels: list[float], limit_c: float = 5.0) -> float | None:
    since = None
    for at, level in enumerate(levels):
        since = near_since(since, float(at), level, limit_c)
    return since


def test_nearness_begins_a_quarter_kelvin_below_and_ends_only_further_away() -> None:
    assert marked([4.0, 4.8, 4.6, 4.9]) == 1.0
    assert marked([4.0, 4.8, 4.4, 4.9]) == 3.0
    assert marked([4.0, 4.7]) is None


def test_hours_near_the_limit_are_told_for_the_morning_and_a_little_less_is_not() -> None:
    told = warm_level(ABOUT, "room", [Level("B1", 4.9, 0.0, NEAR_S), Level("B2", 3.0, None, NEAR_S)])
    assert told is not None
    assert (told.kind, told.wakes, told.lots) == ("warm_level", False, ("B1",))
    assert warm_level(ABOUT, "room", [Level("B1", 4.9, 0.0, NEAR_S - 1.0)]) is None


def test_a_room_that_cycles_too_warm_is_told_although_its_air_comes_back_every_time() -> None:
    air = Assignment("air", Quantity.AIR_TEMPERATURE, "room", "wall", 0.0)
    w = UnitWatch(Unit("room", "s", "Room", "cold room"), 5.0, 0.0)
    w.channels["air"] = Heard(air, 0.0, 0.0, 5.0)
    w.tubs = [TubState("B1", "1", 6 * HOUR, Copies(4.85, 4.85, 4.85))]
    for minute in range(5 * 60):
        take(w, air, Taken("air", minute * 60.0, minute * 60.0, 4.2 if minute % 20 < 10 else 5.6))
    assert [c.kind for c in conditions(w, 5 * HOUR - 60.0, ())] == ["warm_level"]

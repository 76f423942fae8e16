"""Product that stands close to its limit, and product that nearly does."""

from alerts.conditions_level import (
    ABOVE_USUAL_C,
    HABIT_NEAR_S,
    IMPATIENT,
    NEAR_S,
    OFF_DELAY_S,
    Level,
    Patience,
    above_usual,
    near_since,
    patience_near,
    warm_level,
)
from alerts.heard import Heard, Taken
from alerts.learned_unit import LearnedUnit, Usual
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


def test_product_that_a_warm_pot_has_brought_near_is_not_told_once_the_air_cools_it() -> None:
    air = Assignment("air", Quantity.AIR_TEMPERATURE, "room", "wall", 0.0)
    w = UnitWatch(Unit("room", "s", "Room", "cold room"), 5.0, 0.0)
    w.channels["air"] = Heard(air, 0.0, 0.0, 5.0)
    w.tubs = [TubState("B1", "1", 40 * HOUR, Copies(4.9, 4.9, 4.9))]
    for minute in range(4 * 60):
        take(w, air, Taken("air", minute * 60.0, minute * 60.0, 6.5 if minute < 30 else 3.8))
    assert w.tubs[0].copies.likely_c > 4.75, "it is near for hours"
    assert conditions(w, 4 * HOUR - 60.0, ()) == []
    assert [c.kind for c in conditions(w, 4 * HOUR - 60.0, ("warm_level",))] == ["warm_level"], "what stands, stands"


def learnt(level_c: float = 3.0, slow_c: float = 3.2, high_c: float = 3.5, spread_c: float = 0.05) -> LearnedUnit:
    made = LearnedUnit(5.0, at=1000.0, slow_c=slow_c, level_c=level_c)
    made._usual = Usual(7, 3.0, spread_c, high_c, 0.05, 1800.0, 1200.0, 40.0, 1.0, (3.0,) * 24, ())
    return made


def test_where_product_comes_near_every_day_it_is_told_later_and_is_one_alarm() -> None:
    habit = Patience(HABIT_NEAR_S, OFF_DELAY_S)
    assert patience_near(learnt(slow_c=4.7, high_c=4.8), 5.0) == habit
    assert patience_near(learnt(slow_c=5.1, high_c=4.8), 5.0).wait_s == NEAR_S, "today is not like the other days"
    assert patience_near(learnt(), 5.0) == patience_near(LearnedUnit(5.0), 5.0) == IMPATIENT
    still = Level("B1", 4.0, None, 100_000.0, 100_000.0 - OFF_DELAY_S + 1.0)
    assert warm_level(ABOUT, "room", [still], habit, stands=True) is not None
    assert warm_level(ABOUT, "room", [still], habit) is None
    assert warm_level(ABOUT, "room", [still], IMPATIENT, stands=True) is None
    assert warm_level(ABOUT, "room", [still._replace(near_until=None)], habit, stands=True) is None


def test_product_that_is_near_every_day_is_told_all_the_same() -> None:
    habit = patience_near(learnt(slow_c=4.7, high_c=4.8), 5.0)
    assert warm_level(ABOUT, "room", [Level("B1", 4.9, 0.0, HABIT_NEAR_S)], habit) is not None
    assert warm_level(ABOUT, "room", [Level("B1", 4.9, 0.0, HABIT_NEAR_S - 1.0)], habit) is None


def test_half_a_day_warmer_than_usual_is_told_for_the_morning_far_below_the_limit_too() -> None:
    told = above_usual(ABOUT, "room", ("B1",), learnt(3.0 + ABOVE_USUAL_C + 0.01), stands=False)
    assert told is not None
    assert (told.kind, told.wakes, told.lots) == ("above_usual", False, ("B1",))
    assert above_usual(ABOUT, "room", (), learnt(3.0 + ABOVE_USUAL_C - 0.01), stands=False) is None


def test_it_ends_only_half_the_way_back_and_says_nothing_of_a_unit_nobody_knows() -> None:
    assert above_usual(ABOUT, "room", (), learnt(3.0 + 0.6 * ABOVE_USUAL_C), stands=True) is not None
    assert above_usual(ABOUT, "room", (), learnt(3.0 + 0.4 * ABOVE_USUAL_C), stands=True) is None
    assert above_usual(ABOUT, "room", (), LearnedUnit(5.0, at=0.0, level_c=9.0), stands=True) is None


def test_a_unit_whose_days_differ_more_may_be_further_above_its_usual_level() -> None:
    assert above_usual(ABOUT, "room", (), learnt(3.9, spread_c=0.2), stands=False) is None
    assert above_usual(ABOUT, "room", (), learnt(4.1, spread_c=0.2), stands=False) is not None

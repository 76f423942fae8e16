"""Cooling that grows weak, long before anything is warm: a record by hand that shows it, and ones that nearly do."""

import pytest

from alerts.conditions_cause import weak_cooling
from alerts.heard import Taken
from alerts.learned import folded
from alerts.swings import smoothed
from alerts.unit_watch import UnitWatch, take
from alerts.weak_cooling import Turning, is_weak, looked_at, turning
from collector.readings import Assignment, Quantity, Unit

HOUR, EVERY = 3600.0, 300.0
T = 480_000 * HOUR
UNIT = Unit("room", "s", "Room", "cold room")
AIR = Assignment("air", Quantity.AIR_TEMPERATURE, "room", "wall", T, interval_s=EVERY)
AS_EVER = (0.0, 0.5, 0.8, 1.0)
"""A turn of 20 minutes: it falls in five."""
SLOW = (0.0, 0.3, 0.6, 1.0, 0.8, 0.55, 0.3)
"""One of 35 minutes: it falls in twenty."""
RARE = (0.0, 0.2, 0.4, 0.6, 0.8, 0.9, 1.0)
"""One of 35 minutes that falls as quickly as ever: a quiet night."""
SLOW_BUT_OFTEN = (0.0, 0.5, 1.0, 0.5)


def turns(hours: float, turn: tuple[float, ...]) -> list[float]:
    return [2.0 + 2.0 * turn[i % len(turn)] for i in range(round(hours * 12))]


def rows(values: list[float]) -> list[tuple[float, float]]:
    return [(T + EVERY * i, value) for i, value in enumerate(values)]


def weak(values: list[float], *, stands: bool = False, lost: range = range(0)) -> bool:
    kept = [row for i, row in enumerate(rows(values)) if i not in lost]
    return is_weak(looked_at(folded(kept)), stands=stands)


def test_fewer_and_slower_turns_than_the_day_before_are_weak_cooling() -> None:
    assert weak([*turns(18.0, AS_EVER), *turns(6.0, SLOW)])


@pytest.mark.parametrize("turn", [AS_EVER, RARE, SLOW_BUT_OFTEN])
def test_turns_that_are_only_fewer_or_only_slower_are_not(turn: tuple[float, ...]) -> None:
    assert not weak([*turns(18.0, AS_EVER), *turns(6.0, turn)])


def test_one_weak_hour_is_not_yet() -> None:
    assert not weak([*turns(18.0, AS_EVER), *turns(2.0, SLOW)])


def test_a_day_that_was_always_so_is_not() -> None:
    assert not weak(turns(24.0, SLOW))


def test_hours_of_which_little_was_heard_say_nothing() -> None:
    values = [*turns(18.0, AS_EVER), *turns(6.0, SLOW)]
    assert turning_of(values, range(0)) is not None
    assert turning_of(values, range(245, 265)) is None
    assert not weak(values, lost=range(245, 265))


def turning_of(values: list[float], lost: range) -> Turning | None:
    return looked_at(folded(row for i, row in enumerate(rows(values)) if i not in lost))[0]


def test_told_already_it_stands_until_it_cools_as_before_and_while_it_does_not_cool_at_all() -> None:
    middling = Turning(0.8, 0.8)
    assert not is_weak((middling, middling), stands=False)
    assert is_weak((middling, None), stands=True)
    assert is_weak((None, None), stands=True)
    assert not is_weak((Turning(0.8, 0.95), middling), stands=True)
    assert not is_weak((Turning(0.9, 0.5), middling), stands=True)


def test_too_short_a_record_says_nothing() -> None:
    assert looked_at(folded(rows([2.0]))) == (None, None)
    assert not weak(turns(6.0, SLOW))


def test_it_is_told_by_day_and_looked_at_once_an_hour() -> None:
    watch = UnitWatch(UNIT, 5.0, T)
    assert weak_cooling(watch, stands=False) is None
    values = [*turns(18.0, AS_EVER), *turns(6.0, SLOW)]
    for at, value in rows(values):
        take(watch, AIR, Taken("air", at, at, value))
    found = weak_cooling(watch, stands=False)
    assert found is not None and not found.wakes and found.kind == "weak_cooling"
    before = watch.turning
    take(watch, AIR, Taken("air", T + 24 * HOUR - 10, T + 24 * HOUR - 10, 3.0))
    assert weak_cooling(watch, stands=False) is not None and watch.turning is before
    take(watch, AIR, Taken("air", T + 24 * HOUR, T + 24 * HOUR, 3.0))
    weak_cooling(watch, stands=False)
    assert watch.turning is not before


def test_what_comes_later_changes_nothing_in_what_an_hour_showed() -> None:
    values = [*turns(18.0, AS_EVER), *turns(6.0, SLOW)]
    at = T + 22 * HOUR
    assert turning(smoothed(folded(rows(values))), at) == turning(smoothed(folded(rows(values[:270]))), at)

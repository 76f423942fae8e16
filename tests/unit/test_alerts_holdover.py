"""If cooling stopped now: when each batch would pass its limit."""

import math
from dataclasses import replace

import pytest

from alerts.holdover import Standing, hold_over_of, if_cooling_stopped
from collector.readings import Unit

HOUR = 3600.0
ROOM = Unit("room", "site", "Cold room", "cold room", ambient_c=25.0, warm_up_s=27 * HOUR)
TUB = Standing(3.0, 3.0, 3.0, 6 * HOUR)


def test_a_known_room_says_early_likely_and_late() -> None:
    seen = if_cooling_stopped(ROOM, 5.0, TUB)
    assert seen.learned and seen.likely_s is not None and seen.late_s is not None
    assert seen.likely_s / HOUR == pytest.approx(6.73, abs=0.01)
    assert 0 < seen.early_s < seen.likely_s < seen.late_s


def test_a_room_that_nobody_has_learned_is_at_ambient_at_once_and_only_the_early_time_is_said() -> None:
    unknown = if_cooling_stopped(replace(ROOM, warm_up_s=None), 5.0, TUB)
    assert unknown.likely_s is None and unknown.late_s is None
    assert unknown.early_s < if_cooling_stopped(ROOM, 5.0, TUB).early_s


def test_what_is_not_known_of_the_product_shortens_the_early_time_only() -> None:
    known, doubted = (if_cooling_stopped(ROOM, 5.0, replace(TUB, upper_c=upper)) for upper in (3.0, 4.5))
    assert doubted.early_s < known.early_s
    assert doubted.likely_s == known.likely_s


def test_meat_above_its_limit_has_no_time_left() -> None:
    assert if_cooling_stopped(ROOM, 5.0, replace(TUB, likely_c=5.2, upper_c=5.2)).early_s == 0.0


def test_a_kitchen_as_cold_as_the_limit_warms_nothing() -> None:
    seen = if_cooling_stopped(replace(ROOM, ambient_c=4.0), 5.0, TUB)
    assert math.isinf(seen.early_s)


def test_the_unit_holds_as_long_as_its_first_batch() -> None:
    first = if_cooling_stopped(ROOM, 5.0, replace(TUB, tau_s=2 * HOUR))
    other = if_cooling_stopped(ROOM, 5.0, TUB)
    assert hold_over_of({"A": other, "B": first}) is first
    assert hold_over_of({}) is None

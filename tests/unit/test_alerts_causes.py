"""What is likely behind a warm room: a record by hand for each cause, and one beside it that must not be called so."""

import math
from collections.abc import Callable

import pytest

from alerts.causes import Likely, likely_cause
from alerts.learned import Recent, folded

HOUR, EVERY = 3600.0, 300.0
TURN = (0.0, 0.5, 0.8, 1.0, 0.5)
"""A turn of 25 minutes: up in a quarter of an hour, down in ten minutes."""
DEFROST = (0.6, 1.8, 2.9, 4.0, 5.0, 3.4, 1.4)
"""Above the bottom of a turn."""


def turns(hours: float, bottom: float = 2.0, swing: float = 2.0) -> list[float]:
    return [bottom + swing * TURN[i % len(TURN)] for i in range(round(hours * 12))]


def day(hours: float = 16.0) -> list[float]:
    """Ordinary hours with a defrost every six."""
    made: list[float] = []
    while len(made) < hours * 12:
        made += turns(5.5) + [2.0 + rise for rise in DEFROST]
    return made[: round(hours * 12)]


def towards(start: float, end: float, hours: float, span_h: float) -> list[float]:
    """The way from one temperature to another with a time constant of so many hours."""
    return [end + (start - end) * math.exp(-i / 12 / span_h) for i in range(1, round(hours * 12) + 1)]


def kept(values: list[float]) -> Recent:
    return folded((EVERY * i, value) for i, value in enumerate(values))


def cause(values: list[float], door: list[float] | None = None, other: list[float] | None = None) -> str:
    found = likely_cause(kept(values), *(kept(v) if v is not None else None for v in (door, other)))
    return "doubted" if found.doubted else found.cause


AJAR = [4.5, 6.2, 7.0, 7.3, 7.5, *towards(7.5, 8.2, 1.0, 1.0)]
STOPPED = towards(3.6, 17.0, 6.5, 6.0)


def test_air_that_rises_within_minutes_and_then_stands_is_an_open_door() -> None:
    assert cause([*day(), *AJAR]) == "door"


def test_a_gust_that_goes_back_is_none() -> None:
    assert cause([*day(), 4.5, 6.2, 5.4, 4.6, 4.0, 3.6, 3.2, *turns(0.7)]) != "door"


def test_a_contact_that_says_shut_is_believed_and_one_that_says_open_as_well() -> None:
    values = [*day(), *AJAR]
    shut, opened = [0.0] * len(values), [0.0] * len(day()) + [1.0] * len(AJAR)
    assert cause(values, door=shut) == ""
    assert cause(values, door=opened) == "door"
    assert cause([*day(), *STOPPED], door=[0.0] * 192 + [1.0] * 78) == "door"
    assert cause([*day(), *STOPPED], door=[0.0] * 270) == "cooling"


def test_an_open_contact_beside_air_as_cold_as_ever_says_nothing() -> None:
    assert cause(day(), door=[0.0] * 170 + [1.0] * 22) != "door"


def test_heat_again_and_again_is_a_defrost_that_does_not_end() -> None:
    again = [2.0 + rise for rise in (0.6, 1.8, 2.9, 4.0, 5.0, 5.9, 6.7, 4.0, 1.8, 1.2)]
    assert cause([*day(), *again, *again]) == "defrost"
    assert cause([*day(), *again, *turns(1.0), *again]) != "defrost"


def test_heat_without_an_end_is_one_too() -> None:
    assert cause([*day(), *(2.6 + 0.95 * i for i in range(12))]) == "defrost"


def test_the_usual_defrosts_are_none() -> None:
    assert cause(day(24.0)) != "defrost"
    assert cause([*day(), *(2.0 + rise for rise in DEFROST)]) != "defrost"


def test_turns_as_usual_at_a_higher_level_are_the_setting() -> None:
    assert cause([*day(), *towards(4.0, 9.0, 1.0, 0.5), *turns(2.5, bottom=6.5)]) == "setting"


def test_while_it_warms_to_its_new_setting_nothing_is_said() -> None:
    assert cause([*day(), *towards(4.0, 12.0, 1.5, 1.5)]) == ""


def test_a_level_up_by_little_is_no_setting_that_was_turned() -> None:
    assert cause([*day(), *turns(4.0, bottom=3.1)]) == ""


def test_turns_as_usual_without_a_step_within_the_day_are_a_setting_that_creeps() -> None:
    assert cause([c + 0.4 * i / 288 for i, c in enumerate(turns(24.0, bottom=4.0))]) == "creep"


def test_air_that_is_warm_without_turns_and_without_a_step_is_not_called_a_creeping_setting() -> None:
    assert cause([4.6 + 0.2 * (i % 3) for i in range(288)]) == ""


def test_no_turn_for_hours_is_cooling_that_fails() -> None:
    found = likely_cause(kept([*day(), *STOPPED]))
    assert found.cause == "cooling"
    assert found.since_at is not None and abs(found.since_at - 16 * HOUR) <= 2 * HOUR
    assert found.shift_c is not None and found.shift_c > 5.0


def test_no_turn_for_an_hour_is_not_yet() -> None:
    assert cause([*day(), *STOPPED[:14]]) == ""


def test_air_beyond_any_set_point_is_called_sooner() -> None:
    assert cause([*day(), *towards(3.6, 20.0, 2.8, 1.5)]) == "cooling"


def silent(values: list[float], first: int, count: int) -> Recent:
    return folded((EVERY * i, v) for i, v in enumerate(values) if not first <= i < first + count)


def test_air_that_was_as_usual_and_warm_behind_a_silence_is_a_power_cut() -> None:
    values = [*day(), *towards(3.6, 17.0, 4.0, 3.0), *towards(13.0, 6.0, 1.0, 1.0)]
    assert likely_cause(silent(values, 192, 48)).cause == "power"
    assert likely_cause(silent(values, 192, 5)).cause != "power"
    assert likely_cause(silent([*day(), *towards(3.6, 4.6, 4.0, 3.0), *turns(1.0)], 192, 48)).cause != "power"


def test_silence_is_no_time_without_a_turn() -> None:
    values = [*day(), *towards(3.6, 13.0, 7.5, 6.0)]
    assert likely_cause(silent(values, 215, 40)).cause == ""
    assert likely_cause(silent(values, 215, 5)).cause == "cooling"


def test_an_hour_behind_something_that_is_over_is_not_called_a_creeping_setting() -> None:
    assert cause([*day(10.0), *towards(4.0, 9.0, 6.0, 0.5), *turns(2.0, bottom=2.4)]) == ""


def test_gusts_into_a_room_that_does_not_cool_are_no_turns() -> None:
    blown = [c + 1.6 * (0.0, 0.0, 1.0, 0.7, 0.5, 0.3, 0.15, 0.05)[i % 8] for i, c in enumerate(STOPPED)]
    assert cause([*day(), *blown]) == "cooling"


@pytest.mark.parametrize("reading", [37.4, 14.0])
def test_a_leap_between_two_readings_is_the_sensor(reading: float) -> None:
    assert cause([*day(), *([reading] * 20)]) == "doubted"


def test_what_another_sensor_does_not_show_is_doubted() -> None:
    warm = [*day(), *STOPPED]
    assert cause(warm, other=turns(22.5, bottom=2.3)) == "doubted"
    assert cause(warm, other=[c + 0.5 for c in warm]) == "cooling"
    assert cause(warm, other=warm[:4]) == "cooling"


def test_a_lone_value_changes_nothing() -> None:
    values = [*day(), *towards(4.0, 9.0, 1.0, 0.5), *turns(2.5, bottom=6.5)]
    for at in (60, 150, 215):
        values[at] += 15.0
    assert cause(values) == "setting"


@pytest.mark.parametrize("values", [[], [3.0], [3.0] * 4, turns(1.5), [3.0] * 288])
def test_too_little_says_nothing(values: list[float]) -> None:
    assert likely_cause(kept(values)) == Likely()


@pytest.mark.parametrize(("name", "made"), [("cooling", lambda: STOPPED), ("door", lambda: AJAR)])
def test_without_an_ordinary_time_before_it_nothing_is_unusual(name: str, made: Callable[[], list[float]]) -> None:
    assert cause([*day(), *made()]) == name
    assert cause([*turns(0.8), *made()]) == ""


def test_readings_five_times_as_dense_say_the_same() -> None:
    for values, name in (([*day(), *AJAR], "door"), ([*day(), *STOPPED], "cooling")):
        dense = folded(
            (60.0 * i, values[i // 5] + (values[min(i // 5 + 1, len(values) - 1)] - values[i // 5]) * (i % 5) / 5)
            for i in range(5 * len(values))
        )
        assert likely_cause(dense).cause == name

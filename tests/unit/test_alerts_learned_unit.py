"""What is learned of a unit from its own quiet days, and what never is."""

from collections.abc import Iterator
from math import pi, sin

from alerts.defrosts import Bump, recurring
from alerts.heard import Taken
from alerts.learned_unit import CLIP_ABOVE_C, DAY_S, LEAST_DAYS, LearnedUnit, learned
from alerts.rebuild import rebuilt
from alerts.unit_watch import take
from collector.kitchen import Kitchen
from collector.readings import Assignment, Quantity, Reading, Unit
from collector.sample import Message
from collector.storage import Arrival, MemoryReadings

START = 20_000 * DAY_S
EVERY = 240.0
DEFROSTS_H = (2.0, 14.0)
AIR = Assignment("air", Quantity.AIR_TEMPERATURE, "room", "wall", START - 1e6)
UNIT = Unit("room", "s", "Room", "cold room")


def quiet(
    days: float, from_at: float = START, level: float = 3.0, warmer_per_day: float = 0.0
) -> Iterator[tuple[float, float]]:
    """Yield air that turns every half hour by 1 K, with a defrost of 5 K for 40 minutes twice a day."""
    for i in range(int(days * DAY_S / EVERY)):
        at = from_at + i * EVERY
        value = level + warmer_per_day * (at - from_at) / DAY_S + 0.5 * sin(2 * pi * at / 1800.0)
        for hour in DEFROSTS_H:
            since = at % DAY_S - hour * 3600.0
            if 0.0 <= since < 2400.0:
                value += 5.0 * min(since / 720.0, 1.0, (2400.0 - since) / 720.0)
        yield at, round(value, 4)


def test_nothing_is_usual_before_three_quiet_days() -> None:
    assert learned(5.0, quiet(2.9)).usual is None
    known = learned(5.0, quiet(LEAST_DAYS + 0.1)).usual
    assert known is not None
    assert known.days == LEAST_DAYS


def test_level_cycle_and_defrosts_are_those_of_the_air() -> None:
    usual = learned(5.0, quiet(8.0)).usual
    assert usual is not None
    assert abs(usual.level_c - (3.0 + 2 * 5.0 * (2400.0 - 720.0) / DAY_S)) < 0.05
    assert usual.cycle_s is not None
    assert abs(usual.cycle_s - 1800.0) < 120.0
    assert [round(d.second / 3600.0) for d in usual.defrosts] == [2, 14]
    assert all(4.5 < d.height_c < 6.5 and 1800.0 < d.length_s <= 3000.0 for d in usual.defrosts)
    assert usual.defrosts[0].near(START + 2.1 * 3600.0)
    assert not usual.defrosts[0].near(START + 5.0 * 3600.0)
    assert 2000.0 < usual.warming_s < 3600.0, "the defrost is the longest that the air stays above its slow self"
    assert usual.by_hour_c[2] > usual.by_hour_c[5] + 1.0


def test_air_that_never_turns_has_no_cycle() -> None:
    usual = learned(5.0, ((START + i * EVERY, 3.0 + 0.1 * (i % 2)) for i in range(360 * 4))).usual
    assert usual is not None
    assert usual.cycle_s is None


def test_rises_at_other_times_every_day_are_doors_and_no_defrosts() -> None:
    bumps = [
        Bump(START + day * DAY_S + ((day * 7919 + n * 104729) % 86400), 5.0, 1200.0)
        for day in range(10)
        for n in range(3)
    ]
    assert recurring(bumps, 10) == ()
    assert len(recurring([*bumps, *(Bump(START + day * DAY_S + 7200.0, 5.0, 1200.0) for day in range(10))], 10)) == 1


def test_a_defrost_rises_further_than_the_compressors_own_turns() -> None:
    bumps = [Bump(START + day * DAY_S + 3600.0 * hour, 2.2, 1200.0) for day in range(10) for hour in (3, 9)]
    assert len(recurring(bumps, 10, 2.0)) == 2
    assert recurring(bumps, 10, 2.5) == ()


def test_a_week_of_warm_days_does_not_become_usual() -> None:
    unit = learned(5.0, quiet(7.0))
    before = unit.usual
    for at, value in quiet(6.0, START + 7 * DAY_S, level=4.0):
        unit.take(at, value)
    assert before is not None
    assert unit.usual is not None
    assert abs(unit.usual.level_c - before.level_c) < 0.02
    assert unit.level_c > before.level_c + 0.9, "what the air does now is known all the same"


def test_a_colder_setting_is_learned() -> None:
    unit = learned(5.0, [*quiet(4.0), *quiet(9.0, START + 4 * DAY_S, level=2.0)])
    assert unit.usual is not None
    assert unit.usual.level_c < 2.2


def test_a_day_on_which_the_slow_air_passed_the_limit_is_no_example() -> None:
    assert learned(5.0, quiet(10.0, level=5.5)).usual is None


def test_a_day_that_was_half_heard_is_no_example() -> None:
    heard = [(at, v) for at, v in quiet(6.0) if at % DAY_S < 0.6 * DAY_S]
    assert learned(5.0, heard).usual is None


def test_a_value_far_above_the_limit_counts_as_one_just_above_it() -> None:
    far, near = (learned(5.0, [*quiet(5.0), (START + 5 * DAY_S, v)]) for v in (60.0, 5.0 + CLIP_ABOVE_C))
    assert (far.slow_c, far.mean_c, far.level_c) == (near.slow_c, near.mean_c, near.level_c)


def test_air_that_stays_above_its_slow_self_is_timed_and_a_silence_ends_the_timing() -> None:
    unit = learned(5.0, quiet(4.0))
    begin = START + 4 * DAY_S
    for i in range(20):
        unit.take(begin + i * EVERY, 6.0)
    assert unit.warming_s >= 19 * EVERY
    unit.take(begin + 20 * EVERY + 7200.0, 6.0)
    assert unit.warming_s == 0.0


def test_a_sensor_that_speaks_every_half_hour_is_learned_from_too() -> None:
    slow = [(at + 7.0 * (i % 3), v) for i, (at, v) in enumerate(quiet(6.0)) if at % 1800.0 < EVERY]
    usual = learned(5.0, slow).usual
    assert usual is not None
    assert abs(usual.level_c - 3.1) < 0.3


def test_memory_is_bounded() -> None:
    unit = learned(5.0, quiet(40.0))
    assert len(unit.days) <= 15
    assert all(b.at >= START + 25 * DAY_S for b in unit.bumps)


def test_a_rebuilt_watch_has_learned_what_the_running_one_has() -> None:
    kitchen = Kitchen(units={"room": UNIT}, assignments=(AIR,))
    readings, empty = MemoryReadings(), MemoryReadings()
    running = rebuilt(UNIT, 5.0, kitchen, empty.series, empty.before, START, START)
    rows = [(at + 0.25 * k, v) for at, v in quiet(6.5) for k in (0, 120, 240)]
    readings.append([Arrival(Message("air", b"", at), (Reading("air", at, v, "Cel", at, at),)) for at, v in rows])
    for at, value in rows:
        take(running, AIR, Taken("air", at, at, value))
    anew = rebuilt(UNIT, 5.0, kitchen, readings.series, readings.before, rows[-1][0] + 1.0, START)
    assert anew.learned == running.learned
    assert isinstance(anew.learned, LearnedUnit)
    assert anew.learned.usual is not None

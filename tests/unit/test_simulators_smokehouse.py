"""The week of the smokehouse is the week that its words promise."""

from datetime import datetime, time
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from simulators.smokehouse import BATCHES, SENML_UNITS, UNITS, Measured, Story, story

NOW = 1_795_000_000.0  # 2026-11-18 11:06 in London
HOUR = 3600.0


def a_story(seed: int = 1, now_at: float = NOW) -> Story:
    return story(now_at, np.random.default_rng(seed))


WEEK = a_story()
PAST = list(WEEK.readings(WEEK.start_at, WEEK.fault_at))


def of(channel: str, readings: list[Measured]) -> list[Measured]:
    return [m for m in readings if m.channel == channel]


def test_the_cold_room_fails_at_twenty_to_two_on_the_night_to_come_after_six_days_of_past() -> None:
    local = datetime.fromtimestamp(WEEK.fault_at, WEEK.zone)
    assert (local.hour, local.minute) == (1, 40)
    assert 0 < WEEK.fault_at - NOW <= 24 * HOUR
    assert datetime.fromtimestamp(WEEK.start_at, WEEK.zone).time() == time(0)
    assert (local.date() - datetime.fromtimestamp(WEEK.start_at, WEEK.zone).date()).days == 6


def test_just_before_twenty_to_two_the_night_is_this_one_and_just_after_it_is_the_next() -> None:
    assert a_story(now_at=WEEK.fault_at - 1).fault_at == WEEK.fault_at
    assert a_story(now_at=WEEK.fault_at).fault_at == WEEK.fault_at + 24 * HOUR


def test_every_channel_sends_once_a_minute_in_order_and_in_its_own_unit() -> None:
    assert [m.measured_at for m in PAST] == sorted(m.measured_at for m in PAST)
    assert {m.channel: m.unit for m in PAST} == SENML_UNITS
    days = (WEEK.fault_at - WEEK.start_at) / 60
    assert len(of("smokehouse/fridge/air", PAST)) == pytest.approx(days, abs=1)
    stamps = np.array([m.measured_at for m in of("smokehouse/fridge/air", PAST)])
    assert np.array_equal(np.unique(np.diff(stamps)), [60.0])


def test_the_same_seed_tells_the_same_week_whatever_is_asked_first() -> None:
    other = a_story()
    other.air_truth_c("fridge", WEEK.fault_at, WEEK.fault_at + HOUR)
    from_at = WEEK.start_at + 30 * HOUR
    again = list(other.readings(from_at, from_at + 5 * HOUR))
    assert again == [m for m in PAST if from_at <= m.measured_at < from_at + 5 * HOUR]
    assert list(a_story(2).readings(from_at, from_at + HOUR)) != again[: len(again) // 5]


def test_a_stretch_asked_in_pieces_is_the_stretch_asked_at_once() -> None:
    middle = WEEK.start_at + 24 * HOUR
    pieces = [*WEEK.readings(middle - HOUR, middle), *WEEK.readings(middle, middle + HOUR)]
    assert pieces == list(WEEK.readings(middle - HOUR, middle + HOUR))


def test_five_batches_stand_in_three_units_and_begin_at_their_own_temperature() -> None:
    assert len(BATCHES) == 5
    assert {facts.unit for facts in BATCHES} == {0, 1, 2}
    for facts in BATCHES:
        times_at, product_c = WEEK.truth_c(facts.key, WEEK.start_at, WEEK.fault_at)
        assert times_at[0] == WEEK.placed_at[facts.key]
        assert product_c[0] == facts.start_c


def test_the_belly_is_too_cold_for_about_fourteen_hours_and_nothing_else_is() -> None:
    hours = {}
    for facts in BATCHES:
        _, product_c = WEEK.truth_c(facts.key, WEEK.start_at, WEEK.fault_at)
        hours[facts.key] = float((product_c <= 1.1).sum()) / 60
    assert hours.pop("belly") == pytest.approx(14.0, abs=1.5)
    assert set(hours.values()) == {0.0}


def test_on_the_warm_evening_the_tubs_of_the_cold_room_pass_five_degrees_for_less_than_four_hours() -> None:
    for key in ("ham", "brisket"):
        _, product_c = WEEK.truth_c(key, WEEK.warm_evening.from_at, WEEK.warm_evening.until_at + 6 * HOUR)
        over_h = float((product_c > 5.0).sum()) / 60
        assert 0.5 < over_h < 3.5
        assert product_c.max() < 7.0
        assert product_c[-1] < 5.0


def test_the_warm_evening_is_the_only_time_above_five_degrees_before_tonight() -> None:
    for facts in BATCHES:
        times_at, product_c = WEEK.truth_c(facts.key, WEEK.start_at, WEEK.fault_at)
        warm = times_at[product_c > 5.0]
        assert ((warm >= WEEK.warm_evening.from_at) & (warm < WEEK.warm_evening.until_at + 4 * HOUR)).all()


def test_the_chamber_is_silent_in_its_gap_and_only_there() -> None:
    for channel in ("smokehouse/chamber/air", "smokehouse/chamber/humidity"):
        stamps = np.array([m.measured_at for m in of(channel, PAST)])
        pauses = np.flatnonzero(np.diff(stamps) > 61.0)
        assert len(pauses) == 1
        assert stamps[pauses[0]] < WEEK.gap.from_at <= stamps[pauses[0]] + 60.0
        assert stamps[pauses[0] + 1] - 60.0 < WEEK.gap.until_at <= stamps[pauses[0] + 1]


def test_the_door_is_open_all_through_the_warm_evening_and_never_at_night() -> None:
    door = of("smokehouse/coldroom/door", PAST)
    evening = [m.value for m in door if WEEK.warm_evening.from_at < m.measured_at < WEEK.warm_evening.until_at - 1]
    assert set(evening) == {1.0}
    night = [m.value for m in door if datetime.fromtimestamp(m.measured_at, WEEK.zone).hour < 6]
    assert set(night) == {0.0}


def test_the_door_tells_every_change_at_its_own_instant() -> None:
    door = of("smokehouse/coldroom/door", PAST)
    turns = [b.measured_at for a, b in zip(door, door[1:], strict=False) if a.value != b.value]
    assert len(turns) > 600
    seconds = {round(at % 60, 3) for at in turns}
    assert len(seconds) > 300


@pytest.mark.parametrize("seed", [2, 3])
def test_tonight_the_product_in_the_cold_room_passes_five_degrees_some_hours_after_the_compressor_stops(
    seed: int,
) -> None:
    week = a_story(seed)
    for key in ("ham", "brisket"):
        times_at, product_c = week.truth_c(key, week.fault_at, week.repaired_at)
        assert product_c[0] < 4.0
        passed_h = (times_at[product_c > 5.0][0] - week.fault_at) / HOUR
        assert 2.5 < passed_h < 6.0
    for key in ("belly", "duck", "loin"):
        assert week.truth_c(key, week.fault_at, week.repaired_at)[1].max() < 5.0


def test_after_the_repair_the_room_is_cold_again_by_noon() -> None:
    times_at, air_c = WEEK.air_truth_c("coldroom", WEEK.repaired_at, WEEK.repaired_at + 4 * HOUR)
    assert np.median(air_c[(times_at > WEEK.repaired_at + 2 * HOUR)]) < 5.0


def test_the_brine_probe_follows_the_brisket() -> None:
    brine = of("smokehouse/coldroom/brine", PAST)
    times_at, product_c = WEEK.truth_c("brisket", WEEK.start_at, WEEK.fault_at)
    assert len(brine) == len(times_at)
    assert np.array([m.value for m in brine]) == pytest.approx(product_c, abs=0.2)


def test_air_and_humidity_are_those_of_cold_units_at_work() -> None:
    for unit in UNITS:
        values = np.array([m.value for m in of(f"smokehouse/{unit}/air", PAST)])
        assert 2.0 < np.median(values) < 4.5
        assert values.min() > -4.0
        assert values.max() < 18.0
    humidity = np.array([m.value for m in of("smokehouse/chamber/humidity", PAST)])
    assert 65 < np.median(humidity) < 90


def test_a_week_with_a_change_of_the_clocks_still_has_every_minute() -> None:
    zone = ZoneInfo("Europe/London")
    spring = story(datetime(2027, 3, 29, 12, tzinfo=zone).timestamp(), np.random.default_rng(1), zone)
    readings = [
        m.measured_at for m in spring.readings(spring.start_at, spring.fault_at) if m.channel == "smokehouse/fridge/air"
    ]
    assert np.array_equal(np.unique(np.diff(readings)), [60.0])
    assert spring.fault_at - spring.start_at == (6 * 24 - 1) * HOUR + 100 * 60

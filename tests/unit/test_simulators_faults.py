"""Faults do what their names say, to units and to streams."""

from collections import Counter
from dataclasses import replace
from random import Random

import numpy as np
import pytest

from simulators.course import Record, run
from simulators.doors import FloatArray
from simulators.faults import (
    Kind,
    Sent,
    UnitFault,
    Where,
    delay,
    drift,
    lose,
    reorder,
    repeat,
    silence,
    skew,
    spike,
    stick,
)
from simulators.presets import UPRIGHT, WALK_IN

HOUR = 3600.0
QUIET = replace(WALK_IN, openings_per_hour=(0.0,) * 24, deliveries=())
FROM, UNTIL, END = 6 * HOUR, 14 * HOUR, 18 * HOUR


def recorded(*faults: UnitFault) -> Record:
    rooms = [QUIET, replace(UPRIGHT, openings_per_hour=(0.0,) * 24)]
    return run(rooms, np.random.default_rng(1), 0.0, END, step_s=90.0, faults=faults)


def air_c(record: Record, from_at: float = FROM, until_at: float = UNTIL, unit: int = 0) -> FloatArray:
    values: FloatArray = record.air_c[(from_at <= record.times_at) & (record.times_at < until_at), unit]
    return values


HEALTHY = recorded()
HEALTHY_C = float(air_c(HEALTHY).mean())


def fault(kind: Kind, severity: float = 1.0, unit: int | None = 0) -> UnitFault:
    return UnitFault(kind, unit, FROM, UNTIL, severity)


@pytest.mark.parametrize("kind", Kind)
def test_a_fault_touches_only_its_own_unit_and_nothing_before_it_begins(kind: Kind) -> None:
    record = recorded(fault(kind))
    before = record.times_at <= FROM
    assert np.array_equal(record.air_c[before], HEALTHY.air_c[before])
    assert np.array_equal(record.air_c[:, 1], HEALTHY.air_c[:, 1])
    assert not np.allclose(air_c(record), air_c(HEALTHY))


@pytest.mark.parametrize("kind", [kind for kind in Kind if kind is not Kind.DOOR_AJAR])
def test_a_fault_of_no_severity_changes_nothing(kind: Kind) -> None:
    assert np.array_equal(recorded(fault(kind, 0.0)).air_c, HEALTHY.air_c)


def test_the_mildest_door_ajar_is_a_gap_of_a_hundredth() -> None:
    inside = recorded(fault(Kind.DOOR_AJAR, 0.0)).door_open
    assert inside[:, 0].max() == 0.01
    assert inside[:, 1].max() == 0.0


@pytest.mark.parametrize(
    ("kind", "at_least_c"),
    [
        (Kind.COMPRESSOR_STOPPED, 2.0),
        (Kind.DOOR_AJAR, 1.0),
        (Kind.DEFROST_STUCK, 4.0),
        (Kind.SET_POINT_TOO_HIGH, 3.0),
        (Kind.REFRIGERANT_LOSS, 0.2),
    ],
)
def test_a_fault_that_warms_warms_the_more_the_more_severe_it_is(kind: Kind, at_least_c: float) -> None:
    mild, severe = (float(air_c(recorded(fault(kind, severity))).mean()) for severity in (0.3, 1.0))
    assert HEALTHY_C - 0.15 < mild < severe
    assert severe > HEALTHY_C + at_least_c


def test_too_cold_cools_the_more_the_more_severe_it_is() -> None:
    mild, severe = (float(air_c(recorded(fault(Kind.TOO_COLD, severity))).mean()) for severity in (0.4, 1.0))
    assert HEALTHY_C - 4.5 < mild < HEALTHY_C - 2.0
    assert severe < mild - 1.5


def test_a_stopped_compressor_never_runs_and_runs_again_afterwards() -> None:
    record = recorded(fault(Kind.COMPRESSOR_STOPPED))
    window = (FROM < record.times_at) & (record.times_at < UNTIL)
    assert not record.compressor_on[window, 0].any()
    assert record.compressor_on[record.times_at > UNTIL, 0].any()
    assert air_c(record, END - HOUR, END).mean() < 4.5


def test_a_stopped_fan_makes_the_tub_lag_further_behind() -> None:
    warm = fault(Kind.SET_POINT_TOO_HIGH)
    lags = []
    for faults in ((warm, fault(Kind.FAN_STOPPED)), (warm,)):
        record = recorded(*faults)
        last = (UNTIL - 2 * HOUR <= record.times_at) & (record.times_at < UNTIL)
        lags.append(float((record.air_c[last, 0] - record.tub_c[last, 0, 0]).mean()))
    assert lags[0] > lags[1] + 0.2


def test_refrigerant_is_lost_slowly_so_the_unit_runs_longer_before_it_warms() -> None:
    record = recorded(UnitFault(Kind.REFRIGERANT_LOSS, 0, 2 * HOUR, END))
    runs = [
        record.compressor_on[(from_h * HOUR <= record.times_at) & (record.times_at < (from_h + 4) * HOUR), 0].mean()
        for from_h in (2, 10)
    ]
    assert runs[1] > 1.3 * runs[0]
    early, early_healthy = (air_c(r, 2 * HOUR, 6 * HOUR).mean() for r in (record, HEALTHY))
    assert early == pytest.approx(early_healthy, abs=0.2)
    assert air_c(record, END - 2 * HOUR, END).mean() > air_c(HEALTHY, END - 2 * HOUR, END).mean() + 0.5


def test_a_power_cut_of_everything_warms_every_unit() -> None:
    record = recorded(fault(Kind.POWER_CUT, unit=None))
    for unit in (0, 1):
        assert air_c(record, unit=unit)[-1] > air_c(HEALTHY, unit=unit).mean() + 3.0


def test_a_defrost_that_does_not_end_keeps_the_heater_on_between_the_defrosts_of_the_clock() -> None:
    heated = air_c(recorded(fault(Kind.DEFROST_STUCK)))
    assert heated[len(heated) // 4] > 9.0
    assert heated[-1] > heated[len(heated) // 4]


# -- streams


def minutes(count: int = 60, channels: tuple[str, ...] = ("a", "b")) -> list[Sent]:
    return [Sent(c, float(i), 60.0 * i, 60.0 * i + 0.5) for i in range(count) for c in channels]


WINDOW = Where(frozenset({"a"}), 600.0, 1200.0)


def covered(stream: list[Sent]) -> list[Sent]:
    return [sent for sent in stream if WINDOW.covers(sent)]


def test_losing_takes_about_its_share_of_what_the_window_covers_and_nothing_else() -> None:
    stream = minutes(4000)
    where = Where(frozenset({"a"}))
    kept = list(lose(stream, Random(1), 0.3, where))
    assert [s for s in kept if s.channel == "b"] == [s for s in stream if s.channel == "b"]
    assert sum(s.channel == "a" for s in kept) / 4000 == pytest.approx(0.7, abs=0.03)


def test_silence_is_losing_everything_in_the_window() -> None:
    stream = minutes()
    assert list(silence(stream, WINDOW)) == [s for s in stream if s not in covered(stream)]


def test_a_repeat_is_the_same_reading_received_again_later() -> None:
    stream = minutes(2000)
    out = list(repeat(stream, Random(1), 0.2, 90.0))
    count = Counter((s.channel, s.value, s.measured_at) for s in out)
    assert set(count.values()) == {1, 2}
    assert sum(n == 2 for n in count.values()) / 4000 == pytest.approx(0.2, abs=0.03)
    assert [s.received_at for s in out] == sorted(s.received_at for s in out)


def test_a_backlog_arrives_in_its_old_order_when_the_window_ends() -> None:
    out = list(delay(minutes(), Random(1), WINDOW))
    late = [s for s in out if WINDOW.covers(s)]
    assert [s.measured_at for s in late] == [600.0 + 60 * i for i in range(10)]
    assert all(1200.0 <= s.received_at < 1201.0 for s in late)
    assert [s.received_at for s in out] == sorted(s.received_at for s in out)
    assert [s for s in out if s.channel == "b"] == [s for s in minutes() if s.channel == "b"]


def test_a_backlog_that_nothing_follows_still_arrives() -> None:
    out = list(delay(minutes(15, ("a",)), Random(1), WINDOW))
    assert len(out) == 15
    assert out[-1].received_at >= 1200.0


def test_reordering_lets_later_readings_overtake() -> None:
    stream = minutes(400, ("a",))
    out = list(reorder(stream, Random(1), 0.2, 300.0))
    assert sorted(s[:3] for s in out) == sorted(s[:3] for s in stream)
    assert [s.received_at for s in out] == sorted(s.received_at for s in out)
    measured = [s.measured_at for s in out]
    assert sum(b < a for a, b in zip(measured, measured[1:], strict=False)) > 20


def test_a_stuck_sensor_repeats_its_last_value_with_fresh_times() -> None:
    out = list(stick(minutes(), WINDOW))
    assert {s.value for s in covered(out)} == {9.0}
    assert [s[2:] for s in out] == [s[2:] for s in minutes()]
    assert [s for s in out if s not in covered(out)] == [s for s in minutes() if s not in covered(minutes())]


def test_a_sensor_first_seen_stuck_stays_at_its_first_value() -> None:
    assert {s.value for s in stick(minutes(5, ("a",)), Where())} == {0.0}


def test_a_spike_adds_or_takes_exactly_its_size() -> None:
    out = list(spike(minutes(2000, ("a",)), Random(1), 0.1, 40.0))
    changes = [o.value - s.value for o, s in zip(out, minutes(2000, ("a",)), strict=True)]
    assert set(changes) == {0.0, 40.0, -40.0}
    assert sum(c != 0 for c in changes) / 2000 == pytest.approx(0.1, abs=0.03)


def test_a_wrong_clock_changes_the_stamp_and_not_the_receipt() -> None:
    out = list(skew(minutes(), WINDOW, -7200.0, per_day_s=86.4))
    for was, now in zip(minutes(), out, strict=True):
        gained = 0.001 * (was.measured_at - 600.0) if WINDOW.covers(was) else 0.0
        moved = -7200.0 if WINDOW.covers(was) else 0.0
        assert now.measured_at == pytest.approx(was.measured_at + moved + gained, abs=0.001)
        assert (now.channel, now.value, now.received_at) == (was.channel, was.value, was.received_at)


def test_a_drifting_sensor_goes_astray_in_proportion_to_time() -> None:
    out = list(drift(minutes(), WINDOW, per_day=144.0))
    for was, now in zip(minutes(), out, strict=True):
        expected = 144.0 * (was.measured_at - 600.0) / 86400.0 if WINDOW.covers(was) else 0.0
        assert now.value - was.value == pytest.approx(expected)


def test_the_same_dice_give_the_same_stream() -> None:
    a, b = (list(reorder(lose(minutes(), Random(3), 0.2), Random(4), 0.3, 200.0)) for _ in range(2))
    assert a == b

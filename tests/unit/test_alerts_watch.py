"""What is abnormal in a unit now."""

import math
from dataclasses import replace

import numpy as np
import pytest

from alerts.heard import Heard, Taken
from alerts.science.holdover import time_to_limit_warming
from alerts.sentences import condition_text
from alerts.trace import Copies
from alerts.unit_watch import TubState, UnitWatch, projected, return_figures, take
from alerts.watch import conditions
from collector.findings import Condition
from collector.readings import Assignment, Quantity, Unit
from collector.sample import Quality

HOUR = 3600.0
AIR = Assignment("air", Quantity.AIR_TEMPERATURE, "room", "wall", 0.0)
PROBE = Assignment("probe", Quantity.BRINE_TEMPERATURE, "room", "in the brine", 0.0, lot="B1")


def watch(*, start_c: float = 3.0, tubs: int = 1, hung: bool = False) -> UnitWatch:
    unit = Unit("room", "s", "Cold room", "cold room")
    made = UnitWatch(unit, 5.0, 0.0)
    made.channels["air"] = Heard(AIR, 0.0, -np.inf, np.nan)
    copies = Copies(start_c, start_c, start_c)
    made.tubs = [TubState(f"B{n + 1}", "1", 6 * HOUR, copies, hung) for n in range(tubs)]
    return made


def feed(w: UnitWatch, from_h: float, until_h: float, value: float, every_s: float = 60.0) -> None:
    for at in np.arange(from_h * HOUR, until_h * HOUR, every_s):
        take(w, AIR, Taken("air", float(at), float(at), value))


def kinds(found: list[Condition]) -> list[str]:
    return [c.kind for c in found]


def test_a_cold_steady_room_is_nothing_to_tell() -> None:
    w = watch()
    feed(w, 0, 8, 3.0)
    assert conditions(w, 8 * HOUR, ()) == []


def test_a_defrost_of_25_minutes_is_nothing_to_tell() -> None:
    w = watch()
    for hour in range(0, 24, 6):
        feed(w, hour, hour + 5.5, 3.0)
        feed(w, hour + 5.5, hour + 5.5 + 25 / 60, 9.0)
        assert conditions(w, w.at or 0.0, ()) == []
        feed(w, hour + 5.5 + 25 / 60, hour + 6, 3.2)


def test_air_that_does_not_come_back_is_told_before_the_product_passes() -> None:
    w = watch()
    feed(w, 0, 2, 3.0)
    feed(w, 2, 3, 9.0)
    (warm,) = conditions(w, 3 * HOUR, ())
    assert (warm.kind, warm.sentence, warm.wakes) == ("product_warm", "product_may_pass", True)
    assert warm.early_at is not None and warm.likely_at is not None
    assert w.tubs[0].copies.likely_c < 5.0
    # The constant-air crossing from 3 °C under 9 °C at tau 6 h is 2.433 h after the air jumped (models 5.1).
    assert warm.likely_at == pytest.approx((2 + 2.433) * HOUR, abs=120)
    assert warm.early_at < warm.likely_at


def test_a_product_above_its_limit_for_a_quarter_of_an_hour_has_passed_it() -> None:
    w = watch(start_c=4.9)
    feed(w, 0, 0.2, 9.0)
    assert kinds(conditions(w, 0.2 * HOUR, ())) == []
    feed(w, 0.2, 0.6, 9.0)
    (warm,) = conditions(w, 0.6 * HOUR, ())
    assert warm.sentence == "product_has_passed"


def test_a_warm_alarm_stands_until_product_and_air_are_back_for_a_while() -> None:
    w = watch(start_c=5.2)
    feed(w, 0, 0.5, 6.0)
    assert kinds(conditions(w, 0.5 * HOUR, ())) == ["product_warm"]
    feed(w, 0.5, 0.7, 2.0)
    assert kinds(conditions(w, 0.7 * HOUR, {"product_warm"})) == ["product_warm"]
    feed(w, 0.7, 2.5, 2.0)
    assert conditions(w, 2.5 * HOUR, {"product_warm"}) == []
    figures = return_figures(w)
    assert isinstance(figures["over_s"], int) and figures["over_s"] > 1800
    assert figures["peak_c"] == pytest.approx(5.3, abs=0.1)


def test_silence_alone_never_clears_a_warm_alarm() -> None:
    w = watch()
    feed(w, 0, 2, 9.0)
    assert kinds(conditions(w, 2 * HOUR, ())) == ["product_warm"]
    feed(w, 2, 2.4, 3.0)
    later = conditions(w, 4 * HOUR, {"product_warm"})
    assert "product_warm" in kinds(later)


def test_an_unwatched_unit_is_told_when_its_meat_could_have_passed() -> None:
    w = watch()
    feed(w, 0, 2, 3.0)
    # From 3 °C towards 25 °C at tau 6 h the upper copy passes 5 °C after 0.57 h: 6 ln(22/20).
    assert "unwatched" not in kinds(conditions(w, 2.5 * HOUR, ()))
    found = conditions(w, 2.65 * HOUR, ())
    assert kinds(found) == ["unwatched", "channel_silent"]
    assert found[0].wakes and not found[1].wakes


@pytest.mark.parametrize(("lag_h", "told"), [(0.2, False), (0.5, False), (6.0, True)])
def test_a_unit_whose_readings_all_come_so_late_that_its_meat_could_be_warm_by_now_is_unwatched(
    lag_h: float, told: bool
) -> None:
    w = watch()
    for at in np.arange(0.0, 8 * HOUR, 60.0):
        take(w, AIR, Taken("air", float(at) - lag_h * HOUR, float(at), 3.0))
    found = {c.kind: c for c in conditions(w, 8 * HOUR, ())}
    assert ("unwatched" in found) is told
    if told:
        assert found["unwatched"].wakes
        said = condition_text(found["unwatched"], "UTC")
        assert said.startswith(
            "Cold room is unwatched: what arrives tells of 01:59 and before. Someone must go and measure. "
        )


def test_readings_that_fall_ever_further_behind_leave_their_unit_unwatched_without_a_pause_between_them() -> None:
    w = watch()
    for at in np.arange(0.0, 4 * HOUR, 60.0):
        take(w, AIR, Taken("air", float(at) / 2.0, float(at), 3.0))
    assert "unwatched" in kinds(conditions(w, 4 * HOUR, ()))


def test_a_backlog_that_comes_in_after_an_outage_wakes_nobody_by_itself() -> None:
    w = watch()
    feed(w, 0, 4, 3.0)
    for n in range(60):
        take(w, AIR, Taken("air", 4 * HOUR + n * 60.0, 7 * HOUR + n, 3.0))
    assert kinds(conditions(w, 7 * HOUR + 60.0, ())) == []
    # A gateway that goes on sending old readings only is another matter.
    for n in range(20):
        take(w, AIR, Taken("air", 5 * HOUR + n * 60.0, 7 * HOUR + n * 60.0, 3.0))
    assert "unwatched" in kinds(conditions(w, 7 * HOUR + 1200.0, ()))


def test_a_silent_sensor_beside_nothing_curing_wakes_nobody() -> None:
    w = watch(tubs=0)
    feed(w, 0, 2, 3.0)
    (silent,) = conditions(w, 30 * HOUR, ())
    assert (silent.kind, silent.wakes) == ("channel_silent", False)


def test_a_channel_never_heard_is_silent_once_its_patience_is_over() -> None:
    w = watch()
    assert conditions(w, 600.0, ()) == []
    assert "channel_silent" in kinds(conditions(w, 1000.0, ()))


def test_air_far_over_its_limit_is_told_after_its_dwell_even_without_product() -> None:
    w = watch(tubs=0)
    feed(w, 0, 1, 13.0)
    (far,) = conditions(w, HOUR, ())
    assert (far.kind, far.wakes) == ("air_far_over", False)


def test_freezing_for_an_hour_is_told_and_wakes_nobody() -> None:
    w = watch(start_c=-1.0)
    feed(w, 0, 4, -4.0)
    (cold,) = conditions(w, 4 * HOUR, ())
    assert (cold.kind, cold.category, cold.wakes) == ("product_freezing", "cold", False)


def test_meat_that_goes_up_and_down_about_its_freezing_point_is_told_of_once() -> None:
    w = watch(start_c=-1.6)
    for hour in range(0, 12, 2):
        feed(w, hour, hour + 1, -1.8)
        feed(w, hour + 1, hour + 2, -1.1)
        assert hour == 0 or "product_freezing" in kinds(conditions(w, (hour + 2) * HOUR, ()))
    assert w.tubs[0].copies.likely_c > -1.5
    feed(w, 12, 16, 0.5)
    assert "product_freezing" not in kinds(conditions(w, 16 * HOUR, ()))


def test_readings_through_a_gap_leave_the_copies_apart() -> None:
    w = watch()
    feed(w, 0, 2, 3.0)
    feed(w, 5, 5.1, 3.0)
    c = w.tubs[0].copies
    assert c.lower_c < c.likely_c < c.upper_c
    feed(w, 5.1, 60, 3.0)
    c = w.tubs[0].copies
    assert c.upper_c - c.lower_c < 0.01


def test_a_late_reading_changes_no_estimate_and_asks_for_a_rebuild() -> None:
    w = watch()
    feed(w, 0, 2, 3.0)
    before = w.tubs[0].copies
    take(w, AIR, Taken("air", HOUR, 2 * HOUR, 30.0))
    assert w.tubs[0].copies == before
    assert w.late


def test_a_value_that_cannot_be_trusted_is_no_sign_of_life() -> None:
    w = watch()
    feed(w, 0, 2, 3.0)
    for minute in range(60):
        at = 2 * HOUR + minute * 60
        take(w, AIR, Taken("air", at, at, 85.0, Quality.PROBE_FAULT))
    assert "unwatched" in kinds(conditions(w, 3 * HOUR, ()))


def test_a_probe_in_the_tub_speaks_for_the_product() -> None:
    w = watch()
    feed(w, 0, 1, 9.0)
    take(w, PROBE, Taken("probe", HOUR, HOUR, 2.5))
    feed(w, 1, 1.2, 9.0)
    assert w.tubs[0].copies == Copies(2.5, 2.5, 2.5)


def test_projection_holds_while_fresh_and_parts_in_silence() -> None:
    w = watch()
    feed(w, 0, 2, 3.0)
    assert projected(w, w.tubs[0], 2 * HOUR + 300) == w.tubs[0].copies
    apart = projected(w, w.tubs[0], 4 * HOUR)
    assert apart.lower_c < apart.likely_c < apart.upper_c


def probed(value: float, until_h: float, w: UnitWatch) -> None:
    w.channels["probe"] = Heard(PROBE, 0.0, -np.inf, np.nan)
    for at in np.arange(0.0, until_h * HOUR, 60.0):
        take(w, PROBE, Taken("probe", float(at), float(at), value))


def test_a_probe_alone_raises_the_alarm_and_ends_it() -> None:
    w = watch()
    del w.channels["air"]
    probed(12.0, 1.0, w)
    (warm,) = conditions(w, HOUR, ())
    assert (warm.sentence, warm.since_at) == ("product_has_passed", 0.0)
    take(w, PROBE, Taken("probe", HOUR, HOUR, 3.0))
    assert conditions(w, HOUR, {"product_warm"}) == []
    assert kinds(conditions(w, 2 * HOUR, {"product_warm"}))[0] == "product_warm"


def test_a_warm_probe_is_told_while_the_air_is_silent() -> None:
    w = watch()
    feed(w, 0, 0.1, 3.0)
    probed(12.0, 1.0, w)
    assert kinds(conditions(w, HOUR, ())) == ["product_warm", "channel_silent"]


def test_a_freezing_probe_is_told_while_the_air_is_silent() -> None:
    w = watch()
    feed(w, 0, 0.1, 3.0)
    probed(-2.0, 2.0, w)
    assert "product_freezing" in kinds(conditions(w, 2 * HOUR, ()))


def test_a_probe_in_one_tub_does_not_watch_the_tub_beside_it() -> None:
    w = watch(tubs=2)
    feed(w, 0, 0.1, 3.0)
    probed(3.0, 3.0, w)
    (unwatched,) = [c for c in conditions(w, 3 * HOUR, ()) if c.kind == "unwatched"]
    assert unwatched.lots == ("B2",)


def test_a_slow_probe_does_not_lengthen_the_patience_with_the_air() -> None:
    w = watch()
    feed(w, 0, 2, 3.0)
    slow = Assignment("slow", Quantity.PRODUCT_TEMPERATURE, "room", "core", 0.0, interval_s=7200.0, lot="B9", tub="1")
    take(w, slow, Taken("slow", 2 * HOUR, 2 * HOUR, 3.0))
    assert "unwatched" in kinds(conditions(w, 3 * HOUR, ()))


def test_an_estimate_without_any_reading_does_not_drift_to_zero() -> None:
    w = watch(start_c=4.0)
    assert projected(w, w.tubs[0], 12 * HOUR).likely_c == pytest.approx(4.0)


def test_a_unit_that_is_known_to_warm_slowly_may_stand_unwatched_for_longer() -> None:
    w = watch()
    feed(w, 0, 2, 3.0)
    w.unit = replace(w.unit, warm_up_s=27 * HOUR)
    # One unit in ten warms in 27 h e^(-1.28 x 0.35) or less; from 3 °C the meat then needs 5.2 h to 5 °C.
    assert "unwatched" not in kinds(conditions(w, 6 * HOUR, ()))
    (found, _) = conditions(w, 8 * HOUR, ())
    assert found.kind == "unwatched"
    early_s = time_to_limit_warming(3.0, 3.0, 25.0, 27 * HOUR * math.exp(-1.2816 * 0.35), 5.0, 6 * HOUR)
    assert found.early_at == pytest.approx(2 * HOUR + early_s, abs=91.0)


def test_a_silent_unit_says_by_day_how_long_its_meat_can_stand_so_and_one_with_another_sensor_does_not() -> None:
    w = watch()
    feed(w, 0, 2, 3.0)
    (silent,) = conditions(w, 2.3 * HOUR, ())
    # 0.57 h after the last reading at 01:59, as above.
    assert condition_text(silent, "UTC").endswith(
        "Nothing watches its meat: if cooling has stopped, it could pass 5.0 °C from 02:33 (estimate)."
    )
    (told, _) = conditions(w, 3 * HOUR, ())
    assert "If cooling has stopped, meat could pass 5.0 °C from 02:33 (estimate)." in condition_text(told, "UTC")
    other = Assignment("second", Quantity.AIR_TEMPERATURE, "room", "wall", 0.0)
    take(w, other, Taken("second", 2.25 * HOUR, 2.25 * HOUR, 3.0))
    (silent,) = conditions(w, 2.3 * HOUR, ())
    assert "watches" not in condition_text(silent, "UTC")

"""What the meat has been through, from readings, placements and hand readings."""

from dataclasses import replace

import numpy as np
import pytest

from alerts.history import TubHistory
from alerts.trace import batch_history, tub_history
from collector.batches import (
    AsMade,
    Batch,
    HandReading,
    Method,
    Packing,
    Placement,
    Plan,
    Route,
    Stage,
    StageSpan,
    Where,
)
from collector.kitchen import Kitchen
from collector.logs import SoakLog
from collector.readings import Assignment, Quantity, Reading, Site, Unit
from collector.sample import Message, Quality
from collector.storage import Arrival, MemoryReadings

HOUR = 3600.0
START = 1_760_000_000.0


def plan(**changes: object) -> Plan:
    facts: dict[str, object] = {
        "name": "brisket", "meat": "beef", "cut": "brisket", "method": Method.IMMERSION,
        "packing": Packing.UNDER_BRINE, "route": Route.COOKED, "cure_s": 5 * 24 * HOUR, "thickness_mm": 55.0,
        "meat_kg": 3.0, "tau_s": 6 * HOUR,
    }  # fmt: skip
    return Plan(**{**facts, **changes})  # type: ignore[arg-type]


def batch(
    *placements: Placement, hands: tuple[HandReading, ...] = (), made: AsMade | None = None, **changes: object
) -> Batch:
    made = made or AsMade(3.0, 3.0, brine_c=3.0, meat_c=3.0)
    placed = placements or (Placement("1", "room", START),)
    return Batch("B1", plan(**changes), made, START, placed, (StageSpan(Stage.CURE, START),), hands)


def kitchen(*extra: Assignment, **unit: object) -> Kitchen:
    facts: dict[str, object] = {"id": "room", "site": "s", "name": "Room", "kind": "cold room"}
    units = {"room": Unit(**{**facts, **unit}), "fridge": Unit("fridge", "s", "Fridge", "fridge")}  # type: ignore[arg-type]
    air = Assignment("air", Quantity.AIR_TEMPERATURE, "room", "wall", START - 1e6)
    cold = Assignment("cold", Quantity.AIR_TEMPERATURE, "fridge", "wall", START - 1e6)
    return Kitchen(sites={"s": Site("s", "Site", "Europe/London", "US")}, units=units, assignments=(air, cold, *extra))


def stored(**channels: list[tuple[float, float]]) -> MemoryReadings:
    readings = MemoryReadings()
    for channel, record in channels.items():
        for hours, value in record:
            at = START + hours * HOUR
            reading = Reading(channel, at, value, "Cel", at, at)
            readings.append([Arrival(Message(channel, b"", at), (reading,))])
    return readings


def steady(from_h: float, until_h: float, value: float) -> list[tuple[float, float]]:
    return [(h, value) for h in np.arange(from_h, until_h, 1 / 60).round(6).tolist()]


def traced(b: Batch, k: Kitchen, readings: MemoryReadings, until_h: float) -> TubHistory:
    b_kitchen = Kitchen(sites=k.sites, units=k.units, assignments=k.assignments, batches={"B1": b})
    history = tub_history(b, "1", b_kitchen, readings.series, START + until_h * HOUR)
    assert history is not None
    return history


def test_product_follows_the_air_with_its_own_time_constant() -> None:
    history = traced(batch(), kitchen(), stored(air=steady(-0.5, 2.0, 9.0)), 2.0)
    # First-order response: 9 - 6 exp(-2/6); the peak of worked case 1 (published beside the filter).
    assert history.likely_c[-1] == pytest.approx(9 - 6 * np.exp(-2 / 6), abs=0.01)
    assert not history.unknown.any()


def test_a_gap_parts_the_copies_and_is_unknown() -> None:
    history = traced(batch(), kitchen(), stored(air=steady(-0.5, 2.0, 3.0) + steady(8.0, 9.0, 3.0)), 9.0)
    assert [g.until_at - g.from_at for g in history.gaps] == [pytest.approx(6 * HOUR, abs=120)]
    inside = (history.times_at > START + 3 * HOUR) & (history.times_at < START + 8 * HOUR)
    assert history.unknown[inside].all()
    # With nothing known of the unit the air is ambient at once: 25 - 22 exp(-1), six hours at tau 6.
    assert history.upper_c.max() == pytest.approx(25 - 22 * np.exp(-1), abs=0.1)
    assert (history.lower_c <= history.likely_c).all() and (history.likely_c <= history.upper_c).all()


def test_silence_at_the_end_is_a_gap_too() -> None:
    history = traced(batch(), kitchen(), stored(air=steady(-0.5, 2.0, 3.0)), 6.0)
    assert history.gaps and history.gaps[-1].until_at == START + 6 * HOUR
    assert history.unknown[-1]


def test_no_reading_ever_is_unknown_from_the_first_minute() -> None:
    history = traced(batch(), kitchen(), stored(), 6.0)
    assert history.unknown.all()
    assert history.readings == 0


def test_a_hand_reading_soon_after_a_gap_bounds_it_backwards() -> None:
    hand = HandReading(START + 8.1 * HOUR, "temperature", 3.4, Where.BRINE, "probe 1", "B1", None, "1")
    record = stored(air=steady(-0.5, 2.0, 3.2) + steady(8.0, 9.0, 3.2))
    made = AsMade(3.0, 3.0, brine_c=3.2, meat_c=3.2)
    history = traced(batch(hands=(hand,), made=made), kitchen(), record, 9.0)
    # Worked case 10: the bound peaks at 6.5 °C instead of 17.0.
    assert history.upper_c.max() == pytest.approx(6.5, abs=0.15)
    after = history.times_at > START + 8.2 * HOUR
    assert not history.unknown[after].any()


def test_a_probe_in_the_tub_is_taken_as_it_reads_and_the_air_takes_over_when_it_falls_silent() -> None:
    probe = Assignment("probe", Quantity.BRINE_TEMPERATURE, "room", "in the brine", START, lot="B1")
    record = stored(air=steady(-0.5, 6.0, 9.0), probe=steady(1.0, 2.0, 3.0))
    history = traced(batch(), kitchen(probe), record, 6.0)
    while_probed = (history.times_at > START + 1.1 * HOUR) & (history.times_at < START + 1.9 * HOUR)
    assert history.likely_c[while_probed] == pytest.approx(3.0)
    assert history.likely_c[-1] == pytest.approx(9 - 6 * np.exp(-4 / 6), abs=0.1)


def test_a_moved_tub_meets_the_air_of_each_unit_in_turn() -> None:
    places = (
        Placement("1", "room", START, START + HOUR),
        Placement("1", None, START + HOUR, START + 2 * HOUR, 22.0),
        Placement("1", "fridge", START + 2 * HOUR),
    )
    record = stored(air=steady(-0.5, 4.0, 3.0), cold=steady(-0.5, 4.0, 1.0))
    history = traced(batch(*places), kitchen(), record, 4.0)
    at = dict(zip(history.times_at.tolist(), history.likely_c.tolist(), strict=True))
    assert at[START + HOUR] == pytest.approx(3.0)
    bench = 22 - 19 * np.exp(-1 / 6)
    assert at[START + 2 * HOUR] == pytest.approx(bench, abs=0.01)
    assert history.likely_c[-1] == pytest.approx(1 + (bench - 1) * np.exp(-2 / 6), abs=0.02)
    assert not history.unknown.any()


def test_a_second_channel_fills_the_silence_of_the_first() -> None:
    second = Assignment("air2", Quantity.AIR_TEMPERATURE, "room", "door", START - 1e6)
    record = stored(air=steady(-0.5, 2.0, 3.0), air2=steady(-0.5, 4.0, 8.0))
    history = traced(batch(), kitchen(second), record, 4.0)
    assert not history.gaps
    assert history.likely_c[-1] > 3.5


def test_values_of_a_failed_probe_are_no_readings() -> None:
    readings = stored(air=steady(-0.5, 2.0, 3.0))
    for minute in range(60):
        at = START + 2 * HOUR + minute * 60
        fault = Reading("air", at, 85.0, "Cel", at, at, None, Quality.PROBE_FAULT)
        readings.append([Arrival(Message("air", b"", at), (fault,))])
    history = traced(batch(), kitchen(), readings, 3.0)
    assert history.gaps
    assert history.likely_c.max() < 4.0


def test_an_offset_is_applied_when_judged() -> None:
    assigned = Assignment("off", Quantity.AIR_TEMPERATURE, "third", "wall", START - 1e6, offset_c=-2.0)
    base = kitchen(assigned)
    third = Kitchen(
        sites=base.sites,
        units={**base.units, "third": Unit("third", "s", "Third", "fridge")},
        assignments=base.assignments,
    )
    history = traced(batch(Placement("1", "third", START)), third, stored(off=steady(-0.5, 2.0, 5.0)), 2.0)
    assert history.likely_c[-1] == pytest.approx(3.0)


def test_a_start_that_nobody_entered_is_not_known() -> None:
    record = stored(air=steady(-0.5, 2.0, 3.0))
    history = traced(batch(made=AsMade(3.0, 3.0)), kitchen(), record, 2.0)
    assert not history.start_known
    assert history.unknown[0]


def test_warm_brine_on_cold_meat_starts_at_their_mixture() -> None:
    record = stored(air=steady(-0.5, 1.0, 3.0))
    history = traced(batch(made=AsMade(3.0, 3.0, brine_c=30.0, meat_c=3.0)), kitchen(), record, 1.0)
    # Worked case 12: mix 16.9 °C.
    assert history.likely_c[0] == pytest.approx(16.9, abs=0.1)


def test_a_hung_piece_is_judged_at_its_surface_while_the_air_is_warmer() -> None:
    record = stored(air=steady(-0.5, 2.0, 9.0))
    made = AsMade(3.0, meat_c=3.0)
    hung = traced(
        batch(made=made, arrangement="hung", packing=Packing.OPEN, method=Method.DRY_BY_WEIGHT), kitchen(), record, 2.0
    )
    bulk = 9 - 6 * np.exp(-2 / 6)
    assert hung.likely_c[-1] == pytest.approx(bulk + 0.2 * (9 - bulk), abs=0.02)


def test_an_ended_batch_is_traced_to_its_end_only() -> None:
    b = batch(Placement("1", "room", START, START + HOUR))
    ended = Batch(b.lot, b.plan, b.as_made, b.started_at, b.placements, b.stages, ended_at=START + HOUR)
    base = kitchen()
    k = Kitchen(sites=base.sites, units=base.units, assignments=base.assignments, batches={"B1": ended})
    history = batch_history(ended, k, stored(air=steady(-0.5, 3.0, 3.0)).series, START + 3 * HOUR)
    assert history is not None
    assert history.judged_until_at == START + HOUR
    assert history.tubs[0].times_at[-1] == START + HOUR


def test_a_silence_over_the_filling_is_a_gap_though_neither_half_is() -> None:
    readings = stored(air=steady(-1.0, -14 / 60, 3.0) + steady(14 / 60, 2.0, 3.0))
    history = traced(batch(), kitchen(), readings, 2.0)
    (gap,) = history.gaps
    assert gap.from_at == START
    assert gap.until_at == pytest.approx(START + 14 * 60, abs=1)


def test_a_hand_reading_in_the_middle_does_not_hide_a_silence() -> None:
    hand = HandReading(START + 2.23 * HOUR, "temperature", 3.0, Where.BRINE, "probe", "B1", None, "1")
    readings = stored(air=steady(-1.0, 2.0, 3.0) + steady(2.45, 4.0, 3.0))
    history = traced(batch(hands=(hand,)), kitchen(), readings, 4.0)
    assert sum(g.until_at - g.from_at for g in history.gaps) == pytest.approx(0.45 * HOUR, abs=120)


def test_a_slow_sensor_that_was_taken_away_lends_its_patience_to_no_other() -> None:
    slow = Assignment("slow", Quantity.AIR_TEMPERATURE, "room", "wall", START - 1e6, START - 5e5, interval_s=3600.0)
    readings = stored(air=steady(-0.5, 2.0, 3.0) + steady(4.0, 5.0, 3.0))
    history = traced(batch(), kitchen(slow), readings, 5.0)
    assert [g.until_at - g.from_at for g in history.gaps] == [pytest.approx(2 * HOUR, abs=120)]


def test_a_slow_sensor_speaks_for_its_own_interval_where_the_quick_one_is_silent() -> None:
    slow = Assignment("slow", Quantity.AIR_TEMPERATURE, "room", "wall", START - 1e6, interval_s=3600.0)
    hourly = [(float(h) + 0.1, 3.0) for h in range(-2, 9)]
    readings = stored(air=steady(-0.5, 2.0, 3.0) + steady(7.0, 8.0, 3.0), slow=hourly)
    history = traced(batch(), kitchen(slow), readings, 8.0)
    assert history.gaps == ()


def test_a_lag_that_was_not_measured_follows_from_mass_and_thickness() -> None:
    record = stored(air=steady(-0.5, 2.0, 9.0))

    def lag_h(b: Batch) -> float:
        return traced(b, kitchen(), record, 1.0).tau_s / HOUR

    def hung(thickness_mm: float) -> Batch:
        made = AsMade(3.0, meat_c=3.0)
        return batch(made=made, arrangement="hung", packing=Packing.OPEN, tau_s=None, thickness_mm=thickness_mm)

    assert lag_h(hung(55.0)) == pytest.approx(3.1, abs=0.05)
    assert lag_h(hung(25.0)) < 2.0
    # A tub of 20 kg: six hours times the cube root of two.
    tub = batch(made=AsMade(10.0, 10.0, brine_c=3.0, meat_c=3.0), tau_s=None)
    assert lag_h(tub) == pytest.approx(7.56, abs=0.01)


def soaked(*soaks: tuple[float, float, float], **changes: object) -> Batch:
    logs = tuple(SoakLog(START + a * HOUR, START + b * HOUR, water_c, "kim") for a, b, water_c in soaks)
    return replace(batch(**changes), soaks=logs)  # type: ignore[arg-type]


def at(history: TubHistory, hours: float) -> float:
    return float(np.interp(START + hours * HOUR, history.times_at, history.likely_c))


@pytest.mark.parametrize("arrangement", ["tub", "hung"])
def test_meat_in_warm_water_is_judged_at_the_water_while_it_lies_in_it(arrangement: str) -> None:
    history = traced(soaked((4.0, 6.0, 15.0), arrangement=arrangement), kitchen(), stored(air=steady(0, 12, 3.0)), 12)
    assert (at(history, 3.9), at(history, 5.0)) == pytest.approx((3.0, 15.0))
    # Two hours in it with a lag of six: 3 + 12 (1 - exp(-1/3)), and from there down again.
    assert at(history, 6.01) == pytest.approx(6.40, abs=0.05)
    assert at(history, 11.9) < 4.4


def test_cold_water_takes_the_meat_down_no_faster_than_its_lag() -> None:
    warm = AsMade(3.0, 3.0, brine_c=8.0, meat_c=8.0)
    history = traced(soaked((0.0, 6.0, 2.0), made=warm), kitchen(), stored(air=steady(0, 12, 8.0)), 12)
    assert at(history, 6.0) == pytest.approx(2.0 + 6.0 / np.e, abs=0.05)


def test_a_probe_in_the_tub_goes_before_the_water_that_was_logged() -> None:
    probe = Assignment("probe", Quantity.BRINE_TEMPERATURE, "room", "tub 1", START, lot="B1", tub="1")
    readings = stored(air=steady(0, 12, 3.0), probe=steady(5, 7, 4.0))
    history = traced(soaked((4.0, 8.0, 15.0)), kitchen(probe), readings, 12)
    assert (at(history, 4.5), at(history, 6.0), at(history, 7.5)) == pytest.approx((15.0, 4.0, 15.0))


def test_soaks_that_overlap_leave_no_hole_and_go_no_step_back() -> None:
    history = traced(soaked((4.0, 6.0, 15.0), (5.0, 7.0, 10.0)), kitchen(), stored(air=steady(0, 12, 3.0)), 12)
    assert (np.diff(history.times_at) >= 0).all()
    assert (at(history, 5.5), at(history, 6.5)) == pytest.approx((15.0, 10.0))
    assert not history.gaps

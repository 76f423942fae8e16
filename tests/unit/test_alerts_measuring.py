"""Rule e-12 and merged batches, judged from a journal and readings: sensors in doubt, sensors that quarrel."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from alerts.judgement import judged
from alerts.rulebook.shelf import load
from collector import events as e
from collector import events_making as m
from collector.batches import AsMade, HandReading, Method, Packing, Placement, Plan, Route, Strand, Where
from collector.findings import Disposition, Finding, Outcome, Proposal, Tier
from collector.fold import fold
from collector.kitchen import Kitchen
from collector.logs import Calibration
from collector.readings import Assignment, Quantity, Reading, Site, Unit
from collector.sample import Message
from collector.storage import Arrival, MemoryReadings

HOUR, DAY = 3600.0, 86_400.0
BOOK = load("US")
START = 1_760_000_400.0
PLAN = Plan(
    "Brisket", "beef", "brisket", Method.IMMERSION, Packing.UNDER_BRINE, Route.COOKED, 5 * DAY, 55.0, 3.0,
    water_kg=3.0, salt_kg=0.3, tau_s=6 * HOUR,
)  # fmt: skip
MADE = AsMade(3.0, 3.0, 0.3, brine_c=3.0, meat_c=3.0)
FIRST, SECOND = ("first", "by the fan"), ("second", "by the door")


def kitchen(*more: e.Event, sensors: Sequence[tuple[str, str]] = (FIRST,), told_at: float = START) -> Kitchen:
    events: list[e.Event] = [
        e.SiteDescribed(Site("s", "Site", "Europe/London", "US")),
        e.UnitDescribed(Unit("room", "s", "Room", "cold room", warm_up_s=27 * HOUR)),
        *(e.RowConfirmed("US", row.id, "the document", "kim") for row in BOOK.limits.values() if row.known == "memory"),
        *(
            e.ChannelAssigned(Assignment(channel, Quantity.AIR_TEMPERATURE, "room", place, START - DAY))
            for channel, place in sensors
        ),
        e.BatchStarted("B1", PLAN, MADE, (Placement("1", "room", START),)),
        *more,
    ]
    return fold(e.Entry(n, told_at, told_at, "kim", event) for n, event in enumerate(events, 1))


def stored(**channels: Sequence[tuple[float, float]]) -> MemoryReadings:
    """Return a reading every five minutes; each channel is told as (hours from filling, air from then on)."""
    readings = MemoryReadings()
    for channel, path in channels.items():
        for hours in np.arange(-1.0, 48.0, 1 / 12).tolist():
            value = [air for begin, air in path if begin <= hours][-1]
            at = round(START + hours * HOUR, 3)
            readings.append([Arrival(Message(channel, b"", at), (Reading(channel, at, value, "Cel", at, at),))])
    return readings


COLD = [(-1.0, 3.0)]
WARM_NIGHT = [(-1.0, 3.0), (10.0, 12.0), (20.0, 3.0)]
MILD_NIGHT = [(-1.0, 3.0), (10.0, 5.0), (20.0, 3.0)]


def proposed(k: Kitchen, readings: MemoryReadings, lot: str = "B1", hours: float = 47.0) -> Proposal:
    proposal = judged(k, lot, readings.series, BOOK, START + hours * HOUR, "test")
    assert proposal is not None
    return proposal


def found(proposal: Proposal, rule: str) -> Finding:
    return next(f for f in proposal.findings if f.rule == rule)


def checked(as_found: float, at_h: float, due_h: float = 9999.0) -> m.CalibrationEntered:
    at = START + at_h * HOUR
    return m.CalibrationEntered(
        Calibration("first", "channel", at, "melting ice", as_found, 0.0, START + due_h * HOUR, "kim", 0.5)
    )


def test_with_every_sensor_in_date_nothing_is_in_doubt() -> None:
    said = proposed(kitchen(checked(0.1, -2.0)), stored(first=COLD))
    assert (found(said, "e-12").outcome, found(said, "e-12").tier) == (Outcome.WITHIN, Tier.NONE)
    assert found(said, "e-2").outcome is Outcome.WITHIN


def test_from_its_due_date_on_a_sensor_yields_nothing_within_and_a_check_that_passes_lifts_that_back() -> None:
    overdue = kitchen(checked(0.1, -2.0, due_h=20.0))
    said = proposed(overdue, stored(first=COLD))
    assert (found(said, "e-12").sentence, found(said, "e-12").tier) == ("e-12 overdue", Tier.RECORDED)
    assert {f.outcome for f in said.findings if f.rule in ("e-2", "e-5", "e-7")} == {Outcome.CANNOT_TELL}
    assert said.disposition is Disposition.CONTINUE
    again = proposed(kitchen(checked(0.1, -2.0, due_h=20.0), checked(0.2, 40.0)), stored(first=COLD))
    assert found(again, "e-2").outcome is Outcome.WITHIN


def test_a_sensor_is_new_when_assigned_and_due_a_year_later() -> None:
    cold = stored(first=COLD)
    assert found(proposed(kitchen(), cold), "e-12").outcome is Outcome.WITHIN
    late = judged(kitchen(), "B1", cold.series, BOOK, START + 365 * DAY, "test")
    assert late is not None and found(late, "e-12").sentence == "e-12 never checked"


def test_a_sensor_found_to_read_low_makes_the_whole_past_warmer() -> None:
    path = [(-1.0, 3.0), (5.0, 4.4)]
    assert found(proposed(kitchen(), stored(first=path)), "e-2").outcome is Outcome.WITHIN
    said = proposed(kitchen(checked(-1.2, 46.0)), stored(first=path))
    assert found(said, "e-2").tier is Tier.HOLD
    assert found(said, "e-12").sentence == "e-12 was off"


def test_an_error_within_its_tolerance_changes_no_figure() -> None:
    before = proposed(kitchen(), stored(first=MILD_NIGHT))
    after = proposed(kitchen(checked(0.5, 46.0)), stored(first=MILD_NIGHT))
    assert found(before, "e-2") == found(after, "e-2")


def test_time_under_test_is_a_gap_and_no_history() -> None:
    out = m.SensorUnderTest("first", START + 10 * HOUR), m.SensorBack("first", START + 11 * HOUR)
    boiling = [(-1.0, 3.0), (10.0, 60.0), (11.0, 3.0)]
    said = proposed(kitchen(*out), stored(first=boiling))
    assert found(said, "e-6").outcome is Outcome.CANNOT_TELL
    assert not any(f.tier in (Tier.HOLD, Tier.REJECT) for f in said.findings if f.rule != "e-6")
    assert proposed(kitchen(), stored(first=boiling)).disposition is Disposition.HOLD


def test_two_sensors_apart_for_two_hours_are_a_quarrel_that_holds_only_if_the_other_would() -> None:
    both = kitchen(sensors=(FIRST, SECOND))
    warm = proposed(both, stored(first=COLD, second=WARM_NIGHT))
    assert (found(warm, "e-12 neighbours").sentence, warm.disposition) == ("e-12 neighbours hold", Disposition.HOLD)
    mild = proposed(both, stored(first=COLD, second=MILD_NIGHT))
    assert (found(mild, "e-12 neighbours").tier, mild.disposition) == (Tier.RECORDED, Disposition.CONTINUE)
    assert found(mild, "e-2").outcome is Outcome.CANNOT_TELL


def cycling(frozen_from: float = 99.0, until: float = 99.0, step_c: float = 0.1) -> list[tuple[float, float]]:
    """Return air about 3 °C that a compressor moves up and down, and that a sensor repeats from one hour to another."""
    hours = np.arange(-1.0, 48.0, 1 / 12).tolist()
    air = [round((3.0 + 0.8 * np.sin(2 * np.pi * at / 0.9)) / step_c) * step_c for at in hours]
    held = next((value for at, value in zip(hours, air, strict=True) if at >= frozen_from), 3.0)
    return [(at, held if frozen_from <= at < until else value) for at, value in zip(hours, air, strict=True)]


def test_a_stuck_sensor_yields_nothing_within_and_its_time_is_unknown() -> None:
    assert found(proposed(kitchen(), stored(first=cycling())), "e-2").outcome is Outcome.WITHIN
    said = proposed(kitchen(), stored(first=cycling(20.0)))
    assert found(said, "e-2").outcome is Outcome.CANNOT_TELL
    assert said.disposition is Disposition.HOLD
    mended = proposed(kitchen(), stored(first=cycling(20.0, 40.0)))
    assert found(mended, "e-2").outcome is Outcome.CANNOT_TELL


def test_a_second_sensor_bears_out_what_a_stuck_one_cannot() -> None:
    said = proposed(kitchen(sensors=(FIRST, SECOND)), stored(first=cycling(20.0), second=cycling()))
    assert found(said, "e-2").outcome is Outcome.WITHIN
    warm = [(at, value if at < 20.0 else 12.0) for at, value in cycling()]
    assert proposed(kitchen(sensors=(FIRST, SECOND)), stored(first=cycling(20.0), second=warm)).disposition in (
        Disposition.HOLD,
        Disposition.REJECT,
    )


def test_air_that_rests_for_an_hour_or_two_is_no_stuck_sensor() -> None:
    said = proposed(kitchen(), stored(first=cycling(20.0, 22.0)))
    assert found(said, "e-2").outcome is Outcome.WITHIN


def test_a_sensor_that_turned_to_fahrenheit_rejects_nothing_and_bears_nothing_out() -> None:
    odd = [(at, value * 1.8 + 32.0 if at >= 20.0 else value) for at, value in cycling()]
    said = proposed(kitchen(), stored(first=odd))
    assert said.disposition is Disposition.HOLD
    assert found(said, "e-2").outcome is Outcome.CANNOT_TELL


@pytest.mark.parametrize(("difference", "until"), [(1.4, 20.0), (1.6, 11.5)])
def test_less_apart_or_for_less_time_is_none(difference: float, until: float) -> None:
    near = [(-1.0, 3.0), (10.0, 3.0 + difference), (until, 3.0)]
    said = proposed(kitchen(sensors=(FIRST, SECOND)), stored(first=COLD, second=near))
    assert [f for f in said.findings if f.rule == "e-12 neighbours"] == []


def test_a_quarrel_never_rejects() -> None:
    heat = [(-1.0, 3.0), (10.0, 25.0), (34.0, 3.0)]
    both = kitchen(sensors=(FIRST, SECOND))
    alone = proposed(kitchen(), stored(first=heat))
    assert alone.disposition is Disposition.REJECT
    assert proposed(both, stored(first=heat, second=COLD)).disposition is Disposition.HOLD


@pytest.mark.parametrize(("hand_c", "believed"), [(3.2, Disposition.CONTINUE), (11.8, Disposition.HOLD)])
def test_a_hand_reading_decides_which_of_two_is_believed(hand_c: float, believed: Disposition) -> None:
    hand = HandReading(START + 15 * HOUR, "temperature", hand_c, Where.AIR, "probe 1", unit="room")
    both = kitchen(e.HandReadingEntered(hand), sensors=(FIRST, SECOND))
    said = proposed(both, stored(first=WARM_NIGHT, second=COLD))
    assert found(said, "e-12 neighbours").sentence == "e-12 contradicted"
    assert said.disposition is believed


def merged(*more: e.Event) -> Kitchen:
    other = e.BatchStarted("B2", replace(PLAN, name="Other"), MADE, (Placement("9", "fridge", START),))
    fridge = e.UnitDescribed(Unit("fridge", "s", "Fridge", "fridge"))
    cold = e.ChannelAssigned(Assignment("second", Quantity.AIR_TEMPERATURE, "fridge", "wall", START - DAY))
    into = m.BatchesMerged(
        "B3",
        PLAN,
        6.0,
        (Strand("B1", "1", "A"), Strand("B2", "9", "A")),
        (Placement("A", "fridge", START + 30 * HOUR),),
    )
    before = kitchen(fridge, cold, other, *more)
    return fold([e.Entry(before.position + 1, START + 30 * HOUR, START + 30 * HOUR, "kim", into)], before)


def test_a_merged_batch_carries_the_worse_of_its_histories() -> None:
    k = merged()
    readings = stored(first=WARM_NIGHT, second=COLD)
    assert proposed(k, readings, "B2").disposition is Disposition.CONTINUE
    assert proposed(k, readings, "B1").disposition is Disposition.HOLD
    said = proposed(k, readings, "B3")
    assert (said.lot, said.disposition) == ("B3", Disposition.HOLD)
    assert found(said, "e-2").parameters["peak_c"] == found(proposed(k, readings, "B1"), "e-2").parameters["peak_c"]


def test_a_merged_batch_goes_on_in_its_new_place() -> None:
    k = merged()
    said = proposed(k, stored(first=COLD, second=[(-1.0, 3.0), (32.0, 14.0)]), "B3")
    assert said.disposition in (Disposition.HOLD, Disposition.REJECT)


def test_a_split_batch_is_judged_on_its_whole_history() -> None:
    k = kitchen(m.BatchSplit("B1", "B1b", ("1",)), told_at=START)
    assert proposed(k, stored(first=WARM_NIGHT), "B1b").disposition is Disposition.HOLD

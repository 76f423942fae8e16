"""A batch judged from stored readings: the order in which they arrived, and how a record is cut, change nothing."""

import math
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from alerts.judgement import judged
from alerts.rulebook.shelf import load
from collector import events as e
from collector.batches import AsMade, Method, Packing, Placement, Plan, Route
from collector.findings import Outcome, Proposal
from collector.fold import fold
from collector.kitchen import Kitchen
from collector.readings import Assignment, Quantity, Reading, Site, Unit
from collector.sample import Message
from collector.storage import Arrival, MemoryReadings

HOUR, DAY, START, HOURS = 3600.0, 86_400.0, 1_760_000_400.0, 60
US = load("US")
PLAN = Plan(
    "Brisket", "beef", "brisket", Method.IMMERSION, Packing.UNDER_BRINE, Route.COOKED, 2 * DAY, 55.0, 3.0,
    water_kg=3.0, salt_kg=0.3, tau_s=6 * HOUR,
)  # fmt: skip
AIR = Assignment("air", Quantity.AIR_TEMPERATURE, "room", "wall", START - DAY)
Told = list[tuple[float, float]]


def kitchen(*assignments: Assignment) -> Kitchen:
    events: list[e.Event] = [
        e.SiteDescribed(Site("s", "Site", "Europe/London", "US")),
        e.UnitDescribed(Unit("room", "s", "Room", "cold room")),
        *(e.ChannelAssigned(one) for one in assignments),
        e.BatchStarted("B1", PLAN, AsMade(3.0, 3.0, 0.3, brine_c=3.0, meat_c=3.0), (Placement("1", "room", START),)),
    ]
    return fold(e.Entry(n, START, START, "kim", event) for n, event in enumerate(events, 1))


def proposed(told: Told, *assignments: Assignment) -> Proposal:
    readings = MemoryReadings()
    for at, value in told:
        readings.append([Arrival(Message("air", b"x", at), (Reading("air", at, value, "Cel", at, at),))])
    proposal = judged(kitchen(*(assignments or (AIR,))), "B1", readings.series, US, START + HOURS * HOUR, "test")
    assert proposal is not None
    return proposal


@st.composite
def records(draw: st.DrawFn) -> Told:
    """Return ten-minute readings over the batch's life, warm and cold by turns, some hours of them missing."""
    levels = draw(st.lists(st.floats(-2.0, 14.0), min_size=6, max_size=6))
    lost = draw(st.integers(0, HOURS))
    times = [START + 600.0 * n for n in range(-2, HOURS * 6)]
    hours = [(at - START) / HOUR for at in times]
    return [
        (at, round(levels[min(int(max(h, 0.0)) // 10, 5)] + 0.3 * math.sin(h), 2))
        for at, h in zip(times, hours, strict=True)
        if not lost <= h < lost + 3
    ]


@settings(max_examples=25, deadline=None)
@given(records(), st.randoms(use_true_random=False))
def test_the_order_in_which_readings_arrived_changes_nothing(told: Told, chance: object) -> None:
    shuffled = list(told)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]
    assert proposed(shuffled) == proposed(told)


@settings(max_examples=25, deadline=None)
@given(records(), st.floats(1.0, HOURS - 1.0))
def test_an_assignment_that_ends_and_begins_anew_at_once_changes_nothing(told: Told, cut_h: float) -> None:
    cut_at = round(START + cut_h * HOUR, 3)
    parts = replace(AIR, until_at=cut_at), replace(AIR, from_at=cut_at)
    assert proposed(told, *parts).outcome() == proposed(told).outcome()


@settings(max_examples=25, deadline=None)
@given(records())
def test_judging_twice_gives_the_same_record(told: Told) -> None:
    assert proposed(told) == proposed(told)


@settings(max_examples=25, deadline=None)
@given(records(), st.integers(2, HOURS - 8))
def test_a_gap_of_hours_never_leaves_the_cold_chain_within(told: Told, from_h: int) -> None:
    begin, end = START + from_h * HOUR, START + (from_h + 5) * HOUR
    gapped = [(at, value) for at, value in told if not begin <= at < end]
    found = next(f for f in proposed(gapped).findings if f.rule == "e-2")
    assert found.outcome is not Outcome.WITHIN

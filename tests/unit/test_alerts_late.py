"""What only late readings have told of: an excursion, with the time at which it was learned."""

import pytest

from alerts.heard import late
from alerts.late import LATE_S, Learned, learned_late
from alerts.rulebook.shelf import load
from alerts.trace import batch_history
from collector.batches import AsMade, Method, Packing, Placement, Plan, Route
from collector.events import BatchStarted, ChannelAssigned, Draft, Event, SiteDescribed, UnitDescribed
from collector.present import Present
from collector.readings import Assignment, Quantity, Reading, Site, Unit
from collector.sample import Message
from collector.storage import Arrival, MemoryJournal, MemoryReadings

START = 1_767_225_600.0
HOUR = 3600.0
NOW = START + 20 * HOUR
BOOK = load("US")
PLAN = Plan(
    "x", "beef", "brisket", Method.IMMERSION, Packing.UNDER_BRINE, Route.COOKED, 432_000.0, 55.0, 3.0, tau_s=3600.0
)
AIR = Assignment("room/air", Quantity.AIR_TEMPERATURE, "room", "wall", START - HOUR)


class Record:
    """A batch in a room, whose air is told minute by minute, in time or later."""

    def __init__(self) -> None:
        self.readings = MemoryReadings()
        self.present = Present(MemoryJournal(), lambda: NOW)
        said: list[Event] = [
            SiteDescribed(Site("s", "S", "Europe/London", "US")),
            UnitDescribed(Unit("room", "s", "Room", "cold room")),
            ChannelAssigned(AIR),
            BatchStarted("B1", PLAN, AsMade(3.0, 3.0, brine_c=3.0, meat_c=3.0), (Placement("1", "room", START),)),
        ]
        self.present.decide(lambda kitchen: [Draft(START - HOUR, "ana", event) for event in said])

    def air(self, from_h: float, until_h: float, value: float, received_h: float | None = None) -> None:
        for minute in range(round(from_h * 60), round(until_h * 60)):
            at = START + minute * 60.0
            received_at = at + 1.0 if received_h is None else START + received_h * HOUR
            reading = Reading("room/air", at, value, "Cel", received_at, at)
            self.readings.append([Arrival(Message("room/air", b"", received_at), (reading,))])

    def learned(self) -> tuple[Learned, ...]:
        kitchen = self.present.kitchen
        batch = kitchen.batches["B1"]
        history = batch_history(batch, kitchen, self.readings.series, NOW)
        assert history is not None
        return learned_late(batch, history, kitchen, BOOK, self.readings.series, NOW)


def test_an_excursion_in_readings_that_came_late_is_dated_by_the_first_of_them_that_show_it() -> None:
    record = Record()
    record.air(0, 6, 3.0)
    record.air(6, 7, 14.0, received_h=12.0)
    record.air(7, 8, 14.0, received_h=13.0)
    record.air(8, 20, 3.0)
    (one,) = record.learned()
    assert (one.tub, one.learned_at) == ("1", START + 12 * HOUR)
    assert START + 6.1 * HOUR < one.excursion.from_at < START + 6.4 * HOUR
    assert one.excursion.until_at > START + 8 * HOUR


def test_late_readings_that_show_too_little_yet_do_not_date_it() -> None:
    record = Record()
    record.air(0, 6, 3.0)
    record.air(6, 6.2, 14.0, received_h=9.0)
    record.air(6.2, 8, 14.0, received_h=13.0)
    record.air(8, 20, 3.0)
    assert [one.learned_at for one in record.learned()] == [START + 13 * HOUR]


def test_an_excursion_that_was_known_when_it_happened_was_not_learned_late() -> None:
    record = Record()
    record.air(0, 6, 3.0)
    record.air(6, 8, 14.0)
    record.air(8, 20, 3.0)
    assert record.learned() == ()


def test_late_readings_of_another_time_do_not_make_a_known_excursion_late() -> None:
    record = Record()
    record.air(0, 4, 3.0)
    record.air(4, 5, 3.0, received_h=15.0)
    record.air(5, 8, 3.0)
    record.air(8, 10, 14.0)
    record.air(10, 20, 3.0)
    assert record.learned() == ()


def test_a_warm_stretch_whose_air_was_heard_only_afterwards_is_known_from_then_on() -> None:
    # The meat is above its limit while cold air is heard in time: why, only the late readings tell.
    record = Record()
    record.air(0, 6, 3.0)
    record.air(6, 7, 20.0, received_h=11.0)
    record.air(7, 20, 3.0)
    (one,) = record.learned()
    assert one.learned_at == START + 11 * HOUR


def test_of_an_excursion_that_was_known_in_part_only_the_rest_was_learned_late() -> None:
    record = Record()
    record.air(0, 6, 3.0)
    record.air(6, 8, 14.0)
    record.air(8, 10, 14.0, received_h=15.0)
    record.air(10, 20, 3.0)
    (one,) = record.learned()
    assert one.learned_at == START + 15 * HOUR
    assert START + 7.9 * HOUR < one.excursion.from_at < START + 8.3 * HOUR
    assert one.excursion.until_at > START + 10 * HOUR


def test_late_readings_that_were_cold_tell_of_no_excursion() -> None:
    record = Record()
    record.air(0, 6, 3.0)
    record.air(6, 8, 3.0, received_h=12.0)
    record.air(8, 20, 3.0)
    assert record.learned() == ()


@pytest.mark.parametrize(
    ("lag_s", "interval_s", "said"),
    [(900.0, 60.0, False), (900.5, 60.0, True), (1800.0, 600.0, False), (1801.0, 600.0, True), (-60.0, 60.0, False)],
)
def test_a_reading_is_late_when_its_channel_would_have_been_silent_meanwhile(
    lag_s: float, interval_s: float, said: bool
) -> None:
    assert late(START, START + lag_s, interval_s) is said
    assert LATE_S == 900.0

"""The service: readings in, journal out, one odd unit never stopping the rest."""

from collections.abc import Callable
from dataclasses import dataclass, field

import pytest

from alerts.channels.base import Sent
from alerts.conditions_upkeep import due_checks
from alerts.escalation import Telling
from alerts.heard import Taken
from alerts.judgement import judged
from alerts.rulebook.shelf import load
from alerts.sentences import alarm_text
from alerts.service import Service
from alerts.unit_watch import UnitWatch, take
from alerts.watch import conditions
from collector.batches import AsMade, HandReading, Method, Packing, Placement, Plan, Route, Where
from collector.events import (
    AlarmAcknowledged,
    AlarmRaised,
    AssignmentEnded,
    BatchStarted,
    ChannelAssigned,
    Draft,
    HandReadingEntered,
    PersonDescribed,
    PlacementCorrected,
    RotaDescribed,
    SiteDescribed,
    TubMoved,
    UnitDescribed,
)
from collector.events_making import CalibrationEntered, CoreLogged
from collector.events_watching import UnitOutOfService
from collector.findings import Condition, Disposition, Proposal
from collector.kitchen import Alarm, Kitchen
from collector.logs import Calibration, CoreLog
from collector.present import Present
from collector.readings import Assignment, Quantity, Reading, Site, Unit
from collector.rota import RotaStep
from collector.sample import Message, Quality
from collector.storage import Arrival, MemoryJournal, MemoryReadings, StoreFailed

START = 1_760_000_000.0
HOUR = 3600.0
PLAN = Plan(
    "x", "beef", "brisket", Method.IMMERSION, Packing.UNDER_BRINE, Route.COOKED, 432_000.0, 55.0, 3.0, tau_s=21_600.0
)


@dataclass
class Heard:
    """A channel that remembers."""

    lines: list[tuple[str, str, str]] = field(default_factory=list)
    works: bool = True
    bodies: list[str] = field(default_factory=list)

    def send(self, telling: Telling, alarm: Alarm, first_line: str, body: str) -> Sent:
        self.bodies.append(body)
        self.lines.append((telling.person, telling.occasion, first_line))
        return Sent(self.works)


class Bench:
    """A service over memory stores, with a clock that is set."""

    def __init__(self, judge: Callable[[Kitchen, str, float], Proposal | None] = lambda k, lot, now: None) -> None:
        self.at = START
        self.readings = MemoryReadings()
        self.journal = MemoryJournal()
        self.present = Present(self.journal, lambda: self.at)
        self.first, self.second = Heard(), Heard()
        self.service = self.new_service(judge)

    def new_service(self, judge: Callable[[Kitchen, str, float], Proposal | None]) -> Service:
        return Service(
            self.present, self.readings, judge, lambda k, u: u.limit_c or 5.0, lambda: self.at,
            {"first": self.first, "second": self.second}, {"ana": ("first", "second")},
        )  # fmt: skip

    def write(self, *events: object, at: float | None = None) -> None:
        drafts = [Draft(self.at if at is None else at, "ana", event) for event in events]  # type: ignore[arg-type]
        self.present.decide(lambda kitchen: drafts)

    def furnish(self) -> None:
        self.write(
            SiteDescribed(Site("s", "Site", "Europe/London", "US")),
            PersonDescribed("ana", "Ana", ("approver",)),
            RotaDescribed((RotaStep("ana", 0.0),)),
        )
        for unit in ("room", "fridge"):
            self.write(
                UnitDescribed(Unit(unit, "s", unit.title(), "cold room")),
                ChannelAssigned(Assignment(f"{unit}/air", Quantity.AIR_TEMPERATURE, unit, "wall", START)),
            )
        self.write(
            BatchStarted("B1", PLAN, AsMade(3.0, 3.0, brine_c=3.0, meat_c=3.0), (Placement("1", "room", START),))
        )
        self.service.start()

    def hear(
        self, channel: str, value: float, at: float | None = None, quality: Quality = Quality.GOOD
    ) -> None:  # fmt: skip
        at = self.at if at is None else at
        reading = Reading(channel, at, value, "Cel", self.at, at, quality=quality)
        position = self.readings.append([Arrival(Message(channel, b"", self.at), (reading,))])
        assert position
        self.service.follow()

    def restart(self) -> None:
        self.service = self.new_service(lambda k, lot, now: None)
        self.service.start()
        self.service.tick()

    def run(self, hours: float, room: float, fridge: float = 3.0) -> None:
        for _ in range(int(hours * 60)):
            self.at += 60.0
            self.hear("room/air", room)
            self.hear("fridge/air", fridge)
            self.service.tick()

    def kinds(self) -> list[tuple[str, str]]:
        return [a.condition.key for a in self.present.kitchen.active_alarms()]


@pytest.fixture
def bench() -> Bench:
    made = Bench()
    made.furnish()
    return made


def test_a_warming_room_raises_one_alarm_and_tells_the_first_of_the_rota(bench: Bench) -> None:
    bench.run(1, 3.0)
    bench.run(1, 9.0)
    bench.service.tell()
    assert bench.kinds() == [("room", "product_warm")]
    ((person, occasion, line),) = bench.first.lines
    assert (person, occasion) == ("ana", "raised")
    assert line.startswith("Room: meat may pass 5.0 °C from ")
    assert "B1" in line


def test_whoever_is_told_of_warming_meat_reads_where_it_could_go_in_the_body_and_not_in_the_first_line() -> None:
    bench = Bench()
    bench.furnish()
    bench.write(UnitDescribed(Unit("fridge", "s", "Fridge", "fridge", raw_meat=True, room_for_tubs=4)))
    bench.run(2, 3.0)
    bench.run(1, 9.0)
    bench.service.tell()
    where = (
        "Tubs could go to Fridge (air 3.0 °C, usually 3.0; room for 4). "
        "It is kept for raw meat, and cold enough by its air."
    )
    ((_, _, line),) = bench.first.lines
    steps = bench.first.bodies[0].splitlines()
    assert where not in line
    assert steps[steps.index(where) - 1].startswith("4. Move tubs only if it still rises after 30 minutes")


def test_where_no_unit_is_known_to_do_that_is_said(bench: Bench) -> None:
    bench.run(2, 3.0)
    bench.run(1, 9.0)
    bench.service.tell()
    assert "No unit here is known to be cold enough, for raw meat and with room." in bench.first.bodies[0]


def test_a_dead_channel_is_bypassed_in_the_same_breath(bench: Bench) -> None:
    bench.first.works = False
    bench.run(2, 9.0)
    bench.service.tell()
    bench.service.tell()
    assert len(bench.second.lines) == 1
    (alarm,) = bench.present.kitchen.active_alarms()
    assert [(t.channel, t.accepted) for t in alarm.told] == [("first", False), ("second", True)]


def test_a_restart_tells_nothing_twice_and_keeps_the_alarm(bench: Bench) -> None:
    bench.run(2, 9.0)
    bench.service.tell()
    again = bench.new_service(lambda k, lot, now: None)
    again.start()
    again.tick()
    again.tell()
    assert bench.kinds() == [("room", "product_warm")]
    assert len(bench.first.lines) == 1


def test_the_return_is_told_with_what_happened(bench: Bench) -> None:
    bench.run(5, 9.0)
    bench.service.tell()
    bench.write(AlarmAcknowledged(bench.present.kitchen.active_alarms()[0].id, "going", bench.at + 600))
    bench.run(6, 2.0)
    bench.service.tell()
    assert bench.kinds() == []
    assert bench.first.lines[-1][1] == "returned"
    assert "Meat was above 5.0 °C for" in bench.first.lines[-1][2]


def test_silence_everywhere_is_one_alarm_with_one_cause(bench: Bench) -> None:
    bench.run(1, 3.0)
    for _ in range(60):
        bench.at += 60.0
        bench.service.tick()
    assert bench.kinds() == [("*", "nothing_arrives")]
    (alarm,) = bench.present.kitchen.active_alarms()
    assert alarm.condition.wakes
    assert "meat could pass its limit in Room from " in alarm_text(alarm, "UTC")


def test_one_sensor_silent_beside_others_is_told_for_its_unit(bench: Bench) -> None:
    bench.run(1, 3.0)
    for _ in range(60):
        bench.at += 60.0
        bench.hear("room/air", 3.0)
        bench.service.tick()
    assert bench.kinds() == [("fridge", "channel_silent")]


def test_a_unit_that_cannot_be_worked_on_is_set_aside_and_told_as_unwatched(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    def odd(watch: UnitWatch, now: float, standing: set[str]) -> object:
        if watch.unit.id == "fridge":
            raise ZeroDivisionError("odd")
        return conditions(watch, now, standing)

    monkeypatch.setattr("alerts.service.conditions", odd)
    bench.run(2, 9.0)
    assert ("room", "product_warm") in bench.kinds()
    assert ("fridge", "unwatched") in bench.kinds()
    assert "unit fridge" in bench.present.kitchen.set_aside


def test_a_batch_that_cannot_be_judged_is_set_aside_and_the_watch_goes_on() -> None:
    def broken(kitchen: Kitchen, lot: str, now: float) -> Proposal | None:
        raise ZeroDivisionError("odd")

    bench = Bench(broken)
    bench.furnish()
    bench.run(2, 9.0)
    assert "batch B1" in bench.present.kitchen.set_aside
    assert bench.kinds() == [("room", "product_warm")]


def test_a_proposal_is_recorded_when_its_outcome_changes_and_only_then() -> None:
    said: list[float] = []

    def judge(kitchen: Kitchen, lot: str, now: float) -> Proposal:
        said.append(now)
        disposition = Disposition.HOLD if now > START + 3 * HOUR else Disposition.CONTINUE
        return Proposal(lot, disposition, (), now, "US 1", "test")

    bench = Bench(judge)
    bench.furnish()
    bench.run(6, 3.0)
    recorded = bench.present.kitchen.proposals["B1"]
    assert len(said) > 2
    assert [r.proposal.disposition for r in recorded] == [Disposition.CONTINUE, Disposition.HOLD]


def test_a_moved_tub_is_watched_where_it_now_stands(bench: Bench) -> None:
    bench.run(1, 3.0)
    bench.write(TubMoved("B1", Placement("1", "fridge", bench.at)))
    bench.run(0.1, 9.0)
    assert not bench.service.watches["room"].tubs
    assert [t.lot for t in bench.service.watches["fridge"].tubs] == ["B1"]


def test_a_late_reading_is_seen_by_the_rebuilt_estimate(bench: Bench) -> None:
    bench.run(1, 3.0)
    bench.at += 4 * HOUR
    bench.hear("room/air", 3.0)
    apart = bench.service.estimates()["B1"]
    assert apart.upper_c - apart.lower_c > 3.0
    for minute in range(240):
        bench.hear("room/air", 3.0, at=START + HOUR + minute * 60.0)
    mended = bench.service.estimates()["B1"]
    assert mended.upper_c - mended.lower_c < 0.5


def test_the_cursor_stands_with_the_events_it_caused(bench: Bench) -> None:
    bench.run(2, 9.0)
    assert 0 < bench.journal.cursor("watch") <= bench.readings.head()


def test_a_batch_begun_while_another_is_judged_is_watched_and_judged_like_any() -> None:
    bench = Bench()
    judged: list[str] = []

    def judge(kitchen: Kitchen, lot: str, now: float) -> Proposal:
        if not judged:
            # Another thread writes while this one is at work.
            bench.write(BatchStarted("B2", PLAN, AsMade(3.0), (Placement("1", "fridge", bench.at),)))
        judged.append(lot)
        return Proposal(lot, Disposition.CONTINUE, (), now, "US 1", "test")

    bench.service = bench.new_service(judge)
    bench.furnish()
    bench.run(0.5, 3.0)
    assert [t.lot for t in bench.service.watches["fridge"].tubs] == ["B2"]
    assert "B2" in judged


def test_a_unit_left_undone_when_the_store_refused_is_made_at_the_next_look(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.run(0.1, 3.0)

    def refuse(*args: object) -> None:
        raise StoreFailed("disk full")

    bench.write(UnitDescribed(Unit("cellar", "s", "Cellar", "cold room")))
    with monkeypatch.context() as broken:
        broken.setattr(bench.service, "_rebuild", refuse)
        with pytest.raises(StoreFailed):
            bench.service.tick()
    bench.service.tick()
    assert "cellar" in bench.service.watches


def test_where_a_tub_stood_before_it_came_counts_when_it_is_put_right(bench: Bench) -> None:
    begun = bench.at
    bench.write(BatchStarted("B2", PLAN, AsMade(3.0, 3.0, brine_c=3.0, meat_c=3.0), (Placement("1", "fridge", begun),)))
    bench.run(2, 3.0)
    came = bench.at
    bench.write(TubMoved("B2", Placement("1", "room", came)))
    bench.service.tick()
    before = bench.service.estimates()["B2"].likely_c
    stood = (Placement("1", None, begun, came, 25.0), Placement("1", "room", came))
    bench.write(PlacementCorrected("B2", "1", stood, "it stood on the bench"))
    bench.service.tick()
    assert bench.service.estimates()["B2"].likely_c > before + 5.0


def test_a_sensor_that_is_swapped_or_taken_away_ends_no_alarm(bench: Bench) -> None:
    bench.run(4, 9.0)
    bench.write(AssignmentEnded("room/air", bench.at, "swapped"))
    bench.service.tick()
    assert ("room", "product_warm") in bench.kinds()
    bench.write(ChannelAssigned(Assignment("room/new", Quantity.AIR_TEMPERATURE, "room", "wall", bench.at)))
    bench.service.tick()
    assert ("room", "product_warm") in bench.kinds()
    for _ in range(30):
        bench.at += 60.0
        bench.hear("room/new", 9.0)
        bench.service.tick()
    assert ("room", "product_warm") in bench.kinds()
    assert ("room", "product_warm") not in [a.condition.key for a in bench.present.kitchen.past_alarms.values()]
    assert [a.returned_at for a in bench.present.kitchen.alarms.values() if a.condition.kind == "product_warm"] == [
        None
    ]


def test_a_probe_that_sends_faults_is_not_taken_for_alive_by_a_restart(bench: Bench) -> None:
    bench.run(4, 9.0)
    for _ in range(240):
        bench.at += 60.0
        bench.hear("room/air", 85.0, quality=Quality.PROBE_FAULT)
        bench.hear("fridge/air", 3.0)
        bench.service.tick()
    before = bench.kinds()
    assert ("room", "product_warm") in before and ("room", "unwatched") in before
    bench.restart()
    assert bench.kinds() == before


def test_a_restart_ends_no_alarm_about_silence(bench: Bench) -> None:
    bench.run(1, 3.0)
    for _ in range(180):
        bench.at += 60.0
        bench.hear("fridge/air", 3.0)
        bench.service.tick()
    before = bench.kinds()
    assert ("room", "unwatched") in before and ("room", "channel_silent") in before
    bench.restart()
    assert bench.kinds() == before
    bench.run(0.1, 3.0)
    assert bench.kinds() == []


def test_a_second_excursion_is_a_new_proposal_even_where_the_same_rule_holds() -> None:
    bench = Bench()
    book = load("US")
    bench.service = bench.new_service(lambda k, lot, now: judged(k, lot, bench.readings.series, book, now, "test"))
    bench.furnish()
    for _ in range(2):
        bench.run(8, 9.0)
        bench.run(10, 2.0)
    held = [r.proposal for r in bench.present.kitchen.proposals["B1"] if r.proposal.disposition is Disposition.HOLD]
    counted = [found.parameters["excursions"] for p in held for found in p.findings if found.rule == "e-2"]
    assert set(counted) == {1, 2}


def test_a_restart_does_not_say_that_readings_arrive_again(bench: Bench) -> None:
    bench.run(1, 3.0)
    for _ in range(60):
        bench.at += 60.0
        bench.service.tick()
    assert ("*", "nothing_arrives") in bench.kinds()
    bench.restart()
    assert ("*", "nothing_arrives") in bench.kinds()
    bench.run(0.1, 3.0)
    assert bench.kinds() == []


def test_a_silent_sensor_is_not_called_heard_when_all_fall_silent(bench: Bench) -> None:
    bench.run(1, 3.0)
    for minute in range(120):
        bench.at += 60.0
        if minute < 60:
            bench.hear("room/air", 3.0)
        bench.service.tick()
    assert ("*", "nothing_arrives") in bench.kinds()
    assert ("fridge", "channel_silent") in bench.kinds()


def test_nothing_arrives_ends_when_only_one_unit_is_left_to_hear(bench: Bench) -> None:
    bench.run(1, 3.0)
    for _ in range(60):
        bench.at += 60.0
        bench.service.tick()
    bench.write(AssignmentEnded("fridge/air", bench.at, "given up"))
    bench.run(1, 3.0)
    assert ("*", "nothing_arrives") not in bench.kinds()


def test_an_alarm_that_cannot_be_put_into_words_does_not_silence_the_others(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.run(2, 9.0, 9.0)

    def worded(alarm: Alarm, zone: str, *more: str, **named: str) -> tuple[str, str]:
        if alarm.condition.kind == "channel_silent":
            raise KeyError("odd")
        return alarm.condition.kind, ""

    monkeypatch.setattr("alerts.teller.message", worded)
    odd = Condition("fridge", "channel_silent", "sensor", True, bench.at, sentence="channel_silent")
    bench.write(AlarmRaised(odd))
    bench.service.tell()
    assert [line for _, _, line in bench.first.lines] == ["product_warm"]


def test_meat_that_was_carried_away_warm_is_not_called_back_or_within_its_limit(bench: Bench) -> None:
    bench.run(5, 9.0)
    bench.write(TubMoved("B1", Placement("1", None, bench.at, None, 20.0)))
    bench.service.tick()
    (over,) = bench.present.kitchen.alarms.values()
    assert alarm_text(over, "Europe/London") == (
        "Room: no meat stands in it any more; air 9.0 °C. "
        "Meat was above its limit (estimate). Lot B1 needs a decision before use."
    )


def test_meat_that_has_passed_its_limit_is_never_said_to_pass_it_yet(bench: Bench) -> None:
    bench.run(5, 9.0)
    for _ in range(30):
        bench.run(1 / 6, 6.0)
        bench.run(1 / 6, 2.0)
    assert bench.kinds() == [("room", "product_warm")]
    (alarm,) = bench.present.kitchen.active_alarms()
    assert alarm.condition.sentence == "product_has_passed"


def test_a_service_that_starts_over_and_over_still_tells_of_a_silent_unit(bench: Bench) -> None:
    bench.run(1, 3.0)
    for minute in range(120):
        bench.at += 60.0
        bench.hear("fridge/air", 3.0)
        bench.service.tick()
        if minute % 10 == 9:
            bench.restart()
    assert ("room", "unwatched") in bench.kinds()


def test_what_the_service_slept_through_is_no_silence_of_a_sensor(bench: Bench) -> None:
    bench.run(1, 3.0)
    bench.at += 5 * HOUR
    bench.restart()
    assert bench.kinds() == []


def test_a_unit_set_aside_while_the_store_was_busy_is_watched_again(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.run(1, 3.0)

    def busy(*args: object) -> object:
        raise StoreFailed("busy")

    bench.write(TubMoved("B1", Placement("1", "fridge", bench.at)))
    with monkeypatch.context() as store:
        store.setattr(bench.readings, "series", busy)
        bench.service.tick()
    (said,) = [a for a in bench.present.kitchen.active_alarms() if a.condition.unit == "fridge"]
    assert "1 tub (B1)" in alarm_text(said, "UTC")
    bench.run(0.1, 3.0)
    assert bench.kinds() == []
    assert [t.lot for t in bench.service.watches["fridge"].tubs] == ["B1"]


def test_an_odd_reading_holds_up_none_behind_it(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    def odd(watch: UnitWatch, assignment: Assignment, taken: Taken) -> None:
        if taken.value == 77.0:
            raise ZeroDivisionError("odd")
        take(watch, assignment, taken)

    monkeypatch.setattr("alerts.service.take", odd)
    bench.run(1, 3.0)
    bench.hear("fridge/air", 77.0)
    bench.run(2, 9.0)
    assert bench.service.taken == bench.readings.head()
    assert ("room", "product_warm") in bench.kinds()


def test_everybody_is_told_once_while_the_journal_refuses_and_it_is_recorded_later(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench.service.reach = {"ana": ("first",), "bo": ("second",)}
    bench.write(RotaDescribed((RotaStep("ana", 0.0), RotaStep("bo", 60.0))))
    bench.run(2, 9.0)

    def full(*args: object, **more: object) -> object:
        raise StoreFailed("disk full")

    with monkeypatch.context() as journal:
        journal.setattr(bench.journal, "append", full)
        for _ in range(5):
            bench.at += 1.0
            with pytest.raises(StoreFailed):
                bench.service.tell()
    assert [person for person, _, _ in (*bench.first.lines, *bench.second.lines)] == ["ana", "bo"]
    bench.service.tell()
    (alarm,) = bench.present.kitchen.active_alarms()
    assert [t.person for t in alarm.told] == ["ana", "bo"]


def test_a_probe_goes_where_its_tub_goes(bench: Bench) -> None:
    probe = Assignment("probe", Quantity.BRINE_TEMPERATURE, "room", "in the brine", bench.at, lot="B1", tub="1")
    bench.write(ChannelAssigned(probe))
    bench.run(0.1, 3.0)
    bench.write(TubMoved("B1", Placement("1", "fridge", bench.at)))
    for _ in range(60):
        bench.run(1 / 60, 3.0)
        bench.hear("probe", 12.0)
    assert ("fridge", "product_warm") in bench.kinds()
    assert bench.service.estimates()["B1"].likely_c == 12.0


def test_an_alarm_that_ends_after_a_silence_does_not_say_that_the_meat_stayed_below_its_limit(bench: Bench) -> None:
    bench.run(0.5, 3.0)
    bench.at += 6 * HOUR
    bench.run(1, 6.5)
    assert ("room", "product_warm") in bench.kinds()
    bench.run(1, 2.0)
    (over,) = [a for a in bench.present.kitchen.alarms.values() if a.condition.kind == "product_warm"]
    assert "Whether the meat passed its limit is unknown. Lot B1 needs a decision before use." in alarm_text(
        over, "UTC"
    )


def test_who_is_going_is_not_told_again_while_the_meat_cools_and_is_once_it_rises(bench: Bench) -> None:
    bench.run(5, 9.0)
    bench.service.tell()
    (alarm,) = bench.present.kitchen.active_alarms()
    bench.write(AlarmAcknowledged(alarm.id, "going", bench.at + 60))
    head = len(bench.first.lines)
    bench.run(0.3, 4.0)
    bench.service.tell()
    assert bench.kinds() == [("room", "product_warm")]
    assert len(bench.first.lines) == head
    bench.run(0.1, 12.0)
    bench.service.tell()
    assert bench.first.lines[head][1].startswith("again arrival")


def test_what_a_hand_probe_reads_after_the_last_reading_of_the_air_counts_at_once(bench: Bench) -> None:
    bench.run(1, 3.0)
    bench.at += 20.0
    bench.write(HandReadingEntered(HandReading(bench.at, "temperature", 6.4, Where.CORE, "probe 1", "B1")))
    bench.service.tick()
    assert bench.service.estimates()["B1"].likely_c == pytest.approx(6.4, abs=0.05)


def test_the_end_of_a_cooling_log_is_where_the_estimate_goes_on(bench: Bench) -> None:
    bench.run(1, 12.0)
    bench.at += 20.0
    log = CoreLog("cool", "probe 1", ((bench.at - 3000.0, 57.0), (bench.at, 4.6)), "ana")
    bench.write(CoreLogged("B1", log))
    bench.service.tick()
    assert bench.service.estimates()["B1"].likely_c == pytest.approx(4.6, abs=0.05)


def test_a_unit_out_of_service_is_no_part_of_a_silence_that_others_share(bench: Bench) -> None:
    for unit in ("cellar", "larder"):
        bench.write(
            UnitDescribed(Unit(unit, "s", unit.title(), "cold room")),
            ChannelAssigned(Assignment(f"{unit}/air", Quantity.AIR_TEMPERATURE, unit, "wall", bench.at)),
        )
    bench.write(UnitOutOfService("fridge", "given up"))
    for minute in range(180):
        bench.at += 60.0
        bench.hear("cellar/air", 3.0)
        if minute < 60:
            for unit in ("room", "fridge", "larder"):
                bench.hear(f"{unit}/air", 3.0)
        bench.service.tick()
    (alarm,) = bench.present.kitchen.active_alarms()
    assert (alarm.condition.key, alarm.condition.members) == (("*s/larder", "units_silent"), ("room", "larder"))


def silent_for(bench: Bench, minutes: int, fridge: float = 3.0) -> None:
    """Let time pass in which only the fridge is heard."""
    for _ in range(minutes):
        bench.at += 60.0
        bench.hear("fridge/air", fridge)
        bench.service.tick()


def returned(bench: Bench) -> list[tuple[str, str]]:
    return [a.condition.key for a in bench.present.kitchen.alarms.values() if not a.active]


def test_late_cold_readings_end_no_alarm_of_warm_meat_and_no_blindness_and_a_reading_of_now_does(bench: Bench) -> None:
    bench.run(1, 3.0)
    bench.run(1.2, 9.0)
    warm_until = bench.at
    silent_for(bench, 120)
    assert {("room", "product_warm"), ("room", "unwatched")} <= set(bench.kinds())
    for minute in range(1, 41):
        bench.hear("room/air", 2.0, at=warm_until + 60.0 * minute)
    silent_for(bench, 5)
    assert {("room", "product_warm"), ("room", "unwatched")} <= set(bench.kinds())
    bench.run(0.5, 2.0)
    assert {("room", "product_warm"), ("room", "unwatched")} <= set(returned(bench))
    assert ("room", "product_warm") not in bench.kinds()


def test_late_cold_readings_end_no_alarm_of_the_air(bench: Bench) -> None:
    bench.run(1, 3.0)
    bench.run(1, 14.0)
    warm_until = bench.at
    assert ("room", "air_far_over") in bench.kinds()
    silent_for(bench, 60)
    for minute in range(1, 31):
        bench.hear("room/air", 2.0, at=warm_until + 60.0 * minute)
    silent_for(bench, 1)
    assert ("room", "air_far_over") in bench.kinds()
    bench.run(0.1, 2.0)
    assert ("room", "air_far_over") not in bench.kinds()


def test_meat_that_was_carried_away_ends_its_alarm_though_nothing_is_heard(bench: Bench) -> None:
    bench.run(1, 3.0)
    bench.run(1.2, 9.0)
    silent_for(bench, 120)
    bench.write(TubMoved("B1", Placement("1", "fridge", bench.at)))
    silent_for(bench, 1)
    assert ("room", "product_warm") in returned(bench)


def test_late_warm_readings_of_the_past_raise_no_alarm_while_the_meat_is_known_to_be_cold_now() -> None:
    bench = Bench()
    bench.furnish()
    bench.run(1, 3.0)
    lost_from = bench.at
    silent_for(bench, 240)
    bench.run(5, 1.0)
    before = set(bench.kinds())
    for minute in range(1, 240):
        bench.hear("room/air", 12.0, at=lost_from + 60.0 * minute)
    bench.run(0.1, 1.0)
    assert ("room", "product_warm") not in {a.condition.key for a in bench.present.kitchen.alarms.values()}
    assert set(bench.kinds()) <= before


def test_an_overdue_check_is_told_once_without_waking_and_is_over_when_the_sensor_was_checked() -> None:
    bench = Bench()
    bench.service.due_of = lambda kitchen, unit: due_checks(kitchen, unit, 10 * HOUR)
    bench.furnish()
    kinds: list[set[str]] = []
    for hour in range(14):
        for minute in range(0, 60, 5):
            bench.at = START + hour * HOUR + minute * 60.0
            bench.hear("room/air", 3.0 + 0.1 * (minute % 2))
            bench.hear("fridge/air", 3.0)
            if (hour, minute) == (12, 0):
                check = Calibration(
                    "room/air", "channel", bench.at, "melting ice", 0.1, 0.1, bench.at + HOUR, "ana", 0.5
                )
                bench.write(CalibrationEntered(check))
            bench.service.tick()
        standing = bench.present.kitchen.active_alarms()
        kinds.append({a.condition.unit for a in standing if a.condition.kind == "calibration_overdue"})
        assert not any(a.condition.wakes for a in standing)
    assert kinds[9] == set()
    assert kinds[10] == {"room", "fridge"}
    assert kinds[12] == {"fridge"}
    assert kinds[13] == {"room", "fridge"}


def test_a_restart_knows_that_a_clock_is_behind() -> None:
    bench = Bench()
    bench.furnish()
    for minute in range(0, 90, 5):
        bench.at = START + minute * 60.0
        bench.hear("room/air", 3.0 + 0.1 * (minute % 2), at=bench.at - 600.0 if minute else bench.at)
        bench.hear("fridge/air", 3.0)
    before = bench.service.watches["room"]
    anew = bench.new_service(lambda k, lot, now: None)
    anew.start()
    assert before.clocks["room/air"].wrong() is not None
    assert anew.watches["room"].clocks["room/air"] == before.clocks["room/air"]


def test_a_clock_that_is_put_on_makes_nobody_silent(bench: Bench) -> None:
    bench.run(1, 3.0)
    bench.at += HOUR
    bench.service.tick()
    assert bench.kinds() == []
    bench.run(0.1, 3.0)
    assert bench.kinds() == []


def test_what_is_stored_from_before_the_clock_was_put_back_is_no_sign_of_life(bench: Bench) -> None:
    bench.run(3, 3.0)
    silent_for(bench, 60)
    before = [a.id for a in bench.present.kitchen.active_alarms()]
    assert set(bench.kinds()) == {("room", "channel_silent"), ("room", "unwatched")}
    bench.at -= HOUR + 100.0
    for _ in range(2):
        silent_for(bench, 60)
        bench.restart()
        # The same alarms, not others raised once these were over.
        assert [a.id for a in bench.present.kitchen.active_alarms()] == before
    bench.run(0.1, 3.0)
    assert bench.kinds() == []


def test_what_a_parent_held_back_is_told_once_it_is_over_whatever_the_watch_slept_through(bench: Bench) -> None:
    bench.run(1, 3.0)
    for _ in range(40):
        bench.at += 60.0
        bench.service.tick()
    bench.restart()
    assert bench.kinds() == [("*", "nothing_arrives")]
    silent_for(bench, 6)
    assert bench.kinds() == [("*", "nothing_arrives")]
    silent_for(bench, 2)
    assert bench.kinds() == [("room", "unwatched")]

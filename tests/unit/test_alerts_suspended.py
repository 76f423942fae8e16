"""What is not told for a time, and what is told when that time is over."""

from dataclasses import replace

import pytest

from alerts.alarms import step
from alerts.escalation import REPEAT_S, due
from alerts.sentences import alarm_text
from alerts.suspended import held_back, longest_s, put_back, shelved, shelving_text
from collector.events import AlarmAcknowledged, AlarmTold, Draft, Event, SiteDescribed, UnitDescribed
from collector.events_watching import (
    AlarmShelved,
    AlarmUnshelved,
    UnitInService,
    UnitOutOfService,
    WorkEnded,
    WorkPlanned,
)
from collector.findings import Condition
from collector.fold import fold
from collector.kitchen import Alarm, Kitchen
from collector.readings import Site, Unit
from collector.rota import RotaStep
from collector.storage import MemoryJournal

T, H = 1_764_072_000.0, 3600.0  # 12:00 UTC on 25 November 2025
REACH = {"ana": ("hook",), "bo": ("hook",)}
WARM = Condition(
    "room", "product_warm", "temperature", True, T, ("B1",), T + 5 * H, T + 6 * H, None, "product_may_pass",
    {"unit_name": "Room", "limit_c": 5.0},
)  # fmt: skip
AIR = Condition("room", "air_far_over", "temperature", False, T, sentence="air_far_over")
DOOR = Condition("room", "door_open", "door", False, T, sentence="door_open")
STUCK = Condition("room", "sensor_stuck", "sensor", False, T, sentence="sensor_stuck")
BLIND = Condition("room", "unwatched", "connectivity", True, T, ("B1",), sentence="unwatched")


class Desk:
    """A journal with the state it folds to, and everybody told at once."""

    def __init__(self) -> None:
        self.journal, self.now = MemoryJournal(), T
        self.kitchen = Kitchen(rota=(RotaStep("ana", 0.0), RotaStep("bo", 300.0)))
        self.write("system", SiteDescribed(Site("s", "S", "UTC", "US")))
        self.write("system", UnitDescribed(Unit("room", "s", "Room", "cold room", air_dwell_s=900.0)))

    def append(self, drafts: list[Draft]) -> list[str]:
        seen = self.kitchen.position
        self.kitchen = fold(self.journal.append(drafts, seen=seen, recorded_at=self.now), self.kitchen)
        return [type(draft.event).__name__ for draft in drafts]

    def write(self, by: str, event: Event) -> None:
        self.append([Draft(self.now, by, event)])

    def look(self, *conditions: Condition, at: float | None = None) -> list[str]:
        self.now = self.now if at is None else at
        return self.append(step(self.kitchen, conditions, ["room"], self.now))

    def tell(self, at: float | None = None) -> list[tuple[str, str]]:
        self.now = self.now if at is None else at
        found = due(self.kitchen, REACH, self.now)
        told = [
            Draft(self.now, "watch", AlarmTold(t.alarm, t.occasion, t.person, t.channel, "accepted")) for t in found
        ]
        self.append(told)
        return [(t.person, t.occasion) for t in found]

    def alarm(self, kind: str = "product_warm") -> Alarm:
        every = (*self.kitchen.alarms.values(), *self.kitchen.past_alarms.values())
        return [a for a in every if a.condition.kind == kind][-1]


def shelved_desk(condition: Condition = WARM, for_s: float = H) -> Desk:
    """Return a desk at whose 100th second an alarm was told and at whose 120th it was shelved by Mara."""
    desk = Desk()
    desk.look(condition)
    desk.tell(T + 100)
    desk.now = T + 120
    desk.write("mara", AlarmShelved(desk.alarm(condition.kind).id, desk.now + for_s, "thawing the coil."))
    return desk


def test_nothing_is_told_of_a_shelved_alarm_until_its_time_is_over() -> None:
    desk = shelved_desk()
    for minutes in range(3, 61):
        assert desk.look(WARM, at=T + minutes * 60) == []
        assert desk.tell() == []
    assert shelved(desk.alarm(), T + 119 + H) is not None
    assert shelved(desk.alarm(), T + 120 + H) is None


def test_when_it_ends_and_the_alarm_stands_everybody_concerned_is_told_once_and_again_until_answered() -> None:
    desk = shelved_desk()
    assert desk.look(WARM, at=T + 130 + H) == ["AlarmUnshelved"]
    assert desk.kitchen.alarms[desk.alarm().id].shelvings[0].ended_at == T + 120 + H
    assert desk.tell() == [("ana", "unshelved 1")]
    assert desk.tell(T + 200 + H) == []
    assert desk.tell(T + 121 + H + 300) == [("bo", "unshelved 1")]
    assert desk.tell(T + 131 + H + REPEAT_S) == [("ana", "unshelved 1")]
    desk.write("bo", AlarmAcknowledged(desk.alarm().id, "going", desk.now + 900))
    assert desk.tell(desk.now + REPEAT_S) == []


def test_whoever_heard_before_the_shelving_hears_afterwards_though_another_is_on_call_now() -> None:
    desk = shelved_desk()
    desk.kitchen = replace(desk.kitchen, rota=(RotaStep("bo", 0.0),))
    assert desk.tell(T + 130 + H) == [("ana", "unshelved 1"), ("bo", "unshelved 1")]
    # Ana heard it; the repeat is for whoever is on call.
    assert desk.tell(T + 131 + H + REPEAT_S) == [("bo", "unshelved 1")]


def test_the_telling_at_the_end_waits_for_no_watch() -> None:
    desk = shelved_desk()
    assert desk.tell(T + 121 + H) == [("ana", "unshelved 1")]
    desk.look(WARM)
    assert desk.tell() == []


def test_what_becomes_worse_for_the_meat_is_told_at_once() -> None:
    desk = shelved_desk()
    nearer = replace(WARM, early_at=T + 3 * H, likely_at=T + 4 * H)
    assert desk.look(nearer, at=T + 600) == ["AlarmChanged"]
    assert desk.tell() == [("ana", "changed 1"), ("bo", "changed 1")]
    assert desk.alarm().shelvings[0].why == "worse"


def test_more_of_the_same_in_the_air_stays_shelved() -> None:
    desk = shelved_desk(AIR)
    assert desk.look(replace(AIR, lots=("B1",)), at=T + 600) == ["AlarmChanged"]
    assert desk.tell() == []
    desk.look(replace(AIR, lots=("B1",)), at=T + 130 + H)
    assert desk.tell() == [("ana", "unshelved 1")]


def test_a_return_meanwhile_is_told_at_once_to_whoever_had_been_told() -> None:
    desk = shelved_desk()
    assert desk.look(at=T + 600) == ["AlarmReturned"]
    assert desk.tell() == [("ana", "returned")]
    assert desk.tell(T + 130 + H) == []


def test_a_new_alarm_of_the_same_kind_is_not_shelved() -> None:
    desk = shelved_desk()
    desk.look(at=T + 600)
    desk.look(WARM, at=T + 700)
    assert ("ana", "raised") in desk.tell()


def test_ended_by_hand_it_is_told_again_at_once() -> None:
    desk = shelved_desk()
    desk.now = T + 600
    desk.write("mara", AlarmUnshelved(desk.alarm().id, "hand"))
    assert desk.tell() == [("ana", "unshelved 1")]


def test_an_answer_ends_the_shelving_and_is_held_to_like_any_other() -> None:
    desk = shelved_desk()
    desk.now = T + 600
    desk.write("bo", AlarmAcknowledged(desk.alarm().id, "going", T + 900))
    assert desk.tell() == []
    assert [person for person, _ in desk.tell(T + 900 + 901)] == ["bo", "ana"]


def test_a_clock_put_back_before_the_shelving_ends_it_and_for_good() -> None:
    desk = shelved_desk()
    assert desk.look(WARM, at=T + 600 - H) == ["AlarmUnshelved"]
    # How long it has stood is unknown: nobody is spared.
    assert desk.tell() == [("ana", "unshelved 1"), ("bo", "unshelved 1")]
    assert desk.look(WARM, at=T + 600) == []
    assert shelved(desk.alarm(), T + 600) is None


def test_a_clock_put_back_within_the_shelving_ends_it_where_it_is_seen() -> None:
    desk = shelved_desk(for_s=2 * H)
    at = T + 1.5 * H
    assert put_back(desk.kitchen, at, at + 10) == []
    assert put_back(desk.kitchen, at, at - 30) == []
    drafts = put_back(desk.kitchen, at, at - H)
    assert drafts == [Draft(at - H, "watch", AlarmUnshelved(desk.alarm().id, "clock"))]
    desk.append(drafts)
    assert longest_s(desk.alarm()) == 0.0


@pytest.mark.parametrize(
    ("condition", "hours"), [(WARM, 2.0), (BLIND, 2.0), (AIR, 8.0), (STUCK, 8.0), (replace(AIR, kind="new_kind"), 2.0)]
)
def test_what_judges_the_meat_is_shelved_for_two_hours_in_all_and_a_kind_nobody_knows_too(
    condition: Condition, hours: float
) -> None:
    desk = Desk()
    desk.look(condition)
    assert longest_s(desk.alarm(condition.kind)) == hours * H


def test_what_was_shelved_once_counts_for_meat_alone() -> None:
    assert longest_s(shelved_desk(for_s=H).alarm()) == H
    assert longest_s(shelved_desk(AIR).alarm("air_far_over")) == 8 * H


def test_what_is_said_names_who_shelved_it_when_and_why() -> None:
    desk = shelved_desk()
    desk.look(WARM, at=T + 130 + H)
    said = shelving_text(desk.alarm(), "unshelved 1", "Mara", "UTC")
    assert said == "Shelved by Mara at 12:02: thawing the coil; still stands."
    assert shelving_text(desk.alarm(), "raised", "Mara", "UTC") == ""
    worse = shelved_desk()
    worse.look(replace(WARM, sentence="product_has_passed"), at=T + 600)
    assert shelving_text(worse.alarm(), "changed 1", "Mara", "UTC").endswith("it has become worse.")


def test_of_a_unit_out_of_service_nothing_is_raised_and_what_stood_returns_by_a_sentence_of_its_own() -> None:
    desk = Desk()
    desk.look(AIR)
    desk.tell()
    desk.write("mara", UnitOutOfService("room", "new compressor."))
    assert desk.look(AIR, STUCK, at=T + 60) == ["AlarmReturned"]
    said = alarm_text(desk.alarm("air_far_over"), "UTC")
    assert "out of service since Tue 25 Nov 12:00 (new compressor)." in said
    assert desk.tell() == [("ana", "returned")]
    assert desk.look(AIR, STUCK, at=T + 2 * H) == []
    desk.write("mara", UnitInService("room", "it runs"))
    assert desk.look(AIR, at=T + 3 * H) == ["AlarmRaised"]


def test_nothing_arriving_is_nothing_new_where_every_unit_is_out_of_service() -> None:
    desk = Desk()
    gone = Condition("*", "nothing_arrives", "connectivity", False, T, sentence="nothing_arrives")

    def raised() -> list[Draft]:
        return step(desk.kitchen, [gone], ["room", "*"], desk.now)

    assert len(raised()) == 1
    desk.write("mara", UnitOutOfService("room", "closed for the summer"))
    assert raised() == []
    desk.write("system", UnitDescribed(Unit("other", "s", "Other", "cold room")))
    assert len(raised()) == 1


def test_planned_work_holds_back_air_and_door_of_its_unit_and_nothing_else() -> None:
    desk = Desk()
    desk.write("mara", WorkPlanned("room", "cleaning", T + H, T + 3 * H))
    for condition in (WARM, BLIND, STUCK, replace(AIR, unit="other")):
        assert held_back(desk.kitchen, condition, T + 2 * H) is None
    held = [held_back(desk.kitchen, DOOR, T + hours * H) is not None for hours in (0.9, 1, 2.9, 3)]
    assert held == [False, True, True, False]
    # The air has its dwell of a quarter of an hour once more.
    assert [held_back(desk.kitchen, AIR, T + h * H) is not None for h in (0.9, 1, 3, 3.2, 3.25)] == [
        False, True, True, True, False,
    ]  # fmt: skip
    assert desk.look(WARM, AIR, DOOR, BLIND, at=T + 2 * H) == ["AlarmRaised", "AlarmRaised"]
    assert desk.look(WARM, AIR, DOOR, BLIND, at=T + 3 * H) == ["AlarmRaised"]
    assert desk.look(WARM, AIR, DOOR, BLIND, at=T + 3.5 * H) == ["AlarmRaised"]


def test_what_stood_before_the_work_stands_and_is_told_after_it_if_nobody_was() -> None:
    desk = Desk()
    desk.write("mara", WorkPlanned("room", "loading", T + H, T + 2 * H))
    desk.look(DOOR, at=T + H - 1)
    assert desk.look(DOOR, at=T + H) == []
    assert desk.tell() == []
    assert desk.tell(T + 2 * H) == [("ana", "raised")]


def test_a_return_is_told_while_the_work_goes_on() -> None:
    desk = Desk()
    desk.look(DOOR)
    desk.tell()
    desk.write("mara", WorkPlanned("room", "loading", T + H, T + 2 * H))
    desk.look(at=T + 1.5 * H)
    assert desk.tell() == [("ana", "returned")]


def test_work_called_off_holds_nothing_back() -> None:
    desk = Desk()
    desk.write("mara", WorkPlanned("room", "cleaning", T + H, T + 3 * H))
    name = desk.kitchen.planned_work[0].id
    desk.write("mara", WorkEnded(name, "hand"))
    assert held_back(desk.kitchen, AIR, T + 1.1 * H) is None


def test_a_clock_put_back_ends_work_that_had_begun_and_leaves_what_is_to_come() -> None:
    desk = Desk()
    desk.write("mara", WorkPlanned("room", "cleaning", T + H, T + 2 * H))
    desk.write("mara", WorkPlanned("room", "loading", T + 6 * H, T + 7 * H))
    drafts = put_back(desk.kitchen, T + 1.5 * H, T + 0.5 * H)
    assert [draft.event for draft in drafts] == [WorkEnded(desk.kitchen.planned_work[0].id, "clock")]
    desk.append(drafts)
    assert held_back(desk.kitchen, DOOR, T + 1.2 * H) is None
    assert held_back(desk.kitchen, DOOR, T + 6.5 * H) is not None

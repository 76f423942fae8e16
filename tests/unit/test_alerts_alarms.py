"""The life of an alarm."""

from dataclasses import replace

from alerts.alarms import step
from collector.events import AlarmAcknowledged, AlarmChanged, AlarmRaised, AlarmReturned, Draft
from collector.findings import Condition
from collector.fold import fold
from collector.kitchen import Kitchen
from collector.storage import MemoryJournal

WARM = Condition(
    "room", "product_warm", "temperature", True, 10.0, ("B1",), 9000.0, 12000.0, 20000.0, "product_may_pass"
)


class Desk:
    """A journal with the state it folds to."""

    def __init__(self) -> None:
        self.journal, self.kitchen = MemoryJournal(), Kitchen()

    def write(self, drafts: list[Draft]) -> list[str]:
        self.kitchen = fold(self.journal.append(drafts, seen=self.kitchen.position, recorded_at=0.0), self.kitchen)
        return [type(d.event).__name__ for d in drafts]

    def step(self, *conditions: Condition, units: tuple[str, ...] = ("room",), now: float = 20.0) -> list[str]:
        return self.write(step(self.kitchen, conditions, units, now))


def test_a_condition_raises_one_alarm_however_often_it_is_seen() -> None:
    desk = Desk()
    assert desk.step(WARM) == ["AlarmRaised"]
    assert desk.step(WARM) == []
    assert desk.step(replace(WARM, parameters={"air_c": 9.9})) == []


def test_the_alarm_changes_when_its_sentence_moves_on_more_batches_join_or_time_runs_short() -> None:
    desk = Desk()
    desk.step(WARM)
    assert desk.step(replace(WARM, early_at=8000.0)) == []
    assert desk.step(replace(WARM, early_at=7200.0)) == [], "the likely time is where it was"
    assert desk.step(replace(WARM, early_at=7200.0, likely_at=10200.0)) == ["AlarmChanged"]
    assert desk.step(replace(WARM, early_at=5000.0, likely_at=8000.0, lots=("B1", "B2"))) == ["AlarmChanged"]
    assert desk.step(replace(WARM, sentence="product_has_passed")) == ["AlarmChanged"]


def test_a_crossing_that_was_not_to_be_expected_and_now_is_has_come_nearer() -> None:
    desk = Desk()
    desk.step(replace(WARM, likely_at=None))
    assert desk.step(replace(WARM, early_at=7000.0, likely_at=None)) == ["AlarmChanged"]
    assert desk.step(replace(WARM, early_at=6000.0, likely_at=9000.0)) == []
    assert desk.step(replace(WARM, early_at=5000.0, likely_at=9000.0)) == ["AlarmChanged"]


def test_without_its_condition_it_returns_and_stays_until_acknowledged() -> None:
    desk = Desk()
    desk.step(WARM)
    assert desk.step() == ["AlarmReturned"]
    assert desk.kitchen.alarms["A1"].state == "returned to normal, unacknowledged"
    desk.write([Draft(30.0, "ana", AlarmAcknowledged("A1", "going"))])
    assert not desk.kitchen.alarms
    assert desk.kitchen.past_alarms["A1"].state == "normal"


def test_an_acknowledged_alarm_that_returns_is_over() -> None:
    desk = Desk()
    desk.step(WARM)
    desk.write([Draft(30.0, "ana", AlarmAcknowledged("A1", "going"))])
    assert desk.kitchen.alarms["A1"].state == "acknowledged alarm"
    desk.step()
    assert desk.kitchen.past_alarms["A1"].state == "normal"


def test_units_that_were_not_judged_keep_their_alarms() -> None:
    desk = Desk()
    desk.step(WARM)
    assert desk.step(units=("fridge",)) == []
    assert [a.id for a in desk.kitchen.active_alarms()] == ["A1"]


def test_the_same_trouble_after_a_return_is_a_new_alarm() -> None:
    desk = Desk()
    desk.step(WARM)
    desk.step()
    assert desk.step(WARM) == ["AlarmRaised"]
    assert [a.id for a in desk.kitchen.active_alarms()] == ["A3"]


def test_events_carry_what_the_record_needs() -> None:
    desk = Desk()
    drafts = step(desk.kitchen, [WARM], ["room"], 20.0)
    assert drafts == [Draft(20.0, "watch", AlarmRaised(WARM))]
    desk.write(drafts)
    returned = step(desk.kitchen, [], ["room"], 40.0, {WARM.key: {"peak_c": 6.4}})[0].event
    assert returned == AlarmReturned("A1", "product_warm_returned", {"peak_c": 6.4})
    passed = replace(WARM, sentence="product_has_passed")
    assert step(desk.kitchen, [passed], ["room"], 40.0)[0].event == AlarmChanged("A1", passed)

"""A fault rehearsed from reading to answer, on a real journal's place held by one in memory."""

import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import pytest

from alerts.channels.base import Sent
from alerts.escalation import Telling
from alerts.rehearsal import KIND, NotHeld, Rehearsal, Stage, raised_after
from alerts.staged import LOT
from collector.batches import Placement
from collector.drills import REAL_ALARM, Drill
from collector.events import (
    AlarmRaised,
    BatchStarted,
    Draft,
    Event,
    PersonDescribed,
    RotaDescribed,
    SiteDescribed,
    UnitDescribed,
)
from collector.events_drill import DrillAnswered
from collector.findings import Condition
from collector.kitchen import Alarm, Kitchen
from collector.present import Present
from collector.readings import Site, Unit
from collector.rota import RotaStep
from collector.storage import MemoryJournal
from tests.office import plan, sheet

SITE = Site("s", "Site", "UTC", "US", checks=("00:00", "23:59"))
ROOM = Unit("room", "s", "Cold room", "cold room")
REAL = Condition("room", "product_warm", "temperature", True, 0.0, sentence="product_may_pass")
Then = Callable[[str], None]


@dataclass
class Way:
    """One way to people; after each message something may happen."""

    works: bool = True
    then: Then = lambda person: None
    sent: list[tuple[Telling, Alarm, str, str]] = field(default_factory=list)

    def send(self, telling: Telling, alarm: Alarm, first_line: str, body: str) -> Sent:
        self.sent.append((telling, alarm, first_line, body))
        self.then(telling.person)
        return Sent(self.works, "HTTP 204" if self.works else "HTTP 500")


class Place:
    """A kitchen with a batch in its room, Ana on call at once and Bo later."""

    def __init__(self, site: Site = SITE, wait_s: float = 20.0) -> None:
        self.hook, self.mail = Way(), Way()
        self.journal = MemoryJournal()
        self.present = Present(self.journal, time.time)
        placed = (Placement("1", "room", time.time() - 86_400.0),)
        self.write(
            SiteDescribed(site), PersonDescribed("ana", "Ana", ()), PersonDescribed("bo", "Bo", ()),
            RotaDescribed((RotaStep("ana", 0.0), RotaStep("bo", 600.0))), UnitDescribed(ROOM),
            BatchStarted("BRISKET-1", plan("brisket", "beef", "brisket", 5.0), sheet(), placed),
        )  # fmt: skip
        self.site = site
        self.said: list[str] = []
        self.rehearsal = Rehearsal(
            self.present, {"webhook": self.hook, "email": self.mail}, {"ana": ("webhook", "email"), "bo": ("email",)},
            lambda drill, person, now: f"https://here.example/a/{drill}-{person}", self.said.append, wait_s,
        )  # fmt: skip

    def write(self, *events: Event) -> None:
        self.present.decide(lambda kitchen: [Draft(time.time(), "ana", event) for event in events])

    def hold(self) -> str:
        return self.rehearsal.hold(self.site, ROOM, 5.0)

    @property
    def drill(self) -> Drill:
        return list(self.present.kitchen.drills.values())[-1]

    def answers(self, person: str) -> None:
        if self.drill.open and not self.drill.answered:
            self.write(DrillAnswered(self.drill.id, person, "link"))

    def undrilled(self) -> Kitchen:
        return replace(self.present.kitchen, drills={}, position=0)


@pytest.fixture
def place() -> Place:
    return Place()


def test_it_is_raised_told_by_the_next_way_at_once_confirmed_and_told_as_over(place: Place) -> None:
    before = place.undrilled()
    place.hook.works = False
    place.mail.then = place.answers
    assert place.hold() == "answered"
    said = "\n".join(place.said)
    assert "raised: Cold room: meat may pass 5.0 °C from " in said
    assert "told Ana by webhook: FAILED (HTTP 500)" in said
    assert "told Ana by email: accepted (HTTP 204)" in said
    assert "Ana confirmed, after " in said
    assert "told Ana that it is over by email: accepted (HTTP 204)" in said
    assert [t.person for t, _, _, _ in place.mail.sent] == ["ana", "ana"], "Bo's time had not come"
    assert place.undrilled() == before, "nothing but the drill was written"
    assert (place.drill.reason, place.drill.unit, place.drill.missing) == ("answered", "room", ("bo",))
    assert not place.drill.open


def test_every_message_begins_with_drill_says_that_nobody_need_go_and_is_marked_for_programs(place: Place) -> None:
    place.hook.then = place.answers
    place.hold()
    assert len(place.hook.sent) == 2
    for telling, alarm, first, body in place.hook.sent:
        assert first.startswith("DRILL: Cold room: ")
        assert "This is a drill: nothing warms" in body
        assert "BRISKET-1" not in first + body
        assert telling.occasion.split()[0] == "drill"
        assert alarm.id == place.drill.id
    (_, _, first, body), (_, _, _, over) = place.hook.sent
    assert LOT in first
    assert f"https://here.example/a/{place.drill.id}-ana" in body
    assert "The drill is over." in over


def test_nobody_answering_the_next_one_is_named_and_it_ends_when_its_time_is_over() -> None:
    place = Place(wait_s=1.5)
    assert place.hold() == "nobody confirmed within 0.025 min"
    assert sum("next, if nobody confirms: Bo at " in line for line in place.said) == 1
    assert [t.occasion for t, _, _, _ in place.hook.sent] == ["drill raised", "drill returned"]
    assert place.drill.missing == ("ana", "bo")
    assert not place.drill.open


def test_a_real_alarm_ends_it_at_once_and_nobody_hears_of_the_drill_any_more(place: Place) -> None:
    place.hook.works = False
    place.hook.then = lambda person: place.write(AlarmRaised(REAL))
    assert place.hold() == REAL_ALARM
    assert len(place.hook.sent) == 1
    assert place.mail.sent == []
    kinds = [type(entry.event).__name__ for entry in place.journal.read(0, 999)]
    assert kinds.count("DrillEnded") == 0, "the alarm itself has ended it"
    assert place.drill.reason == REAL_ALARM


def test_while_an_alarm_stands_or_out_of_hours_none_begins() -> None:
    alarmed = Place()
    alarmed.write(AlarmRaised(REAL))
    with pytest.raises(NotHeld, match="an alarm stands"):
        alarmed.hold()
    closed = Place(replace(SITE, checks=("00:00", "00:00")))
    with pytest.raises(NotHeld, match="outside opening hours"):
        closed.hold()
    assert not alarmed.present.kitchen.drills and not closed.present.kitchen.drills


def test_stopped_by_hand_it_is_ended_in_the_journal(place: Place) -> None:
    def stops(words: str) -> None:
        raise KeyboardInterrupt

    place.rehearsal.say = stops
    with pytest.raises(KeyboardInterrupt):
        place.hold()
    assert (place.drill.open, place.drill.reason) == (False, "it was stopped")


def test_the_watch_itself_raises_the_alarm_at_the_present_instant() -> None:
    place, now = Place(), time.time()
    after_s = raised_after(place.present.kitchen, SITE, ROOM, 5.0, now)
    assert 1800.0 < after_s < 4 * 3600.0
    stage = Stage(place.present.kitchen, SITE, ROOM, 5.0, now - after_s)
    stage.play(now - 120.0)
    assert stage.alarm is None
    stage.go_on(now + 60.0)
    assert stage.alarm is not None and stage.alarm.condition.kind == KIND
    assert abs(stage.alarm.raised_at - now) <= 90.0

"""The morning list: one message for each person, the least time left first, and a record of its own for every alarm."""

from dataclasses import dataclass, field

from alerts.channels.base import Channel, Sent
from alerts.escalation import Telling
from alerts.letters import NAMED_MOST, letters
from alerts.teller import Teller
from collector.events import AlarmRaised, AlarmTold, Draft, Event, PersonDescribed, SiteDescribed, UnitDescribed
from collector.findings import Condition
from collector.kitchen import Alarm
from collector.present import Present
from collector.readings import Site, Unit
from collector.storage import MemoryJournal

EVENING = 1_764_021_600.0
"""22:00 in London, 24 November 2025."""
MORNING = EVENING + 9 * 3600.0
"""07:00: the first check of the day, where the quiet hours end."""
REACH = {"ana": ("first", "second"), "bo": ("second",)}


def condition(unit: str, kind: str, category: str = "sensor", early_at: float | None = None) -> Condition:
    """Return something that wakes nobody."""
    name = unit.title()
    figures: dict[str, float | int | str | None] = {"unit_name": name, "channels": f"{unit}/air", "since_at": EVENING}
    return Condition(unit, kind, category, False, EVENING, (), early_at, sentence=kind, parameters=figures)


@dataclass
class Way:
    """A channel that remembers."""

    heard: list[tuple[Telling, str, str]] = field(default_factory=list)
    works: bool = True

    def send(self, telling: Telling, alarm: Alarm, first_line: str, body: str) -> Sent:
        self.heard.append((telling, first_line, body))
        return Sent(self.works, "" if self.works else "refused")


class Bench:
    """A kitchen at night, two people who are both called, and a clock that is set."""

    def __init__(self, *conditions: Condition, at_once: int = 1) -> None:
        self.at = EVENING
        self.journal = MemoryJournal()
        self.present = Present(self.journal, lambda: self.at)
        self.write(
            SiteDescribed(Site("s", "Site", "Europe/London", "US")),
            UnitDescribed(Unit("cellar", "s", "Cellar", "cold room")),
            UnitDescribed(Unit("fridge", "s", "Fridge", "fridge")),
            PersonDescribed("ana", "Ana", ("operator",)),
            PersonDescribed("bo", "Bo", ("operator",)),
            *(AlarmRaised(one) for one in conditions),
        )
        self.first, self.second = Way(), Way()
        ways: dict[str, Channel] = {"first": self.first, "second": self.second}
        self.teller = Teller(self.present, lambda: self.at, ways, lambda alarm, person, now: f"/a/{alarm}", at_once)

    def write(self, *events: Event) -> None:
        self.present.decide(lambda kitchen: [Draft(self.at, "watch", event) for event in events])

    def tell(self, at: float) -> None:
        self.at = at
        self.teller.tell(REACH)

    def steps(self, person: str) -> list[tuple[str, str, str]]:
        """Every step in the journal for a person: alarm, channel, state."""
        told = [entry.event for entry in self.journal.read(0, 1000) if isinstance(entry.event, AlarmTold)]
        return [(t.alarm, t.channel, t.state) for t in told if t.person == person]


SILENT, STUCK = condition("fridge", "channel_silent"), condition("cellar", "sensor_stuck")
LEVEL = condition("cellar", "warm_level", "temperature")
DUE = condition("fridge", "warm_level", "temperature", early_at=MORNING + 3600.0)


def test_what_waited_is_one_message_for_each_person_when_the_quiet_hours_end_and_never_again() -> None:
    bench = Bench(SILENT, STUCK, LEVEL)
    bench.tell(EVENING + 60.0)
    bench.tell(MORNING - 1.0)
    assert (bench.first.heard, bench.second.heard) == ([], [])
    bench.tell(MORNING)
    for later in (1.0, 600.0, 6000.0, 40_000.0):
        bench.tell(MORNING + later)
    ((to_ana, line, body),) = bench.first.heard
    ((to_bo, _, _),) = bench.second.heard
    assert (to_ana.person, to_bo.person) == ("ana", "bo")
    assert line == (
        "For the morning, 3 alarms: Cellar: meat close to its limit; Fridge: sensor silent; and 1 more. "
        "Nobody was woken for them."
    )
    assert [row.split(":")[0] for row in body.splitlines() if row[0].isdigit()] == [
        "1. Cellar",
        "2. Fridge",
        "3. Cellar",
    ]
    assert [row.strip() for row in body.splitlines() if "/a/" in row] == [
        "Answer: /a/A8",
        "Answer: /a/A6",
        "Answer: /a/A7",
    ]


def test_every_alarm_of_a_list_keeps_its_own_record() -> None:
    bench = Bench(SILENT, STUCK)
    bench.tell(MORNING)
    assert bench.steps("ana") == [
        ("A6", "first", "attempting"), ("A7", "first", "attempting"),
        ("A6", "first", "accepted"), ("A7", "first", "accepted"),
    ]  # fmt: skip


def test_a_list_that_was_refused_goes_out_as_a_list_by_the_next_way() -> None:
    bench = Bench(SILENT, STUCK)
    bench.first.works = False
    bench.tell(MORNING)
    bench.tell(MORNING)
    assert len(bench.first.heard) == 1
    assert [(t.person, t.others) for t, _, _ in bench.second.heard] == [("bo", ("A7",)), ("ana", ("A7",))]
    assert [state for _, _, state in bench.steps("ana")] == ["attempting"] * 2 + ["failed"] * 2 + ["attempting"] * 2 + [
        "accepted"
    ] * 2


def test_the_least_time_left_comes_first_then_meat_before_instruments() -> None:
    bench = Bench(SILENT, LEVEL, DUE)
    tellings = [Telling(name, "raised", "ana", "first") for name in ("A6", "A7", "A8")]
    ((first, second, third),) = letters(bench.present.kitchen, tellings)
    assert (first.alarm, second.alarm, third.alarm) == ("A8", "A7", "A6")


def test_what_wakes_somebody_goes_by_itself_and_before_the_list() -> None:
    warm = Condition("cellar", "product_warm", "temperature", True, EVENING, ("B1",), sentence="product_may_pass")
    bench = Bench(SILENT, warm, STUCK)
    bench.tell(MORNING)
    assert [t.alarm for t, _, _ in bench.first.heard] == ["A7", "A6"]
    assert [t.others for t, _, _ in bench.first.heard] == [(), ("A8",)]


def test_one_alarm_alone_is_told_as_itself() -> None:
    bench = Bench(SILENT)
    bench.tell(MORNING)
    ((telling, line, _),) = bench.first.heard
    assert telling.others == ()
    assert line == "Fridge: no reading from fridge/air since 22:00."


def test_by_day_a_list_says_nothing_of_the_night() -> None:
    bench = Bench()
    bench.at = MORNING + 3600.0
    bench.write(AlarmRaised(SILENT), AlarmRaised(STUCK))
    bench.tell(MORNING + 3600.0)
    ((_, line, _),) = bench.first.heard
    assert line == "2 alarms: Fridge: sensor silent; Cellar: sensor stuck."
    assert NAMED_MOST == 2


def test_an_alarm_that_cannot_be_put_into_words_stands_in_the_list_by_its_name() -> None:
    odd = Condition("cellar", "sensor_stuck", "sensor", False, EVENING, sentence="no such sentence")
    bench = Bench(SILENT, odd)
    bench.tell(MORNING)
    ((_, _, body),) = bench.first.heard
    assert "Cellar: sensor stuck: see alarm A7." in body
    assert [state for _, _, state in bench.steps("ana")][-2:] == ["accepted", "accepted"]


def test_a_list_takes_one_place_among_the_attempts_that_are_made_at_once() -> None:
    bench = Bench(SILENT, STUCK, LEVEL, at_once=2)
    bench.tell(MORNING)
    bench.teller.settle()
    assert (len(bench.first.heard), len(bench.second.heard)) == (1, 1)

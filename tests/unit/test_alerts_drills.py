"""When a drill may be held, and the weekly one from its beginning to its end, on a journal in memory."""

from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from alerts.channels.base import Sent
from alerts.drilling import WeeklyDrill
from alerts.drills import CONFIRM_S, drill_words, last_due, refusal, weekly_begins
from alerts.escalation import Telling
from collector.events import AlarmRaised, Draft, Event, PersonDescribed, RotaDescribed, SiteDescribed
from collector.events_drill import DrillAnswered, DrillStarted
from collector.findings import Condition
from collector.kitchen import Alarm, Kitchen, Person
from collector.present import Present
from collector.readings import Site
from collector.rota import RotaStep
from collector.storage import MemoryJournal, StoreFailed

ZONE = "Europe/Rome"
SITE = Site("s", "Site", ZONE, "EU", checks=("07:00", "15:00"))
WARM = Condition("room", "product_warm", "temperature", True, 0.0, sentence="product_may_pass")


def wall(text: str) -> float:
    """Return an instant by the walls of the site: `2026-11-24 10:00`."""
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(ZONE)).timestamp()


TUESDAY = wall("2026-11-24 10:00")


@dataclass
class Way:
    """One way to people, that takes what it is given or does not."""

    works: bool = True
    sent: list[tuple[str, str, str, str]] = field(default_factory=list)

    def send(self, telling: Telling, alarm: Alarm, first_line: str, body: str) -> Sent:
        self.sent.append((telling.person, telling.occasion, first_line, body))
        return Sent(self.works, "" if self.works else "HTTP 500")


class Week:
    """A kitchen with three people, and the weekly drill on it."""

    def __init__(self, weekly: str = "Tue 10:00") -> None:
        self.now = TUESDAY - 60.0
        self.hook, self.mail = Way(), Way()
        self.journal = MemoryJournal()
        self.present = Present(self.journal, lambda: self.now)
        self.write(
            SiteDescribed(SITE), *(PersonDescribed(p.lower(), p, ("operator",)) for p in ("Ana", "Bo", "Mara")),
            RotaDescribed((RotaStep("ana", 0.0), RotaStep("bo", 600.0), RotaStep("mara", 1200.0))),
        )  # fmt: skip
        reach = {"ana": ("webhook", "email"), "bo": ("email",), "mara": ("webhook",)}
        self.drill = self.made(reach, weekly)

    def made(self, reach: dict[str, tuple[str, ...]], weekly: str) -> WeeklyDrill:
        channels = {"webhook": self.hook, "email": self.mail}
        link_for = "https://here.example/a/{}-{}".format
        return WeeklyDrill(self.present, channels, reach, lambda d, p, now: link_for(d, p), lambda: self.now, weekly)

    def write(self, *events: Event) -> None:
        self.present.decide(lambda kitchen: [Draft(self.now, "ana", event) for event in events])

    def at(self, text: str) -> int:
        self.now = wall(text)
        return self.drill.step()

    @property
    def kitchen(self) -> Kitchen:
        return self.present.kitchen

    @property
    def last(self) -> str:
        return drill_words(self.kitchen, list(self.kitchen.drills.values())[-1], ZONE)

    def kinds(self) -> list[str]:
        return [type(entry.event).__name__ for entry in self.journal.read(0, 999)]


def test_at_its_time_everybody_is_called_once_by_their_first_way_with_a_link_of_their_own() -> None:
    week = Week()
    assert week.at("2026-11-24 09:59") == 0
    assert week.at("2026-11-24 10:00") == 3
    assert [week.at("2026-11-24 10:01"), week.at("2026-11-24 11:59")] == [0, 0]
    assert [(who, what) for who, what, _, _ in [*week.hook.sent, *week.mail.sent]] == [
        ("ana", "drill"), ("mara", "drill"), ("bo", "drill"),
    ]  # fmt: skip
    _, _, first, body = week.mail.sent[0]
    assert first.split()[0] == "DRILL:"
    (drill,) = week.kitchen.drills
    assert f"https://here.example/a/{drill}-bo" in body
    assert "Estimates only" in body


def test_a_way_that_fails_is_followed_by_the_next_at_once_and_whoever_none_reaches_stays_missing() -> None:
    week = Week()
    week.hook.works = False
    assert week.at("2026-11-24 10:00") == 4
    assert [who for who, _, _, _ in week.mail.sent] == ["bo", "ana"]
    assert week.at("2026-11-24 10:05") == 0
    assert "Ana, Bo and Mara have not" in week.last


def test_nobody_is_called_again_because_the_journal_refuses_to_write_down_that_they_were(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    week = Week()
    append, taken = week.journal.append, list[bool]()

    def append_once(*drafts: Any, **more: Any) -> Any:
        taken.append(len(taken) < 1)  # the beginning of the drill
        if not taken[-1]:
            raise StoreFailed("the disk is full")
        return append(*drafts, **more)

    monkeypatch.setattr(week.journal, "append", append_once)
    for minute in ("00", "01", "02"):
        with pytest.raises(StoreFailed):
            week.at(f"2026-11-24 10:{minute}")
    assert len(week.hook.sent) == 1
    monkeypatch.setattr(week.journal, "append", append)
    week.at("2026-11-24 10:03")
    assert [who for who, _, _, _ in [*week.hook.sent, *week.mail.sent]] == ["ana", "mara", "bo"]
    assert week.kinds().count("DrillTold") == 3


def test_when_everybody_has_confirmed_it_is_over_and_nobody_is_named() -> None:
    week = Week()
    week.at("2026-11-24 10:00")
    (drill,) = week.kitchen.drills
    week.write(*(DrillAnswered(drill, person, "link") for person in ("ana", "bo", "mara")))
    assert week.last == "Tue 24 Nov 10:00, 3 of 3 have confirmed"
    assert week.at("2026-11-24 12:01") == 0
    assert "DrillEnded" not in week.kinds()


def test_after_two_hours_whoever_has_not_confirmed_is_named_to_the_others_once() -> None:
    week = Week()
    week.at("2026-11-24 10:00")
    (drill,) = week.kitchen.drills
    week.write(DrillAnswered(drill, "ana", "link"), DrillAnswered(drill, "bo", "page"))
    assert week.last == "Tue 24 Nov 10:00, 2 of 3 have confirmed; Mara has not"
    week.hook.sent.clear()
    week.mail.sent.clear()
    assert [week.at("2026-11-24 11:59"), week.at("2026-11-24 12:00"), week.at("2026-11-24 12:01")] == [0, 2, 0]
    assert [(who, what) for who, what, _, _ in [*week.hook.sent, *week.mail.sent]] == [
        ("ana", "drill missing"), ("bo", "drill missing"),
    ]  # fmt: skip
    assert week.mail.sent[0][2] == (
        "DRILL: Mara has not confirmed the drill of Tue 24 Nov 10:00. This is no alarm; nobody need go."
    )
    assert week.kinds()[-1] == "DrillEnded"
    week.write(DrillAnswered(drill, "mara", "link"))
    assert week.last == "Tue 24 Nov 10:00, 3 of 3 have confirmed"


def test_naming_waits_for_the_day() -> None:
    week = Week("Tue 14:50")
    week.at("2026-11-24 14:50")
    week.now = wall("2026-11-24 23:30")
    late = replace(week.kitchen, drills={n: replace(d, started_at=wall("2026-11-24 20:30")) for n, d in
                                         week.kitchen.drills.items()})  # fmt: skip
    week.present._kitchen = late
    assert week.drill.step() == 0
    assert week.at("2026-11-25 07:00") == 0, "nobody has confirmed, so that nobody is left to hear of it"
    assert week.kinds()[-1] == "DrillEnded"


def test_while_an_alarm_stands_there_is_none_and_it_is_held_later_that_day() -> None:
    week = Week()
    week.write(AlarmRaised(WARM))
    assert week.at("2026-11-24 10:00") == 0
    assert not week.kitchen.drills
    week.present._kitchen = replace(week.kitchen, alarms={})
    assert week.at("2026-11-24 11:30") == 3


def test_a_real_alarm_ends_it_in_the_middle_of_the_calls() -> None:
    week = Week()
    send, hook = week.hook.send, week.hook

    def then_warms(telling: Telling, alarm: Alarm, first_line: str, body: str) -> Sent:
        week.write(AlarmRaised(WARM))
        return send(telling, alarm, first_line, body)

    hook.send = then_warms  # type: ignore[method-assign]
    assert week.at("2026-11-24 10:00") == 1
    assert week.mail.sent == []
    assert week.at("2026-11-24 12:30") == 0
    assert week.last == (
        "Tue 24 Nov 10:00, 0 of 3 have confirmed; Ana, Bo and Mara have not; it was ended because a real alarm began"
    )


def test_cut_off_in_the_middle_a_new_start_calls_only_those_who_were_not_called() -> None:
    week = Week()
    calls = week.hook.send

    def dies(telling: Telling, alarm: Alarm, first_line: str, body: str) -> Sent:
        if telling.person == "mara":
            raise SystemExit
        return calls(telling, alarm, first_line, body)

    week.hook.send = dies  # type: ignore[method-assign]
    with pytest.raises(SystemExit):
        week.at("2026-11-24 10:00")
    week.hook.send = calls  # type: ignore[method-assign]
    again = week.made(dict(week.drill.reach), "Tue 10:00")  # type: ignore[arg-type]
    before = len(week.hook.sent) + len(week.mail.sent)
    assert again.step() == 3 - before
    assert sorted(who for who, _, _, _ in [*week.hook.sent, *week.mail.sent]) == ["ana", "bo", "mara"]


def kitchen() -> Kitchen:
    return Kitchen(sites={"s": SITE}, people={"ana": Person("ana", "Ana", ())})


@pytest.mark.parametrize(
    ("when", "may"),
    [("06:59", False), ("07:00", True), ("14:59", True), ("15:00", False), ("03:00", False), ("23:00", False)],
)
def test_a_drill_is_held_between_the_first_and_the_last_check_alone(when: str, may: bool) -> None:
    why = refusal(kitchen(), SITE, wall(f"2026-11-24 {when}"))
    assert (why == "") is may
    assert may or "outside opening hours (07:00 to 15:00)" in why


def test_none_is_held_on_top_of_another_but_one_that_nobody_ended_bars_it_for_two_hours_only() -> None:
    week = Week("")
    week.now = TUESDAY
    week.write(DrillStarted("fault", ("ana",), "room"))
    assert "a drill goes on" in refusal(week.kitchen, SITE, TUESDAY + 60.0)
    assert refusal(week.kitchen, SITE, TUESDAY + CONFIRM_S) == ""


def test_a_rehearsed_fault_whose_process_was_killed_is_ended_by_the_service() -> None:
    week = Week("")
    week.now = TUESDAY
    week.write(DrillStarted("fault", ("ana",), "room"))
    assert week.at("2026-11-24 11:59") == 0 and list(week.kitchen.drills.values())[0].open
    assert week.at("2026-11-24 12:00") == 0 and not list(week.kitchen.drills.values())[0].open


@pytest.mark.parametrize(
    ("weekly", "now", "due"),
    [
        ("Tue 10:00", "2026-11-24 10:00", "2026-11-24 10:00"),
        ("Tue 10:00", "2026-11-24 09:59", "2026-11-17 10:00"),
        ("Sun 10:00", "2026-10-25 12:00", "2026-10-25 10:00"),
        ("Mon 00:00", "2026-03-29 23:59", "2026-03-23 00:00"),
    ],
)
def test_the_weekly_time_is_that_of_the_walls_also_when_the_clocks_change(weekly: str, now: str, due: str) -> None:
    assert last_due(weekly, ZONE, wall(now)) == wall(due)


def test_one_that_could_not_begin_all_day_waits_for_the_next_week() -> None:
    assert weekly_begins("Tue 10:00", SITE, kitchen(), wall("2026-11-24 14:59"))
    assert not weekly_begins("Mon 20:00", SITE, kitchen(), wall("2026-11-24 08:01"))
    assert not weekly_begins("Tue 10:00", SITE, kitchen(), wall("2026-11-25 10:00"))

"""The watcher's own troubles: when each is told, when it wakes, when it is over, and what is said."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from alerts.alarms import step
from alerts.escalation import due
from alerts.sentences import CAUTION, alarm_text, first_steps, message
from alerts.sentences_watcher import TROUBLES
from alerts.troubles import (
    CANARY_S,
    CLOCK_FOR_S,
    DISK_AGAIN,
    FAILED_FOR_S,
    STORE_S,
    Facts,
    broken_ways,
    named,
    standing_trouble,
    trouble,
)
from api.works import Works
from collector.broker import Broker
from collector.events import AlarmRaised, AlarmTold, Draft, Event, PersonDescribed, RotaDescribed, SiteDescribed
from collector.findings import Condition
from collector.health import State
from collector.kitchen import Alarm, Kitchen, Person
from collector.present import Present
from collector.readings import Site
from collector.rota import RotaStep
from collector.storage import MemoryJournal

NIGHT = 1_764_036_000.0  # 02:00 UTC, 25 November 2025
MORNING = NIGHT + 6 * 3600.0
REACH = {"ana": ("email", "webhook")}
OF: dict[str, Facts] = {
    "store": Facts(refused_s=STORE_S),
    "canary": Facts(canary_missing_s=CANARY_S + 1.0, canary_good=False),
    "disk": Facts(disk_free=0.05),
    "clock": Facts(stepped_s=10.0),
}
BROKEN = [("ana", "email")]


class Desk:
    """A site, one person on call, and a journal."""

    def __init__(self, *sites: Site) -> None:
        self.now = NIGHT
        self.present = Present(MemoryJournal(), lambda: self.now)
        described = sites or (Site("s", "S", "Europe/London", "US"),)
        self.write(
            *map(SiteDescribed, described), PersonDescribed("ana", "Ana", ()), RotaDescribed((RotaStep("ana", 0),))
        )

    def write(self, *events: Event) -> None:
        self.present.decide(lambda kitchen: [Draft(self.now, "watch", event) for event in events])

    def look(self, facts: Facts, broken: Sequence[tuple[str, str]] = ()) -> list[Draft]:
        """Judge as the watch does at its tick, and write down what follows."""

        def decide(kitchen: Kitchen) -> list[Draft]:
            return step(kitchen, trouble(facts, broken, standing_trouble(kitchen), self.now), ["*"], self.now)

        drafts = decide(self.present.kitchen)
        self.present.decide(lambda kitchen: drafts)
        return drafts

    @property
    def alarm(self) -> Alarm:
        found = standing_trouble(self.present.kitchen)
        assert found is not None
        return found

    def called(self) -> list[str]:
        return [telling.person for telling in due(self.present.kitchen, REACH, self.now)]


def test_with_nothing_wrong_there_is_nothing_to_tell() -> None:
    assert trouble(Facts(disk_free=0.5), [], None, NIGHT) == []
    just_below = Facts(STORE_S - 0.1, 0.051, CANARY_S, False, CLOCK_FOR_S + 1.0)
    assert trouble(just_below, [], None, NIGHT) == []


@pytest.mark.parametrize("code", TROUBLES)
def test_each_trouble_alone_is_told_with_its_own_words_and_steps(code: str) -> None:
    desk = Desk()
    desk.look(OF.get(code, Facts()), BROKEN if code == "ways" else ())
    said = alarm_text(desk.alarm, "Europe/London")
    assert said.startswith("Curevigil itself: ") and "unknown" not in said.replace("lost unseen", "")
    assert len(first_steps(desk.alarm.condition)) == 1
    desk.look(Facts(disk_free=0.5))
    assert standing_trouble(desk.present.kitchen) is None
    (over,) = desk.present.kitchen.alarms.values()
    assert alarm_text(over, "Europe/London").startswith("Curevigil itself: ")


@pytest.mark.parametrize("code", TROUBLES)
def test_only_what_leaves_every_room_unwatched_wakes_by_night(code: str) -> None:
    desk = Desk()
    desk.look(OF.get(code, Facts()), BROKEN if code == "ways" else ())
    assert desk.alarm.condition.wakes is (code == "store")
    assert desk.called() == (["ana"] if code == "store" else [])
    desk.now = MORNING
    assert desk.called() == ["ana"], "by day everything is told"


def test_at_several_sites_it_waits_until_it_is_day_at_all_of_them() -> None:
    desk = Desk(Site("a", "A", "Europe/London", "GB"), Site("b", "B", "America/New_York", "US"))
    desk.look(OF["disk"])
    for hour, called in ((0, False), (6, False), (11, True)):
        desk.now = NIGHT + hour * 3600.0
        assert bool(desk.called()) is called, hour


def test_a_second_trouble_is_told_too_and_worse_news_wakes() -> None:
    desk = Desk()
    desk.look(OF["disk"])
    assert desk.called() == []
    assert desk.look(OF["disk"]) == [], "the same again is no event"
    desk.look(replace(OF["disk"], refused_s=STORE_S))
    assert desk.alarm.changes == 1 and desk.called() == ["ana"]
    first, body = message(desk.alarm, "Europe/London")
    assert first == (
        "Curevigil itself: readings cannot be kept since 01:59. No cold room is watched. Someone must go. "
        "Also: only 5.0 % of the disk is free. When it is full, no reading can be kept."
    )
    assert body.splitlines()[0].startswith("1. Measure the cold rooms by hand") and body.endswith(CAUTION)


def test_what_is_over_is_said_no_more_while_the_rest_stands() -> None:
    desk = Desk()
    desk.look(replace(OF["disk"], refused_s=STORE_S))
    desk.look(OF["disk"])
    assert not desk.alarm.condition.wakes
    assert "cannot be kept" not in alarm_text(desk.alarm, "UTC").partition("When it is full")[0]
    assert "only 5.0 % of the disk" in alarm_text(desk.alarm, "UTC")


def test_a_disk_that_hovers_at_the_mark_is_one_trouble() -> None:
    desk = Desk()
    desk.look(OF["disk"])
    for free in (0.06, 0.05, 0.069, None):
        assert desk.look(Facts(disk_free=free)) == []
    assert len(desk.look(Facts(disk_free=DISK_AGAIN))) == 1


def test_a_canary_is_missed_until_one_has_come_round_whatever_the_broker_does() -> None:
    desk = Desk()
    desk.look(OF["canary"])
    assert desk.look(Facts(canary_missing_s=0.0, canary_good=False)) == [], "the broker went away: nothing is known"
    assert len(desk.look(Facts(canary_good=True))) == 1


def test_a_store_that_works_for_a_moment_ends_it_and_since_when_it_refuses_is_kept() -> None:
    desk = Desk()
    desk.look(OF["store"])
    desk.now += 600.0
    assert desk.look(Facts(refused_s=30.0)) == [], "it refused again meanwhile"
    assert "since 01:59" in alarm_text(desk.alarm, "Europe/London")
    assert len(desk.look(Facts())) == 1


def told(desk: Desk, *steps: tuple[str, str]) -> None:
    desk.write(AlarmRaised(Condition("room", "product_warm", "temperature", True, desk.now)))
    alarm = next(reversed(desk.present.kitchen.alarms))
    for channel, state in steps:
        desk.now += 10.0
        desk.write(AlarmTold(alarm, "raised", "ana", channel, state))


def test_a_way_is_broken_after_three_failures_in_a_row_until_it_has_worked() -> None:
    desk = Desk()
    told(desk, ("email", "failed"), ("email", "failed"), ("webhook", "accepted"))
    assert broken_ways(desk.present.kitchen, REACH, desk.now) == []
    told(desk, ("email", "failed"), ("webhook", "accepted"))
    assert broken_ways(desk.present.kitchen, REACH, desk.now) == [("ana", "email")]
    assert broken_ways(desk.present.kitchen, {"ana": ("webhook",)}, desk.now) == [], "it is used no more"
    assert broken_ways(desk.present.kitchen, REACH, desk.now + FAILED_FOR_S + 60.0) == [], "it was not tried"
    told(desk, ("email", "accepted"))
    assert broken_ways(desk.present.kitchen, REACH, desk.now) == []


def test_a_broken_way_is_told_by_the_next_one() -> None:
    desk = Desk()
    told(desk, *[("email", "failed")] * 3)
    desk.now = MORNING
    desk.look(Facts(), broken_ways(desk.present.kitchen, REACH, desk.now))
    assert "email for ana failed three times in a row" in alarm_text(desk.alarm, "UTC")
    mine = desk.alarm.id

    def ways() -> list[str]:
        return [t.channel for t in due(desk.present.kitchen, REACH, desk.now) if t.alarm == mine]

    assert ways() == ["email"]
    desk.write(AlarmTold(mine, "raised", "ana", "email", "failed"))
    assert ways() == ["webhook"]


def test_the_service_tells_of_itself_under_one_alarm(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    now = [NIGHT]
    works = Works(tmp_path, Broker("127.0.0.1", 1), (), clock=lambda: now[0], ballast_bytes=4096)
    try:
        works.present.decide(
            lambda kitchen: [Draft(NIGHT, "ana", SiteDescribed(Site("s", "S", "Europe/London", "US")))]
        )
        works.service.start()
        works.service.tick()
        assert works.present.kitchen.alarms == {}
        works.health.say("intake", State.FAILED, "Readings cannot be kept: disk full.", now[0])
        now[0] += STORE_S
        works.service.tick()
        alarm = standing_trouble(works.present.kitchen)
        assert alarm is not None and alarm.condition.wakes and alarm.condition.parameters["troubles"] == "store"
        works.health.say("intake", State.WORKS, "Readings are taken, kept and acknowledged.", now[0])
        monkeypatch.setattr("api.works.disk_free_share", lambda folder: 0.01)
        works.service.tick()
        alarm = standing_trouble(works.present.kitchen)
        assert alarm is not None and not alarm.condition.wakes and alarm.condition.parameters["free_percent"] == 1.0
        monkeypatch.undo()
        works.service.tick()
        assert standing_trouble(works.present.kitchen) is None
    finally:
        works.stores.close()


def test_a_broken_way_is_named_with_the_name_of_its_person() -> None:
    kitchen = replace(Kitchen(), people={"ana": Person("ana", "Ana Reyes", ())})
    assert named(kitchen, [("ana", "email"), ("kim", "webhook")]) == [("Ana Reyes", "email"), ("kim", "webhook")]

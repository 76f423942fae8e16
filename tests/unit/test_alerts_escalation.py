"""Who is told what, next."""

from dataclasses import replace
from datetime import datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from alerts.escalation import Telling, due, untold_s
from collector.events import AlarmAcknowledged, AlarmChanged, AlarmRaised, AlarmReturned, AlarmTold, Draft, Event
from collector.findings import Condition
from collector.fold import fold
from collector.kitchen import Kitchen, Person
from collector.readings import Site, Unit
from collector.rota import RotaStep
from collector.storage import MemoryJournal

NIGHT = 1_764_036_000.0  # 02:00 UTC on 25 November 2025
REACH = {"ana": ("webhook", "log"), "bo": ("log",)}
NOW_THERE = NIGHT + 5000.0


def kitchen(*events: tuple[float, str, Event], wakes: bool = True) -> Kitchen:
    journal = MemoryJournal()
    condition = Condition("room", "product_warm", "temperature", wakes, NIGHT, ("B1",), sentence="product_may_pass")
    drafts = [Draft(NIGHT, "watch", AlarmRaised(condition)), *(Draft(at, by, event) for at, by, event in events)]
    entries = journal.append(drafts, seen=0, recorded_at=NIGHT)
    start = Kitchen(
        sites={"s": Site("s", "S", "Europe/London", "US")},
        units={"room": Unit("room", "s", "Room", "cold room")},
        rota=(RotaStep("ana", 0.0), RotaStep("bo", 600.0)),
    )
    return fold(entries, start)


def told(
    after_s: float, person: str, channel: str, accepted: bool, occasion: str = "raised"
) -> tuple[float, str, Event]:
    return (NIGHT + after_s, "watch", AlarmTold("A1", occasion, person, channel, "accepted" if accepted else "failed"))


def people(tellings: list[Telling]) -> list[tuple[str, str]]:
    return [(t.person, t.channel) for t in tellings]


def test_the_first_of_the_rota_is_told_at_once() -> None:
    assert people(due(kitchen(), REACH, NIGHT)) == [("ana", "webhook")]


def test_what_was_accepted_is_not_told_twice() -> None:
    assert due(kitchen(told(1, "ana", "webhook", True)), REACH, NIGHT + 60) == []


def test_a_failed_channel_is_bypassed_at_once() -> None:
    assert people(due(kitchen(told(1, "ana", "webhook", False)), REACH, NIGHT + 1)) == [("ana", "log")]


def test_when_every_channel_failed_the_next_round_waits_a_little_and_comes() -> None:
    failed = kitchen(told(1, "ana", "webhook", False), told(2, "ana", "log", False))
    failed = replace(failed, rota=(RotaStep("ana", 0.0),))
    assert due(failed, REACH, NIGHT + 3) == []
    assert people(due(failed, REACH, NIGHT + 8)) == [("ana", "webhook")]


def test_what_wakes_nobody_is_tried_ever_more_seldom_by_a_way_that_stays_broken() -> None:
    noon, tries = NIGHT + 10 * 3600.0, list[float]()
    rota = (RotaStep("ana", 0.0),)
    failed: list[tuple[float, str, Event]] = []
    for minute in range(8 * 60):
        now = noon + 60.0 * minute
        one = replace(kitchen(*failed, wakes=False), rota=rota)
        if due(one, {"ana": ("webhook",)}, now):
            tries.append(now)
            failed.append(told(now - NIGHT, "ana", "webhook", False))
    assert len(tries) < 20
    assert max(b - a for a, b in pairwise(tries)) == 3600.0
    waking = replace(kitchen(*failed, wakes=True), rota=rota)
    assert due(waking, {"ana": ("webhook",)}, tries[-1] + 60.0)


def test_how_long_nobody_could_be_told_counts_what_wakes_and_was_tried_in_vain() -> None:
    assert untold_s(kitchen(), NIGHT + 600) == 0.0
    vain = [told(1, "ana", "webhook", False), told(2, "bo", "log", True)]
    assert untold_s(kitchen(*vain), NIGHT + 601) == 600.0
    assert untold_s(kitchen(*vain, wakes=False), NIGHT + 601) == 0.0
    assert untold_s(kitchen(*vain, told(300, "ana", "webhook", True)), NIGHT + 601) == 0.0
    assert untold_s(kitchen(told(2, "bo", "log", True)), NIGHT + 601) == 0.0, "somebody chose the log alone"
    over = (NIGHT + 400, "watch", AlarmReturned("A1", "product_warm_returned", {}))
    assert untold_s(kitchen(*vain, over), NIGHT + 601) == 0.0


def test_without_an_answer_the_next_person_is_told_and_then_everybody_again() -> None:
    waiting = kitchen(told(1, "ana", "webhook", True))
    assert people(due(waiting, REACH, NIGHT + 599)) == []
    assert people(due(waiting, REACH, NIGHT + 601)) == [("ana", "webhook"), ("bo", "log")]


def test_an_answer_ends_the_telling_until_the_stated_arrival_has_passed() -> None:
    going = (NIGHT + 60, "ana", AlarmAcknowledged("A1", "going", NIGHT + 1200))
    answered = kitchen(told(1, "ana", "webhook", True), going)
    assert due(answered, REACH, NIGHT + 1000) == []
    # Rules 4.1: stated arrival + 15 min, 45 min after the answer at most; to the next person too.
    assert people(due(answered, REACH, NIGHT + 1200 + 901)) == [("ana", "webhook"), ("bo", "log")]


def test_an_answer_far_in_the_future_does_not_silence_for_longer_than_45_minutes() -> None:
    going = (NIGHT + 60, "ana", AlarmAcknowledged("A1", "going", NIGHT + 40_000))
    answered = kitchen(told(1, "ana", "webhook", True), going)
    assert people(due(answered, REACH, NIGHT + 60 + 2701)) == [("ana", "webhook"), ("bo", "log")]


def test_cannot_passes_it_on_at_once() -> None:
    cannot = (NIGHT + 60, "ana", AlarmAcknowledged("A1", "cannot"))
    assert ("bo", "log") in people(due(kitchen(told(1, "ana", "webhook", True), cannot), REACH, NIGHT + 61))


def test_the_return_is_told_to_everyone_who_was_told_and_once() -> None:
    back = (NIGHT + 900, "watch", AlarmReturned("A1", "product_warm_returned", {}))
    returned = kitchen(told(1, "ana", "webhook", True), told(601, "bo", "log", True), back)
    assert people(due(returned, REACH, NIGHT + 901)) == [("ana", "webhook"), ("bo", "log")]
    done = kitchen(
        told(1, "ana", "webhook", True), told(601, "bo", "log", True), back,
        told(902, "ana", "webhook", True, "returned"), told(902, "bo", "log", True, "returned"),
    )  # fmt: skip
    assert due(done, REACH, NIGHT + 10_000) == []


def test_what_wakes_nobody_waits_for_the_day() -> None:
    quiet = kitchen(wakes=False)
    assert due(quiet, REACH, NIGHT) == []
    assert people(due(quiet, REACH, NIGHT + 6 * 3600)) == [("ana", "webhook")]


def test_a_person_without_a_channel_is_told_by_the_log() -> None:
    assert people(due(replace(kitchen(), rota=(RotaStep("cy", 0.0),)), REACH, NIGHT)) == [("cy", "log")]


def test_what_ended_before_anybody_was_told_wakes_nobody() -> None:
    back = (NIGHT + 30, "watch", AlarmReturned("A1", "product_warm_returned", {}))
    assert due(kitchen(back), REACH, NIGHT + 31) == []
    assert due(kitchen(told(1, "ana", "webhook", False), back), REACH, NIGHT + 31) == []


def test_an_answer_that_is_not_kept_leaves_the_alarm_unanswered_until_somebody_answers_anew() -> None:
    events = [told(1, "ana", "webhook", True), (NIGHT + 60, "ana", AlarmAcknowledged("A1", "going", NIGHT + 600))]
    heard = []
    for minute in range(2, 60):
        if minute == 40:
            events.append((NIGHT + 2400, "ana", AlarmAcknowledged("A1", "going", NIGHT + 4000)))
        for telling in due(kitchen(*events), REACH, NIGHT + minute * 60):
            events.append(told(minute * 60, telling.person, telling.channel, True, telling.occasion))
            heard.append((minute, telling.person))
    assert [minute for minute, person in heard if person == "ana"] == [25, 35]
    assert [minute for minute, person in heard if person == "bo"] == [25, 35]


def test_an_answer_is_kept_while_the_product_does_not_rise() -> None:
    going = (NIGHT + 60, "ana", AlarmAcknowledged("A1", "going", NIGHT + 600))
    answered = kitchen(told(1, "ana", "webhook", True), going)
    assert due(answered, REACH, NIGHT + 9000, falling={"A1"}) == []
    assert people(due(answered, REACH, NIGHT + 9000)) == [("ana", "webhook"), ("bo", "log")]


def test_it_is_told_again_half_an_hour_before_the_early_crossing_and_at_the_crossing() -> None:
    may = Condition(
        "room", "product_warm", "temperature", True, NIGHT, ("B1",), NIGHT + 3000, sentence="product_may_pass"
    )
    answer = AlarmAcknowledged("A1", "going", NIGHT + 2600)
    events: list[tuple[float, str, Event]] = [
        (NIGHT, "watch", AlarmChanged("A1", may)),
        told(1, "ana", "webhook", True, "changed 1"),
        (NIGHT + 60, "ana", answer),
    ]  # fmt: skip
    assert due(kitchen(*events), REACH, NIGHT + 1199) == []
    assert people(due(kitchen(*events), REACH, NIGHT + 1200)) == [("ana", "webhook"), ("bo", "log")]
    events.append((NIGHT + 1300, "ana", answer))
    assert due(kitchen(*events), REACH, NIGHT + 1400) == []
    events.append((NIGHT + 1500, "watch", AlarmChanged("A1", replace(may, sentence="product_has_passed"))))
    assert people(due(kitchen(*events), REACH, NIGHT + 1501)) == [("ana", "webhook"), ("bo", "log")]


def test_where_no_way_leads_to_one_person_the_next_is_told_at_once() -> None:
    failed = kitchen(told(1, "ana", "webhook", False), told(2, "ana", "log", False))
    assert people(due(failed, REACH, NIGHT + 3)) == [("bo", "log")]


def test_the_next_person_is_called_by_another_channel_than_the_one_that_nobody_answered() -> None:
    reach = {"ana": ("email",), "bo": ("email 2", "webhook")}
    waiting = kitchen(told(1, "ana", "email", True))
    assert ("bo", "webhook") in people(due(waiting, reach, NIGHT + 601))
    assert people(due(waiting, reach, NIGHT + 599)) == []


def test_what_wakes_nobody_is_told_at_the_first_check_and_its_end_wakes_nobody_either() -> None:
    quiet = kitchen(wakes=False)
    quiet = replace(quiet, sites={"s": Site("s", "S", "Europe/London", "US", checks=("06:30", "18:00"))})
    six_thirty = NIGHT + 4.5 * 3600
    assert due(quiet, REACH, six_thirty - 1) == []
    assert people(due(quiet, REACH, six_thirty)) == [("ana", "webhook")]
    back = (NIGHT + 60, "watch", AlarmReturned("A1", "x", {}))
    over = kitchen(told(1, "ana", "webhook", True), back, wakes=False)
    assert due(over, REACH, NIGHT + 120) == []
    assert people(due(over, REACH, six_thirty + 1800)) == [("ana", "webhook")]


@pytest.mark.parametrize(("evening", "hours"), [("2026-03-28", 7), ("2026-10-24", 9), ("2026-06-10", 8)])
def test_a_night_on_call_ends_by_the_wall_however_long_it_is(evening: str, hours: int) -> None:
    rota = (RotaStep("bo", 0.0, "23:00", "07:00"), RotaStep("ana", 0.0, "07:00", "23:00"))
    begins = datetime.fromisoformat(f"{evening}T23:00").replace(tzinfo=ZoneInfo("Europe/London")).timestamp()
    standing = replace(kitchen(), rota=rota)
    called = [people(due(standing, REACH, begins + minute * 60.0))[0][0] for minute in range(-1, 10 * 60)]
    assert called == ["ana"] + ["bo"] * (hours * 60) + ["ana"] * ((10 - hours) * 60)


def test_an_hour_at_which_nobody_is_on_call_is_everybodys() -> None:
    rota = (RotaStep("bo", 0.0, "07:00", "23:00"), RotaStep("ana", 600.0, "07:00", "23:00"))
    assert people(due(replace(kitchen(), rota=rota), REACH, NIGHT)) == [("bo", "log"), ("ana", "webhook")]


def test_what_changes_after_the_second_telling_is_told_at_once() -> None:
    going = (NIGHT + 60, "ana", AlarmAcknowledged("A1", "going", NIGHT + 600))
    events = [told(1, "ana", "webhook", True), going]
    again = due(kitchen(*events), REACH, NIGHT + 1600)
    events += [told(1600, t.person, t.channel, True, t.occasion) for t in again]
    assert due(kitchen(*events), REACH, NIGHT + 1700) == []
    passed = Condition("room", "product_warm", "temperature", True, NIGHT, ("B1",), sentence="product_has_passed")
    events.append((NIGHT + 1700, "watch", AlarmChanged("A1", passed)))
    assert people(due(kitchen(*events), REACH, NIGHT + 1701)) == [("ana", "webhook"), ("bo", "log")]


def test_cannot_leaves_the_alarm_with_the_others_until_somebody_goes() -> None:
    cannot = (NIGHT + 60, "ana", AlarmAcknowledged("A1", "cannot"))
    events = [told(1, "ana", "webhook", True), cannot]
    rota = (RotaStep("ana", 0.0), RotaStep("bo", 300.0), RotaStep("cy", 900.0))
    heard = []
    for minute in range(2, 40):
        for telling in due(replace(kitchen(*events), rota=rota), REACH, NIGHT + minute * 60):
            events.append(told(minute * 60, telling.person, telling.channel, True, telling.occasion))
            heard.append((minute, telling.person))
    assert [minute for minute, person in heard if person == "bo"] == [2, 12, 22, 32]
    assert [minute for minute, person in heard if person == "cy"] == [16, 26, 36]
    assert "ana" not in [person for _, person in heard]


def test_who_cannot_is_told_again_where_there_is_nobody_else() -> None:
    cannot = (NIGHT + 60, "ana", AlarmAcknowledged("A1", "cannot"))
    alone = replace(kitchen(told(1, "ana", "webhook", True), cannot), rota=(RotaStep("ana", 0.0),))
    assert people(due(alone, REACH, NIGHT + 61)) == [("ana", "webhook")]


def test_without_a_rota_everybody_of_the_site_is_told() -> None:
    staff = {name: Person(name, name.title(), ()) for name in ("bo", "ana")}
    assert people(due(replace(kitchen(), rota=(), people=staff), REACH, NIGHT)) == [("ana", "webhook"), ("bo", "log")]


def test_an_empty_list_of_channels_is_no_channel() -> None:
    assert people(due(kitchen(), {"ana": ()}, NIGHT)) == [("ana", "log")]


def test_an_unwatched_unit_that_nobody_can_go_to_is_passed_on_too() -> None:
    unwatched = Condition("room", "unwatched", "connectivity", True, NIGHT, ("B1",), sentence="unwatched")
    cannot = AlarmAcknowledged("A2", "cannot")
    events = ((NIGHT, "watch", AlarmRaised(unwatched)), (NIGHT + 60, "ana", cannot))
    tellings = due(kitchen(*events), REACH, NIGHT + 61)
    assert [(t.alarm, t.person) for t in tellings if t.alarm == "A2"] == [("A2", "bo")]


def test_cannot_is_passed_on_though_the_clock_was_put_back_since() -> None:
    cannot = (NIGHT + 60, "ana", AlarmAcknowledged("A1", "cannot"))
    assert ("bo", "log") in people(due(kitchen(told(1, "ana", "webhook", True), cannot), REACH, NIGHT - 3540))


def test_an_answer_that_is_of_no_known_age_is_none_when_the_clock_has_caught_up() -> None:
    going = (NIGHT + 3600, "ana", AlarmAcknowledged("A1", "going", NOW_THERE))
    put_back = kitchen(told(1, "ana", "webhook", True), going)
    (occasion,) = {t.occasion for t in due(put_back, REACH, NIGHT + 60)}
    assert occasion.startswith("again clock-")
    heard = kitchen(told(1, "ana", "webhook", True), going, told(61, "ana", "webhook", True, occasion))
    assert {t.occasion for t in due(heard, REACH, NIGHT + 3700)} == {occasion}


def stood_twice(*between: tuple[float, str, Event]) -> Kitchen:
    """Return a kitchen in which what ana was told of is over, untold, and stands anew."""
    over = (NIGHT + 60, "watch", AlarmReturned("A1", "product_warm_returned", {}))
    again = Condition("room", "product_warm", "temperature", True, NIGHT + 120, ("B1",), sentence="product_may_pass")
    return kitchen(told(1, "ana", "webhook", True), over, *between, (NIGHT + 120, "watch", AlarmRaised(again)))


def test_nobody_hears_that_it_is_over_when_it_has_begun_anew() -> None:
    assert [(t.alarm, t.occasion) for t in due(stood_twice(), REACH, NIGHT + 130)] == [("A4", "raised")]


def test_who_heard_of_both_hears_once_that_it_is_over_and_who_heard_of_the_first_alone_hears_of_that() -> None:
    more = (NIGHT + 2, "watch", AlarmTold("A1", "raised", "bo", "log", "accepted"))
    newer = AlarmTold("A6", "raised", "ana", "webhook", "accepted")
    ended = AlarmReturned("A6", "product_warm_returned", {})
    condition = kitchen().alarms["A1"].condition
    events: list[tuple[float, str, Event]] = [
        told(1, "ana", "webhook", True), more, (NIGHT + 60, "watch", AlarmReturned("A1", "product_warm_returned", {})),
        (NIGHT + 61, "watch", AlarmTold("A1", "returned", "ana", "webhook", "failed")),
        (NIGHT + 120, "watch", AlarmRaised(condition)), (NIGHT + 121, "watch", newer), (NIGHT + 180, "watch", ended),
    ]  # fmt: skip
    found = due(kitchen(*events), REACH, NIGHT + 190)
    assert sorted((t.alarm, t.person) for t in found) == [("A1", "bo"), ("A6", "ana")]


def test_what_was_rounded_to_the_next_millisecond_is_not_taken_for_a_clock_that_was_put_back() -> None:
    just_now = kitchen(told(1.001, "ana", "webhook", True))
    assert due(just_now, REACH, NIGHT + 1.0006) == []
    failed = replace(kitchen(told(1.0, "ana", "webhook", False), told(1.001, "ana", "log", False)),
                     rota=(RotaStep("ana", 0.0),))  # fmt: skip
    assert due(failed, REACH, NIGHT + 1.0006) == []
    assert people(due(just_now, REACH, NIGHT - 3600.0)) == [("ana", "webhook")], "the clock was put back by an hour"

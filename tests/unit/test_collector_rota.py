"""Who is on call, by the wall clock."""

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from collector.kitchen_file import KitchenFile, read_kitchen
from collector.rota import RotaStep, changes_at, holds, on_call, overlap, uncovered

LONDON = "Europe/London"
NIGHTS = RotaStep("bo", 0.0, "21:00", "07:00")
DAYTIME = RotaStep("ana", 0.0, "07:00", "21:00")
BASE = """
[site]
id = "s"
name = "S"
zone = "Europe/London"
authority = "US"
[[person]]
id = "ana"
name = "Ana"
roles = ["operator"]
"""


def at(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(LONDON)).timestamp()


@pytest.mark.parametrize(
    ("when", "on"),
    [("2026-11-23T20:59", False), ("2026-11-23T21:00", True), ("2026-11-24T06:59", True), ("2026-11-24T07:00", False)],
)
def test_hours_over_midnight_hold_from_evening_to_morning(when: str, on: bool) -> None:
    assert holds(NIGHTS, LONDON, at(when)) is on


def test_a_day_is_the_one_on_which_the_hours_begin_and_sunday_night_reaches_into_monday() -> None:
    sunday = RotaStep("bo", 0.0, "21:00", "07:00", ("sun",))
    assert holds(sunday, LONDON, at("2026-11-23T06:59"))
    assert not holds(sunday, LONDON, at("2026-11-22T06:59"))


def test_the_order_of_calling_goes_by_minutes_and_each_person_stands_in_it_once() -> None:
    steps = (RotaStep("cy", 600.0), RotaStep("bo", 300.0), RotaStep("cy", 0.0, "00:00", "12:00"))
    assert [s.person for s in on_call(steps, LONDON, at("2026-11-23T08:00"))] == ["cy", "bo"]
    assert [s.person for s in on_call(steps, LONDON, at("2026-11-23T13:00"))] == ["bo", "cy"]


def test_a_hole_in_the_week_is_named_and_a_whole_week_has_none() -> None:
    week = tuple(RotaStep("ana", 0.0, days=(day,)) for day in ("mon", "tue", "wed", "thu", "fri"))
    assert uncovered(week) == [("Sat 00:00", "Mon 00:00")]
    assert uncovered((*week, RotaStep("bo", 0.0, days=("sat", "sun")))) == []
    assert uncovered((NIGHTS, DAYTIME)) == []
    assert uncovered(()) == [("Mon 00:00", "Mon 00:00")]


def test_hours_that_touch_do_not_overlap() -> None:
    assert not overlap(NIGHTS, DAYTIME)
    assert overlap(NIGHTS, RotaStep("ana", 0.0, "06:00", "08:00", ("mon",)))


def test_the_next_change_is_by_the_wall_on_both_sides_of_a_change_of_clocks() -> None:
    assert changes_at((NIGHTS, DAYTIME), LONDON, at("2026-03-28T22:00")) == at("2026-03-29T07:00")
    assert changes_at((RotaStep("ana", 0.0),), LONDON, at("2026-03-28T22:00")) is None


@pytest.mark.parametrize(
    ("hours", "said"),
    [
        ('from = "07:00"\nuntil = "21:00"', "nobody is called from Mon 21:00 to Tue 07:00"),
        ('from = "07:00"', "hours have a beginning and an end"),
        ('from = "7:00"\nuntil = "21:00"', "is no time of day"),
        ('from = "07:00"\nuntil = "07:00"', "these hours end as they begin"),
        ('days = ["monday"]', "is no day of the week"),
        ('days = ["sat", "sun"]', "nobody is called from Mon 00:00 to Sat 00:00"),
    ],
)
def test_a_rota_with_a_hole_or_half_its_hours_is_refused(hours: str, said: str) -> None:
    found = read_kitchen(f'{BASE}[[rota]]\nperson = "ana"\nafter_minutes = 0\n{hours}\n')
    assert not isinstance(found, KitchenFile)
    assert said in str(found[0])


def test_what_reaches_over_from_the_week_before_is_no_hole() -> None:
    assert uncovered((RotaStep("ana", 0.0, "00:00", "02:00"), RotaStep("bo", 0.0, "02:30", "02:30"))) == []


def test_hours_that_begin_at_a_time_which_the_night_leaves_out_begin_when_the_clocks_are_put() -> None:
    early = (RotaStep("ana", 0.0, "02:30", "06:30"),)
    rome = ZoneInfo("Europe/Rome")
    evening = datetime(2026, 3, 28, 20, 0, tzinfo=rome).timestamp()
    assert changes_at(early, "Europe/Rome", evening) == datetime(2026, 3, 29, 3, 0, tzinfo=rome).timestamp()
    # In autumn 02:30 comes twice: on call from the first, not from 02:00 to the second, and then until 06:30.
    changes, at = [], datetime(2026, 10, 24, 20, 0, tzinfo=rome).timestamp()
    for _ in range(4):
        at = changes_at(early, "Europe/Rome", at) or 0.0
        changes.append(datetime.fromtimestamp(at, rome))
    assert [(f"{one:%H:%M}", one.fold) for one in changes] == [("02:30", 0), ("02:00", 1), ("02:30", 1), ("06:30", 0)]

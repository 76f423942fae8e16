"""Many units silent at once: one alarm, and what it held back."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from alerts.alarms import step, worth_telling
from alerts.channels.lamp import words_of
from alerts.grouping import Partial, Silence, grouped, silence_of
from alerts.heard import Heard, Taken
from alerts.sentences import alarm_text, condition_text
from alerts.trace import Copies
from alerts.unit_watch import TubState, UnitWatch, take
from alerts.watch import conditions
from collector.events import Draft, Entry, SiteDescribed, UnitDescribed
from collector.findings import Condition
from collector.fold import fold
from collector.kitchen import Alarm, Kitchen
from collector.readings import Assignment, Quantity, Site, Unit

MINUTE = 60.0
HOUR = 3600.0
START = 1_760_000_000.0


class House:
    """Units with one sensor each, watched by the minute; nothing but grouping and the life of alarms."""

    def __init__(self, names: Sequence[str], sites: Sequence[str] = ("s",), tubs: Sequence[str] = ()) -> None:
        self.at = START
        self.kitchen = Kitchen()
        self.partial: Partial = {}
        self.watches: dict[str, UnitWatch] = {}
        self.write(*(Draft(START, "a", SiteDescribed(Site(s, s.title(), "Europe/London", "US"))) for s in sites))
        for name in names:
            site = next(s for s in sites if name.startswith(s) or s == sites[-1])
            unit = Unit(name, site, name.title(), "cold room")
            self.write(Draft(START, "a", UnitDescribed(unit)))
            self.add(name, unit, tubs=name in tubs)

    def add(self, name: str, unit: Unit, *, tubs: bool) -> None:
        made = UnitWatch(unit, 5.0, START)
        made.channels[name] = Heard(self.air(name), START, -np.inf, np.nan)
        made.tubs = [TubState(f"L-{name}", "1", 6 * HOUR, Copies(3.0, 3.0, 3.0))] if tubs else []
        self.watches[name] = made

    def air(self, name: str, interval_s: float = 60.0) -> Assignment:
        return Assignment(name, Quantity.AIR_TEMPERATURE, name, "wall", START, interval_s=interval_s)

    def write(self, *drafts: Draft) -> None:
        first = self.kitchen.position + 1
        self.kitchen = fold((Entry(first + n, d.at, d.at, d.by, d.event) for n, d in enumerate(drafts)), self.kitchen)

    def run(self, minutes: float, *speaking: str, second_s: float = 0.0) -> None:
        for _ in range(round(minutes)):
            self.at += MINUTE
            for name in speaking:
                assignment = self.watches[name].channels[name].assignment
                at = self.at - second_s
                take(self.watches[name], assignment, Taken(name, at, at, 3.0))
            self.look()

    def look(self) -> None:
        found = [c for w in self.watches.values() for c in conditions(w, self.at, self.kinds_of(w.unit.id))]
        one = grouped(
            found, list(self.watches), self.watches.values(), self.kitchen, self.at, whole=True, partial=self.partial
        )
        self.partial = one.partial
        self.write(*step(self.kitchen, one.conditions, one.judged, self.at, one.returns))

    def kinds_of(self, unit: str) -> set[str]:
        return {a.condition.kind for a in self.kitchen.active_alarms() if a.condition.unit == unit}

    def keys(self) -> list[tuple[str, str]]:
        return [a.condition.key for a in self.kitchen.active_alarms()]

    def only(self) -> Alarm:
        (alarm,) = self.kitchen.active_alarms()
        return alarm


FIVE = ("a", "b", "c", "d", "e")


def test_rooms_that_fall_silent_together_are_one_alarm_that_names_them_in_order_of_the_time_left() -> None:
    house = House(FIVE, tubs=("b", "c"))
    house.watches["c"].tubs[0].copies = Copies(4.0, 4.0, 4.0)
    house.run(60, *FIVE)
    house.run(20, "d", "e")
    alarm = house.only()
    assert alarm.condition.key == ("*s/a", "units_silent")
    assert alarm.condition.members == ("c", "b", "a")
    assert alarm.condition.lots == ("L-b", "L-c")
    assert not alarm.condition.wakes
    house.run(40, "d", "e")
    assert house.only().condition.wakes
    # c is at 3.85 °C after an hour: 6 h ln(21.15/20) = 20.2 min after the last reading at 09:53:20; b 6 h ln(22/20).
    assert condition_text(house.only().condition, "UTC") == (
        "Power or network: nothing heard from C, B and 1 more since 09:53. Someone must go. If cooling has stopped, "
        "meat could pass its limit in C from 10:13, in B from 10:28 (estimate). Silent too: A."
    )


def test_one_that_is_silent_for_itself_is_told_for_itself() -> None:
    house = House(FIVE)
    house.run(30, *FIVE)
    house.run(12, *FIVE[1:])
    house.run(60, *FIVE[2:])
    assert house.keys() == [("a", "channel_silent"), ("b", "channel_silent")]


def test_who_is_late_by_then_is_counted_at_once_and_changes_nothing_later() -> None:
    house = House(FIVE)
    house.run(30, *FIVE)
    house.run(4, *FIVE[1:])
    house.run(60, *FIVE[3:])
    alarm = house.only()
    assert (set(alarm.condition.members), alarm.changes) == ({"a", "b", "c"}, 0)
    assert alarm.raised_at - START == (30 + 16) * MINUTE


def test_what_it_held_back_is_there_again_in_the_same_breath_once_it_is_over() -> None:
    house = House(FIVE, tubs=("a",))
    house.run(30, *FIVE)
    house.run(60, *FIVE[2:])
    assert house.keys() == [("*s/a", "units_silent")]
    # b is back; a may take its interval and the window to follow.
    house.run(7, *FIVE[1:])
    assert house.keys() == [("*s/a", "units_silent")]
    house.run(1, *FIVE[1:])
    assert house.keys() == [("a", "unwatched")]
    over = house.kitchen.alarms["A7"]
    assert alarm_text(over, "UTC") == (
        "Power or network: no longer several units at once. Readings arrive again from B. Still silent: A. "
        "What happened meanwhile counts as unknown."
    )
    assert house.only().raised_at == over.returned_at


def test_a_group_that_comes_back_within_the_window_ends_as_one() -> None:
    house = House(FIVE, tubs=("a",))
    house.run(30, *FIVE)
    house.run(60, *FIVE[2:])
    house.run(4, *FIVE[1:])
    house.run(2, *FIVE)
    assert house.keys() == []
    assert len(house.kitchen.alarms) == 1


def test_a_child_that_stood_before_its_parent_goes_on_standing() -> None:
    house = House(FIVE)
    house.watches["b"].channels["b"] = replace(house.watches["b"].channels["b"], assignment=house.air("b", 900.0))
    house.run(30, *FIVE)
    # b speaks every 15 min; it is not late yet when a is silent.
    house.run(18, *FIVE[2:])
    assert house.keys() == [("a", "channel_silent")]
    house.run(30, *FIVE[2:])
    assert house.keys() == [("a", "channel_silent"), ("*s/a", "units_silent")]


def test_meat_that_is_known_to_warm_is_told_beside_any_parent() -> None:
    house = House(FIVE, tubs=("a",))
    house.watches["a"].tubs[0].copies = Copies(4.95, 4.95, 4.95)
    house.run(30, *FIVE)
    for _ in range(40):
        house.run(1, *FIVE[1:])
        take(house.watches["a"], house.air("a"), Taken("a", house.at, house.at, 12.0))
    house.run(40, *FIVE[3:])
    assert house.keys() == [("a", "product_warm"), ("*s/a", "units_silent")]


def test_two_groups_of_one_site_are_two_alarms() -> None:
    house = House(FIVE)
    house.run(30, *FIVE)
    house.run(60, *FIVE[2:])
    house.run(60, "e")
    assert house.keys() == [("*s/a", "units_silent"), ("*s/c", "units_silent")]


def test_a_unit_that_failed_for_itself_after_it_was_back_is_not_held_back_by_the_old_group() -> None:
    house = House(FIVE, tubs=("a",))
    house.run(30, *FIVE)
    house.run(60, "d", "e")
    house.run(30, "a", "d", "e")
    house.run(40, "d", "e")
    assert house.keys() == [("*s/a", "units_silent"), ("a", "unwatched")]


def test_one_site_of_two_is_silent_under_its_own_name_and_both_are_one_alarm() -> None:
    house = House(("mill-a", "mill-b", "port-a", "port-b"), sites=("mill", "port"))
    everyone = tuple(house.watches)
    house.run(30, *everyone)
    house.run(30, *everyone[2:])
    alarm = house.only()
    assert alarm.condition.key == ("*mill", "nothing_arrives")
    assert house.kitchen.site_of("*mill") == house.kitchen.sites["mill"]
    assert "from any unit of Mill since" in condition_text(alarm.condition, "UTC")
    house.run(30)
    assert house.keys() == [("*mill", "nothing_arrives"), ("*", "nothing_arrives")]
    house.run(2, *everyone)
    assert house.keys() == []


def test_when_all_were_silent_and_some_stay_so_they_are_a_group_at_once() -> None:
    house = House(FIVE)
    house.run(30, *FIVE)
    house.run(60)
    assert house.keys() == [("*", "nothing_arrives")]
    house.run(8, *FIVE[2:])
    assert house.keys() == [("*s/a", "units_silent")]


def test_a_door_that_spoke_since_says_that_the_way_is_there() -> None:
    house = House(FIVE)
    house.run(30, *FIVE)
    door = Assignment("door", Quantity.DOOR, "a", "door", START, interval_s=4 * HOUR)
    for _ in range(30):
        house.run(1, *FIVE[2:])
        take(house.watches["a"], door, Taken("door", house.at, house.at, 0.0))
    assert house.keys() == [("a", "channel_silent"), ("b", "channel_silent")]


def test_a_battery_that_speaks_once_a_day_does_not_hide_that_its_unit_is_gone() -> None:
    house = House(FIVE)
    house.run(30, *FIVE)
    battery = Assignment("battery", Quantity.BATTERY, "a", "sensor", START, interval_s=86_400.0)
    take(house.watches["a"], battery, Taken("battery", house.at, house.at, 80.0))
    house.run(30, *FIVE[2:])
    assert house.keys() == [("*s/a", "units_silent")]


def test_a_look_at_some_units_begins_and_ends_no_parent_but_holds_back_all_the_same() -> None:
    house = House(FIVE)
    house.run(30, *FIVE)
    house.run(15, *FIVE[2:])
    house.at += MINUTE
    found = conditions(house.watches["a"], house.at, ())
    assert [c.kind for c in found] == ["channel_silent"]
    one = grouped(found, ["a"], house.watches.values(), house.kitchen, house.at, whole=False)
    assert (one.conditions, one.judged) == ([], ["a"])


def test_who_never_spoke_has_not_stopped_with_anybody() -> None:
    house = House(FIVE)
    house.run(60, *FIVE[2:])
    assert house.keys() == [("a", "channel_silent"), ("b", "channel_silent")]


def test_a_cause_is_told_anew_when_it_needs_a_person_now_or_reaches_a_further_unit_and_not_when_one_is_back() -> None:
    def of(*units: str, wakes: bool = False) -> Condition:
        figures = {f"unit_{n}": unit for n, unit in enumerate(units, 1)}
        return Condition("*s/a", "units_silent", "connectivity", wakes, START, sentence="u", parameters=figures)

    assert worth_telling(of("a", "b"), of("a", "b", wakes=True))
    assert worth_telling(of("a", "b"), of("a", "b", "c"))
    assert not worth_telling(of("a", "b", "c"), of("a", "b"))
    assert not worth_telling(of("a", "b", wakes=True), of("a", "b"))


def test_two_units_can_have_stopped_together_only_where_one_instant_fits_both() -> None:
    watch = House(("a",)).watches["a"]
    first, then = Silence(watch, START, 60.0, gone=True), Silence(watch, START + 360.0, 60.0, gone=True)
    assert first.fits(then.spoke_at)
    assert not first.fits(then.spoke_at + 1.0)
    assert silence_of(watch, START) is not None


def test_the_lamp_of_every_room_that_a_cause_is_behind_shows_its_alarm_and_no_other_does() -> None:
    house = House(FIVE, tubs=("a",))
    house.run(30, *FIVE)
    house.run(30, *FIVE[2:])
    assert set(words_of(house.kitchen, "{unit}").values()) == {"none"}
    house.run(30, *FIVE[2:])
    words = words_of(house.kitchen, "{unit}")
    assert [name for name, word in words.items() if word == "alarm"] == ["a", "b"]


def test_a_group_is_of_the_site_of_its_units() -> None:
    house = House(("mill-a", "port-a"), sites=("mill", "port"))
    assert house.kitchen.site_of("*port/port-a") == house.kitchen.sites["port"]
    assert house.kitchen.site_of("*") is None


def test_two_sites_that_go_within_a_minute_are_one_alarm_from_the_first() -> None:
    house = House(("mill-a", "mill-b", "port-a"), sites=("mill", "port"))
    everyone = tuple(house.watches)
    house.run(30, *everyone)
    house.run(1, "port-a")
    house.run(30)
    assert house.keys() == [("*", "nothing_arrives")]
    assert house.only().raised_at - START == (30 + 16) * MINUTE

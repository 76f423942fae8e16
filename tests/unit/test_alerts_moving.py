"""Where tubs could be moved: never to a unit of which anything that matters is unknown."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from alerts.heard import Heard
from alerts.learned import folded
from alerts.moving import NOWHERE, Elsewhere, elsewhere, moving_text
from alerts.trace import Copies
from alerts.unit_watch import TubState, UnitWatch
from collector.findings import Condition
from collector.kitchen import Alarm, Kitchen
from collector.readings import Assignment, Quantity, Unit
from collector.suspensions import OutOfService, PlannedWork

NOW = 1_767_268_800.0
HOUR = 3600.0


def watch(
    name: str, air_c: float = 3.0, *, room: int | None = 6, tubs: int = 0, raw: bool = True, site: str = "s"
) -> UnitWatch:
    """Return a unit whose air has been at one temperature for a day, and was heard a minute ago."""
    unit = Unit(name, site, name.title(), "fridge", raw_meat=raw, room_for_tubs=room)
    made = UnitWatch(unit, 5.0, NOW - 24 * HOUR, at=NOW - 60.0, air_c=air_c)
    channel = f"{name}/air"
    assignment = Assignment(channel, Quantity.AIR_TEMPERATURE, name, "inside", 0.0)
    made.channels[channel] = Heard(assignment, NOW - 60.0, NOW - 60.0, air_c, NOW - 60.0)
    made.recent[channel] = folded((NOW - 24 * HOUR + n * 300.0, air_c) for n in range(288))
    made.tubs = [TubState(f"B{n}", "1", 6 * HOUR, Copies(3.0, 3.0, 3.0)) for n in range(tubs)]
    return made


def named(*others: UnitWatch, tubs: int = 2, kitchen: Kitchen | None = None, barred: tuple[str, ...] = ()) -> list[str]:
    """Return the names of where two tubs could go, beside these units."""
    trouble = watch("room", 9.0, tubs=tubs)
    watches = {w.unit.id: w for w in (trouble, *others)}
    return [one.unit for one in elsewhere(kitchen or Kitchen(), watches, "room", NOW, barred)]


def standing(unit: str, category: str) -> Kitchen:
    """Return a kitchen in which an alarm stands."""
    return Kitchen(alarms={"A1": Alarm("A1", Condition(unit, "x", category, False, NOW), NOW)})


def test_a_unit_for_raw_meat_that_is_cold_and_has_room_is_named() -> None:
    assert named(watch("fridge")) == ["fridge"]


def test_the_unit_itself_is_never_named_and_without_another_there_is_nowhere() -> None:
    assert named() == []
    assert elsewhere(Kitchen(), {}, "room", NOW) == ()


def old(w: UnitWatch) -> None:
    w.at = NOW - 901.0


def ahead(w: UnitWatch) -> None:
    w.at = NOW + 1.0


def never(w: UnitWatch) -> None:
    w.at = None


def warm(w: UnitWatch) -> None:
    w.air_c = 5.0


def usually_warm(w: UnitWatch) -> None:
    w.recent["fridge/air"] = folded((NOW - 12 * HOUR + n * 300.0, 5.2) for n in range(144))


def hardly_known(w: UnitWatch) -> None:
    w.recent["fridge/air"] = folded((NOW - HOUR + n * 300.0, 3.0) for n in range(12))


def freezing(w: UnitWatch) -> None:
    w.air_c = -1.5


def warm_meat(w: UnitWatch) -> None:
    w.tubs = [TubState("B9", "1", HOUR, Copies(5.1, 5.0, 5.2))]


def stricter(w: UnitWatch) -> None:
    w.limit_c = 2.9


def full(w: UnitWatch) -> None:
    w.tubs = [TubState(f"B{n}", "1", HOUR, Copies(3.0, 3.0, 3.0)) for n in range(6)]


@pytest.mark.parametrize(
    "spoil",
    [old, ahead, never, warm, usually_warm, hardly_known, freezing, warm_meat, stricter, full],
    ids=lambda spoil: spoil.__name__,
)
def test_one_thing_that_is_wrong_or_unknown_is_enough_not_to_be_named(spoil: Callable[[UnitWatch], None]) -> None:
    one = watch("fridge")
    spoil(one)
    assert named(one) == []


def test_a_unit_that_nobody_keeps_for_raw_meat_or_of_another_site_or_out_of_service_is_never_named() -> None:
    assert named(watch("fridge", raw=False)) == []
    assert named(watch("fridge", site="other")) == []
    assert named(watch("fridge"), barred=("fridge",)) == []
    idle = Kitchen(out_of_service={"fridge": OutOfService("fridge", NOW - HOUR, "ana", "empty")})
    assert named(watch("fridge"), kitchen=idle) == []


def test_a_unit_that_is_being_cleaned_or_loaded_is_not_named() -> None:
    work = PlannedWork("W1", "fridge", "cleaning", NOW - HOUR, NOW + HOUR, "ana")
    assert named(watch("fridge"), kitchen=Kitchen(planned_work=(work,))) == []
    assert named(watch("fridge"), kitchen=Kitchen(planned_work=(replace(work, until_at=NOW),))) == ["fridge"]


@pytest.mark.parametrize("category", ["temperature", "cold", "door", "sensor", "connectivity", "power", "equipment"])
def test_a_unit_in_which_an_alarm_stands_is_not_named(category: str) -> None:
    assert named(watch("fridge"), kitchen=standing("fridge", category)) == []
    assert named(watch("fridge"), kitchen=standing("fridge", "info")) == ["fridge"]
    assert named(watch("fridge"), kitchen=standing("room", category)) == ["fridge"]


def test_two_are_named_room_for_all_before_room_for_some_before_room_unknown_the_coldest_first() -> None:
    unknown, some = watch("unknown", 1.0, room=None), watch("some", 2.0, room=3, tubs=2)
    colder, plenty = watch("colder", 2.5), watch("plenty", 3.5)
    assert named(unknown, some, plenty, colder) == ["colder", "plenty"]
    assert named(unknown, some, plenty) == ["plenty", "some"]
    assert named(unknown, some) == ["some", "unknown"]
    assert named(unknown) == ["unknown"]


def test_the_limit_of_the_unit_that_the_tubs_come_from_counts_too() -> None:
    trouble = replace(watch("room", 9.0, tubs=1), limit_c=3.0)
    watches = {"room": trouble, "fridge": watch("fridge", 3.5)}
    assert elsewhere(Kitchen(), watches, "room", NOW) == ()


def test_what_people_read_names_figures_and_never_promises() -> None:
    assert moving_text(()) == NOWHERE
    text = moving_text([Elsewhere("f", "Fridge 2", 2.9, 3.1, 1), Elsewhere("c", "Chamber", -0.5, 3.3, None)])
    assert "Fridge 2 (air 2.9 °C, usually 3.1; room for 1)" in text
    assert "or to Chamber (air -0.5 °C, usually 3.3; if it has room). Both are kept for raw meat" in text

"""What people log of a batch on its way out, and what an approver changes in its plan."""

from dataclasses import replace
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from alerts.rulebook.shelf import load
from api.actions.amending import amend_plan, route_locked
from api.actions.core_lines import points_of
from api.actions.faults import Fault, Faults, Result
from api.actions.logging_core import dispose_food, log_core, log_core_lines, log_soak, report_label
from api.schemas import WindowRequest
from api.schemas_making import AmendPlan, DisposeFood, LogCore, LogCoreLines, LogSoak, ReportLabel
from collector.batches import Plan, Route, Stage
from collector.events import Draft, ProposalMade
from collector.events_making import CoreLogged, FoodDisposed, LabelReported, PlanChanged, SoakLogged
from collector.findings import Disposition, Outcome, Tier
from collector.kitchen import Kitchen
from tests.office import DAY, NOW, WARM, ZONE, finding, made_kitchen, proposal

KITCHEN = made_kitchen()
ADA, BO = KITCHEN.people["ada"], KITCHEN.people["bo"]
H = 3600.0


def only(result: Result) -> Any:
    assert not isinstance(result, Faults), result
    assert len(result) == 1
    return result[0].event


def fields_of(result: Result) -> list[str]:
    assert isinstance(result, Faults)
    return [one.field for one in result.found]


def cook(
    *points: tuple[float, float], stage: str = "cook", lot: str = "BELLY-32", kitchen: Kitchen = KITCHEN
) -> Result:
    said = {"stage": stage, "probe": "probe 1", "points": [{"at": at, "core_c": c} for at, c in points]}
    return log_core(kitchen, lot, LogCore.model_validate(said), BO, NOW)


def amend(lot: str = "BELLY-32", kitchen: Kitchen = KITCHEN, **said: Any) -> Result:
    said = {"reason": "looked at the process again", **said}
    return amend_plan(kitchen, lot, AmendPlan.model_validate(said), ADA, NOW)


def at(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(ZONE)).timestamp()


# -------------------------------------------------------------------------------------------------- lines of a core log


@pytest.mark.parametrize("line", ["12:05 54.4", "12.05;54,4", "12h05\t54.4 °C", "12:05:00, 54.4C", " 12:05   54.4 "])
def test_a_line_is_read_however_it_is_parted(line: str) -> None:
    assert points_of(line, "2026-03-02", ZONE, NOW) == ((at("2026-03-02T12:05"), 54.4),)


def test_a_time_that_is_earlier_than_the_one_before_is_of_the_next_day() -> None:
    found = points_of("22:00 4\r\n\n23:30 60.5\n01:10 71", "2026-03-02", ZONE, NOW)
    assert found == ((at("2026-03-02T22:00"), 4.0), (at("2026-03-02T23:30"), 60.5), (at("2026-03-03T01:10"), 71.0))


@pytest.mark.parametrize(("now", "day"), [("2026-03-03T01:11", "2026-03-03"), ("2026-03-03T01:05", "2026-03-02")])
def test_without_a_day_the_last_line_is_as_late_as_it_can_be(now: str, day: str) -> None:
    found = points_of("01:10 71", "", ZONE, at(now))
    assert found == ((at(f"{day}T01:10"), 71.0),)


@pytest.mark.parametrize(
    ("text", "day", "field", "what"),
    [
        ("", "", "entries", "nothing is entered"),
        ("12:05", "", "entries", "line 1, “12:05”, cannot be read"),
        ("12:05 54.4\nhot", "", "entries", "line 2, “hot”, cannot be read"),
        ("25:05 54.4", "", "entries", "line 1, “25:05 54.4”, has no time of day"),
        ("12:05 54.4", "yesterday", "day", "“yesterday” is no day"),
        ("02:30 54.4", "2026-03-08", "entries", "02:30 is no time that the clock on the wall showed"),
    ],
)
def test_what_cannot_be_read_is_told_by_its_line(text: str, day: str, field: str, what: str) -> None:
    found = points_of(text, day, ZONE, NOW)
    assert isinstance(found[0], Fault)
    assert (found[0].field, found[0].what) == (field, what)


def test_every_line_that_cannot_be_read_is_told_at_once() -> None:
    assert len(points_of("a\n12:00 3\nb", "", ZONE, NOW)) == 2


# ----------------------------------------------------------------------------------------------------- what is logged


def test_a_core_log_is_written_down_with_who_read_it() -> None:
    event = only(cook((NOW - 2 * H, 4.0), (NOW - H, 71.2)))
    assert isinstance(event, CoreLogged)
    assert (event.log.stage, event.log.person, event.log.points) == (
        "cook",
        "bo",
        ((NOW - 2 * H, 4.0), (NOW - H, 71.2)),
    )


@pytest.mark.parametrize(
    ("points", "field"),
    [
        ((), "points"),
        (((NOW - H, 4.0), (NOW - 2 * H, 71.2)), "points"),
        (((NOW - H, 4.0), (NOW - H, 71.2)), "points"),
        (((NOW - H, 4.0), (NOW + H, 71.2)), "points"),
        (((NOW - 30 * DAY, 4.0), (NOW, 71.2)), "points"),
        (((NOW - H, 4.0), (NOW, 712.0)), "points.1.core_c"),
        (((NOW - H, -40.0), (NOW, 71.2)), "points.0.core_c"),
    ],
)
def test_a_core_log_that_cannot_be_is_refused(points: tuple[tuple[float, float], ...], field: str) -> None:
    assert fields_of(cook(*points)) == [field]


def test_faults_of_typed_lines_stand_beside_the_lines() -> None:
    asked = LogCoreLines(stage="cook", probe="probe 1", entries="01:00 4.0\n01:30 712")
    refused = log_core_lines(KITCHEN, "BELLY-32", asked, BO, NOW, ZONE)
    assert isinstance(refused, Faults)
    assert [(one.field, one.what[:9]) for one in refused.found] == [("entries", "entry 2: ")]
    unread = asked.model_copy(update={"entries": "soup"})
    assert fields_of(log_core_lines(KITCHEN, "BELLY-32", unread, BO, NOW, ZONE)) == ["entries"]


def test_nothing_is_logged_of_a_batch_that_is_not_there() -> None:
    assert fields_of(cook((NOW, 71.0), lot="NONE-1")) == ["lot"]


def test_a_soak_has_a_beginning_an_end_and_a_temperature() -> None:
    def soak(**said: float) -> Result:
        asked = {"from_at": NOW - 3 * H, "until_at": NOW, "water_c": 4.0, **said}
        return log_soak(KITCHEN, "BELLY-32", LogSoak.model_validate(asked), BO, NOW)

    assert isinstance(only(soak()), SoakLogged)
    assert fields_of(soak(until_at=NOW - 4 * H)) == ["until_at"]
    assert fields_of(soak(until_at=NOW + DAY)) == ["until_at"]
    assert fields_of(soak(from_at=NOW - 9 * DAY)) == ["from_at"]
    assert fields_of(soak(water_c=90.0)) == ["water_c"]


def test_a_label_says_whether_it_is_to_be_cooked() -> None:
    said = only(report_label(KITCHEN, "BELLY-32", ReportLabel(words="mustard", cook_before_eating=True), BO, NOW))
    assert isinstance(said, LabelReported)
    assert (said.label.cook_before_eating, said.label.applied_at) == (True, NOW)
    late = ReportLabel(words="mustard", applied_at=NOW + DAY)
    assert fields_of(report_label(KITCHEN, "BELLY-32", late, BO, NOW)) == ["applied_at"]


def test_food_is_destroyed_before_a_witness_and_never_while_it_is_held() -> None:
    def dispose(kitchen: Kitchen = KITCHEN, lot: str = "BELLY-32", mass_kg: float = 0.4) -> Result:
        asked = DisposeFood(mass_kg=mass_kg, how="cut up and dyed", witness="Ada Brandt")
        return dispose_food(kitchen, lot, asked, BO, NOW)

    event = only(dispose())
    assert isinstance(event, FoodDisposed)
    assert (event.disposal.mass_kg, event.disposal.witness, event.disposal.person) == (0.4, "Ada Brandt", "bo")
    assert fields_of(dispose(mass_kg=0.0)) == ["mass_kg"]
    assert fields_of(dispose(lot="BRISKET-14")) == ["how"]
    rejected = made_kitchen(Draft(NOW, "rules", ProposalMade(proposal("BELLY-32", Disposition.REJECT, WARM))))
    assert fields_of(dispose(rejected)) == ["how"]


# ------------------------------------------------------------------------------------------------------- change of plan


def test_what_is_left_out_of_a_change_stays_as_it_is() -> None:
    before = KITCHEN.batches["BELLY-32"].plan
    event = only(amend(route="uncooked", process="approved process 31", process_aw=0.9, inside="whole"))
    assert isinstance(event, PlanChanged)
    expected = replace(before, route=Route.UNCOOKED, process="approved process 31", process_aw=0.9, opened=False)
    assert event.plan == expected


def test_a_window_takes_the_place_of_the_one_of_its_stage() -> None:
    def window(stage: str, highest_c: float) -> dict[str, object]:
        return {"stage": stage, "lowest_c": 10.0, "highest_c": highest_c, "longest_days": 2.0, "source": "house"}

    plan: Plan = only(amend(windows=[window("smoke", 30.0), window("rest", 15.0)])).plan
    kitchen = made_kitchen(Draft(NOW, "ada", PlanChanged("BELLY-32", plan, "windows")))
    again: Plan = only(amend(kitchen=kitchen, windows=[window("smoke", 25.0)])).plan
    assert {(w.stage, w.highest_c) for w in again.windows} == {(Stage.SMOKE, 25.0), (Stage.REST, 15.0)}


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({}, "reason"),
        ({"route": "uncooked", "reason": "because"}, "reason"),
        ({"process_aw": 1.2}, "process_aw"),
        ({"meat_kg": 0.0}, "meat_kg"),
        ({"windows": [WindowRequest(stage=Stage.CURE, lowest_c=1, highest_c=9, longest_days=1, source="x")]},
         "windows.0.stage"),
        ({"windows": [WindowRequest(stage=Stage.DRY, lowest_c=30, highest_c=9, longest_days=1, source="x")]},
         "windows.0.highest_c"),
    ],
)  # fmt: skip
def test_a_change_that_cannot_be_is_refused(said: dict[str, Any], field: str) -> None:
    assert fields_of(amend(**said)) == [field]


def test_only_an_approver_changes_a_plan() -> None:
    asked = AmendPlan(reason="looked at it again", route=Route.UNCOOKED)
    refused = amend_plan(KITCHEN, "BELLY-32", asked, BO, NOW)
    assert isinstance(refused, Faults)
    assert refused.found[0].what == "Bo Lindqvist is no approver"


def test_a_batch_that_was_to_be_cooked_or_discarded_is_turned_to_cooked_and_never_back() -> None:
    raw = only(amend(route="sold raw"))
    lock = finding("e-3 salmonella", Outcome.OUTSIDE, Tier.HOLD, "e-3 cook or discard", {"hazard": "Salmonella"})
    held = ProposalMade(proposal("BELLY-32", Disposition.HOLD, lock))
    locked = made_kitchen(Draft(NOW, "ada", raw), Draft(NOW, "rules", held))
    assert (route_locked(KITCHEN, "BELLY-32"), route_locked(locked, "BELLY-32")) == (False, True)
    assert fields_of(amend(kitchen=locked, route="uncooked")) == ["route"]
    diverted = only(amend(kitchen=locked, route="cooked"))
    assert diverted.plan.route is Route.COOKED
    turned = made_kitchen(Draft(NOW, "ada", raw), Draft(NOW, "rules", held), Draft(NOW, "ada", diverted))
    for route in ("uncooked", "sold raw"):
        assert fields_of(amend(kitchen=turned, route=route)) == ["route"]
    assert not isinstance(amend(kitchen=turned, process="approved process 4"), Faults)


@pytest.mark.parametrize(
    ("authority", "said", "field"),
    [
        ("US", {"route": "uncooked"}, "parasite_control"),
        ("US", {"route": "uncooked", "parasite_control": "officially tested meat"}, "parasite_control"),
        ("US", {"route": "uncooked", "parasite_control": "freezing"}, ""),
        ("GB", {"route": "uncooked", "product_class": ""}, ""),
        ("US", {"route": "sold raw"}, ""),
        ("US", {"product_class": "no such class"}, "product_class"),
    ],
)
def test_a_plan_that_could_work_no_longer_is_refused_by_the_rulebook(
    authority: str, said: dict[str, Any], field: str
) -> None:
    asked = AmendPlan.model_validate({"reason": "looked at the process again", **said})
    result = amend_plan(KITCHEN, "BELLY-32", asked, ADA, NOW, load(authority))
    assert (fields_of(result) if field else [isinstance(only(result), PlanChanged)]) == ([field] if field else [True])


def test_what_could_not_work_before_is_no_reason_to_refuse_a_divert() -> None:
    raw = only(amend(route="uncooked"))
    kitchen = made_kitchen(Draft(NOW, "ada", raw))
    asked = AmendPlan(reason="looked at the process again", process="approved process 31")
    assert isinstance(only(amend_plan(kitchen, "BELLY-32", asked, ADA, NOW, load("US"))), PlanChanged)

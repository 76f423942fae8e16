"""The stop at the scale: far more curing salt than planned goes in only when two people have read its bag."""

from typing import Any

from alerts.rulebook.shelf import load
from api.actions.composing import confirm_composition
from api.actions.faults import Faults, Result
from api.actions.making import correct_as_made, start_batch
from api.schemas import ConfirmComposition, CorrectAsMade, StartBatch
from collector.kitchen import Kitchen, Person
from tests.office import NOW, made_kitchen

US = load("US")
KITCHEN = made_kitchen()
ADA, BO = KITCHEN.people["ada"], KITCHEN.people["bo"]
PLAN: dict[str, Any] = {
    "name": "Tongue", "meat": "beef", "cut": "tongue", "method": "immersion", "packing": "under brine",
    "route": "cooked", "cure_days": 6, "thickness_mm": 70, "meat_kg": 2.0, "water_kg": 2.0, "salt_kg": 0.2,
    "curing_salt_kg": 0.01, "nitrite_percent": 6.25,
}  # fmt: skip
SHEET: dict[str, Any] = {
    "meat_kg": 2.0, "water_kg": 2.0, "salt_kg": 0.2, "curing_salt_kg": 0.01, "curing_salt_lot": "CS-0500",
    "nitrite_percent": 6.25, "brine_c": 3.0, "meat_c": 3.0,
}  # fmt: skip


def started(kitchen: Kitchen = KITCHEN, plan: dict[str, Any] = {}, **sheet: Any) -> Result:  # noqa: B006
    body = {
        "lot": "T-1", "plan": {**PLAN, **plan}, "as_made": {**SHEET, **sheet},
        "tubs": [{"tub": "white", "unit": "fridge"}],
    }  # fmt: skip
    return start_batch(kitchen, StartBatch.model_validate(body), BO, NOW, US)


def read_by(*people: Person, percent: float = 6.25, lot: str = "CS-0500", kitchen: Kitchen | None = None) -> Kitchen:
    done = []
    for person in people:
        request = ConfirmComposition(curing_salt_lot=lot, nitrite_percent=percent)
        result = confirm_composition(kitchen or KITCHEN, request, person, NOW)
        assert not isinstance(result, Faults)
        done += list(result)
    return made_kitchen(*done)


def said(result: Result) -> str:
    assert isinstance(result, Faults), result
    return " / ".join(f"{fault.field}: {fault.what}; {fault.mend}" for fault in result.found)


def test_twice_the_planned_curing_salt_is_weighed_in_and_a_gram_more_stops() -> None:
    assert not isinstance(started(curing_salt_kg=0.02), Faults)
    text = said(started(curing_salt_kg=0.021))
    assert text.startswith("as_made.curing_salt_kg: 0.021 kg of curing salt is more than 2 times the plan's 0.01 kg")
    assert "its bag (CS-0500) was read by nobody" in text
    assert "two different people read the bag" in text


def test_any_curing_salt_stops_where_none_was_planned() -> None:
    plan = {"curing_salt_kg": 0.0, "nitrite_percent": None}
    assert "more than 2 times the plan's 0 kg" in said(started(plan=plan, curing_salt_kg=0.005))


def test_one_person_is_not_enough_and_the_same_one_cannot_read_twice() -> None:
    kitchen = read_by(BO)
    assert "was read by bo" in said(started(kitchen, curing_salt_kg=0.03))
    request = ConfirmComposition(curing_salt_lot="cs-0500", nitrite_percent=6.25)
    assert "has read the bag of this lot already" in said(confirm_composition(kitchen, request, BO, NOW))


def test_two_people_who_read_the_same_let_it_through() -> None:
    assert not isinstance(started(read_by(BO, ADA), curing_salt_kg=0.03), Faults)


def test_two_people_who_read_another_lot_do_not() -> None:
    assert "was read by nobody" in said(started(read_by(BO, ADA, lot="CS-0412"), curing_salt_kg=0.03))


def test_two_people_who_read_different_figures_read_it_again() -> None:
    one = read_by(BO)
    other = confirm_composition(
        one, ConfirmComposition(curing_salt_lot="CS-0500", nitrite_percent=0.6), ADA, NOW
    )  # fmt: skip
    assert not isinstance(other, Faults)
    first = confirm_composition(
        KITCHEN, ConfirmComposition(curing_salt_lot="CS-0500", nitrite_percent=6.25), BO, NOW
    )  # fmt: skip
    assert not isinstance(first, Faults)
    apart = made_kitchen(*first, *other)
    assert "was read as 0.6 % by ada, 6.25 % by bo" in said(started(apart, curing_salt_kg=0.03))
    again = confirm_composition(
        apart, ConfirmComposition(curing_salt_lot="CS-0500", nitrite_percent=0.6), BO, NOW
    )  # fmt: skip
    assert not isinstance(again, Faults)
    agreed = made_kitchen(*first, *other, *again)
    assert "two people read 0.6 % on the bag" in said(started(agreed, curing_salt_kg=0.03))
    assert not isinstance(started(agreed, curing_salt_kg=0.03, nitrite_percent=0.6), Faults)


def test_without_a_lot_nobody_can_have_read_its_bag() -> None:
    assert "enter the lot" in said(started(read_by(BO, ADA), curing_salt_kg=0.03, curing_salt_lot=""))


def test_a_correction_stops_at_the_scale_too() -> None:
    sheet = {"meat_kg": 3.05, "curing_salt_kg": 0.09, "curing_salt_lot": "CS-0412", "nitrite_percent": 6.25}
    request = CorrectAsMade.model_validate({"as_made": sheet, "reason": "weighed again"})
    assert "was read by nobody" in said(correct_as_made(KITCHEN, "HAM-31", request, BO, NOW, US))
    kitchen = read_by(BO, ADA, lot="CS-0412")
    assert not isinstance(correct_as_made(kitchen, "HAM-31", request, BO, NOW, US), Faults)


def test_a_bag_cannot_hold_more_than_all_of_it() -> None:
    request = ConfirmComposition(curing_salt_lot="CS-1", nitrite_percent=60.0, nitrate_percent=50.0)
    assert "more than all of it" in said(confirm_composition(KITCHEN, request, BO, NOW))
    request = ConfirmComposition(curing_salt_lot="CS-1", nitrite_percent=-1.0)
    assert "outside 0 to 100 %" in said(confirm_composition(KITCHEN, request, BO, NOW))


def test_a_plan_that_cannot_work_is_refused_with_its_reason_and_its_mend() -> None:
    over = {"curing_salt_kg": 0.03}
    assert "over the limit of 200 (9 CFR 424.21(c)); use less curing salt, or more water; or state" in said(
        started(plan=over)
    )
    salty = {"salt_kg": 0.8, "curing_salt_kg": 0.0}
    assert "no more than 26.395 % dissolves; use less salt, or more water" in said(
        started(plan=salty, curing_salt_kg=0.0)
    )
    dry = {
        "method": "dry by weight of meat", "packing": "open", "route": "uncooked", "water_kg": 0.0, "salt_kg": 0.03,
        "curing_salt_kg": 0.0,
    }  # fmt: skip
    assert "of salt in the meat's water is under 2.5 %" in said(started(plan=dry, curing_salt_kg=0.0, brine_c=None))


def test_sausage_and_classes_of_other_methods_are_refused() -> None:
    assert "out of scope" in said(started(plan={"product_class": "comminuted"}))
    assert "not for this method, route and meat; choose one of: immersed" in said(
        started(plan={"product_class": "bacon.dry"})
    )
    assert "there is no class ham" in said(started(plan={"product_class": "ham"}))
    assert not isinstance(started(plan={"product_class": "immersed"}), Faults)

"""Rule e-8 beyond the written cases: classes bounded by what remains, ions, bags, and what counts as protected."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import pytest

from alerts.case import Case, case_of
from alerts.history import BatchHistory
from alerts.making import classes_of, evened_out, ingoing, made, planned
from alerts.rulebook.shelf import load
from alerts.rules_nitrite import judge_nitrite, nitrite_protected
from alerts.sentences_findings import finding_text
from collector.batches import Method, Packing, Plan, Route
from collector.findings import Finding, Outcome, Tier
from collector.logs import Composition

HistoryOf = Callable[[Mapping[str, Any]], BatchHistory]
BOOKS = {name: load(name) for name in ("US", "GB", "EU")}
DRY: dict[str, Any] = {
    "meat": "pork", "method": "dry by weight of meat", "packing": "open", "air": ["48 h at 3.0"],
}  # fmt: skip
BRINE: dict[str, Any] = {"air": ["48 h at 3.0"]}


def case_from(history: BatchHistory, book: str = "US") -> Case:
    return case_of(history, BOOKS[book], frozenset(), history.judged_until_at)


def said(history: BatchHistory, book: str = "US") -> dict[str, Finding]:
    found = {finding.rule: finding for finding in judge_nitrite(case_from(history, book))}
    for finding in found.values():
        assert "{" not in finding_text(finding)
    return found


def mixed(**masses: Any) -> dict[str, Any]:
    return {"meat": 1.0, "salt": 0.03, **masses}


def test_a_class_bounded_only_by_what_remains_waits_for_a_laboratory(history_of: HistoryOf) -> None:
    story = {**DRY, "class": "dry_ham", "plan": mixed(curing_salt=0.002, nitrite=6.25)}
    found = said(history_of(story), "GB")["e-8"]
    assert (found.outcome, found.tier) == (Outcome.CANNOT_TELL, Tier.RECORDED)
    assert "cannot be told until a laboratory has measured it" in finding_text(found)
    limit = BOOKS["GB"].limits["nitrite.dry_ham"].value
    for value, outcome, tier in (
        (limit, Outcome.WITHIN, Tier.NONE),
        (limit + 0.1, Outcome.OUTSIDE, Tier.HOLD),
        (3 * limit, Outcome.OUTSIDE, Tier.HOLD),
    ):
        found = said(history_of({**story, "measured": {"nitrite": value}}), "GB")["e-8"]
        assert (found.outcome, found.tier) == (outcome, tier)


def test_what_remains_is_judged_beside_what_went_in_where_a_class_has_both_limits(history_of: HistoryOf) -> None:
    story = {**BRINE, "plan": {"meat": 3.0, "water": 3.0, "salt": 0.3, "curing_salt": 0.018, "nitrite": 6.25}}
    assert "e-8 residual" not in said(history_of(story))
    over = said(history_of({**story, "measured": {"nitrite": 201.0}}))
    assert over["e-8"].outcome is Outcome.WITHIN
    assert (over["e-8 residual"].outcome, over["e-8 residual"].tier) == (Outcome.OUTSIDE, Tier.HOLD)
    within = said(history_of({**story, "measured": {"nitrite": 200.0}}))
    assert within["e-8 residual"].outcome is Outcome.WITHIN


@pytest.mark.parametrize(("grams", "outcome"), [(1.92, Outcome.WITHIN), (1.93, Outcome.OUTSIDE)])
def test_the_union_bounds_the_ion_so_120_ppm_of_the_salt_is_its_limit(
    history_of: HistoryOf, grams: float, outcome: Outcome
) -> None:
    # Regulation (EU) 2023/2108: 80 mg/kg as ion; 1.92 g of 6.25 % to the kilogram are 120 ppm NaNO2.
    story = {**DRY, "class": "heat_treated", "plan": mixed(curing_salt=grams / 1000, nitrite=6.25)}
    found = said(history_of(story), "EU")["e-8"]
    assert found.outcome is outcome
    assert found.evidence.unit == "ppm NO2"
    assert found.parameters["made"] == pytest.approx(80.0, abs=0.5)


def test_the_same_156_ppm_is_lawful_in_the_united_states_and_over_in_the_union(history_of: HistoryOf) -> None:
    plan = mixed(curing_salt=0.0025, nitrite=6.25)
    assert said(history_of({**DRY, "class": "dry", "plan": plan}))["e-8"].tier is Tier.NONE
    union = said(history_of({**DRY, "class": "heat_treated", "plan": plan}), "EU")["e-8"]
    assert (union.tier, union.parameters["made"]) == (Tier.HOLD, 104.2)


def test_protection_goes_by_what_was_made_and_never_by_the_plan(history_of: HistoryOf) -> None:
    base = {**DRY, "class": "dry", "plan": mixed(curing_salt=0.0025, nitrite=6.25)}
    for sheet, protected in (
        ({}, True),
        ({"curing_salt": 0.0016}, True),
        ({"curing_salt": 0.00159}, False),
        ({"nitrite": "not entered"}, None),
        ({"curing_salt": "not entered"}, None),
        ({"curing_salt": 0.0}, False),
    ):
        assert nitrite_protected(case_from(history_of({**base, "made": sheet}))) is protected


def test_a_bound_proves_that_meat_is_not_protected_and_never_that_it_is(history_of: HistoryOf) -> None:
    plan = {"meat": 2.0, "water": 2.0, "salt": 0.2, "curing_salt": 0.03, "nitrite": 0.6}
    story = {**BRINE, "plan": plan, "made": {"salt": "not entered"}}
    assert nitrite_protected(case_from(history_of(story))) is False
    strong = {**story, "plan": {**plan, "nitrite": 2.0}}
    assert nitrite_protected(case_from(history_of(strong))) is None


def read(*bags: tuple[str, float]) -> tuple[Composition, ...]:
    return tuple(Composition("CS-1", percent, 0.0, person, 0.0) for person, percent in bags)


def test_a_composition_missing_on_the_sheet_is_taken_from_the_bag_that_people_read(history_of: HistoryOf) -> None:
    story = {**DRY, "class": "dry", "plan": mixed(curing_salt=0.0025, nitrite=6.25), "made": {"nitrite": "not entered"}}
    unread = history_of(story)
    assert said(unread)["e-8"].outcome is Outcome.CANNOT_TELL
    found = said(replace(unread, compositions=read(("bo", 6.25))))["e-8"]
    assert (found.outcome, found.parameters["made"]) == (Outcome.WITHIN, 156.2)


def test_bags_that_were_read_differently_bound_the_nitrite_and_tell_nothing_else(history_of: HistoryOf) -> None:
    story = {**DRY, "class": "dry", "plan": mixed(curing_salt=0.0025, nitrite=6.25), "made": {"nitrite": "not entered"}}
    apart = replace(history_of(story), compositions=read(("bo", 0.6), ("ada", 6.25)))
    found = said(apart)
    assert (found["e-8"].outcome, found["e-8"].tier) == (Outcome.CANNOT_TELL, Tier.RECORDED)
    assert "the bag was read differently" in finding_text(found["e-8"])
    assert nitrite_protected(case_from(apart)) is None
    strong = replace(apart, compositions=read(("bo", 0.6), ("ada", 50.0)))
    assert (said(strong)["e-8"].outcome, said(strong)["e-8"].tier) == (Outcome.CANNOT_TELL, Tier.HOLD)
    agreed = replace(apart, compositions=read(("bo", 0.6), ("ada", 6.25), ("bo", 6.25)))
    assert said(agreed)["e-8"].outcome is Outcome.WITHIN


def test_a_sheet_that_says_something_else_than_the_bag_is_not_believed(history_of: HistoryOf) -> None:
    story = {**DRY, "class": "dry", "plan": mixed(curing_salt=0.0025, nitrite=6.25)}
    found = said(replace(history_of(story), compositions=read(("bo", 0.6))))["e-8"]
    assert found.outcome is Outcome.CANNOT_TELL


def test_a_hold_is_due_from_the_filling_and_names_what_to_do(history_of: HistoryOf) -> None:
    plan = {"meat": 3.0, "water": 3.0, "salt": 0.3, "curing_salt": 0.022, "nitrite": 6.25}
    history = history_of({**BRINE, "plan": plan})
    found = said(history)["e-8"]
    assert found.tier is Tier.HOLD
    assert found.parameters["due_at"] == history.batch.started_at
    assert "Dilute or replace the brine" in finding_text(found)


def test_the_class_follows_from_the_method_where_nothing_else_is_possible() -> None:
    beef = Plan("p", "beef", "c", Method.IMMERSION, Packing.UNDER_BRINE, Route.COOKED, 1e5, 50.0, 3.0)
    found = classes_of(beef, BOOKS["US"])
    assert (found.settled, [one.id for one in found.possible]) == (True, ["immersed"])
    pork = replace(beef, meat="pork")
    assert not classes_of(pork, BOOKS["US"]).settled
    assert classes_of(replace(pork, product_class="immersed"), BOOKS["US"], "ada").chosen_by == "chosen by ada"
    for named in ("bacon.dry", "nonsense"):
        assert not classes_of(replace(pork, product_class=named), BOOKS["US"]).settled


def test_a_measured_pickup_without_the_basis_changes_what_is_shown_and_not_what_decides() -> None:
    plan = Plan(
        "p", "beef", "c", Method.IMMERSION, Packing.UNDER_BRINE, Route.COOKED, 1e5, 50.0, 2.0, water_kg=2.0,
        salt_kg=0.2, curing_salt_kg=0.03, nitrite_percent=6.25, pickup_percent=4.0,
    )  # fmt: skip
    two = ingoing(plan, BOOKS["US"], planned(plan))
    one = ingoing(replace(plan, nitrite_basis="method one"), BOOKS["US"], planned(plan))
    assert two.decided == two.two == one.two
    assert one.decided == one.one == two.one


def test_the_sheet_of_meat_lighter_after_the_needle_than_before_takes_nothing_away(history_of: HistoryOf) -> None:
    plan = {"meat": 3.0, "water": 3.0, "salt": 0.3, "curing_salt": 0.018, "nitrite": 6.25, "pump": 10}
    story = {**BRINE, "method": "injected then immersed", "plan": plan, "made": {"pumped": 2.9}}
    found = said(history_of(story))["e-8"]
    assert found.parameters["made"] == found.parameters["method_two"] == pytest.approx(178.0, abs=0.5)


def test_salt_at_rest_is_that_of_the_published_pairs() -> None:
    # Rules A2: 2.2 % of the meat is 3.05 % of its water, 2.75 % is 3.78 %.
    plan = Plan("p", "beef", "c", Method.DRY_BY_WEIGHT, Packing.OPEN, Route.UNCOOKED, 1e5, 50.0, 1.0)
    for salt, percent in ((0.022, 3.05), (0.0275, 3.78)):
        found = evened_out(plan, planned(replace(plan, salt_kg=salt)))
        assert found is not None
        assert found.least == found.most == percent
    in_excess = replace(plan, method=Method.DRY_IN_EXCESS, salt_kg=1.0)
    assert evened_out(in_excess, planned(in_excess)) is None


def test_what_was_not_entered_is_none_only_where_the_plan_has_none(history_of: HistoryOf) -> None:
    batch = history_of({**BRINE, "plan": {"meat": 3.0, "water": 3.0, "salt": 0.3}}).batch
    sheet = replace(batch.as_made, salt_kg=None, sugar_kg=None, curing_salt_kg=None)
    mix = made(batch.plan, sheet)
    assert (mix.salt_kg, mix.sugar_kg, mix.curing_salt_kg) == (None, 0.0, 0.0)

"""From the journal to a release: a batch that was cooked, cooled, labelled or turned, as it is judged."""

from dataclasses import replace
from typing import Any

import numpy as np

from alerts.judgement import judged
from alerts.rulebook.shelf import load
from collector import events as e
from collector import events_making as m
from collector.batches import Plan, Route
from collector.events import Draft
from collector.findings import Disposition, Proposal
from collector.kitchen import Kitchen
from collector.logs import CoreLog, LabelApplied
from collector.storage import Series
from tests.office import DAY, NOW, made_kitchen

US = load("US")
LATER = NOW + 6 * DAY
"""The batch was filled two days before NOW, for seven days."""
H = 3600.0


def fetch(channel: str, from_at: float, until_at: float) -> Series:
    times = np.arange(from_at - from_at % 300.0, until_at, 300.0)
    count = times.size
    return Series(times, np.full(count, 3.0), np.zeros(count, dtype=np.int64), times + 1.0)


def proposed(*events: e.Event) -> Proposal:
    drafts = [Draft(LATER - DAY, "ada", event) for event in events]
    confirmed = [
        Draft(NOW, "ada", e.RowConfirmed("US", row.id, "the table", "ada"))
        for row in US.limits.values()
        if row.known == "memory"
    ]
    kitchen: Kitchen = made_kitchen(*confirmed, *drafts)
    found = judged(kitchen, "BELLY-32", fetch, US, LATER, "t")
    assert found is not None
    return found


def waits_for(proposal: Proposal) -> set[str]:
    return {f.rule for f in proposal.findings if f.parameters.get("blocks")}


def core(stage: str, began_h: float, *points: tuple[float, float]) -> m.CoreLogged:
    begun = LATER - 40 * H + began_h * H
    return m.CoreLogged("BELLY-32", CoreLog(stage, "P1", tuple((begun + s * 60, c) for s, c in points), "bo"))


def plan(**changes: Any) -> m.PlanChanged:
    before: Plan = made_kitchen().batches["BELLY-32"].plan
    return m.PlanChanged("BELLY-32", replace(before, **changes), "a reason of some length")


COOK, COOL = core("cook", 0.0, (0, 4.0), (150, 72.0)), core("cool", 3.0, (0, 60.0), (90, 20.0), (300, 4.0))
LABEL = m.LabelReported("BELLY-32", LabelApplied("salt, nitrite", True, LATER - DAY, "bo"))


def test_what_is_logged_in_the_journal_gives_a_release_and_what_is_not_does_not() -> None:
    assert waits_for(proposed()) == {"e-11 cook", "e-11 cooling"}
    assert waits_for(proposed(COOK)) == {"e-11 cooling"}
    assert waits_for(proposed(COOL)) == {"e-11 cook"}
    assert proposed(COOK, COOL).disposition is Disposition.RELEASE


def test_a_batch_that_was_turned_is_judged_by_its_new_route() -> None:
    assert waits_for(proposed(plan(route=Route.SOLD_RAW))) == {"e-11 label"}
    assert proposed(plan(route=Route.SOLD_RAW), LABEL).disposition is Disposition.RELEASE
    assert waits_for(proposed(plan(route=Route.UNCOOKED))) == {"e-11 process", "e-11 parasites", "e-11 aw"}
    back = (plan(route=Route.UNCOOKED), plan(route=Route.COOKED))
    assert waits_for(proposed(*back)) == {"e-11 cook", "e-11 cooling"}
    assert proposed(*back, COOK, COOL).disposition is Disposition.RELEASE


def test_what_is_logged_after_the_batch_has_left_its_unit_counts_all_the_same() -> None:
    ended = e.BatchEnded("BELLY-32", LATER - 20 * H, "taken to the oven")
    cook, cool = core("cook", 22.0, (0, 4.0), (150, 72.0)), core("cool", 25.0, (0, 60.0), (90, 20.0), (300, 4.0))
    found = proposed(cook, cool, ended)
    assert (found.judged_until_at, found.disposition) == (LATER - 20 * H, Disposition.RELEASE)
    assert waits_for(proposed(ended)) == {"e-11 cook", "e-11 cooling"}


def test_a_batch_that_left_before_its_cure_had_run_waits_for_an_approver() -> None:
    early = e.BatchEnded("BELLY-32", LATER - 41 * H, "taken to the oven")
    found = {f.rule: f for f in proposed(COOK, COOL, early).findings}
    assert (found["e-11 cure"].sentence, found["e-11 cure"].outcome) == ("e-11 cure short", "outside")

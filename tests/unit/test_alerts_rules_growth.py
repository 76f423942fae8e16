"""Rule e-4: what growth beyond that at the limit leads to, and what is said of it."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import pytest

from alerts.history import BatchHistory
from alerts.rulebook.book import Rulebook
from alerts.rulebook.curves import CURVES
from alerts.rulebook.shelf import load
from alerts.rules import judge
from alerts.sentences_findings import BY_BOUND, finding_text
from collector.findings import Finding, Outcome, Tier

HistoryOf = Callable[[Mapping[str, Any]], BatchHistory]
US = load("US")
OPEN = {"packing": "open", "method": "dry by weight of meat", "tau": "0.01 min"}
WARM = {**OPEN, "air": ["24 h at 3.0", "60 h at 8.0", "24 h at 3.0"]}


def growth(history: BatchHistory, book: Rulebook = US) -> dict[str, Finding]:
    found = judge(history, book, frozenset(), history.judged_until_at)
    return {f.rule: f for f in found if f.rule.startswith("e-4")}


def test_a_hold_says_how_much_in_plain_words_from_where_and_how_sure(history_of: HistoryOf) -> None:
    assert finding_text(growth(history_of(WARM))["e-4 salmonella"]) == (
        "Salmonella, tub 1: estimated to have grown 1.19 log10 more than it would have at 5.0 °C (1 log10 is ten times "
        "as many). Published rates differ by a factor of 2 either way: it may be 0.59 to 2.38. From 1.00 log10 on it "
        "is held. By FDA Food Code 3-501.16(A)(2); Mackey, Roberts, Mansfield and Farkas, J. Hyg. 85(1), 115–124, "
        "1980, square-root line fitted by this house. House limit, without a source: 1 log10."
    )


def test_the_factor_is_printed_and_never_used(history_of: HistoryOf) -> None:
    wide = replace(US, limits={**US.limits, "growth.factor": replace(US.limits["growth.factor"], value=100.0)})
    below = history_of({**OPEN, "air": ["24 h at 3.0", "40 h at 8.0", "24 h at 3.0"]})
    for history in (history_of(WARM), below):
        two, hundred = growth(history), growth(history, wide)
        assert {rule: (f.tier, f.outcome) for rule, f in two.items()} == {
            rule: (f.tier, f.outcome) for rule, f in hundred.items()
        }
    assert growth(below, wide)["e-4 salmonella"].parameters["growth_high"] == pytest.approx(80, abs=1)


@pytest.mark.parametrize("route", ["cooked", "uncooked", "sold raw"])
def test_growth_never_rejects_however_much(history_of: HistoryOf, route: str) -> None:
    found = growth(history_of({**OPEN, "route": route, "air": ["10 d at 20.0"]}))
    assert set(found) == (set(CURVES) if route == "uncooked" else {"e-4 salmonella"})
    assert {f.tier for f in found.values()} == {Tier.HOLD}
    assert float(found["e-4 salmonella"].parameters["growth"] or 0) > 40


def test_twenty_minutes_a_day_for_45_days_add_up_and_do_not_hold(history_of: HistoryOf) -> None:
    # 15 h above 5 °C: a sum that is not reset, and that a long cure must be able to carry.
    story = {**OPEN, "route": "uncooked", "cure": "45 d", "air": ["1420 min at 4.0", "20 min at 6.5"] * 45}
    found = growth(history_of(story))
    assert {f.tier for f in found.values()} == {Tier.NONE}
    once = growth(history_of({**story, "air": ["24 h at 4.0", "900 min at 6.5", "24 h at 4.0"]}))
    for rule, finding in found.items():
        assert finding.parameters["growth"] == pytest.approx(once[rule].parameters["growth"], abs=0.011)
        assert float(finding.parameters["growth"] or 0) > 0


def test_growth_before_and_after_a_warm_stage_is_one_sum_and_the_stage_itself_is_left_out(
    history_of: HistoryOf,
) -> None:
    air = ["30 h at 8.0", "6 h at 30.0", "30 h at 8.0"]
    smoked = history_of({**OPEN, "air": air, "stages": ["cure for 30 h", "smoke for 6 h", "store"]})
    assert growth(smoked)["e-4 salmonella"].parameters["growth"] == pytest.approx(1.19, abs=0.03)


def test_the_evidence_carries_measure_value_threshold_and_rows(history_of: HistoryOf) -> None:
    finding = growth(history_of(WARM))["e-4 salmonella"]
    evidence = finding.evidence
    assert (evidence.value, evidence.unit, evidence.threshold) == (finding.parameters["growth"], "log10", 1.0)
    assert evidence.channels == ("air",)
    assert evidence.measure == US.rule("e-4 salmonella").measure
    assert finding.limits == ("cold.limit", "growth.salmonella", "growth.hold_cooked")


def test_a_hold_was_due_when_the_sum_came_to_the_threshold(history_of: HistoryOf) -> None:
    history = history_of(WARM)
    due_at = growth(history)["e-4 salmonella"].parameters["due_at"]
    # 0.995, which is printed as 1.00, after 50.0 h at 8 °C.
    assert due_at == pytest.approx(history.batch.started_at + 74.0 * 3600, abs=180)


def test_the_tub_that_stood_warm_is_told(history_of: HistoryOf) -> None:
    story = {**OPEN, "tubs": {"left": ["108 h at 3.0"], "right": ["24 h at 3.0", "60 h at 8.0", "24 h at 3.0"]}}
    assert growth(history_of(story))["e-4 salmonella"].parameters["tub"] == "right"


def test_what_holds_by_its_bound_alone_says_so_and_asks_for_a_probe(history_of: HistoryOf) -> None:
    history = history_of({"air": ["24 h at 3.0", "24 h unknown", "24 h at 3.0"]})
    finding = growth(history)["e-4 salmonella"]
    assert (finding.tier, finding.outcome) == (Tier.HOLD, Outcome.CANNOT_TELL)
    assert BY_BOUND in finding_text(finding)
    gap = next(f for f in judge(history, US, frozenset(), history.judged_until_at) if f.rule == "e-6")
    assert "e-4 salmonella" in str(gap.parameters["rules"])


def test_growth_that_is_known_holds_as_outside_even_beside_unknown_time(history_of: HistoryOf) -> None:
    known = history_of({**OPEN, "air": ["24 h at 3.0", "60 h at 8.0", "24 h at 3.0", "6 h unknown", "24 h at 3.0"]})
    assert growth(known)["e-4 salmonella"].outcome is Outcome.OUTSIDE


def test_nothing_read_is_not_told_as_no_growth(history_of: HistoryOf) -> None:
    for finding in growth(history_of({"route": "uncooked", "placed": ["1"]})).values():
        assert finding.outcome is Outcome.CANNOT_TELL
        assert finding.evidence.value is None
        assert "cannot be told" in finding_text(finding)


@pytest.mark.parametrize("rule", CURVES)
def test_the_figure_in_the_rulebook_is_that_of_the_curve(rule: str) -> None:
    curve = CURVES[rule]
    assert US.scaled(curve.row) / 3600 == pytest.approx(curve.doubling_h(), abs=0.05)

"""What the rules say of batches told in tests/unit/cases/, and what holds for every finding."""

import tomllib
from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from alerts.disposition import propose
from alerts.history import BatchHistory
from alerts.rulebook.book import Rulebook
from alerts.rulebook.shelf import load
from alerts.rules import judge
from alerts.rules_release import blocks
from alerts.sentences_findings import COOK_AGAIN, LEAVE_IT, finding_text, proposal_text
from collector.findings import Finding, Outcome, Proposal, Tier

HistoryOf = Callable[[Mapping[str, Any]], BatchHistory]
US = load("US")
FROM_MEMORY = frozenset(row.id for row in US.limits.values() if row.known == "memory")


def book_of(story: Mapping[str, Any]) -> Rulebook:
    return load(story.get("authority", "US"))


def memory_of(book: Rulebook) -> frozenset[str]:
    return frozenset(row.id for row in book.limits.values() if row.known == "memory")


FILES = sorted((Path(__file__).parent / "cases").glob("*.toml"))
CASES = [case for path in FILES for case in tomllib.loads(path.read_text(encoding="utf-8"))["case"]]
STORY_KEYS = {
    "name", "why", "expect", "air", "tubs", "meat", "route", "method", "packing", "thickness_mm", "bone_in", "cure",
    "extended", "published_days", "start_c", "brine_c", "meat_c", "tau", "limit_c", "uncertainty_c", "stages", "placed",
    "judged_after", "begun", "confirmed", "authority", "plan", "made", "class", "basis", "factor", "measured", "vessel",
    "parasites", "opened", "soak",
    "cut", "core", "hand", "label", "windows", "process", "process_aw",
}  # fmt: skip
EXPECT_KEYS = {"disposition", "tiers", "outcomes", "figures", "new_end", "decide_by", "silent", "waits_for"}


def proposed(history_of: HistoryOf, story: Mapping[str, Any]) -> Proposal:
    history, book = history_of(story), book_of(story)
    confirmed = memory_of(book) if story.get("confirmed", "all") == "all" else frozenset[str]()
    now = history.judged_until_at
    return propose(history, judge(history, book, confirmed, now), book, now, "test 1")


def local(at: float | None) -> str | None:
    return None if at is None else datetime.fromtimestamp(at, ZoneInfo("America/New_York")).strftime("%Y-%m-%dT%H:%M")


def by_rule(proposal: Proposal) -> dict[str, Finding]:
    found = {finding.rule: finding for finding in proposal.findings}
    assert len(found) == len(proposal.findings) or any(f.sentence == "e-6 no record" for f in proposal.findings)
    return found


@pytest.mark.parametrize("case", CASES, ids=[case["name"] for case in CASES])
def test_a_case_is_judged_as_its_file_says(case: dict[str, Any], history_of: HistoryOf) -> None:
    assert set(case) <= STORY_KEYS
    assert set(case["expect"]) <= EXPECT_KEYS
    proposal = proposed(history_of, case)
    found, expect = by_rule(proposal), case["expect"]
    said = "\n".join(proposal_text(proposal, "America/New_York"))
    assert proposal.disposition == expect["disposition"], said
    assert {rule: found[rule].tier.value for rule in expect.get("tiers", {})} == expect.get("tiers", {}), said
    assert {rule: found[rule].outcome.value for rule in expect.get("outcomes", {})} == expect.get("outcomes", {}), said
    for rule, figures in expect.get("figures", {}).items():
        for name, (value, tolerance) in figures.items():
            assert found[rule].parameters[name] == pytest.approx(value, abs=tolerance), f"{rule} {name}\n{said}"
    for key, at in (("new_end", proposal.new_end_at), ("decide_by", proposal.decide_by_at)):
        if key in expect:
            assert (local(at) or "none") == expect[key], said
    assert not set(expect.get("silent", [])) & set(found)
    assert proposal.blocks_release == (proposal.disposition != "release")
    assert set(expect.get("waits_for", [])) <= {finding.rule for finding in proposal.findings if blocks(finding)}, said


@pytest.mark.parametrize("case", CASES, ids=[case["name"] for case in CASES])
def test_what_is_said_of_a_case_names_its_limits_and_promises_nothing(
    case: dict[str, Any], history_of: HistoryOf
) -> None:
    proposal = proposed(history_of, case)
    lines = proposal_text(proposal, "America/New_York")
    text = "\n".join(lines)
    assert not {"safe", "OK", "clear"} & set(text.replace(".", " ").split())
    assert lines[-1].endswith("Estimates only: local rules and a responsible or licensed person come first.")
    held = {found.sentence for found in proposal.findings if found.tier is Tier.HOLD}
    first = COOK_AGAIN if held == {"e-11 cook short"} else LEAVE_IT
    assert (first in text) == (proposal.disposition == "hold")
    assert ("Proposed: release." in text) == (proposal.disposition == "release")
    for finding in proposal.findings:
        words = finding_text(finding)
        assert "{" not in words and "unknown figure" not in words, words
        memory = memory_of(book_of(case)) if case.get("confirmed") == "none" else frozenset[str]()
        unchecked = [row for row in finding.limits if row in memory]
        if finding.tier is not Tier.NONE:
            assert ("not checked against the document" in words) == bool(unchecked)


@pytest.mark.parametrize("case", CASES, ids=[case["name"] for case in CASES])
def test_every_finding_of_a_case_carries_its_evidence(case: dict[str, Any], history_of: HistoryOf) -> None:
    history, book = history_of(case), book_of(case)
    for finding in judge(history, book, memory_of(book), history.judged_until_at):
        evidence = finding.evidence
        assert history.batch.started_at <= evidence.from_at <= evidence.until_at <= history.judged_until_at + 1e-3
        assert evidence.measure
        assert 0 <= evidence.gap_s <= evidence.until_at - evidence.from_at + 60
        assert set(finding.limits) <= set(book.limits)
        if finding.tier is Tier.REJECT:
            assert finding.outcome is Outcome.OUTSIDE


@pytest.mark.parametrize("case", CASES, ids=[case["name"] for case in CASES])
def test_judging_a_case_twice_gives_the_same_digits(case: dict[str, Any], history_of: HistoryOf) -> None:
    assert repr(proposed(history_of, case)) == repr(proposed(history_of, case))

"""From findings to a proposal: what blocks, until when to decide, and until which check the cure goes on."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from alerts.checks import next_check
from alerts.disposition import FOLLOWS, propose
from alerts.history import BatchHistory
from alerts.rulebook.shelf import load
from alerts.rules import judge
from alerts.sentences_findings import PROPOSED, finding_text, proposal_text, span_text
from alerts.surroundings import gap_after_s
from alerts.unit_watch import EXCURSION_JOIN_S, EXCURSION_S, FREEZING_C, FREEZING_S
from collector.findings import Disposition, Evidence, Finding, Outcome, Tier

HistoryOf = Callable[[Mapping[str, Any]], BatchHistory]
US = load("US")
FROM_MEMORY = frozenset(row.id for row in US.limits.values() if row.known == "memory")
DAY = 86_400.0


def finding(tier: Tier, rule: str = "e-2", add_s: float = 0.0, **parameters: float) -> Finding:
    evidence = Evidence(0.0, 0.0, (), 0, 0.0, "m", None, "", None)
    return Finding(rule, Outcome.OUTSIDE, tier, "e-2 hold", parameters, evidence, (), add_s)


def at(text: str, zone: str = "America/New_York") -> float:
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone)).timestamp()


@pytest.fixture
def quiet(history_of: HistoryOf) -> BatchHistory:
    return history_of({"air": ["48 h at 3.0"]})


@pytest.mark.parametrize(
    ("tiers", "disposition"),
    [
        ([], "continue"),
        ([Tier.NONE], "continue"),
        ([Tier.RECORDED, Tier.NONE], "continue"),
        ([Tier.RECORDED, Tier.EXTEND], "extend"),
        ([Tier.HOLD, Tier.EXTEND], "hold"),
        ([Tier.EXTEND, Tier.REJECT, Tier.HOLD], "reject"),
    ],
)
def test_the_strongest_finding_blocks(tiers: list[Tier], disposition: str, quiet: BatchHistory) -> None:
    proposal = propose(quiet, [finding(tier) for tier in tiers], US, quiet.judged_until_at, "t")
    assert proposal.disposition == disposition
    assert proposal.blocks_release
    assert len(proposal.findings) == len(tiers)


def test_every_tier_leads_somewhere_and_none_to_release() -> None:
    assert set(FOLLOWS) == set(Tier)
    assert Disposition.RELEASE not in FOLLOWS.values()
    assert set(PROPOSED) == set(Disposition)


def test_a_hold_still_carries_the_hours_to_add_and_the_new_end(quiet: BatchHistory) -> None:
    found = [finding(Tier.HOLD), finding(Tier.EXTEND, "e-5", add_s=7 * 3600.0)]
    proposal = propose(quiet, found, US, quiet.judged_until_at, "t")
    assert (proposal.disposition, proposal.add_s) == ("hold", 7 * 3600.0)
    assert proposal.new_end_at == at("2026-03-07T15:00")


def test_a_hold_is_decided_a_day_after_it_became_due(quiet: BatchHistory) -> None:
    due = quiet.judged_until_at - 3 * 3600
    proposal = propose(quiet, [finding(Tier.HOLD, due_at=due)], US, quiet.judged_until_at, "t")
    assert proposal.decide_by_at == due + DAY


def test_the_earliest_of_several_holds_sets_the_time(quiet: BatchHistory) -> None:
    found = [finding(Tier.HOLD, due_at=2e9), finding(Tier.HOLD, due_at=1.9e9), finding(Tier.RECORDED, due_at=1.0)]
    assert propose(quiet, found, US, quiet.judged_until_at, "t").decide_by_at == 1.9e9 + DAY


def test_a_nearing_reject_shortens_the_time_to_decide(quiet: BatchHistory) -> None:
    found = [finding(Tier.HOLD, due_at=2e9, next_tier_at=2e9 + 3600)]
    assert propose(quiet, found, US, quiet.judged_until_at, "t").decide_by_at == 2e9 + 3600


def test_a_hold_without_an_instant_is_due_when_it_was_judged(quiet: BatchHistory) -> None:
    proposal = propose(quiet, [finding(Tier.HOLD)], US, quiet.judged_until_at, "t")
    assert proposal.decide_by_at == quiet.judged_until_at + DAY


def test_a_reject_has_nothing_to_decide_by(quiet: BatchHistory) -> None:
    assert propose(quiet, [finding(Tier.REJECT, due_at=1.0)], US, quiet.judged_until_at, "t").decide_by_at is None


SHOWN = Finding(
    "e-11 cure", Outcome.WITHIN, Tier.NONE, "e-11 cure counted", {"blocks": 0},
    Evidence(0.0, 0.0, (), 0, 0.0, "m", None, "", None),
)  # fmt: skip


def test_a_release_is_proposed_where_all_was_shown_and_nothing_stands_in_its_way(quiet: BatchHistory) -> None:
    for found in ([SHOWN], [SHOWN, finding(Tier.NONE)], [SHOWN, finding(Tier.RECORDED)]):
        proposal = propose(quiet, found, US, quiet.judged_until_at, "t")
        assert (proposal.disposition, proposal.blocks_release) == ("release", False)


@pytest.mark.parametrize(
    ("tier", "rule", "sentence", "parameters", "disposition"),
    [
        (Tier.NONE, "e-1", "e-1 no rule", {}, "continue"),
        (Tier.NONE, "e-1 smoke", "e-1 no window", {"blocks": 1}, "continue"),
        (Tier.NONE, "e-11 cook", "e-11 cook missing", {"blocks": 1}, "continue"),
        (Tier.EXTEND, "e-5", "e-5 extend", {}, "extend"),
        (Tier.HOLD, "e-2", "e-2 hold", {}, "hold"),
        (Tier.REJECT, "e-3 x", "e-3 reject", {}, "reject"),
    ],
)
def test_one_thing_in_its_way_is_enough(
    tier: Tier, rule: str, sentence: str, parameters: dict[str, float], disposition: str, quiet: BatchHistory
) -> None:
    against = replace(finding(tier, rule, **parameters), sentence=sentence, outcome=Outcome.CANNOT_TELL)
    proposal = propose(quiet, [SHOWN, against], US, quiet.judged_until_at, "t")
    assert (proposal.disposition, proposal.blocks_release) == (disposition, True)


def test_what_cannot_be_told_stands_in_the_way_unless_it_was_judged_at_its_bound(quiet: BatchHistory) -> None:
    for rule, disposition in (("e-8", "continue"), ("e-9", "continue"), ("e-2", "release"), ("e-6", "release")):
        untold = replace(finding(Tier.NONE, rule), outcome=Outcome.CANNOT_TELL)
        assert propose(quiet, [SHOWN, untold], US, quiet.judged_until_at, "t").disposition == disposition


def test_nothing_is_released_that_no_gate_has_looked_at(quiet: BatchHistory) -> None:
    within = replace(finding(Tier.NONE), outcome=Outcome.WITHIN)
    assert propose(quiet, [within], US, quiet.judged_until_at, "t").disposition == "continue"


def test_meat_still_standing_warm_brings_the_time_forward_to_its_reject(history_of: HistoryOf) -> None:
    story = {"meat": "pork", "tau": "1 min", "air": ["24 h at 3.0", "8 h at 18.0"]}
    history = history_of(story)
    proposal = propose(
        history, judge(history, US, FROM_MEMORY, history.judged_until_at), US, history.judged_until_at, "t"
    )
    # S. aureus 12 h, C. botulinum A/B 11 h in (10, 21]: eight have been used up, three are left.
    assert proposal.decide_by_at == pytest.approx(history.judged_until_at + 3 * 3600, abs=300)


def test_meat_that_has_come_down_again_has_the_whole_day(history_of: HistoryOf) -> None:
    story = {"meat": "pork", "tau": "1 min", "air": ["24 h at 3.0", "8 h at 18.0", "10 h at 3.0"]}
    history = history_of(story)
    proposal = propose(
        history, judge(history, US, FROM_MEMORY, history.judged_until_at), US, history.judged_until_at, "t"
    )
    crossed = history.batch.started_at + 24 * 3600
    assert proposal.decide_by_at == pytest.approx(crossed + 1800 + DAY, abs=120)


def test_the_time_to_decide_does_not_move_while_nothing_happens(history_of: HistoryOf) -> None:
    story = {"tau": "1 min", "air": ["24 h at 3.0", "6 h at 7.0", "40 h at 3.0"]}
    history = history_of(story)
    days = [
        propose(history, judge(history, US, FROM_MEMORY, now), US, now, "t").decide_by_at
        for now in (history.judged_until_at - 80_000, history.judged_until_at)
    ]
    assert days[0] == days[1] is not None


@pytest.mark.parametrize(
    ("zone", "moment", "check"),
    [
        ("America/New_York", "2026-03-07T20:29", "2026-03-08T07:00"),  # clocks forward that night
        ("America/New_York", "2026-11-01T00:30", "2026-11-01T07:00"),  # clocks back that night
        ("Europe/London", "2026-03-28T14:59", "2026-03-28T15:00"),
        ("Europe/London", "2026-03-28T15:00", "2026-03-28T15:00"),
        ("Europe/London", "2026-03-28T15:01", "2026-03-29T07:00"),
        ("Pacific/Auckland", "2026-12-31T23:00", "2027-01-01T07:00"),
        ("Pacific/Apia", "2011-12-29T16:00", "2011-12-31T07:00"),  # the day that Samoa left out
    ],
)
def test_the_next_check_is_by_the_clock_on_the_wall(zone: str, moment: str, check: str) -> None:
    found = next_check(["15:00", "07:00"], zone, at(moment, zone))
    assert datetime.fromtimestamp(found, ZoneInfo(zone)).strftime("%Y-%m-%dT%H:%M") == check


def test_a_check_in_the_hour_that_spring_leaves_out_is_still_one() -> None:
    found = next_check(["02:30"], "America/New_York", at("2026-03-08T00:00"))
    assert datetime.fromtimestamp(found, ZoneInfo("America/New_York")).strftime("%H:%M") == "03:30"


def test_a_site_without_checks_is_refused() -> None:
    with pytest.raises(ValueError, match="without working checks"):
        next_check([], "Europe/London", 0.0)


def test_a_hold_says_to_leave_it_cold_and_until_when_to_decide(history_of: HistoryOf) -> None:
    history = history_of({"tau": "1 min", "air": ["24 h at 3.0", "5 h at 7.0", "24 h at 3.0"]})
    now = history.judged_until_at
    lines = proposal_text(propose(history, judge(history, US, FROM_MEMORY, now), US, now, "t"), "America/New_York")
    assert lines[0] == "B14. Proposed: HOLD."
    assert lines[1] == "Leave it cold; do not cook, sell or throw it away yet."
    assert lines[2] == "Decide by Wednesday 4 March, 11:00."
    assert "House limit, without a source: 4 h." in lines[3]


def test_a_units_own_limit_is_not_told_as_the_rulebooks(history_of: HistoryOf) -> None:
    history = history_of({"tau": "1 min", "limit_c": 4.0, "air": ["24 h at 3.0", "1 h at 4.8", "24 h at 3.0"]})
    found = {f.rule: f for f in judge(history, US, FROM_MEMORY, history.judged_until_at)}
    words = finding_text(found["e-2"])
    assert "4.0 °C is the unit's own limit." in words
    assert "Food Code" not in words
    assert "cold.limit" not in found["e-2"].limits


def test_a_row_from_memory_says_so_until_it_is_confirmed(history_of: HistoryOf) -> None:
    history = history_of({"tau": "1 min", "air": ["24 h at 3.0", "7 h at 12.0", "24 h at 3.0"]})
    texts = [
        " ".join(finding_text(f) for f in judge(history, US, confirmed, history.judged_until_at))
        for confirmed in (frozenset[str](), FROM_MEMORY)
    ]
    assert ["not checked against the document" in text for text in texts] == [True, False]


def test_what_would_be_rejected_is_told_to_wait_for_the_document(history_of: HistoryOf) -> None:
    history = history_of({"tau": "1 min", "air": ["24 h at 3.0", "14 h at 18.0", "24 h at 3.0"]})
    found = judge(history, US, frozenset(), history.judged_until_at)
    told = [f.rule for f in found if "It would be rejected if a named person had confirmed" in finding_text(f)]
    assert "e-3 staphylococcus_aureus" in told
    assert all(f.tier is Tier.HOLD for f in found if f.rule in told)


def test_meat_at_the_upper_end_of_a_band_belongs_to_it(history_of: HistoryOf) -> None:
    story = {"meat": "pork", "tau": "0.01 min", "air": ["24 h at 3.0", "8 h at 21.0"]}
    history = history_of(story)
    assert history.tubs[0].held_c()[-1] == 21.0
    now = history.judged_until_at
    # C. botulinum A/B: 11 h up to 21 °C, 2 h above; eight have been used.
    decide_by = propose(history, judge(history, US, FROM_MEMORY, now), US, now, "t").decide_by_at
    assert decide_by == pytest.approx(now + 3 * 3600, abs=300)


def test_an_unknown_sentence_is_an_error_of_ours() -> None:
    with pytest.raises(KeyError):
        finding_text(replace(finding(Tier.HOLD), sentence="e-99"))


@pytest.mark.parametrize(("minutes", "text"), [(0, "0 min"), (59, "59 min"), (60, "1 h"), (130, "2 h 10 min")])
def test_a_span_is_told_as_people_say_it(minutes: int, text: str) -> None:
    assert span_text(minutes) == text


def test_the_watch_and_the_estimate_go_by_the_numbers_of_the_rulebook() -> None:
    assert US.scaled("excursion.shortest") == EXCURSION_S
    assert US.scaled("excursion.join") == EXCURSION_JOIN_S
    assert (US.scaled("ice.line"), US.scaled("ice.time")) == (FREEZING_C, FREEZING_S)
    assert gap_after_s(60.0) == US.scaled("gap.shortest")
    assert gap_after_s(1000.0) == US.scaled("gap.intervals") * 1000.0


def test_a_record_that_began_from_an_unknown_start_is_held(history_of: HistoryOf) -> None:
    history = history_of({"air": ["24 h at 3.0"]})
    unsure = replace(history, tubs=(replace(history.tubs[0], start_known=False),))
    found = {f.rule: f for f in judge(unsure, US, FROM_MEMORY, unsure.judged_until_at)}
    assert (found["e-7"].outcome, found["e-7"].tier) == (Outcome.CANNOT_TELL, Tier.HOLD)

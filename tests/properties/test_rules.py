"""What holds for every history: warmer is never judged milder, unknown never becomes good, and time only adds."""

from dataclasses import replace
from typing import Any

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from alerts.disposition import propose
from alerts.history import BatchHistory, TubHistory, UnknownTime
from alerts.rulebook.book import TIER_ORDER
from alerts.rulebook.shelf import load
from alerts.rules import judge
from alerts.sentences_findings import proposal_text
from collector.batches import AsMade, Batch, Method, Packing, Placement, Plan, Route, Stage, StageSpan
from collector.findings import Finding, Outcome, Tier
from collector.readings import Site

US = load("US")
FROM_MEMORY = frozenset(row.id for row in US.limits.values() if row.known == "memory")
BEGUN = 1_772_400_000.0
SITE = Site("s", "S", "Europe/London", "US")
HAZARDS = ("e-2", "e-3", "e-4", "e-7")
WEIGHED_OR_ENTERED = ("e-7", "e-8", "e-9", "e-10")
"""Rules that look at what was weighed or entered, or at the calendar, not at a record of temperatures."""

PLANS = st.builds(
    Plan,
    name=st.just("plan"),
    meat=st.sampled_from(["pork", "beef", "poultry", "boar"]),
    cut=st.just("cut"),
    method=st.sampled_from(Method),
    packing=st.sampled_from(Packing),
    route=st.sampled_from(Route),
    cure_s=st.sampled_from([86_400.0, 432_000.0, 1_814_400.0]),
    thickness_mm=st.sampled_from([30.0, 90.0]),
    meat_kg=st.just(3.0),
    published_days=st.booleans(),
)
AS_MADE = st.builds(
    AsMade,
    meat_kg=st.just(3.0),
    water_kg=st.just(3.0),
    brine_c=st.sampled_from([None, 2.0, 4.5, 8.0]),
    meat_c=st.sampled_from([None, 2.0, 4.5, 6.5, 8.0]),
)
COLD = [
    [StageSpan(Stage.CURE, BEGUN)],
    [StageSpan(Stage.RECEIVE, BEGUN, BEGUN + 9000), StageSpan(Stage.CURE, BEGUN + 9000)],
]
WARM = [
    [StageSpan(Stage.CURE, BEGUN, BEGUN + 90_000), StageSpan(Stage.SMOKE, BEGUN + 90_000, BEGUN + 97_777)],
    [StageSpan(Stage.CURE, BEGUN, BEGUN + 50_000), StageSpan(Stage.REST, BEGUN + 50_000)],
]


@st.composite
def histories(draw: st.DrawFn, unknown: bool | None = None) -> BatchHistory:
    """Return a batch of one tub, straight lines between drawn temperatures, perhaps unknown in places."""
    count = draw(st.integers(3, 40))
    steps = draw(st.lists(st.sampled_from([600.0, 1800.0, 7200.0, 20_000.0]), min_size=count - 1, max_size=count - 1))
    times = np.concatenate(([BEGUN], BEGUN + np.cumsum(steps)))
    drawn = draw(
        st.lists(
            st.sampled_from([-2.0, 1.0, 3.0, 4.9, 5.2, 6.0, 9.9, 10.2, 15.0, 23.0]), min_size=count, max_size=count
        )
    )
    likely = np.array(drawn)
    lower, upper, flags = likely, likely, np.zeros(count, dtype=bool)
    if unknown or (unknown is None and draw(st.booleans())):
        first = draw(st.integers(0, count - 2))
        after = draw(st.integers(first + 2, count))
        flags[first:after] = True
        lower = np.where(flags, likely - draw(st.sampled_from([0.6, 3.0])), likely)
        upper = np.where(flags, likely + draw(st.sampled_from([0.6, 8.0])), likely)
    plan, made = draw(PLANS), draw(AS_MADE)
    batch = Batch("B1", plan, made, BEGUN, (Placement("1", "u", BEGUN),), tuple(draw(st.sampled_from(COLD + WARM))))
    gaps = (UnknownTime(float(times[flags][0]), float(times[flags][-1]), "no reading"),) if flags.any() else ()
    tub = TubHistory(
        "1", times, likely, lower, upper, flags, gaps, ("a",), count, 21_600.0, 0.5, made.meat_c is not None
    )
    limit = draw(st.sampled_from([None, 4.0, 5.0]))
    return BatchHistory(batch, SITE, (tub,), limit, batch.planned_end_at, float(times[-1]))


def findings_of(history: BatchHistory, confirmed: frozenset[str] = FROM_MEMORY, **at: float) -> tuple[Finding, ...]:
    return judge(history, US, confirmed, at.get("now", history.judged_until_at))


def ranks(findings: tuple[Finding, ...]) -> dict[str, int]:
    """Return how far each hazard's finding reaches."""
    return {f.rule: TIER_ORDER.index(f.tier) for f in findings if f.rule.startswith(HAZARDS)}


def with_tub(history: BatchHistory, **changes: Any) -> BatchHistory:
    return replace(history, tubs=(replace(history.tubs[0], **changes),))


@given(history=histories(), warmer=st.lists(st.sampled_from([0.0, 0.3, 2.0]), min_size=40, max_size=40))
def test_a_warmer_history_is_never_judged_milder(history: BatchHistory, warmer: list[float]) -> None:
    tub = history.tubs[0]
    added = np.array(warmer[: tub.times_at.size])
    warm = with_tub(history, likely_c=tub.likely_c + added, lower_c=tub.lower_c + added, upper_c=tub.upper_c + added)
    cold_ranks, warm_ranks = ranks(findings_of(history)), ranks(findings_of(warm))
    assert {rule: rank for rule, rank in cold_ranks.items() if warm_ranks[rule] < rank} == {}


@given(history=histories(unknown=True))
def test_unknown_time_never_gives_within(history: BatchHistory) -> None:
    tub = history.tubs[0]
    cure_end = min(
        [history.cure_end_at, *(s.until_at or np.inf for s in history.batch.stages if s.stage is Stage.CURE)]
    )
    in_cure = bool((tub.unknown & (tub.times_at < cure_end)).any())
    smoked = any(span.stage is Stage.SMOKE for span in history.batch.stages)
    for finding in findings_of(history):
        if finding.rule.startswith(("e-2", "e-3", "e-4")) and not smoked:
            assert finding.outcome is not Outcome.WITHIN
        if finding.rule == "e-5" and in_cure:
            assert finding.outcome is not Outcome.WITHIN
    assert any(f.rule == "e-6" and f.outcome is Outcome.CANNOT_TELL for f in findings_of(history))


@given(history=histories(), further=st.sampled_from([0.5, 4.0, 15.0]))
def test_what_is_unknown_throughout_is_never_rejected(history: BatchHistory, further: float) -> None:
    tub = history.tubs[0]
    blind = with_tub(history, unknown=np.ones(tub.times_at.size, dtype=bool), upper_c=tub.upper_c + further)
    assert all(finding.tier is not Tier.REJECT for finding in findings_of(blind))
    by_record = (finding for finding in findings_of(blind) if not finding.rule.startswith(WEIGHED_OR_ENTERED))
    assert all(finding.outcome is not Outcome.WITHIN for finding in by_record)


@given(history=histories())
def test_losing_sight_of_a_record_never_makes_its_hold_milder(history: BatchHistory) -> None:
    tub = history.tubs[0]
    blind = with_tub(history, unknown=np.ones(tub.times_at.size, dtype=bool), upper_c=tub.upper_c + 0.1)
    seen, unseen = ranks(findings_of(history)), ranks(findings_of(blind))
    hold = TIER_ORDER.index(Tier.HOLD)
    assert {rule: rank for rule, rank in seen.items() if unseen[rule] < min(rank, hold)} == {}


@given(history=histories())
def test_no_row_from_memory_rejects_before_it_is_confirmed(history: BatchHistory) -> None:
    checked, unchecked = findings_of(history), findings_of(history, frozenset())
    assert all(finding.tier is not Tier.REJECT for finding in unchecked)
    for before, after in zip(unchecked, checked, strict=True):
        assert before.tier is after.tier or (before.tier is Tier.HOLD and after.tier is Tier.REJECT)


@given(history=histories(), share=st.integers(1, 39))
def test_later_judgement_is_never_milder_and_nothing_after_it_is_looked_at(history: BatchHistory, share: int) -> None:
    tub = history.tubs[0]
    at = 1 + share % (tub.times_at.size - 1)
    now = float(tub.times_at[at])
    cut = {name: getattr(tub, name)[: at + 1] for name in ("times_at", "likely_c", "lower_c", "upper_c", "unknown")}
    earlier = findings_of(history, now=now)
    assert earlier == findings_of(replace(with_tub(history, **cut), judged_until_at=now))
    before, after = ranks(earlier), ranks(findings_of(history))
    assert {rule: rank for rule, rank in before.items() if after[rule] < rank} == {}


@given(history=histories())
def test_a_stricter_limit_of_the_unit_is_never_judged_milder(history: BatchHistory) -> None:
    general, strict = (ranks(findings_of(replace(history, unit_limit_c=limit))) for limit in (None, 4.0))
    assert {rule: rank for rule, rank in general.items() if strict[rule] < rank} == {}


@given(history=histories())
def test_a_second_tub_never_makes_the_first_milder(history: BatchHistory) -> None:
    tub = history.tubs[0]
    cold = replace(
        tub, tub="2", likely_c=np.full(tub.times_at.size, 3.0), unknown=np.zeros(tub.times_at.size, dtype=bool)
    )
    placed = replace(history.batch, placements=(*history.batch.placements, Placement("2", "u", BEGUN)))
    one, both = ranks(findings_of(history)), ranks(findings_of(replace(history, batch=placed, tubs=(cold, tub))))
    assert {rule: rank for rule, rank in one.items() if both[rule] < rank} == {}


@given(history=histories())
def test_judging_twice_says_the_same_and_every_proposal_can_be_read(history: BatchHistory) -> None:
    now = history.judged_until_at
    first, again = (propose(history, findings_of(history), US, now, "test 1") for _ in range(2))
    assert first == again
    strongest = max(first.findings, key=lambda finding: TIER_ORDER.index(finding.tier)).tier
    assert first.blocks_release >= (strongest in (Tier.HOLD, Tier.REJECT))
    assert (first.decide_by_at is not None) == (first.disposition == "hold")
    assert (first.new_end_at is not None) == (first.add_s > 0)
    assert all(line and "{" not in line for line in proposal_text(first, "Europe/London"))

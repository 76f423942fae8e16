"""What holds for every making: more nitrite or less knowledge is never judged milder, and salt is no credit."""

from dataclasses import replace
from typing import Any

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st

from alerts.case import case_of
from alerts.disposition import propose
from alerts.history import BatchHistory, TubHistory
from alerts.making import made
from alerts.rulebook.book import TIER_ORDER
from alerts.rulebook.shelf import load
from alerts.rules import judge
from alerts.rules_nitrite import nitrite_protected
from alerts.rules_release import blocks
from alerts.sentences_findings import proposal_text
from collector.batches import (
    AsMade,
    Batch,
    HandReading,
    Method,
    Packing,
    Placement,
    Plan,
    Route,
    Stage,
    StageSpan,
    Where,
)
from collector.findings import Finding, Outcome, Tier
from collector.readings import Site

BOOKS = {name: load(name) for name in ("US", "GB", "EU")}
BEGUN = 1_772_400_000.0
MASSES = ("water_kg", "salt_kg", "sugar_kg", "curing_salt_kg", "nitrite_percent", "pumped_kg")
CLASSES = [
    "",
    "immersed",
    "dry",
    "bacon.dry",
    "bacon.immersed",
    "bacon.pumped",
    "comminuted",
    "heat_treated",
    "dry_ham",
]
SHARES = st.sampled_from([None, 0.0, 0.4, 0.6, 5.88, 6.25])
MAKINGS = st.fixed_dictionaries(
    {
        "method": st.sampled_from(Method),
        "packing": st.sampled_from(Packing),
        "route": st.sampled_from(Route),
        "meat": st.sampled_from(["pork", "beef", "poultry"]),
        "product_class": st.sampled_from(CLASSES),
        "nitrite_basis": st.sampled_from(["method one", "method two"]),
        "pickup_percent": st.sampled_from([None, 4.0, 10.0]),
        "pump_percent": st.sampled_from([None, 10.0]),
        "water_kg": st.sampled_from([0.0, 1.0, 3.0]),
        "salt_kg": st.sampled_from([0.0, 0.06, 0.3, 2.0]),
        "sugar_kg": st.sampled_from([0.0, 0.1]),
        "curing_salt_kg": st.sampled_from([0.0, 0.002, 0.0075, 0.02, 0.09, 0.4]),
        "nitrite_percent": SHARES,
        "nitrate_percent": st.sampled_from([None, 0.0, 4.0]),
    }
)
SHEETS = st.fixed_dictionaries(
    {
        "water_kg": st.sampled_from([None, 1.0, 3.0]),
        "salt_kg": st.sampled_from([None, 0.06, 0.3, 2.0]),
        "sugar_kg": st.sampled_from([None, 0.0, 0.1]),
        "curing_salt_kg": st.sampled_from([None, 0.0, 0.002, 0.0075, 0.02, 0.09, 0.4]),
        "nitrite_percent": SHARES,
        "nitrate_percent": st.sampled_from([None, 0.0, 4.0]),
        "pumped_kg": st.sampled_from([None, 3.3]),
    }
)


@st.composite
def histories(draw: st.DrawFn) -> BatchHistory:
    """Return a batch of any making, cold for some days, with nothing unknown but what was not entered."""
    days = draw(st.sampled_from([2.0, 12.0, 31.0]))
    times = np.array([BEGUN, BEGUN + days * 43_200.0, BEGUN + days * 86_400.0])
    cold = np.full(3, draw(st.sampled_from([2.0, 4.0])))
    recipe: dict[str, Any] = draw(MAKINGS)
    weighed: dict[str, Any] = draw(SHEETS)
    plan = Plan("plan", cut="cut", cure_s=432_000.0, thickness_mm=30.0, meat_kg=3.0, **recipe)
    sheet = AsMade(3.0, brine_c=3.0, meat_c=3.0, **weighed)
    placed = (Placement("1", "u", BEGUN),)
    batch = Batch("B1", plan, sheet, BEGUN, placed, (StageSpan(Stage.CURE, BEGUN),))
    sure = np.zeros(3, dtype=bool)
    tub = TubHistory("1", times, cold, cold, cold, sure, (), ("a",), 3, 21_600.0, 0.5, True)
    authority = draw(st.sampled_from(sorted(BOOKS)))
    site = Site("s", "S", "Europe/London", authority)
    return BatchHistory(batch, site, (tub,), None, batch.planned_end_at, float(times[-1]))


def findings_of(history: BatchHistory) -> dict[str, Finding]:
    book = BOOKS[history.site.authority]
    memory = frozenset(row.id for row in book.limits.values() if row.known == "memory")
    return {found.rule: found for found in judge(history, book, memory, history.judged_until_at)}


def rank_of(finding: Finding) -> int:
    return TIER_ORDER.index(finding.tier)


def with_sheet(history: BatchHistory, **changes: Any) -> BatchHistory:
    batch = replace(history.batch, as_made=replace(history.batch.as_made, **changes))
    return replace(history, batch=batch)


@given(history=histories(), more=st.sampled_from([1.1, 2.0, 7.0]))
def test_more_nitrite_than_the_limit_is_never_judged_milder(history: BatchHistory, more: float) -> None:
    weighed = made(history.batch.plan, history.batch.as_made).nitrite_percent
    assume(weighed is not None)
    before = findings_of(history)["e-8"]
    # Under the plan is a finding of its own, which more nitrite rightly mends.
    assume(before.sentence != "e-8 too little")
    after = findings_of(with_sheet(history, nitrite_percent=(weighed or 0.0) * more))["e-8"]
    assert rank_of(after) >= rank_of(before)


@given(history=histories(), hidden=st.sampled_from(MASSES))
def test_what_was_not_entered_never_gives_within_and_never_opens_a_release(history: BatchHistory, hidden: str) -> None:
    before, after = findings_of(history), findings_of(with_sheet(history, **{hidden: None}))
    for rule in ("e-8", "e-9", "e-9 brine"):
        if rule in before and before[rule].outcome is not Outcome.WITHIN:
            # A plan that has none of it answers for a mass that nobody entered; a composition nobody else can state.
            meant = getattr(history.batch.plan, hidden, None)
            assert after[rule].outcome is not Outcome.WITHIN or meant == 0
    barred = any(blocks(found) for rule, found in before.items() if rule.startswith("e-8"))
    if barred and getattr(history.batch.plan, hidden, None) != 0:
        assert any(blocks(found) for rule, found in after.items() if rule.startswith("e-8"))


@given(history=histories())
def test_a_class_that_nobody_chose_is_never_judged_milder(history: BatchHistory) -> None:
    before = findings_of(history)["e-8"]
    assume(before.sentence not in ("e-8 out of scope", "e-8 residual over"))
    plan = replace(history.batch.plan, product_class="")
    after = findings_of(replace(history, batch=replace(history.batch, plan=plan)))["e-8"]
    hold, chosen = TIER_ORDER.index(Tier.HOLD), history.batch.plan
    named = BOOKS[history.site.authority].classes.get(chosen.product_class)
    if named is not None and named.fits(chosen.method, chosen.route, chosen.meat):
        assert rank_of(after) >= min(rank_of(before), hold)


@given(history=histories(), more=st.sampled_from([0.05, 0.5, 5.0]))
def test_salt_is_no_credit_for_anything_but_its_own_two_findings(history: BatchHistory, more: float) -> None:
    def others(found: dict[str, Finding]) -> dict[str, tuple[Outcome, Tier]]:
        # Salt is part of the pickle's weight, and so thins the nitrite of a brine: that is arithmetic, no credit.
        apart = ("e-8", "e-9", "e-11")
        return {rule: (f.outcome, f.tier) for rule, f in found.items() if not rule.startswith(apart)}

    salted = with_sheet(history, salt_kg=(history.batch.as_made.salt_kg or 0.0) + more)
    measured = HandReading(BEGUN + 3600.0, "salt", 9.0, Where.CORE, "laboratory", "B1")
    proved = replace(history, batch=replace(history.batch, hand_readings=(measured,)))
    assert others(findings_of(salted)) == others(findings_of(history)) == others(findings_of(proved))


@given(history=histories())
def test_nitrite_protected_is_known_only_where_everything_was_entered(history: BatchHistory) -> None:
    book = BOOKS[history.site.authority]
    protected = nitrite_protected(case_of(history, book, frozenset(), history.judged_until_at))
    weighed = made(history.batch.plan, history.batch.as_made)
    if weighed.cured and (weighed.curing_salt_kg is None or weighed.nitrite_percent is None):
        assert protected is None
    if not weighed.cured:
        assert protected is False


@given(history=histories())
def test_every_making_can_be_read(history: BatchHistory) -> None:
    book = BOOKS[history.site.authority]
    now = history.judged_until_at
    proposal = propose(history, list(findings_of(history).values()), book, now, "test 1")
    for line in proposal_text(proposal, "Europe/London"):
        assert line
        assert "{" not in line
        assert "unknown figure" not in line
        assert "safe" not in line


@given(history=histories(), further=st.sampled_from([0.1, 2.0]), warmer=st.sampled_from([0.0, 0.5, 1.5]))
def test_a_sealed_pack_is_never_judged_milder_blind_or_warmer(
    history: BatchHistory, further: float, warmer: float
) -> None:
    sealed = replace(history.batch, plan=replace(history.batch.plan, packing=Packing.SEALED))
    tub = history.tubs[0]
    blind = replace(tub, unknown=np.ones(3, dtype=bool), upper_c=tub.upper_c + further)
    warm = replace(
        tub, likely_c=tub.likely_c + warmer, lower_c=tub.lower_c + warmer, upper_c=tub.upper_c + warmer
    )  # fmt: skip
    seen, unseen, warmed = (
        findings_of(replace(history, batch=sealed, tubs=(one,)))["e-10"] for one in (tub, blind, warm)
    )
    assert rank_of(unseen) >= rank_of(seen)
    assert rank_of(warmed) >= rank_of(seen)
    if history.site.authority != "US":
        # There every day counts, whatever was read; here the days above the line do.
        assert unseen.outcome is not Outcome.WITHIN

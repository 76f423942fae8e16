"""What holds for every cook, every cooling and every window: worse is never judged better, and nothing is a release."""

from dataclasses import replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from alerts.case import case_of
from alerts.core_record import Run, fall
from alerts.disposition import propose
from alerts.history import BatchHistory, TubHistory
from alerts.rulebook.book import TIER_ORDER
from alerts.rulebook.shelf import load
from alerts.rules import judge
from alerts.rules_kill import judge_cook, judge_cooling
from collector.batches import AsMade, Batch, Method, Packing, Placement, Plan, Route, Stage, StageSpan, StageWindow
from collector.findings import Disposition, Finding, Outcome
from collector.logs import CoreLog
from collector.readings import Site

US = load("US")
FROM_MEMORY = frozenset(row.id for row in US.limits.values() if row.known == "memory")
BEGUN, DAY = 1_772_400_000.0, 86_400.0
SITE = Site("s", "S", "Europe/London", "US")
GOOD = (Outcome.WITHIN, Outcome.CANNOT_TELL, Outcome.OUTSIDE)
COOK = CoreLog("cook", "P1", ((BEGUN + 2 * DAY, 4.0), (BEGUN + 2 * DAY + 9000, 72.0)), "kim")
COOL = CoreLog(
    "cool", "P1", tuple((BEGUN + 2 * DAY + 10_800 + s, c) for s, c in ((0, 60.0), (5400, 20.0), (18_000, 4.0))), "kim"
)
PLAN = Plan(
    "p", "pork", "loin", Method.IMMERSION, Packing.UNDER_BRINE, Route.COOKED, DAY, 55.0, 3.0, water_kg=3.0,
    salt_kg=0.4, opened=False,
)  # fmt: skip

Falls = tuple[tuple[float, float], ...]


def history(
    logs: tuple[CoreLog, ...] = (), plan: Plan = PLAN, air: tuple[float, ...] = (3.0,), warm_s: float = 0.0
) -> BatchHistory:
    """Return a batch of three days; `air` follows the first day evenly, and the stage is smoke for so long after it."""
    temps = np.array([3.0, *air, 3.0])
    times = np.concatenate(([BEGUN], np.linspace(BEGUN + DAY, BEGUN + 3 * DAY, temps.size - 1)))
    flat = np.zeros(times.size, dtype=bool)
    tub = TubHistory("1", times, temps, temps, temps, flat, (), ("a",), times.size, 3600.0, 0.5, True)
    stages: tuple[StageSpan, ...] = (StageSpan(Stage.CURE, BEGUN, BEGUN + DAY),)
    if warm_s:
        stages += (StageSpan(Stage.SMOKE, BEGUN + DAY, BEGUN + DAY + warm_s),)
    stages += (StageSpan(Stage.STORE, BEGUN + DAY + warm_s),)
    made = AsMade(3.0, 3.0, 0.4, brine_c=3.0, meat_c=3.0)
    batch = Batch("B1", plan, made, BEGUN, (Placement("1", "u", BEGUN),), stages, core_logs=logs)
    return BatchHistory(batch, SITE, (tub,), None, batch.planned_end_at, BEGUN + 3 * DAY)


def proposed(told: BatchHistory) -> Disposition:
    findings = judge(told, US, FROM_MEMORY, told.judged_until_at)
    return propose(told, findings, US, told.judged_until_at, "t").disposition


def cooling(points: Falls, protected: bool | None) -> Finding:
    log = CoreLog("cool", "P1", tuple((BEGUN + 2 * DAY + 10_800 + s, c) for s, c in points), "kim")
    told = history((COOK, log))
    return judge_cooling(case_of(told, US, FROM_MEMORY, told.judged_until_at), protected)


def badness(found: Finding) -> tuple[int, int]:
    return TIER_ORDER.index(found.tier), GOOD.index(found.outcome)


@st.composite
def falls(draw: st.DrawFn) -> Falls:
    """Return a cooling from exactly 57 °C on: seconds and temperatures, all later ones below 54."""
    steps = draw(st.lists(st.sampled_from([600.0, 1800.0, 3600.0, 7200.0]), min_size=1, max_size=8))
    temps = draw(st.lists(st.floats(1.0, 50.0), min_size=len(steps), max_size=len(steps)))
    times = np.cumsum(steps).tolist()
    return ((0.0, 57.0), *zip(times, sorted((round(t, 1) for t in temps), reverse=True), strict=True))


@given(points=falls(), slower=st.sampled_from([1.0, 1.01, 1.5, 4.0]), protected=st.sampled_from([True, False, None]))
def test_a_slower_cooling_is_never_judged_better(points: Falls, slower: float, protected: bool | None) -> None:
    stretched = tuple((seconds * slower, core_c) for seconds, core_c in points)
    before, after = cooling(points, protected), cooling(stretched, protected)
    # A log that is stretched past the instant of judging has lost its end: what it showed is not shown any more.
    assert (
        badness(after) >= badness(before) or before.outcome is Outcome.OUTSIDE and after.outcome is not Outcome.WITHIN
    )


@given(
    points=falls(),
    warmer=st.lists(st.floats(0.0, 3.0), min_size=8, max_size=8),
    protected=st.sampled_from([True, False, None]),
)
def test_a_warmer_cooling_is_never_judged_better(points: Falls, warmer: list[float], protected: bool | None) -> None:
    added = [0.0, *(round(more, 1) for more in warmer)]
    warm = tuple((seconds, core_c + more) for (seconds, core_c), more in zip(points, added, strict=False))
    assert badness(cooling(warm, protected)) >= badness(cooling(points, protected))


@given(points=falls(), hot_at=st.sampled_from([None, -600.0, -9000.0]))
def test_less_of_a_log_is_never_within_where_more_is_not(points: Falls, hot_at: float | None) -> None:
    for row in US.steps("two_stage"):
        whole = fall(Run("P1", points), row, hot_at)
        for kept in range(1, len(points)):
            shorter = fall(Run("P1", points[:kept]), row, hot_at)
            assert shorter.outcome is not Outcome.WITHIN or whole.outcome is Outcome.WITHIN


@given(
    points=st.lists(
        st.tuples(st.sampled_from([60.0, 300.0, 900.0, 3600.0]), st.floats(30.0, 80.0)), min_size=1, max_size=8
    ),
    colder=st.lists(st.floats(0.0, 5.0), min_size=8, max_size=8),
)
def test_a_colder_cook_is_never_judged_better(points: list[tuple[float, float]], colder: list[float]) -> None:
    def cooked(less: list[float]) -> Finding:
        at, told = BEGUN + 2 * DAY, [(BEGUN + 2 * DAY, 4.0)]
        for (span, core_c), fewer in zip(points, less, strict=False):
            at += span
            told.append((at, core_c - fewer))
        log = CoreLog("cook", "P1", tuple(told), "kim")
        batch = history((log,))
        return judge_cook(case_of(batch, US, FROM_MEMORY, batch.judged_until_at))

    assert badness(cooked(colder)) >= badness(cooked([0.0] * 8))


def test_the_story_that_the_next_properties_take_apart_is_a_release() -> None:
    assert proposed(history((COOK, COOL))) is Disposition.RELEASE


@given(kept=st.sets(st.sampled_from([0, 1])), cut=st.integers(0, 2))
def test_a_log_that_is_missing_or_cut_short_never_gives_a_release(kept: set[int], cut: int) -> None:
    logs = tuple(log for index, log in enumerate((COOK, COOL)) if index in kept)
    if len(logs) < 2:
        assert proposed(history(logs)) is not Disposition.RELEASE
    shortened = replace(COOL, points=COOL.points[:cut] or COOL.points[:1])
    assert proposed(history((COOK, shortened))) is not Disposition.RELEASE


@given(
    air=st.lists(st.sampled_from([3.0, 8.0, 15.0, 22.0, 30.0, 34.0]), min_size=2, max_size=10),
    top=st.sampled_from([10.0, 20.0, 32.0]),
    wider=st.sampled_from([0.0, 3.0, 15.0]),
    hours=st.sampled_from([6.0, 24.0, 40.0]),
)
def test_a_wider_window_never_judges_harder_and_none_excuses_more_than_leaving_the_stage_out(
    air: list[float], top: float, wider: float, hours: float
) -> None:
    def tiers(window: tuple[StageWindow, ...]) -> dict[str, int]:
        told = history(plan=replace(PLAN, windows=window), air=tuple(air), warm_s=hours * 3600.0)
        found = judge(told, US, FROM_MEMORY, told.judged_until_at)
        return {f.rule: TIER_ORDER.index(f.tier) for f in found if f.rule.startswith(("e-2", "e-3", "e-4"))}

    def window(highest_c: float) -> tuple[StageWindow, ...]:
        return (StageWindow(Stage.SMOKE, 0.0, highest_c, DAY, "house"),)

    narrow, wide, unjudged = tiers(window(top)), tiers(window(top + wider)), tiers(())
    assert all(wide[rule] <= narrow[rule] for rule in narrow)
    assert all(unjudged[rule] <= wide[rule] for rule in wide)

"""Rule e-1: stages that may be warm, each within the window that somebody stands for. Pure: no clock, no I/O.

What lies outside a window is judged by the cold rules (e-2, e-3, e-4). Here it is said that it does, and which stage
has no window at all, so that nothing can be told of it at release.
"""

import math
from collections.abc import Sequence

import numpy as np

from alerts.case import NOISE_C, Case, Judged, evidence_of, finding, minutes, outcome_of, worst
from alerts.cold_record import InWindow, between, excursions
from alerts.core_record import Run, first_at, runs
from alerts.history import Array, TubHistory
from alerts.science.exposure import stretches_above
from collector.batches import Route, Stage, StageSpan
from collector.findings import Evidence, Finding, Outcome, Parameters, Tier
from collector.sample import Instant

MEASURE = "time in the stage above its window, or longer than it may last"


def judge_stages(case: Case) -> tuple[Finding, ...]:
    """Return the findings of rule e-1: one for each stage that may be warm, and one for the heating of a cook."""
    found = []
    spans = [span for span in case.history.batch.stages if span.from_at < case.until_at]
    for stage in dict.fromkeys(span.stage for span in spans):
        these = [span for span in spans if span.stage is stage]
        windows = [window for window in case.windows if window.stage is stage]
        if not _asks(case, stage, these, windows):
            continue
        found.append(_no_window(case, stage, these) if len(windows) < len(these) else _judged(case, stage, windows))
    return (*found, *judge_come_up(case))


def _asks(case: Case, stage: Stage, spans: Sequence[StageSpan], windows: Sequence[InWindow]) -> bool:
    """Return whether a stage needs a window: a rest only once it is warm, cooking and cooling by their logs instead."""
    if windows:
        return True
    if stage is Stage.REST:
        return any(_warm_for(case, tub, span) for tub in case.history.tubs for span in spans)
    logged = case.history.batch.plan.route is Route.COOKED and stage in (Stage.COOK, Stage.COOL)
    return stage in case.book.rule("e-1").stages and not logged


def _warm_for(case: Case, tub: TubHistory, span: StageSpan) -> bool:
    piece = between(tub, span.from_at, case.until_at if span.until_at is None else min(span.until_at, case.until_at))
    if piece is None:
        return False
    shortest, join = case.book.scaled("excursion.shortest"), case.book.scaled("excursion.join")
    return bool(excursions([piece.held], case.limit_c + NOISE_C, at_least_s=shortest, join_s=join))


def _no_window(case: Case, stage: Stage, spans: Sequence[StageSpan]) -> Finding:
    from_at = min(span.from_at for span in spans)
    evidence = Evidence(from_at, case.until_at, (), 0, 0.0, "window of the stage", None, "", None)
    said = Outcome.CANNOT_TELL, Tier.NONE, "e-1 no window"
    return finding(case, f"e-1 {stage}", said, evidence, (), {"stage": stage.value, "blocks": 1})


def _judged(case: Case, stage: Stage, windows: Sequence[InWindow]) -> Finding:
    results = [_judged_tub(case, tub, windows) for tub in case.history.tubs]
    result = worst(judged for judged, _ in results)
    outcome = outcome_of(case, [judged for judged, _ in results])
    first = windows[0]
    parameters: Parameters = {
        "stage": stage.value,
        "lowest_c": None if math.isinf(first.lowest_c) else first.lowest_c,
        "highest_c": None if math.isinf(first.highest_c) else first.highest_c,
        "bounds": _bounds(first),
        "window": "the house, in the plan" if first.source.casefold() == "house" else first.source,
        "blocks": 0,
    }
    if result is None:
        nothing = Evidence(first.from_at, case.until_at, (), 0, 0.0, MEASURE, None, "min", None)
        said = Outcome.CANNOT_TELL, Tier.NONE, "e-1 nothing read"
        return finding(case, f"e-1 {stage}", said, nothing, first.rows, {**parameters, "blocks": 1})
    below = next(minutes_below for judged, minutes_below in results if judged is result)
    peak_c = _peak(case, result.tub, windows)
    parameters = {
        **parameters,
        "tub": result.tub.tub,
        "minutes": result.value,
        "below_minutes": below,
        "peak_c": peak_c,
    }
    if result.tier is Tier.NONE and below >= minutes(case.book.scaled("excursion.shortest")):
        sentence, tier, outcome = "e-1 below", Tier.RECORDED, Outcome.OUTSIDE
    else:
        tier = result.tier
        sentence = "e-1 outside" if tier is Tier.RECORDED else f"e-1 {outcome.value.replace('_', ' ')}"
    evidence = evidence_of(result, measure=MEASURE, unit="min", threshold=minutes(_shortest(case)))
    rows = (*first.rows, "excursion.shortest") if tier is Tier.RECORDED else first.rows
    return finding(case, f"e-1 {stage}", (outcome, tier, sentence), evidence, rows, parameters)


def _bounds(window: InWindow) -> str:
    low = "" if math.isinf(window.lowest_c) else f"{window.lowest_c:.1f} to ".replace("-", "−")
    if math.isinf(window.highest_c):
        return f"{window.lowest_c:.1f} °C or more".replace("-", "−")
    return (f"{low}{window.highest_c:.1f} °C" if low else f"{window.highest_c:.1f} °C or less").replace("-", "−")


def _shortest(case: Case) -> float:
    return case.book.scaled("excursion.shortest")


def _judged_tub(case: Case, tub: TubHistory, windows: Sequence[InWindow]) -> tuple[Judged, int]:
    """Return how long a tub was outside its windows, and how long it fell back below them. [min]"""
    longest, known, below, unknown = 0, 0, 0, False
    for window in windows:
        until_at = min(window.until_at, case.until_at)
        piece = between(tub, window.from_at, until_at)
        if piece is None:
            continue
        unknown |= piece.has_unknown
        late = max(0.0, until_at - window.ends_at)
        over = [_longest(case, window, [piece.held]), minutes(late)]
        sure = [_longest(case, window, list(piece.known())), minutes(late)]
        longest, known = max(longest, *over), max(known, *sure)
        below += _below(window, *piece.held, window.until_at <= case.until_at)
    shortest = minutes(_shortest(case))
    tier, known_tier = (Tier.RECORDED if span >= shortest else Tier.NONE for span in (longest, known))
    from_at = max(min(window.from_at for window in windows), float(tub.times_at[0]))
    from_at = min(from_at, case.until_at)
    return Judged(tub, tier, known_tier, unknown, float(longest), from_at, case.until_at), below


def _longest(case: Case, window: InWindow, records: Sequence[tuple[Array, Array]]) -> int:
    join = case.book.scaled("excursion.join")
    found = excursions(records, window.highest_c + NOISE_C, at_least_s=0.0, join_s=join)
    return max((minutes(one.until_at - one.from_at) for one in found), default=0)


def _below(window: InWindow, times: Array, temps: Array, ended: bool) -> int:
    """Return how long a product was below its window once it had come into it; all of it where it never did. [min]"""
    if math.isinf(window.lowest_c):
        return 0
    reached = np.flatnonzero(temps >= window.lowest_c - NOISE_C)
    if not reached.size:
        return minutes(float(times[-1] - times[0])) if ended else 0
    rest = slice(int(reached[0]), None)
    if times[rest].size < 2:
        return 0
    cold = stretches_above(times[rest], -temps[rest], NOISE_C - window.lowest_c, at_least_s=0.0, join_s=0.0)
    return minutes(sum(one.until_at - one.from_at for one in cold))


def _peak(case: Case, tub: TubHistory, windows: Sequence[InWindow]) -> float | None:
    found = [between(tub, window.from_at, min(window.until_at, case.until_at)) for window in windows]
    peaks = [float(piece.held_c.max()) for piece in found if piece is not None]
    return round(max(peaks), 1) if peaks else None


def judge_come_up(case: Case) -> tuple[Finding, ...]:
    """Return how long the slowest cook took through the warm part of its heating; nothing where none was logged."""
    batch, row = case.history.batch, case.book.limits["cook.come_up"]
    assert row.from_c is not None and row.to_c is not None
    found = runs(batch.core_logs, "cook", case.said_until_at, case.book.scaled("excursion.join"))
    if not found:
        return ()
    timed = [_come_up(case, run, row.from_c, row.to_c) for run in found]
    allowed = minutes(row.scaled)
    outside = [one for one in timed if one[0] > allowed]
    unknown = [one for one in timed if one[1] is None or one[1] > allowed]
    chosen = max(outside or unknown or timed, key=lambda one: (one[1] is None, one[0]))
    least, most, run = chosen
    shown = most if not outside and not unknown and most is not None else least
    parameters: Parameters = {
        "from_c": row.from_c,
        "to_c": row.to_c,
        "minutes": float(shown),
        "allowed_minutes": float(allowed),
        "first_c": round(run.points[0][1], 1),
        "blocks": 0 if not outside and not unknown else 1,
    }
    from_at = max(run.from_at, batch.started_at)
    span = from_at, max(from_at, run.until_at)
    evidence = Evidence(*span, (), len(run.points), 0.0, "time of heating", float(shown), "min", float(allowed))
    if outside:
        parameters = {**parameters, "due_at": round(run.until_at)}
        said = Outcome.OUTSIDE, Tier.HOLD, "e-1 heated slowly"
    elif unknown:
        said = Outcome.CANNOT_TELL, Tier.NONE, "e-1 heating unknown"
    else:
        said = Outcome.WITHIN, Tier.NONE, "e-1 heated"
    return (finding(case, "e-1 heating", said, evidence, ("cook.come_up",), parameters),)


def _come_up(case: Case, run: Run, from_c: float, to_c: float) -> tuple[int, int | None, Run]:
    """Return how long a run took from one temperature to another, at least and at most (None: nobody knows). [min]"""
    top_at = first_at(run.points, to_c)
    end_at = run.until_at if top_at is None else top_at
    passed_at = first_at(run.points, from_c)
    if passed_at is None:
        return 0, None, run
    begun_at: Instant | None = passed_at
    if run.points[0][1] > from_c + NOISE_C:
        begun_at = _put_on_at(case, run)
    least = minutes(max(end_at - passed_at, 0.0))
    if top_at is None or begun_at is None:
        return least, None, run
    return least, minutes(max(top_at - begun_at, 0.0)), run


def _put_on_at(case: Case, run: Run) -> Instant | None:
    """Return when the cook began that a run belongs to, by the stages; None where nobody said so."""
    begins = [
        span.from_at
        for span in case.history.batch.stages
        if span.stage is Stage.COOK and span.from_at <= run.from_at
    ]  # fmt: skip
    return max(begins, default=None)

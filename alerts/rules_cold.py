"""Rule e-2: excursions of the product above the limit of its unit. Pure: no clock, no I/O."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from alerts.case import NOISE_C, Case, Judged, evidence_of, finding, minutes, outcome_of, worst
from alerts.cold_record import Piece, excursions
from alerts.history import Array, TubHistory
from alerts.rules_start import Start, exempt_until
from alerts.science.exposure import Stretch, degree_time_above
from collector.findings import Evidence, Finding, Parameters, Tier
from collector.sample import Instant

MEASURE = "longest excursion above the limit"
Records = Iterable[tuple[Array, Array]]


@dataclass(frozen=True, slots=True)
class Warmth:
    """Where a record was above the limit, and where above the warm line."""

    excursions: Sequence[Stretch]
    warm: Sequence[Stretch]


def _warmth(case: Case, records: Records) -> Warmth:
    book, listed = case.book, list(records)
    shortest, join = book.scaled("excursion.shortest"), book.scaled("excursion.join")
    return Warmth(
        excursions(listed, case.limit_c + NOISE_C, at_least_s=shortest, join_s=join),
        excursions(listed, book.scaled("warm.line") + NOISE_C, at_least_s=0.0, join_s=0.0),
    )


def _longest(stretches: Sequence[Stretch]) -> Stretch | None:
    return max(stretches, key=lambda s: s.until_at - s.from_at, default=None)


def _minutes(stretch: Stretch | None) -> int:
    return 0 if stretch is None else minutes(stretch.until_at - stretch.from_at)


def _too_long(case: Case, stretch: Stretch) -> bool:
    return _minutes(stretch) > minutes(case.book.scaled("excursion.hold"))


def _too_warm(case: Case, stretch: Stretch) -> bool:
    return _minutes(stretch) >= minutes(case.book.scaled("warm.hold"))


def _tier(case: Case, warmth: Warmth) -> Tier:
    if any(_too_long(case, s) for s in warmth.excursions) or any(_too_warm(case, s) for s in warmth.warm):
        return Tier.HOLD
    return Tier.RECORDED if warmth.excursions else Tier.NONE


def _due_at(case: Case, warmth: Warmth) -> Instant | None:
    """Return when the first of the two thresholds of a hold was crossed; None without a hold."""
    long = [s.from_at + case.book.scaled("excursion.hold") for s in warmth.excursions if _too_long(case, s)]
    warm = [s.from_at + case.book.scaled("warm.hold") for s in warmth.warm if _too_warm(case, s)]
    return min([*long, *warm], default=None)


@dataclass(frozen=True, slots=True)
class _Tub:
    judged: Judged
    warmth: Warmth
    pieces: tuple[Piece, ...]


def _judged_tub(case: Case, start: Start, tub: TubHistory) -> _Tub:
    parts = case.pieces(tub, "e-2", since_at=exempt_until(case, start, tub))
    # Whether something is unknown is asked of the whole record: what the start allows is not thereby known.
    unknown = any(piece.has_unknown for piece in case.pieces(tub, "e-2"))
    warmth = _warmth(case, (piece.held for piece in parts))
    tier = _tier(case, warmth)
    known = tier
    if unknown and tier is not Tier.NONE:
        known = _tier(case, _warmth(case, (run for piece in parts for run in piece.known())))
    shown = _longest(warmth.excursions) or _longest(warmth.warm)
    span = (shown.from_at, shown.until_at) if shown else (float(tub.times_at[0]), case.until_at)
    return _Tub(Judged(tub, tier, known, unknown, float(_minutes(shown)), *span), warmth, parts)


def judge_cold_chain(case: Case, start: Start) -> Finding:
    """Return the finding of rule e-2."""
    tubs = [_judged_tub(case, start, tub) for tub in case.history.tubs]
    result = worst(tub.judged for tub in tubs)
    outcome = outcome_of(case, [tub.judged for tub in tubs])
    if result is None:
        begun = case.history.batch.started_at
        nothing = Evidence(begun, case.until_at, (), 0, case.until_at - begun, MEASURE, None, "min", None)
        said = outcome, Tier.NONE, "e-2 cannot tell"
        return finding(case, "e-2", said, nothing, ("cold.limit",), {"limit_c": case.limit_c})
    chosen = next(tub for tub in tubs if tub.judged is result)
    by_length = any(_too_long(case, s) for s in chosen.warmth.excursions)
    by_warmth = result.tier is Tier.HOLD and not by_length
    rows: tuple[str, ...] = ("cold.limit", "excursion.shortest")
    if by_length:
        rows = ("cold.limit", "excursion.hold")
    elif by_warmth:
        rows = ("warm.line", "warm.hold")
    held = "hold warm" if _longest(chosen.warmth.warm) else "hold"
    sentence = {Tier.NONE: outcome.value.replace("_", " "), Tier.RECORDED: "recorded"}.get(result.tier, held)
    said = outcome, result.tier, f"e-2 {sentence}"
    return finding(case, "e-2", said, _evidence(case, chosen, by_warmth), rows, _parameters(case, chosen))


def _evidence(case: Case, tub: _Tub, by_warmth: bool) -> Evidence:
    if by_warmth and (warm := _longest(tub.warmth.warm)) is not None:
        moved = Judged(
            tub.judged.tub, Tier.HOLD, Tier.HOLD, tub.judged.unknown, float(_minutes(warm)), warm.from_at, warm.until_at
        )
        threshold = minutes(case.book.scaled("warm.hold"))
        return evidence_of(moved, measure="longest stretch above the warm line", unit="min", threshold=threshold)
    threshold = minutes(case.book.scaled("excursion.hold"))
    return evidence_of(tub.judged, measure=MEASURE, unit="min", threshold=threshold)


def _parameters(case: Case, tub: _Tub) -> Parameters:
    due_at = _due_at(case, tub.warmth)
    degree_s = math.fsum(degree_time_above(*piece.held, case.limit_c) for piece in tub.pieces)
    peaks = [s.peak_c for s in (*tub.warmth.excursions, *tub.warmth.warm)]
    return {
        "tub": tub.judged.tub.tub,
        "limit_c": case.limit_c,
        "excursions": len(tub.warmth.excursions),
        "minutes": _minutes(_longest(tub.warmth.excursions)),
        "peak_c": round(max(peaks), 1) if peaks else None,
        "warm_minutes": _minutes(_longest(tub.warmth.warm)),
        "warm_line_c": case.book.scaled("warm.line"),
        "degree_hours": round(degree_s / 3600, 1),
        "due_at": None if due_at is None else round(due_at),
    }

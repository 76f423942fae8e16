"""What every rule is given, and what every finding is made from. Pure: no clock, no I/O."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from alerts.cold_record import InWindow, Piece, pieces, unknown_s
from alerts.history import BatchHistory, TubHistory
from alerts.rulebook.book import TIER_ORDER, Limit, Rulebook
from alerts.stage_windows import windows_of
from collector.batches import Stage
from collector.findings import Evidence, Finding, Outcome, Parameters, Tier
from collector.sample import Instant

NOISE_C = 1e-6
"""What is nearer to a limit than this is at it: a steady 5 °C comes out of the filter as 5.000000000000001. [K]"""


@dataclass(frozen=True, slots=True)
class Hole:
    """A stretch in which a tub stood somewhere, and of which there is no record at all, not even a bound."""

    tub: str
    from_at: Instant
    until_at: Instant


@dataclass(frozen=True, slots=True)
class Case:
    """One batch to be judged by one rulebook, up to an instant."""

    history: BatchHistory
    book: Rulebook
    confirmed: frozenset[str]
    """Ids of rows that a named person compared with the document."""
    until_at: Instant
    limit_c: float
    """L: the rulebook's limit or a unit's own, the stricter. [°C]"""
    base_c: float
    """C: time budgets count above this. [°C]"""
    holes: tuple[Hole, ...]
    windows: tuple[InWindow, ...] = ()
    """The stages that may be warm, each with the window that somebody stands for."""
    said_until_at: Instant = math.inf
    """Up to when what people logged is looked at: meat is cooked, cooled and labelled after it has left its unit."""

    def pieces(self, tub: TubHistory, rule: str, *, since_at: Instant = -math.inf) -> tuple[Piece, ...]:
        """Return the parts of a tub's record, from an instant on, that a rule of the book looks at."""
        stages = self.book.rule(rule).stages
        span = max(float(tub.times_at[0]), since_at), self.until_at
        return pieces(tub, self.history.batch, stages, *span, self.windows, NOISE_C)

    def sure_pieces(self, tub: TubHistory, rule: str) -> tuple[Piece, ...]:
        """Return those parts that a reject may look at: a warm rest that nobody has given a window holds at most."""
        stages = [stage for stage in self.book.rule(rule).stages if stage is not Stage.REST]
        span = float(tub.times_at[0]), self.until_at
        return pieces(tub, self.history.batch, stages, *span, self.windows, tub.uncertainty_c + NOISE_C)

    def may_reject(self, row: str) -> bool:
        """Return whether a row may take part in a reject: one from memory only once it has been confirmed."""
        limit = self.book.limits[row]
        return limit.reaches is Tier.REJECT or (limit.known == "memory" and row in self.confirmed)


def case_of(history: BatchHistory, book: Rulebook, confirmed: frozenset[str], now: Instant) -> Case:
    """Return the case of a batch: its limit and counting base, and the holes in its record."""
    limit_c = book.scaled("cold.limit")
    if history.unit_limit_c is not None:
        limit_c = min(limit_c, history.unit_limit_c)
    until_at = min(now, history.judged_until_at)
    holes = _holes(history, until_at, book.scaled("gap.shortest"))
    windows = windows_of(history.batch, book, confirmed, until_at)
    return Case(
        history, book, confirmed, until_at, limit_c, min(limit_c, book.scaled("cold.base")), holes, windows, now
    )


def _holes(history: BatchHistory, until_at: Instant, shortest_s: float) -> tuple[Hole, ...]:
    batch, found = history.batch, []
    records = {tub.tub: (float(tub.times_at[0]), float(tub.times_at[-1])) for tub in history.tubs}
    for tub in batch.tubs:
        placed = [p for p in batch.placements if p.tub == tub]
        begin = min(p.from_at for p in placed)
        ends = [until_at if p.until_at is None else p.until_at for p in placed]
        end = min(max(ends), until_at, math.inf if batch.ended_at is None else batch.ended_at)
        first, last = records.get(tub, (end, end))
        for from_at, to_at in ((begin, min(first, end)), (max(last, begin), end)):
            if to_at - from_at > shortest_s:
                found.append(Hole(tub, from_at, to_at))
    return tuple(found)


def rank(tier: Tier) -> int:
    """Return how strong a tier is: 0 for none."""
    return TIER_ORDER.index(tier)


def minutes(span_s: float) -> int:
    """Return a span as it is printed and compared: whole minutes. [min]"""
    return round(span_s / 60)


@dataclass(frozen=True, slots=True)
class Judged:
    """What one rule finds of one tub: how far it reaches, and how far without unknown time."""

    tub: TubHistory
    tier: Tier
    known_tier: Tier
    unknown: bool
    value: float
    """The measure, rounded to its printed digit."""
    from_at: Instant
    until_at: Instant


def worst(results: Iterable[Judged]) -> Judged | None:
    """Return the result of the tub that matters: the strongest tier, then the largest measure, then the first."""
    return max(results, key=lambda result: (rank(result.tier), result.value), default=None)


def outcome_of(case: Case, results: Iterable[Judged]) -> Outcome:
    """Return what a rule can say of the whole batch: never `within` while anything is unknown."""
    found = list(results)
    tier = max((result.tier for result in found), key=rank, default=Tier.NONE)
    if tier is Tier.NONE:
        unknown = bool(case.holes) or not found or any(result.unknown for result in found)
        return Outcome.CANNOT_TELL if unknown else Outcome.WITHIN
    known = any(rank(result.known_tier) >= rank(tier) for result in found)
    return Outcome.OUTSIDE if known else Outcome.CANNOT_TELL


def evidence_of(
    result: Judged, *, measure: str, unit: str, threshold: float | None, value: float | None = None
) -> Evidence:
    """Return what a finding about one tub rests on."""
    tub = result.tub
    gap_s = round(unknown_s(tub, result.from_at, result.until_at))
    span = round(result.from_at, 3), round(result.until_at, 3)
    shown = result.value if value is None else value
    return Evidence(*span, tub.channels, tub.readings, float(gap_s), measure, shown, unit, threshold)


def basis(case: Case, rows: Iterable[str]) -> dict[str, str]:
    """Return where the numbers that decided come from, in words: house limits, documents, and what nobody checked."""
    limits = [case.book.limits[row] for row in dict.fromkeys(rows)]
    shipped = [row for row in limits if not row.own]
    house = [_house(row) for row in shipped if row.known == "house"]
    unchecked = [row.cited for row in shipped if row.known == "memory" and row.id not in case.confirmed]
    checked = [row.cited for row in shipped if row.known != "house" and row.cited not in unchecked]
    named = {"house": house, "sources": checked, "unchecked": unchecked}
    own = [row.own for row in limits if row.own]
    if own:
        named["own"] = own
    return {key: "; ".join(dict.fromkeys(values)) for key, values in named.items()}


def _house(row: Limit) -> str:
    if row.unit != "1":
        return row.printed
    return f"{'share' if row.id.startswith('share.') else 'factor'} {row.printed}"


def finding(
    case: Case,
    rule: str,
    said: tuple[Outcome, Tier, str],
    evidence: Evidence,
    rows: tuple[str, ...],
    parameters: Parameters,
    *,
    add_s: float = 0.0,
) -> Finding:
    """Return a finding; `said` is its outcome, its tier and the key of its sentence."""
    outcome, tier, sentence = said
    own = "cold.limit" in rows and case.limit_c < case.book.scaled("cold.limit")
    if own:
        # The unit's own limit decided, not that of the rulebook.
        rows = tuple(row for row in rows if row != "cold.limit")
        parameters = {**parameters, "unit_limit_c": case.limit_c}
    figures = {**parameters, **basis(case, (*rows, *_loosened(case, rule)))}
    return Finding(rule, outcome, tier, sentence, figures, evidence, rows, add_s)


def _loosened(case: Case, rule: str) -> tuple[str, ...]:
    # A limit that the site made looser is named by every finding of its rule, also where it let something pass.
    named = (one for one in case.book.rules if one.id in (rule, rule.split()[0]))
    return tuple(row for one in named for row in one.limits if case.book.limits[row].loosened)

"""One batch judged now: its histories, what each rule says of them, and what follows. Pure given the readings."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from alerts.blind import believing
from alerts.case import case_of, rank
from alerts.disposition import propose
from alerts.history import BatchHistory
from alerts.neighbours import Disagreement, disagreements, without
from alerts.rulebook.book import Rulebook
from alerts.rulebook.site_limits import with_site_limits
from alerts.rules import judge
from alerts.rules_measuring import BY_TEMPERATURE, doubted, instruments_of, judge_measuring
from alerts.rules_release import blocks
from alerts.strands import strands_of
from alerts.surroundings import Fetch
from alerts.trace import batch_history
from collector.batches import Batch
from collector.findings import Finding, Outcome, Proposal
from collector.kitchen import Kitchen
from collector.readings import Quantity, Unit
from collector.sample import Instant
from collector.storage import Series

OUTCOMES = (Outcome.WITHIN, Outcome.CANNOT_TELL, Outcome.OUTSIDE)


def limit_of(rulebook: Rulebook, unit: Unit) -> float:
    """Return the limit for what stands in a unit: the rulebook's, or the unit's own where that is stricter. [°C]"""
    lawful = rulebook.scaled("cold.limit")
    return lawful if unit.limit_c is None else min(lawful, unit.limit_c)


def confirmed_rows(kitchen: Kitchen, rulebook: Rulebook) -> frozenset[str]:
    """Return the rows of a rulebook that a named person compared with their documents."""
    return frozenset(row for name, row in kitchen.confirmed if name == rulebook.id)


def fetching_once(fetch: Fetch) -> Fetch:
    """Return the same fetch that asks the store once for what several tubs of a batch stood in together."""
    known: dict[tuple[str, Instant, Instant], Series] = {}

    def once(channel: str, from_at: Instant, until_at: Instant) -> Series:
        key = (channel, from_at, until_at)
        if key not in known:
            known[key] = fetch(*key)
        return known[key]

    return once


def believing_air(kitchen: Kitchen, fetch: Fetch) -> Fetch:
    """Return the same fetch that takes no air sensor at its word while it is stuck or reads in °F."""
    air = {a.channel for a in kitchen.assignments if a.quantity is Quantity.AIR_TEMPERATURE and a.lot is None}
    return believing(air, fetch)


def judged(
    kitchen: Kitchen, lot: str, fetch: Fetch, rulebook: Rulebook, now: Instant, software: str
) -> Proposal | None:
    """Return what the rules propose for a batch as it is known now; None where its site is not described."""
    fetch, rulebook = fetching_once(believing_air(kitchen, fetch)), with_site_limits(rulebook, kitchen.site_limits)
    told = [_told(batch, kitchen, fetch, rulebook, now) for batch in strands_of(kitchen, lot)]
    known = [one for one in told if one is not None]
    if not known:
        return None
    findings = strongest(findings for _, findings in known)
    return propose(known[0][0], findings, rulebook, now, software)


def _told(
    batch: Batch, kitchen: Kitchen, fetch: Fetch, rulebook: Rulebook, now: Instant
) -> tuple[BatchHistory, Sequence[Finding]] | None:
    """Return one history and what is found in it, as far as its sensors bear that out."""
    until_at = now if batch.ended_at is None else min(now, batch.ended_at)
    apart_c, at_least_s = rulebook.scaled("neighbour.difference"), rulebook.scaled("neighbour.time")
    doubts = disagreements(batch, kitchen, fetch, until_at, difference_c=apart_c, at_least_s=at_least_s)
    believed = without(kitchen, ((d.contradicted, d.from_at, d.until_at) for d in doubts if d.contradicted))
    history = batch_history(batch, believed, fetch, now)
    if history is None:
        return None
    confirmed = confirmed_rows(kitchen, rulebook)
    findings = judge(history, rulebook, confirmed, now)
    others = _if_other_leads(batch, believed, doubts, fetch, rulebook, now)
    channels = (channel for tub in history.tubs for channel in tub.channels)
    instruments = instruments_of(kitchen, channels, until_at)
    measuring = judge_measuring(case_of(history, rulebook, confirmed, now), instruments, doubts, others)
    return history, [*doubted(findings, measuring, others), *measuring]


def _if_other_leads(
    batch: Batch, kitchen: Kitchen, doubts: Sequence[Disagreement], fetch: Fetch, rulebook: Rulebook, now: Instant
) -> Sequence[Finding]:
    """Return what the temperature rules say if the sensors that do not lead are right; empty without a quarrel."""
    open_ = [d for d in doubts if not d.contradicted]
    if not open_:
        return ()
    history = batch_history(batch, without(kitchen, ((d.leads, d.from_at, d.until_at) for d in open_)), fetch, now)
    if history is None:
        return ()
    found = judge(history, rulebook, confirmed_rows(kitchen, rulebook), now)
    return [f for f in found if f.rule.split()[0] in BY_TEMPERATURE]


def strongest(told: Iterable[Sequence[Finding]]) -> Sequence[Finding]:
    """Return for each rule the finding that reaches furthest over several histories; the one history's own as it is."""
    each = list(told)
    if len(each) == 1:
        return each[0]
    found: dict[str, Finding] = {}
    for one in (f for findings in each for f in findings):
        known = found.get(one.rule)
        if known is None or _reach(one) > _reach(known):
            found[one.rule] = one if known is None else replace(one, add_s=max(one.add_s, known.add_s))
    return list(found.values())


def _reach(found: Finding) -> tuple[int, bool, int]:
    return rank(found.tier), blocks(found), OUTCOMES.index(found.outcome)

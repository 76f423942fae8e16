"""One batch judged now: its history, what each rule says of it, and what follows. Pure given the readings."""

from alerts.disposition import propose
from alerts.rulebook.book import Rulebook
from alerts.rulebook.site_limits import with_site_limits
from alerts.rules import judge
from alerts.surroundings import Fetch
from alerts.trace import batch_history
from collector.findings import Proposal
from collector.kitchen import Kitchen
from collector.readings import Unit
from collector.sample import Instant
from collector.storage import Series


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


def judged(
    kitchen: Kitchen, lot: str, fetch: Fetch, rulebook: Rulebook, now: Instant, software: str
) -> Proposal | None:
    """Return what the rules propose for a batch as it is known now; None where its site is not described."""
    history = batch_history(kitchen.batches[lot], kitchen, fetching_once(fetch), now)
    if history is None:
        return None
    rulebook = with_site_limits(rulebook, kitchen.site_limits)
    findings = judge(history, rulebook, confirmed_rows(kitchen, rulebook), now)
    return propose(history, findings, rulebook, now, software)

"""`curevigil judge`: batches judged again from what is kept, by their own rulebook or by another, not yet adopted."""

import time
from collections.abc import Iterator
from pathlib import Path

import click

from alerts.judgement import judged
from alerts.rejudge import differences
from alerts.rulebook.book import Rulebook
from alerts.rulebook.shelf import load, names
from alerts.sentences_findings import CAUTION, proposal_text
from api.apply_command import data_folder
from api.check import kitchen_known
from api.rulebook_command import book_named
from api.works import software
from collector.findings import Proposal
from collector.ingest import last_received_at
from collector.kitchen import Kitchen
from collector.storage import Readings, StoreFailed
from collector.stores_sqlite import open_stores


def _own_book(kitchen: Kitchen, lot: str) -> Rulebook:
    unit = next((p.unit for p in kitchen.batches[lot].placements if p.unit is not None), None)
    site = kitchen.site_of(unit)
    return load(site.authority if site is not None and site.authority in names() else "US")


def _judged(kitchen: Kitchen, lot: str, readings: Readings, book: Rulebook, now: float) -> Proposal | None:
    ended_at = kitchen.batches[lot].ended_at
    return judged(kitchen, lot, readings.series, book, now if ended_at is None else ended_at, software())


def _compared(
    kitchen: Kitchen, lots: list[str], readings: Readings, other: Rulebook | None, now: float
) -> Iterator[str]:
    same = 0
    for lot in lots:
        own = _judged(kitchen, lot, readings, _own_book(kitchen, lot), now)
        if own is None:
            yield f"{lot}: cannot be judged, its site is not described"
            continue
        record = kitchen.proposal_of(lot)
        after = own if other is None else _judged(kitchen, lot, readings, other, now)
        before = own if other is not None else record.proposal if record is not None else own
        found = () if after is None else differences(before, after)
        same += not found
        if other is None:
            zone = site.zone if (site := kitchen.site_of(None)) is not None else "UTC"
            yield from proposal_text(own, zone)
        yield f"{lot}: {'the same' if not found else 'differs'}, {after.rulebook if after is not None else ''}"
        yield from (f"  {one.about}: {one.before} -> {one.after}" for one in found)
    against = "as recorded" if other is None else f"by {other.name}"
    yield f"{len(lots)} batches, {against}: {same} the same, {len(lots) - same} differ"


@click.command()
@click.argument("lots", nargs=-1)
@click.option("--rulebook", "named", help="Another rulebook: a shipped one, or a file.")
@click.option("--data", type=click.Path(path_type=Path), help="The data folder.")
@click.option("--config", type=click.Path(path_type=Path), help="The settings that name the data folder.")
def judge(lots: tuple[str, ...], named: str | None, data: Path | None, config: Path | None) -> None:
    """Judge LOTS (all of them by default) again, up to the last reading that is kept, ended ones up to their end.

    With --rulebook, say what would differ by it, for past batches too, before it is adopted; nothing is recorded.
    """
    folder = data_folder(config, data)
    other = book_named(named) if named is not None else None
    try:
        kitchen = kitchen_known(folder, time.time())
        unknown = [lot for lot in lots if lot not in kitchen.batches]
        if unknown:
            known = ", ".join(sorted(kitchen.batches)) or "none"
            raise click.ClickException(f"no batch has lot code {unknown[0]}; {folder} knows: {known}")
        stores = open_stores(folder, beside=True)
    except StoreFailed as error:
        raise click.ClickException(f"{error}; nothing was judged") from error
    try:
        now = last_received_at(stores.readings)
        for line in _compared(kitchen, list(lots) or sorted(kitchen.batches), stores.readings, other, now or 0.0):
            click.echo(line)
    finally:
        stores.close()
    click.echo(CAUTION)

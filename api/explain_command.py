"""`curevigil explain`: one batch in one printable paragraph, as its journal has it."""

import time
from pathlib import Path

import click

from alerts.rulebook.book import Rulebook
from alerts.rulebook.shelf import load, names
from api.apply_command import data_folder
from api.check import kitchen_known
from api.explaining import explained
from collector.kitchen import Kitchen
from collector.storage import StoreFailed


def _book(kitchen: Kitchen, lot: str) -> Rulebook | None:
    unit = next((p.unit for p in kitchen.batches[lot].placements if p.unit is not None), None)
    site = kitchen.site_of(unit)
    return load(site.authority) if site is not None and site.authority in names() else None


@click.command()
@click.argument("lot")
@click.option("--data", type=click.Path(path_type=Path), help="The data folder.")
@click.option("--config", type=click.Path(path_type=Path), help="The settings that name the data folder.")
def explain(lot: str, data: Path | None, config: Path | None) -> None:
    """Say of batch LOT in one paragraph what is proposed and why, what is not known, and who must decide by when.

    It says what the journal holds: the judgement that was last recorded. The record on the pages of `run` is newer.
    """
    folder = data_folder(config, data)
    try:
        kitchen = kitchen_known(folder, time.time())
    except StoreFailed as error:
        raise click.ClickException(f"{error}; nothing can be said of {lot}") from error
    if lot not in kitchen.batches:
        known = ", ".join(sorted(kitchen.batches)) or "none"
        raise click.ClickException(f"no batch has lot code {lot}; {folder} knows: {known}")
    click.echo(explained(kitchen, lot, None, _book(kitchen, lot)))

"""`curevigil check`: the list of what start-up would refuse, and of what should be mended."""

import time
from pathlib import Path

import click

from api.apply_command import applied
from api.check import doubts, kitchen_known, refusals
from api.config_file import kitchen_in, settings_in
from collector.events import Entry
from collector.fold import fold
from collector.kitchen import Kitchen
from collector.kitchen_file import KitchenFile
from collector.settings import Settings
from collector.storage import StoreFailed
from collector.toml_faults import Fault


def _said(heading: str, faults: tuple[Fault, ...]) -> None:
    if faults:
        click.echo(heading)
        for fault in faults:
            click.echo(f"  {fault}")


def _kitchen(folder: Path, file: Path | None) -> Kitchen | tuple[Fault, ...]:
    """Return the kitchen as it would be with the file applied, or what is wrong with that."""
    try:
        known = kitchen_known(folder, time.time())
        if file is None:
            return known
        described = kitchen_in(file)
        if not isinstance(described, KitchenFile):
            return described
        found = applied(folder, described, dry_run=True)
    except StoreFailed as error:
        return (Fault("data folder", str(error), ""),)
    first = known.position + 1
    entries = (Entry(first + i, d.at, d.at, d.by, d.event) for i, d in enumerate(found.drafts))
    return found.faults or fold(entries, known)


@click.command()
@click.option("--config", type=click.Path(path_type=Path), required=True, help="The settings: curevigil.toml.")
@click.option("--kitchen", type=click.Path(path_type=Path), help="Look at this kitchen file as if it were applied.")
@click.option("--data", type=click.Path(path_type=Path), help="Another data folder than the settings name.")
def check(config: Path, kitchen: Path | None, data: Path | None) -> None:
    """List what start-up would refuse and how to mend it; change nothing."""
    settings = settings_in(config)
    refused = refusals(settings, data) if isinstance(settings, Settings) else settings
    wanting: tuple[Fault, ...] = ()
    if isinstance(settings, Settings) and not refused:
        known = _kitchen(data or settings.stores.folder, kitchen)
        wanting = doubts(settings, known, time.time()) if isinstance(known, Kitchen) else known
    elif kitchen is not None:
        described = kitchen_in(kitchen)
        wanting = described if not isinstance(described, KitchenFile) else ()
    _said("It would not start:", refused)
    _said("To be mended:" if refused else "It would start. To be mended:", wanting)
    if refused or wanting:
        raise SystemExit(1)
    click.echo("It would start; nothing was found that needs mending.")

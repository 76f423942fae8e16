"""`curevigil check`: the list of what start-up would refuse, and of what should be mended."""

import os
import time
from dataclasses import replace
from pathlib import Path

import click

from api.apply_command import applied
from api.check import doubts, kitchen_known, refusals
from api.config_file import kitchen_in, place_of, read_secret, settings_in
from collector.events import Entry
from collector.fold import fold
from collector.kitchen import Kitchen
from collector.kitchen_file import KitchenFile
from collector.prepare_influx import prepare as prepare_influx
from collector.readings_influx import InfluxArchive
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


def _prepare(settings: Settings, token: str | None) -> None:
    """Make what the settings name, with the everyday token or with one that is used this once."""
    place = place_of(settings)
    if place is None or settings.influx is None:
        raise click.ClickException("the settings hold no table [influx]; describe it first")
    if token is not None:
        place = replace(place, token=_token(token))
    archive = InfluxArchive(place)
    try:
        for sentence in prepare_influx(archive, settings.influx.keep_days):
            click.echo(f"Prepared: {sentence}")
    except StoreFailed as fault:
        raise click.ClickException(str(fault)) from fault
    finally:
        archive.close()


def _token(reference: str) -> str:
    """Return the token that a reference means; the token itself is never typed, since other users see what is."""
    kind, _, name = reference.partition(":")
    try:
        found = {"env": lambda: os.environ.get(name, ""), "file": lambda: read_secret(name).strip()}[kind]()
    except KeyError:
        raise click.BadParameter("write env:NAME or file:PATH, where the token is to be found") from None
    except (OSError, UnicodeDecodeError) as error:
        raise click.BadParameter(f"the file {name} cannot be read") from error
    if not found:
        raise click.BadParameter(f"{name} is empty; put the token there")
    return found


@click.command()
@click.option("--config", type=click.Path(path_type=Path), required=True, help="The settings: curevigil.toml.")
@click.option("--kitchen", type=click.Path(path_type=Path), help="Look at this kitchen file as if it were applied.")
@click.option("--data", type=click.Path(path_type=Path), help="Another data folder than the settings name.")
@click.option("--prepare", is_flag=True, help="First make what [influx] names: bucket, retention, thinned copy.")
@click.option("--prepare-token", help='Prepare with this token, "env:NAME" or "file:PATH": it may create buckets.')
def check(config: Path, kitchen: Path | None, data: Path | None, prepare: bool, prepare_token: str | None) -> None:
    """List what start-up would refuse and how to mend it; change nothing, unless told to prepare."""
    settings = settings_in(config)
    if prepare and isinstance(settings, Settings):
        _prepare(settings, prepare_token)
    refused = refusals(settings, data) if isinstance(settings, Settings) else settings
    wanting: tuple[Fault, ...] = ()
    if isinstance(settings, Settings) and not refused:
        known = _kitchen(data or settings.stores.folder, kitchen)
        wanting = doubts(settings, known, time.time(), data) if isinstance(known, Kitchen) else known
    elif kitchen is not None:
        described = kitchen_in(kitchen)
        wanting = described if not isinstance(described, KitchenFile) else ()
    _said("It would not start:", refused)
    _said("To be mended:" if refused else "It would start. To be mended:", wanting)
    if refused or wanting:
        raise SystemExit(1)
    click.echo("It would start; nothing was found that needs mending.")

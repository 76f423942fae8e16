"""`curevigil call-test`: each way to reach a person, tried with a text that is marked as a drill."""

import logging
import time
from pathlib import Path

import click

from alerts.channels.drill import hold_drill, refusal, tried_text
from alerts.channels.ways import channels_of, target_faults
from api.check import kitchen_known
from api.config_file import read_settings, refuse
from collector.storage import StoreFailed


@click.command(name="call-test")
@click.argument("person")
@click.option("--config", type=click.Path(path_type=Path), required=True, help="The installation: curevigil.toml.")
@click.option("--data", type=click.Path(path_type=Path), help="Another data folder than the settings name.")
def call_test(person: str, config: Path, data: Path | None) -> None:
    """Try every way to reach PERSON with a text that begins with DRILL. In opening hours: it rings all the same.

    That a way took the text does not say that it arrived: ask the person. Exits with 1 where a way failed.
    """
    logging.basicConfig(level=logging.ERROR)
    settings = read_settings(config)
    faults = target_faults(settings)
    if faults:
        raise refuse(faults, "nobody was called")
    ways = settings.reach_order().get(person, ())
    try:
        why = refusal(kitchen_known(data or settings.stores.folder, time.time()), person, ways)
    except StoreFailed as fault:
        raise click.ClickException(str(fault)) from fault
    if why:
        raise click.ClickException(why)
    found = hold_drill(person, ways, channels_of(settings), time.time())
    for tried in found:
        click.echo(tried_text(tried))
    if not all(tried.accepted for tried in found):
        raise SystemExit(1)

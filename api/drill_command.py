"""`curevigil drill`: a fault rehearsed end to end, marked as one, without touching any record."""

import logging
import time
from pathlib import Path

import click

from alerts.asking import Door, ask_all
from alerts.channels.log import LogChannel
from alerts.channels.ways import channels_of, target_faults
from alerts.drills import name_of, refusal
from alerts.judgement import limit_of
from alerts.rehearsal import NotHeld, Rehearsal, without_ways
from alerts.rulebook.shelf import load
from alerts.rulebook.site_limits import with_site_limits
from api.apply_command import journal_of
from api.auth.links import issue_link
from api.config_file import read_settings, refuse
from collector.books_sql import open_books
from collector.kitchen import Kitchen
from collector.present import Present
from collector.readings import Site, Unit
from collector.sample import Instant
from collector.settings import Settings, WebSettings
from collector.storage import StoreFailed
from collector.stores_sqlite import BOOKS
from collector.working_sql import SqlWorking

WAIT_MIN = 15.0
"""House: so long somebody's word is awaited. [min]"""
ANSWER_S = 5.0


def _asked_unit(kitchen: Kitchen, name: str | None) -> tuple[Site, Unit]:
    """Return the unit that is to warm, and its site. Raises ClickException."""
    units = [unit for unit in kitchen.units.values() if unit.id not in kitchen.out_of_service]
    if not units:
        raise click.ClickException("no unit is described and in service; `curevigil apply kitchen.toml`")
    found = next((unit for unit in units if name in (None, unit.id)), None)
    site = kitchen.site_of(found.id) if found is not None else None
    if found is None or site is None:
        known = ", ".join(unit.id for unit in units)
        raise click.ClickException(f"no unit {name} is in service; name one of: {known}")
    return site, found


def _pages_answer(web: WebSettings) -> bool:
    host = f"[{web.host}]" if ":" in web.host else web.host
    answer = ask_all({"here": Door(f"http://{host}:{web.port}")}, ANSWER_S)["here"]
    return answer.detail.startswith("what answers") or not answer.detail


@click.command()
@click.option("--config", type=click.Path(path_type=Path), required=True, help="The installation: curevigil.toml.")
@click.option("--data", type=click.Path(path_type=Path), help="Another data folder than the settings name.")
@click.option("--unit", help="The unit that is said to warm; the first one unless named.")
@click.option("--minutes", type=click.FloatRange(0.05, 60.0), default=WAIT_MIN, help="How long to wait for an answer.")
def drill(config: Path, data: Path | None, unit: str | None, minutes: float) -> None:
    """Rehearse a warming room: whoever is on call now is told, by their real ways, with a text that begins with DRILL.

    The watch, the rota and the ways are the real ones; the readings and the batch are made up, and no record and no
    alarm is touched. It waits until somebody confirms by the link in the message. In opening hours alone; a real
    alarm ends it at once. Exits with 1 where nobody confirmed.
    """
    logging.basicConfig(level=logging.ERROR)
    settings = read_settings(config)
    faults = target_faults(settings)
    if faults:
        raise refuse(faults, "nobody was called")
    folder = data or settings.stores.folder
    if not (folder / BOOKS).exists():
        raise click.ClickException(f"nothing is kept in {folder} yet: start the service first")
    try:
        with journal_of(folder) as present:
            _held(settings, folder, present, unit, minutes * 60.0)
    except (StoreFailed, NotHeld) as fault:
        raise click.ClickException(f"no drill: {fault}") from fault


def _held(settings: Settings, folder: Path, present: Present, unit_name: str | None, wait_s: float) -> None:
    kitchen, reach = present.catch_up(), settings.reach_order()
    site, unit = _asked_unit(kitchen, unit_name)
    why = refusal(kitchen, site, time.time())
    if why:
        raise NotHeld(why)
    if not _pages_answer(settings.web):
        raise click.ClickException(
            "no drill: the pages do not answer, and nobody could confirm; start the service first"
        )
    for person in without_ways(kitchen, reach, unit.id, time.time()):
        click.echo(f"{name_of(kitchen, person)} is on call, and nothing in the settings says how they are reached.")
    limit_c = limit_of(with_site_limits(load(site.authority), kitchen.site_limits), unit)
    books = open_books(folder / BOOKS, may_migrate=False)
    working = SqlWorking(books)

    def link_for(name: str, person: str, now: Instant) -> str:
        return f"{settings.web.public_address}/a/{issue_link(working, name, person, time.time())}"

    channels = {"log": LogChannel(), **channels_of(settings)}
    rehearsal = Rehearsal(present, channels, reach, link_for, click.echo, wait_s)
    click.echo(f"DRILL: {unit.name} is said to warm. Nothing is warm; no record and no alarm is touched.")
    try:
        reason = rehearsal.hold(site, unit, limit_c)
    finally:
        books.close()
    click.echo(f"The drill is over: {reason}.")
    if reason != "answered":
        raise SystemExit(1)

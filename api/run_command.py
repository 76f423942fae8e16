"""`curevigil run`: the collector, the watch and the pages in one process."""

import logging
import os
from pathlib import Path

import click

from alerts.channels.lamp import Lamp
from alerts.channels.ways import channels_of
from api.check import refusals
from api.config_file import place_of, read_settings
from api.heartbeat import Receiver
from api.serving import serve
from api.supervisor import supervisor_of
from api.works import Works
from collector.broker import Broker
from collector.message import subscription
from collector.mqtt_board import Board
from collector.settings import Settings
from collector.storage import StoreFailed

LOG_FORMAT = "time=%(asctime)s level=%(levelname)s logger=%(name)s %(message)s"


def broker_of(settings: Settings) -> Broker:
    """Return where the broker is and what is subscribed there."""
    given = settings.broker
    return Broker(
        given.address,
        given.port,
        given.username,
        given.password.get_secret_value() if given.password is not None else None,
        given.tls,
        given.authority_file,
        given.client_id,
        given.protocol,
        tuple(dict.fromkeys(subscription(source) for source in settings.message_sources())),
    )


def board_of(settings: Settings) -> Board:
    """Return our own connection to the broker, by which the program writes of itself and for the lamps."""
    return Board(broker_of(settings), settings.status.topic)


def receiver_of(settings: Settings) -> Receiver | None:
    """Return who outside is to be called while all goes on, if anybody."""
    given = settings.heartbeat
    if given is None:
        return None
    return Receiver(given.url.get_secret_value(), given.method, float(given.every_s), given.private_address)


def works_of(settings: Settings, folder: Path | None = None) -> Works:
    """Return the parts of the kitchen that the settings describe. Raises StoreFailed."""
    board = board_of(settings)
    return Works(
        folder or settings.stores.folder,
        broker_of(settings),
        settings.message_sources(),
        channels_of(settings),
        settings.reach_order(),
        ballast_bytes=settings.stores.ballast_mib * 2**20,
        own=settings.status.made(),
        board=board,
        lamp=Lamp(board, settings.lamp.topic) if settings.lamp is not None else None,
        influx=place_of(settings),
        pages_from_influx=settings.influx is not None and settings.influx.pages_from == "influx",
        receiver=receiver_of(settings),
        supervisor=supervisor_of(os.environ),
        weekly_drill=settings.drill.weekly if settings.drill is not None else "",
    )


def _announce(address: str, code: str) -> None:
    click.echo(f"Curevigil is at {address}")
    if code:
        click.echo(f"Nobody has an account yet. First sign-in code, for one hour: {code}")


@click.command()
@click.option("--config", type=click.Path(path_type=Path), required=True, help="The installation: curevigil.toml.")
@click.option("--data", type=click.Path(path_type=Path), help="Another data folder than the settings name.")
def run(config: Path, data: Path | None) -> None:
    """Take readings, watch, judge, tell, and show the pages, until stopped.

    What it says are estimates. Local rules and a responsible or licensed person come first.
    """
    logging.basicConfig(level=logging.INFO, format=LOG_FORMAT)
    settings = read_settings(config)
    found = refusals(settings, data)
    if found:
        for fault in found:
            click.echo(str(fault), err=True)
        raise click.ClickException("it does not start; mend the above, then try again")
    try:
        works = works_of(settings, data)
    except StoreFailed as fault:
        raise click.ClickException(str(fault)) from fault
    try:
        works.start()
        web = settings.web
        serve(
            works,
            host=web.host,
            port=web.port,
            announce=_announce,
            public_address=web.public_address,
            plain_http=web.plain_http,
        )
    finally:
        works.stop()

"""The demo's readings in InfluxDB as well: in a database of its own, and compared at the end. Shell."""

import time
from collections.abc import Mapping
from threading import Event

import click

from collector.archived import Archive, compared
from collector.feeder import Feeder
from collector.health import Health
from collector.prepare_influx import forget, prepare
from collector.readings_influx import InfluxArchive, Place
from collector.storage import MemoryWorking, Readings, StoreFailed

BUCKET = "curevigil_demo/readings"
TOKEN, ORG = "CUREVIGIL_INFLUX_TOKEN", "CUREVIGIL_INFLUX_ORG"
PATIENCE_S = 15.0


def place_for(url: str, environ: Mapping[str, str]) -> Place:
    """Return the demo's place on a server, emptied and prepared. Raises ClickException, saying how to mend it."""
    if not environ.get(TOKEN):
        raise click.ClickException(f"set {TOKEN} to a token that may create databases (InfluxDB 1.8: user:password)")
    place = Place(url.rstrip("/"), BUCKET, environ[TOKEN], environ.get(ORG, ""))
    archive = InfluxArchive(place)
    try:
        forget(archive)
        for sentence in prepare(archive, 0):
            click.echo(f"Prepared: {sentence}", err=True)
    except StoreFailed as fault:
        raise click.ClickException(str(fault)) from fault
    finally:
        archive.close()
    return place


def copied(readings: Readings, place: Place) -> str:
    """Copy a played week by the service's own feeder; return the sentence that compares both."""
    archive, health = InfluxArchive(place), Health()
    feeder = Feeder(readings, archive, MemoryWorking(), health, time.time)
    while feeder.cursor < readings.head():
        feeder.step()
        part = health.part("influx")
        if part is not None and part.numbers.get("failures"):
            raise click.ClickException(part.sentence)
    said = comparison(readings, archive)
    archive.close()
    return said


def comparison(readings: Readings, archive: Archive) -> str:
    """Return in a sentence whether both hold the same readings."""
    try:
        count, other = compared(readings, archive)
    except StoreFailed as fault:
        return f"InfluxDB was not compared: {fault}"
    if other:
        return f"InfluxDB does NOT hold the same readings as the local store for: {', '.join(other)}"
    return f"InfluxDB holds the same {count:,} readings as the local store, each one compared."


def compare_at_end(feeder: Feeder | None, readings: Readings, archive: Archive | None) -> None:
    """Wait until everything that arrived is copied, and say how the two stores compare."""
    if feeder is None or archive is None:
        return
    pause, deadline = Event(), time.monotonic() + PATIENCE_S
    while feeder.cursor < readings.head() and time.monotonic() < deadline:
        pause.wait(0.1)
    click.echo(comparison(readings, archive))

"""`curevigil read`: what a message would become."""

import sys
import time
from collections.abc import Sequence
from pathlib import Path

import click

from api.config_file import read_settings, read_text, refuse
from api.previewed import payload_of, previewed
from collector.message import Source, source_of
from collector.sample import Message, Refusal
from collector.settings_sources import MappingFile, read_mapping


def _sources(mapping: Path | None, config: Path | None) -> Sequence[Source]:
    if (mapping is None) == (config is None):
        raise click.UsageError("name either --mapping, a file with [[source]] tables, or --config")
    if mapping is None:
        return read_settings(config or Path()).message_sources()
    found = read_mapping(read_text(mapping), mapping.name)
    if isinstance(found, MappingFile):
        return found.message_sources()
    raise refuse(found, f"{mapping} was not used")


@click.command()
@click.option("--mapping", type=click.Path(path_type=Path), help="A file with [[source]] tables, as in the settings.")
@click.option("--config", type=click.Path(path_type=Path), help="The sources of an installation: curevigil.toml.")
@click.option("--topic", required=True, help="The topic that the message comes on.")
@click.option("--retained", is_flag=True, help="As the broker sends a message that it kept.")
@click.argument("message", required=False)
def read(mapping: Path | None, config: Path | None, topic: str, retained: bool, message: str | None) -> None:
    """Print what MESSAGE (or standard input) would become: readings, or why it cannot be read; nothing is kept.

    Where the source is CBOR, MESSAGE is hex or Base64; standard input is always taken byte by byte.
    """
    sources = _sources(mapping, config)
    payload = _piped() if message is None else _typed(message, topic, sources)
    found = previewed(Message(topic, payload, round(time.time(), 3), retained), sources)
    for line in found.lines:
        click.echo(line)
    if found.refused:
        raise click.ClickException(found.refused)
    if not found.lines:
        click.echo("No reading." if retained else "It can be read, and holds no value.")
    click.echo(found.note)


def _typed(message: str, topic: str, sources: Sequence[Source]) -> bytes:
    source = source_of(topic, sources)
    if source is None or source.encoding == "json":
        return message.encode("utf-8", "surrogateescape")
    payload = payload_of(message, topic, sources)
    if isinstance(payload, Refusal):
        raise click.UsageError(payload.reason)
    return payload


def _piped() -> bytes:
    return sys.stdin.buffer.read()

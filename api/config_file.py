"""The files that a person writes, read for a command: what they hold, or every fault in them and nothing done."""

import os
from collections.abc import Iterable
from pathlib import Path

import click

from alerts.plan_limits import refusals
from alerts.rulebook.book import Rulebook
from alerts.rulebook.shelf import load, names
from alerts.rulebook.site_limits import limit_fault, with_site_limits
from collector.kitchen_file import KitchenFile, read_kitchen
from collector.readings_influx import Place
from collector.settings import Settings, parse
from collector.settings_mind import MindFile, parse_mind
from collector.toml_faults import Fault

LARGEST_BYTES = 16 * 1024 * 1024
"""House: no file that a person wrote is larger."""
SECRET_BYTES = 64 * 1024


def refuse(faults: Iterable[Fault], outcome: str) -> click.ClickException:
    """Print every fault on standard error, and return the exception that ends a command with exit code 1."""
    listed = list(faults)
    for fault in listed:
        click.echo(str(fault), err=True)
    counted = "1 fault" if len(listed) == 1 else f"{len(listed)} faults"
    return click.ClickException(f"{counted}; {outcome}")


def read_text(path: Path) -> str:
    """Return the text of a file. Raises ClickException."""
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST_BYTES + 1)
    except OSError as error:
        why = (error.strerror or "it cannot be opened").lower()
        raise click.ClickException(f"{path} cannot be read: {why}; name the file, and let this user read it") from error
    if len(raw) > LARGEST_BYTES:
        raise click.ClickException(f"{path} is larger than {LARGEST_BYTES >> 20} MiB; name a file that a person wrote")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise click.ClickException(f"{path} line {line}: this is no UTF-8 text; save the file as UTF-8") from error


def read_secret(path: str) -> str:
    """Return what a secret's file holds. Raises OSError, UnicodeDecodeError."""
    with Path(path).open("rb") as file:
        return file.read(SECRET_BYTES).decode("utf-8")


def settings_in(path: Path) -> Settings | tuple[Fault, ...]:
    """Return the settings in a file, or its faults. Raises ClickException where there is no such text."""
    return parse(read_text(path), os.environ, read_secret, path.name)


def read_settings(path: Path) -> Settings:
    """Return the settings in a file. Raises ClickException, with every fault printed."""
    settings = settings_in(path)
    if isinstance(settings, Settings):
        return settings
    raise refuse(settings, f"{path} was not used")


def read_mind_settings(path: Path) -> MindFile:
    """Return what a second watcher needs of the settings in a file. Raises ClickException, with every fault printed."""
    tables = {field.alias or name for name, field in Settings.model_fields.items()} - set(MindFile.model_fields)
    settings = parse_mind(read_text(path), os.environ, read_secret, tables, path.name)
    if isinstance(settings, MindFile):
        return settings
    raise refuse(settings, f"{path} was not used")


def place_of(settings: Settings) -> Place | None:
    """Return where readings are copied to, or None."""
    given = settings.influx
    if given is None:
        return None
    return Place(given.url, given.bucket, given.token.get_secret_value(), given.org, given.authority_file)


def kitchen_in(path: Path) -> KitchenFile | tuple[Fault, ...]:
    """Return the kitchen that a file describes, or its faults. Raises ClickException where there is no such text."""
    described = read_kitchen(read_text(path), path.name)
    return (law_faults(described) or described) if isinstance(described, KitchenFile) else described


def read_described(path: Path) -> KitchenFile:
    """Return the kitchen that a file describes. Raises ClickException, with every fault printed."""
    described = kitchen_in(path)
    if isinstance(described, KitchenFile):
        return described
    raise refuse(described, f"nothing in {path} was used")


def law_faults(described: KitchenFile) -> tuple[Fault, ...]:
    """Return what a described kitchen says that the rulebooks do not know, or do not allow."""
    book = load(described.site.authority)
    own = {one.limit: one for one in described.own_limits}
    return (
        *_own_faults(described, book),
        *_limit_faults(described, with_site_limits(book, own)),
        *_class_faults(described, book),
        *_row_faults(described),
    )


def _own_faults(described: KitchenFile, book: Rulebook) -> Iterable[Fault]:
    for index, own in enumerate(described.own_limits):
        wrong = limit_fault(book, own.limit, own.value, own.reason)
        if wrong is not None:
            key, what, mend = wrong
            yield described.sheet.fault(("own_limit", index, key), what, mend)


def _limit_faults(described: KitchenFile, book: Rulebook) -> Iterable[Fault]:
    lawful = book.limits["cold.limit"]
    for index, unit in enumerate(described.units):
        if unit.limit_c is not None and unit.limit_c > lawful.value:
            what = f"{unit.limit_c:g} °C is looser than the rulebook's {lawful.printed}"
            mend = "a unit's own limit is stricter: write a lower one, or leave it out"
            yield described.sheet.fault(("unit", index, "limit_c"), what, mend)


def _class_faults(described: KitchenFile, book: Rulebook) -> Iterable[Fault]:
    for index, batch in enumerate(described.batches):
        for one in refusals(batch.plan, book):
            # What was made is brought in as it was made: the rules hold it. A class that is none is a slip of the file.
            if one.field == "product_class":
                yield described.sheet.fault(("batch", index, "plan", "product_class"), one.what, one.mend)


def _row_faults(described: KitchenFile) -> Iterable[Fault]:
    for index, table in enumerate(described.sheet.values.get("confirmed", [])):
        name = table["rulebook"]
        if name not in names():
            what = f"there is no rulebook {name}"
            yield described.sheet.fault(("confirmed", index, "rulebook"), what, f"use one of: {', '.join(names())}")
            continue
        limits = load(name).limits
        for number, row in enumerate(table["rows"]):
            if row not in limits:
                mend = f"`curevigil rulebook show {name}` lists them"
                yield described.sheet.fault(("confirmed", index, "rows", number), f"{name} has no row {row}", mend)

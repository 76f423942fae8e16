"""`curevigil apply`: bring a described kitchen into the journal, and say what changed."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from api.check import kitchen_known, owner_faults
from api.config_file import read_described, read_settings, refuse
from collector.books_sql import open_books
from collector.events import Draft
from collector.journal_sql import SqlJournal
from collector.kitchen import Kitchen
from collector.kitchen_changes import Changes, changes, future_faults
from collector.kitchen_file import KitchenFile
from collector.present import Present
from collector.storage import StoreFailed
from collector.stores_sqlite import BALLAST, BOOKS, Ballast


def data_folder(config: Path | None, data: Path | None) -> Path:
    """Return the data folder that the options name. Raises ClickException."""
    if data is not None:
        return data
    if config is None:
        raise click.UsageError("name the data folder: --data FOLDER, or --config with the settings that name it")
    return read_settings(config).stores.folder


@contextmanager
def journal_of(folder: Path) -> Iterator[Present]:
    """Open the journal of a folder beside a running service; the folder is made where there is none."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    ballast = Ballast(folder / BALLAST)
    journal = SqlJournal(open_books(folder / BOOKS, may_migrate=False), ballast.make_room)
    try:
        yield Present(journal, time.time)
    finally:
        journal.close()


def _changes(kitchen: Kitchen, described: KitchenFile) -> Changes:
    now = time.time()
    early = future_faults(described, now)
    return Changes((), (), early) if early else changes(kitchen, described, round(now, 3))


def applied(folder: Path, described: KitchenFile, *, dry_run: bool) -> Changes:
    """Bring a kitchen into the journal of a folder, whole or not at all. Raises StoreFailed, OSError."""
    if dry_run:
        return _changes(kitchen_known(folder, time.time()), described)
    found = Changes((), ())

    def decide(kitchen: Kitchen) -> tuple[Draft, ...]:
        nonlocal found
        found = _changes(kitchen, described)
        return found.drafts

    with journal_of(folder) as present:
        present.decide(decide)
    return found


@click.command()
@click.argument("kitchen", type=click.Path(path_type=Path))
@click.option("--data", type=click.Path(path_type=Path), help="The data folder.")
@click.option("--config", type=click.Path(path_type=Path), help="The settings that name the data folder.")
@click.option("--dry-run", is_flag=True, help="Say what would change, and change nothing.")
def apply(kitchen: Path, data: Path | None, config: Path | None, dry_run: bool) -> None:
    """Bring the kitchen that a file describes into the journal, and say what changed.

    Applied again it changes nothing. What the file leaves out stays as it is.
    """
    described = read_described(kitchen)
    folder = data_folder(config, data)
    foreign = list(owner_faults(folder))
    if foreign:
        raise refuse(foreign, "nothing was changed")
    try:
        found = applied(folder, described, dry_run=dry_run)
    except OSError as error:
        raise click.ClickException(
            f"{folder}: {(error.strerror or str(error)).lower()}; name a folder that can be written"
        ) from error
    except StoreFailed as error:
        raise click.ClickException(f"{error}; nothing was changed") from error
    if found.faults:
        raise refuse(found.faults, "nothing was changed")
    for line in found.lines:
        click.echo(line)
    if not found.lines:
        click.echo("nothing to change")
    elif dry_run:
        click.echo("this was a dry run: nothing was changed")

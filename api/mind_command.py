"""`curevigil mind`: a second watcher, which asks others whether they work and tells people when one does not."""

import logging
import signal
import threading
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from types import FrameType
from urllib.parse import urlsplit

import click

from alerts.asking import Asker, Door, ask_all
from alerts.channels.ways import channels_of, target_faults
from alerts.minder import Minder
from alerts.minding import EVERY_S, PATIENCE_S, TIMEOUT_S, Heard, Timings
from api.config_file import read_mind_settings, refuse
from api.run_command import LOG_FORMAT
from collector.settings_mind import MindFile, MindSettings
from collector.settings_values import is_web_address

log = logging.getLogger(__name__)

NOT_WELL = 3
"""Exit code of `--once` where one does not answer, or says that it does not work."""


def minded(settings: MindFile, urls: Sequence[str]) -> dict[str, MindSettings]:
    """Return who is minded, by name: those of the settings, and each further address under its host's name.

    Raises ClickException where an address is none, or nobody is left.
    """
    found = {one.name: one for one in settings.mind}
    known = {one.address for one in settings.mind}
    for url in dict.fromkeys(url.rstrip("/") for url in urls):
        if not is_web_address(url) or urlsplit(url).query or urlsplit(url).fragment:
            raise click.BadParameter(f"{url!r} is no web address; write one such as https://curevigil.example")
        if url in known:
            continue
        name = urlsplit(url).netloc.rpartition("@")[2]
        found[url if name in found else name] = MindSettings(address=url, name=name[:60])
    if not found:
        raise click.ClickException("nobody is to be minded: name an address, or describe [[mind]] in the settings")
    return found


def _doors(places: Mapping[str, MindSettings]) -> dict[str, Door]:
    for name, one in places.items():
        if one.authority_file is not None and not Path(one.authority_file).is_file():
            raise click.ClickException(f"{name}: {one.authority_file} is no file; name the authority's certificate")
    return {name: Door(one.address, one.authority_file) for name, one in places.items()}


def _once(doors: Mapping[str, Door], timeout_s: float) -> None:
    answers = ask_all(doors, timeout_s)
    for name, answer in answers.items():
        click.echo(f"{name}: {answer.heard}" + (f" ({answer.detail})" if answer.detail else ""))
    if any(answer.heard is not Heard.WELL for answer in answers.values()):
        raise SystemExit(NOT_WELL)


@click.command()
@click.argument("urls", metavar="[URL]...", nargs=-1)
@click.option("--config", type=click.Path(path_type=Path), required=True, help="Settings with [[reach]] and [[mind]].")
@click.option("--once", is_flag=True, help="Ask each once, say what came of it, tell nobody; ends with 3 if not well.")
@click.option("--every-s", type=float, default=EVERY_S, hidden=True)
@click.option("--timeout-s", type=float, default=TIMEOUT_S, hidden=True)
@click.option("--patience-s", type=float, default=PATIENCE_S, hidden=True)
def mind(
    urls: tuple[str, ...], config: Path, once: bool, every_s: float, timeout_s: float, patience_s: float
) -> None:  # fmt: skip
    """Ask each URL, and each [[mind]] of the settings, whether that Curevigil works; tell people when one does not.

    Run it on another machine: what stops the one must not stop the other. People are told two minutes after the last
    good answer, by the ways under [[reach]] here, every ten minutes again, and once more when it answers again.
    """
    logging.basicConfig(level=logging.INFO, format=LOG_FORMAT)
    timings = Timings(every_s, timeout_s, patience_s)
    if timings.fault():
        raise click.ClickException(timings.fault())
    settings = read_mind_settings(config)
    faults = target_faults(settings)
    if faults:
        raise refuse(faults, "nobody is minded")
    places = minded(settings, urls)
    doors = _doors(places)
    if once:
        _once(doors, timeout_s)
        return
    minder = Minder(
        {name: one.zone for name, one in places.items()}, channels_of(settings), settings.reach_order(), timings
    )
    asker = Asker(doors, timings, minder.heard)
    asker.start()
    log.info("event=minding names=%r people=%r", sorted(doors), list(settings.reach_order()))
    minder.run(_stopped_by_signals(), lambda: asker.alive)
    log.info("event=stopped")


def _stopped_by_signals() -> threading.Event:
    stop = threading.Event()

    def end(number: int, frame: FrameType | None) -> None:
        stop.set()

    with suppress(ValueError):  # not the main thread: whoever runs it there stops it otherwise
        for one in (signal.SIGINT, signal.SIGTERM):
            signal.signal(one, end)
    return stop

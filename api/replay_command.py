"""`curevigil replay`: recorded readings through the same core, and what came of them as files."""

import json
import os
import sys
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path

import click

from alerts.judgement import limit_of
from alerts.replay import Replay, VirtualClock, alarm_row, estimate_row
from alerts.rulebook.shelf import load
from alerts.rulebook.site_limits import with_site_limits
from api.config_file import read_described, refuse
from api.reading_lines import BadLine, instant_of, read_lines, units_of
from api.works import software
from collector.findings import Proposal
from collector.kitchen import Kitchen
from collector.kitchen_changes import changes
from collector.kitchen_file import KitchenFile
from collector.readings import Reading
from collector.sample import Instant
from collector.sqlite import sync_folder

LISTED = 20
"""So many bad lines are listed; the rest are counted."""


def readings_in(path: Path, described: KitchenFile) -> tuple[list[Reading], list[BadLine]]:
    """Return the readings of a file in its order, and its bad lines. Raises ClickException."""
    readings: list[Reading] = []
    bad: list[BadLine] = []
    try:
        with path.open("rb") as file:
            for line in read_lines(file, units_of(described.assignments)):
                if isinstance(line, Reading):
                    readings.append(line)
                else:
                    bad.append(line)
    except OSError as error:
        why = (error.strerror or "it cannot be opened").lower()
        raise click.ClickException(f"{path} cannot be read: {why}; name a file of readings") from error
    return readings, bad


def begins_at(readings: Sequence[Reading], described: KitchenFile, until_at: Instant) -> Instant:
    """Return when the clock starts: at the first receipt, or where nothing was received, at the first assignment."""
    if readings:
        return min(readings[0].received_at, until_at)
    return min((a.from_at for a in described.assignments), default=until_at)


def replayed(
    described: KitchenFile,
    readings: Sequence[Reading],
    until_at: Instant,
    progress: Callable[[int], None] | None = None,
) -> Replay:
    """Play readings through the core. Raises ClickException where the kitchen is at odds with itself."""
    start_at = min(begins_at(readings, described, until_at), until_at)
    found = changes(Kitchen(), described, start_at)
    if found.faults:
        raise refuse(found.faults, "nothing was judged")
    book = load(described.site.authority)
    replay = Replay(
        found.drafts,
        book,
        software(),
        lambda kitchen, unit: limit_of(with_site_limits(book, kitchen.site_limits), unit),
        VirtualClock(start_at),
    )
    replay.run(readings, until_at, progress)
    return replay


def canonical(value: object) -> str:
    """Return JSON with sorted keys and a line end, the same for the same value on every machine."""
    return json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False) + "\n"


def disposition_row(proposal: Proposal) -> dict[str, object]:
    """Return a proposal as it stands in `dispositions.json`: times in epoch seconds."""
    return {"batch": proposal.lot, **{key: value for key, value in asdict(proposal).items() if key != "lot"}}


def written(out: Path, files: Mapping[str, Iterable[str]]) -> None:
    """Write files into a folder, each whole or not at all. Raises OSError."""
    out.mkdir(parents=True, exist_ok=True)
    for name, lines in files.items():
        half = out / f".{name}.half"
        with half.open("w", encoding="utf-8", newline="\n") as file:
            file.writelines(lines)
            file.flush()
            os.fsync(file.fileno())
        os.replace(half, out / name)
    sync_folder(out)


def _tell_bad_lines(path: Path, bad: Sequence[BadLine], *, skip: bool) -> None:
    for line in bad[:LISTED]:
        click.echo(f"{path.name} line {line.number}: {line.what}", err=True)
    counted = "1 line holds" if len(bad) == 1 else f"{len(bad)} lines hold"
    if bad and not skip:
        mend = "mend them, or leave them out with --skip-bad-lines"
        raise click.ClickException(f"{counted} no reading; {mend}; nothing was judged")
    if bad:
        click.echo(f"{counted} no reading, and were left out", err=True)


def _tell_unassigned(readings: Sequence[Reading], described: KitchenFile) -> None:
    known = {a.channel for a in described.assignments}
    strange = Counter(r.channel for r in readings if r.channel not in known)
    if strange:
        names = ", ".join(sorted(strange)[:5]) + (", ..." if len(strange) > 5 else "")
        what = f"{strange.total()} readings of {len(strange)} channels that the kitchen does not describe: {names}"
        click.echo(f"note: {what}; nobody judges them", err=True)


@click.command()
@click.option("--kitchen", type=click.Path(path_type=Path), required=True, help="The kitchen: kitchen.toml.")
@click.option("--readings", type=click.Path(path_type=Path), required=True, help="A JSON object a line.")
@click.option("--until", required=True, help="The time to go on until: RFC 3339, or seconds since 1970.")
@click.option("--out", type=click.Path(path_type=Path), required=True, help="The folder to write into.")
@click.option("--skip-bad-lines", is_flag=True, help="Leave out lines that hold no reading, and count them.")
def replay(kitchen: Path, readings: Path, until: str, out: Path, skip_bad_lines: bool) -> None:
    """Judge recorded readings as the live service would have, and write what came of it.

    A line of readings: {"channel": ..., "value": ..., "measured_at": ..., "received_at": ...}. Into the folder go
    alarms.jsonl, estimates.jsonl and dispositions.json. What they say are estimates: local rules and a responsible or
    licensed person come first.
    """
    until_at = instant_of(until)
    if isinstance(until_at, str):
        raise click.BadParameter(f"{until_at}", param_hint="--until")
    described = read_described(kitchen)
    taken, bad = readings_in(readings, described)
    _tell_bad_lines(readings, bad, skip=skip_bad_lines)
    _tell_unassigned(taken, described)
    with click.progressbar(length=len(taken), label="replaying", file=sys.stderr) as bar:
        done = replayed(described, taken, until_at, lambda count: bar.update(count - bar.pos))
        bar.update(len(taken) - bar.pos)
    alarms, proposals = done.alarms(), done.dispositions()
    try:
        written(
            out,
            {
                "alarms.jsonl": (canonical(alarm_row(alarm, described.site.zone)) for alarm in alarms),
                "estimates.jsonl": (canonical(estimate_row(estimate)) for estimate in done.estimates),
                "dispositions.json": [canonical([disposition_row(proposal) for proposal in proposals])],
            },
        )
    except OSError as error:
        raise click.ClickException(
            f"{out}: {(error.strerror or str(error)).lower()}; name a folder that can be written"
        ) from error
    click.echo(f"readings {done.count}, alarms {len(alarms)}, dispositions {len(proposals)}")

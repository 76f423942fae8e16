"""`curevigil bench`: what the program costs here, each figure beside a yardstick from the same run. Shell."""

import os
import platform
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from importlib.metadata import version
from pathlib import Path
from statistics import median

import click

from collector.sqlite import best_journal_mode, driver
from simulators.bench_alarm import alarm
from simulators.bench_broker import mosquitto_at
from simulators.bench_influx import influx
from simulators.bench_ingest import catchup, ingest
from simulators.bench_judge import judge
from simulators.bench_nights import alarms
from simulators.bench_row import INDENT, Row, Unmeasured, figure, head, unmeasured
from simulators.bench_run import memory, start
from simulators.bench_store import archive
from simulators.bench_tick import tick
from simulators.bench_webhook import webhook

Line = Callable[[Path | None, float], Iterator[Row]]
"""Takes the broker named on the command line, and the share of the usual amount of work."""

SYNCS = 41
MOUNTS = Path("/proc/mounts")
PROCESSORS = Path("/proc/cpuinfo")


def _on_disk(line: Callable[[Path, float], Iterator[Row]]) -> Line:
    def measured(mosquitto: Path | None, scale: float) -> Iterator[Row]:
        with tempfile.TemporaryDirectory(prefix="curevigil-bench-") as folder:
            yield from line(Path(folder), scale)

    return measured


def _on_broker(line: Callable[[str, float], Iterator[Row]]) -> Line:
    def measured(mosquitto: Path | None, scale: float) -> Iterator[Row]:
        yield from line(mosquitto_at(mosquitto), scale)

    return measured


LINES: dict[str, Line] = {
    "ingest": _on_broker(ingest),
    "catchup": _on_broker(catchup),
    "alarm": _on_broker(alarm),
    "webhook": _on_broker(webhook),
    "archive": _on_disk(archive),
    "influx": _on_disk(influx),
    "judge": _on_disk(judge),
    "tick": _on_disk(tick),
    "start": _on_broker(start),
    "memory": _on_broker(memory),
}


def processor() -> str:
    """Return what the processor calls itself."""
    with suppress(OSError):
        for line in PROCESSORS.read_text(encoding="utf-8").splitlines():
            if line.startswith("model name"):
                return line.partition(":")[2].strip()
    return platform.processor() or platform.machine()


def storage(folder: Path) -> str:
    """Return the kind of file system that a folder is on, where the system tells."""
    best = ("", "unknown")
    with suppress(OSError):
        for line in MOUNTS.read_text(encoding="utf-8").splitlines():
            _, where, kind, *_ = line.split()
            if folder.is_relative_to(where) and len(where) > len(best[0]):
                best = (where, kind)
    return best[1]


def sync_ms(folder: Path) -> float:
    """Return how long one synchronised write of a page takes there, in the median. [ms]"""
    taken = []
    with (folder / "page").open("wb", buffering=0) as file:
        for _ in range(SYNCS):
            begun = time.perf_counter()
            file.write(bytes(4096))
            os.fsync(file.fileno())
            taken.append((time.perf_counter() - begun) * 1e3)
    return median(taken)


def machine() -> list[str]:
    """Return the facts without which no figure means anything."""
    with tempfile.TemporaryDirectory(prefix="curevigil-bench-") as name:
        folder = Path(name).resolve()
        disk = f"temporary folder on {storage(folder)}, one synchronised write {figure(sync_ms(folder))} ms"
    load = f", load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    return [
        f"curevigil {version('curevigil')}, {platform.system()} {platform.release()}, {os.cpu_count()} cores{load}, "
        f"{processor()}",
        f"Python {platform.python_version()}, SQLite {driver.sqlite_version} ({best_journal_mode()}), {disk}",
        "Ratios travel from machine to machine; figures do not. Broker, sender and what is measured share the cores.",
    ]


def _chosen(context: click.Context, option: click.Parameter, given: str | None) -> list[str]:
    names = list(LINES) if given is None else [name.strip() for name in given.split(",")]
    unknown = [name for name in names if name not in LINES]
    if unknown:
        raise click.BadParameter(f"{', '.join(unknown)}; there are {', '.join(LINES)}")
    return [name for name in LINES if name in names]


def measured(name: str, mosquitto: Path | None, scale: float) -> Iterator[Row | str]:
    """Yield the rows of one line; a sentence in their place where it could not be measured."""
    begun = time.perf_counter()
    try:
        yield from LINES[name](mosquitto, scale)
    except Unmeasured as why:
        yield unmeasured(name, str(why))
    except Exception as fault:  # noqa: BLE001 - one line that breaks must not keep the others from being measured
        yield unmeasured(name, f"{type(fault).__name__}: {fault}")
    click.echo(f"{INDENT}({name} took {time.perf_counter() - begun:.0f} s)")


def closing_line(rows: Sequence[Row], missing: int, took_s: float) -> str:
    """Return the one line that counts what was kept."""
    bound = [row for row in rows if row.kept is not None]
    over = [row.what for row in bound if not row.kept]
    kept = f"{len(bound) - len(over)} of {len(bound)} budgets kept"
    return (
        f"bench: {len(rows)} rows, {kept}{', over: ' + '; '.join(over) if over else ''}, "
        f"{missing} not measured, {took_s:.0f} s"
    )


@click.group(invoke_without_command=True)
@click.option("--only", callback=_chosen, help=f"Some lines only, with commas: {', '.join(LINES)}.")
@click.option("--scale", type=click.FloatRange(0.001, 10.0), default=1.0, help="Share of the usual amount of work.")
@click.option(
    "--mosquitto",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="The broker to measure with, where it is not on the path.",
)
@click.pass_context
def bench(context: click.Context, only: list[str], scale: float, mosquitto: Path | None) -> None:
    """Measure what the program costs here, each figure beside a yardstick from the same run.

    A budget that is not kept is said and ends nothing: only what could not be measured at all makes the exit code 1.
    """
    if context.invoked_subcommand is not None:
        return
    begun, rows, missing = time.perf_counter(), list[Row](), 0
    for fact in machine():
        click.echo(fact)
    click.echo("\n" + head())
    for name in only:
        for row in measured(name, mosquitto, scale):
            click.echo(str(row))
            if isinstance(row, Row):
                rows.append(row)
            else:
                missing += 1
    click.echo(closing_line(rows, missing, time.perf_counter() - begun))
    context.exit(1 if missing else 0)


bench.add_command(alarms)

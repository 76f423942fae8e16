"""`curevigil plan`: what a plan comes to, before any meat is in it."""

from pathlib import Path

import click

from alerts.planning import Answer, Tone, answers, for_more_meat, is_refused, scaled_plan, tasks
from alerts.rulebook.shelf import load
from alerts.sentences_findings import CAUTION
from api.config_file import refuse
from api.pages.wording import long_text
from collector.batches import Plan
from collector.plan_file import PlanFile, read_plan

MARKS = {Tone.REFUSED: "REFUSED", Tone.WARNED: "look", Tone.CANNOT_TELL: "not known", Tone.ANSWERED: ""}


def told(plan: Plan, found: tuple[Answer, ...]) -> list[str]:
    """Return the answers and what is due, line by line."""
    lines = [plan.name, ""]
    for one in found:
        mark = f"{MARKS[one.tone]}: " if MARKS[one.tone] else ""
        source = f" [{one.source}]" if one.source else ""
        lines.append(f"{one.about}: {mark}{one.words}{source}")
    lines += ["", "To be done, counted from filling, at the latest:"]
    lines += [f"  {long_text(task.done_by_s)}: {task.name}. {task.words}" for task in tasks(plan)]
    return [*lines, "", CAUTION]


@click.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option(
    "--scale", type=click.FloatRange(0.01, 100.0), help="So many times the meat, brine and all: same strength."
)
@click.option("--meat", type=click.FloatRange(0.05, 2000.0), help="Another mass of meat in the same brine [kg].")
def plan(file: Path, scale: float | None, meat: float | None) -> None:
    """Say what a plan comes to: strength, salometer, nitrite, time, cover, vessel, what is due.

    Ends with 1 where the plan is refused. FILE holds the keys of [batch.plan] of a kitchen file, and `authority`.
    """
    described = read_plan(file.read_text(encoding="utf-8"), file.name)
    if not isinstance(described, PlanFile):
        raise refuse(described, "nothing was answered")
    meant = described.plan
    if scale is not None:
        meant = scaled_plan(meant, scale)
    if meat is not None:
        meant = for_more_meat(meant, meat)
    found = answers(meant, load(described.authority))
    for line in told(meant, found):
        click.echo(line)
    if is_refused(found):
        raise click.exceptions.Exit(1)

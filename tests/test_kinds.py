"""What DEVELOPERS.md says of the kinds of alarm, and of what `replay` writes, is what the code says."""

import ast
import re
from dataclasses import fields
from pathlib import Path

import pytest

from alerts.replay import alarm_row, estimate_row
from alerts.sentences import TITLES, first_steps, pattern
from alerts.service import Estimate
from api.replay_command import disposition_row
from collector.findings import Condition, Disposition, Evidence, Finding, Proposal
from collector.kitchen import Alarm

ROOT = Path(__file__).resolve().parents[1]
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
CATEGORIES = {"temperature", "cold", "door", "sensor", "connectivity", "power", "equipment", "info"}
NOTHING = Condition("", "", "", False, 0.0)
PROPOSAL = Proposal("", Disposition.HOLD, (), 0.0, "", "")


def rows(heading: str) -> dict[str, list[str]]:
    """Return the rows of the first table below a heading: the name in the first cell, and the other cells."""
    below = DEVELOPERS.partition(f"\n{heading}\n")[2]
    table = re.search(r"^\|.*?(?=\n\n|\Z)", below, re.MULTILINE | re.DOTALL)
    assert table is not None, f"no table below {heading}"
    found: dict[str, list[str]] = {}
    for line in table.group().splitlines()[2:]:
        name, *cells = (cell.strip() for cell in line.strip("|").split("|"))
        assert name not in found, f"{name} stands twice below {heading}"
        found[name.strip("`")] = cells
    return found


def said_of(kind: str) -> list[str]:
    """Return what the code has people told of a kind: its title, what to look at first, and how it ends."""
    steps = " ".join(first_steps(Condition("", kind, "", False, 0.0)))
    return [TITLES[kind], steps, pattern(f"{kind}_returned")]


@pytest.mark.parametrize("kind", TITLES)
def test_every_kind_of_alarm_is_explained_as_people_are_told_it(kind: str) -> None:
    holds, read = rows("## Kinds of alarm"), rows("### What people read of each kind")
    assert kind in holds, f"write when it holds into the table below `## Kinds of alarm`: | `{kind}` | … | … | … |"
    row = f"| `{kind}` | {' | '.join(said_of(kind))} |"
    assert read.get(kind) == said_of(kind), f"below `### What people read of each kind`, by letter:\n{row}"


def test_no_kind_is_explained_that_nothing_raises_and_each_is_found_by_its_letter() -> None:
    read = rows("### What people read of each kind")
    assert sorted(rows("## Kinds of alarm")) == sorted(read) == list(read) == sorted(TITLES)


def raised() -> list[tuple[str, str, object]]:
    """Return kind, category and waking of every condition that the code makes with its kind in sight."""
    found = []
    for path in sorted((ROOT / "alerts").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Condition" and len(node.args) > 3:
                kind, category, wakes = (getattr(a, "value", None) for a in node.args[1:4])
                if isinstance(kind, str):
                    found.append((kind, str(category), wakes))
    return found


@pytest.mark.parametrize(("kind", "category", "wakes"), raised())
def test_the_table_says_of_which_category_a_kind_is_and_whether_it_wakes(
    kind: str, category: str, wakes: object
) -> None:
    said = rows("## Kinds of alarm")[kind]
    word = {True: "yes", False: "no"}.get(bool(wakes)) if isinstance(wakes, bool) else None
    assert said[0] == category
    assert said[1] == word if word is not None else said[1].startswith("if ")


def test_every_category_of_the_table_is_one_that_a_condition_may_have() -> None:
    assert {cells[0] for cells in rows("## Kinds of alarm").values()} <= CATEGORIES
    assert {kind for kind, _, _ in raised()} <= set(TITLES)
    assert len(raised()) >= 8


ALARM = alarm_row(Alarm("A1", Condition("u", "unwatched", "connectivity", True, 0.0, sentence="unwatched"), 0.0), "UTC")
ESTIMATE = estimate_row(Estimate("u", "B1", 0.0, 3.0, 2.5, 3.5, None, 2.7, 3.3))


@pytest.mark.parametrize(
    ("heading", "names"),
    [
        ("### `alarms.jsonl`", list(ALARM)),
        ("### `estimates.jsonl`", list(ESTIMATE)),
        ("### `dispositions.json`", list(disposition_row(PROPOSAL))),
        ("### A finding in `dispositions.json`", [one.name for one in fields(Finding)]),
        ("### The evidence of a finding", [one.name for one in fields(Evidence)]),
    ],
)
def test_every_field_that_replay_writes_is_explained_in_its_order(heading: str, names: list[str]) -> None:
    explained = rows(heading)
    assert list(explained) == names
    assert all(all(cells) for cells in explained.values())


def test_a_table_that_is_not_there_is_noticed() -> None:
    with pytest.raises(AssertionError, match="no table below ## Nowhere"):
        rows("## Nowhere")

"""The demo kitchen's description, filled in from the simulated week. Shell: it reads a file of the package."""

from datetime import UTC, datetime
from importlib.resources import files
from string import Template

from alerts.rulebook.shelf import load
from collector.events import Draft
from collector.kitchen import Kitchen
from collector.kitchen_changes import changes
from collector.kitchen_file import KitchenFile, read_kitchen
from collector.sample import Instant
from simulators.gullwick_life import cooked_and_cooled
from simulators.smokehouse import Story


def _written(at: Instant) -> str:
    return datetime.fromtimestamp(at, UTC).isoformat()


def kitchen_text(week: Story) -> str:
    """Return the kitchen file of the demo for one simulated week."""
    template = Template((files("simulators") / "gullwick.toml").read_text(encoding="utf-8"))
    memory = [row.id for row in load("US").limits.values() if row.known == "memory"]
    placed = {name: _written(at) for name, at in week.placed_at.items()}
    return template.substitute(placed, start=_written(week.start_at), rows=", ".join(f'"{row}"' for row in memory))


def kitchen_drafts(week: Story) -> list[Draft]:
    """Return the demo kitchen as the events that bring it into an empty journal."""
    described = read_kitchen(kitchen_text(week))
    assert isinstance(described, KitchenFile), described
    found = changes(Kitchen(), described, week.start_at)
    return [*found.drafts, *cooked_and_cooled(week)]

"""The console command `curevigil`. Sub-commands are registered here, or found by entry point where they stand above."""

from importlib.metadata import EntryPoint, entry_points

import click

from api.apply_command import apply
from api.brine_command import brine
from api.call_test_command import call_test
from api.check_command import check
from api.drill_command import drill
from api.explain_command import explain
from api.judge_command import judge
from api.lag_command import lag
from api.mind_command import mind
from api.plan_command import plan
from api.read_command import read
from api.replay_command import replay
from api.rulebook_command import rulebook
from api.run_command import run
from api.salt_command import salt

COMMANDS = "curevigil.commands"
"""The entry-point group of commands that this package may not import (the simulators stand above it)."""


class Console(click.Group):
    """A group that also holds what is installed under COMMANDS, loaded only when it is called for."""

    def _found(self) -> dict[str, EntryPoint]:
        return {point.name: point for point in entry_points(group=COMMANDS)}

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted({*super().list_commands(ctx), *self._found()})

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        own = super().get_command(ctx, cmd_name)
        point = self._found().get(cmd_name)
        if own is not None or point is None:
            return own
        loaded = point.load()
        if not isinstance(loaded, click.Command):
            raise TypeError(f"the entry point {cmd_name} is no command: {point.value}")
        return loaded


@click.group(cls=Console, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="curevigil", prog_name="curevigil", message="%(prog)s %(version)s")
def main() -> None:
    """Watch the cold rooms where meat cures in salt, and give the evidence for each batch.

    What Curevigil says are estimates. Local rules and a responsible or licensed person come first.
    """


for command in (
    apply, brine, call_test, check, drill, explain, judge, lag, mind, plan, read, replay, rulebook, run, salt,
):  # fmt: skip
    main.add_command(command)

"""`curevigil drill`: what it refuses, before anybody is called."""

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from api.check import kitchen_known
from api.cli import main

SETTINGS = """
[broker]
address = "127.0.0.1"
port = 1
[[source]]
topic = "kitchen/#"
format = "senml"
[stores]
folder = "{folder}"
[web]
listen = "127.0.0.1:1"
public_address = "https://curevigil.example"
"""
KITCHEN = """
[site]
id = "harbour"
name = "Harbour kitchen"
zone = "UTC"
authority = "US"
checks = [{checks}]
[[unit]]
id = "cold"
name = "Cold room"
kind = "cold room"
[[person]]
id = "ana"
name = "Ana"
roles = ["admin", "approver"]
[[rota]]
person = "ana"
after_minutes = 0
"""
Held = Callable[..., str]


@pytest.fixture
def held(tmp_path: Path) -> Held:
    """`held("--unit", "attic", checks='"00:00", "23:59"')`: what the command says while it holds no drill."""

    def call(*words: str, checks: str = '"00:00", "23:59"') -> str:
        (tmp_path / "curevigil.toml").write_text(SETTINGS.format(folder=tmp_path / "data"))
        if checks:
            (tmp_path / "kitchen.toml").write_text(KITCHEN.format(checks=checks))
            applied = CliRunner().invoke(
                main, ["apply", str(tmp_path / "kitchen.toml"), "--data", str(tmp_path / "data")]
            )
            assert applied.exit_code == 0, applied.output
        found = CliRunner().invoke(main, ["drill", "--config", str(tmp_path / "curevigil.toml"), *words])
        assert found.exit_code == 1, found.output
        assert isinstance(found.exception, SystemExit), found.exc_info
        assert not kitchen_known(tmp_path / "data", time.time()).drills
        return found.output

    return call


def test_a_unit_that_is_not_there_is_refused_with_those_that_are(held: Held) -> None:
    assert "no unit attic is in service; name one of: cold" in held("--unit", "attic")


def test_outside_opening_hours_it_is_refused_with_them(held: Held) -> None:
    later = [datetime.now(UTC) + timedelta(hours=hours) for hours in (3, 5)]
    first, last = sorted(f"{one:%H:%M}" for one in later)
    if first > f"{datetime.now(UTC):%H:%M}" or last < f"{datetime.now(UTC):%H:%M}":
        said = held(checks=f'"{first}", "{last}"')
        assert f"no drill: it is outside opening hours ({first} to {last})" in said
    else:
        # Between them lies midnight: then it is between the two in the other order.
        assert "the pages do not answer" in held(checks=f'"{first}", "{last}"')


def test_without_a_kitchen_or_its_service_it_is_refused(held: Held) -> None:
    assert "yet: start the service first" in held(checks="")
    assert "no drill: the pages do not answer" in held()

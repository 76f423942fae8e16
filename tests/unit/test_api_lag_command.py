"""`curevigil lag`: what it says of a record of air and core, and what it refuses."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from alerts.science.heat import product_temperature
from api.cli import main

KITCHEN = Path(__file__).resolve().parents[2] / "deploy" / "kitchen.example.toml"
START = 1_790_000_000.0
HOUR = 3600.0
AIR, CORE = "probe/air", "probe/core"


def written(folder: Path, hours: float = 48.0, swing_k: float = 3.0, fault: float | None = None) -> Path:
    """Write a record of air and core, five minutes apart, in a file of readings."""
    times = np.arange(0.0, hours * HOUR, 300.0)
    air = 4.0 + swing_k * np.sin(times / (2.5 * HOUR))
    core = product_temperature(times, air, 5 * HOUR, 6.0)
    if fault is not None:
        core[100] = fault
    lines = [
        json.dumps({"channel": channel, "value": round(float(value), 3), "measured_at": at, "received_at": at})
        for at, *both in zip((START + times).tolist(), air, core, strict=True)
        for channel, value in zip((AIR, CORE), both, strict=True)
    ]
    path = folder / "readings.jsonl"
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def lag(readings: Path, *more: str) -> Result:
    words = ["lag", "--kitchen", str(KITCHEN), "--readings", str(readings), "--air", AIR, "--core", CORE, *more]
    return CliRunner().invoke(main, words, prog_name="curevigil")


def test_a_record_gives_its_time_constant_its_span_and_what_to_write_in_the_plan(tmp_path: Path) -> None:
    found = lag(written(tmp_path))
    assert found.exit_code == 0, found.output
    assert "time constant 5.0 h, likely 4.3 to 5.8 h, from 576 core readings" in found.output
    assert "tau_hours = 5.0" in found.output
    assert "An estimate only" in found.output


def test_a_probe_that_says_nonsense_once_changes_nothing(tmp_path: Path) -> None:
    assert "time constant 5.0 h" in lag(written(tmp_path, fault=85.0)).output


@pytest.mark.parametrize(
    ("hours", "swing_k", "more", "why"),
    [
        (48.0, 0.5, (), "the air moved by"),
        (12.0, 3.0, (), "of record for a time constant near"),
        (48.0, 3.0, ("--until", str(START + HOUR)), "readings of core and air at the same time"),
        (48.0, 3.0, ("--from", "2030-01-01T00:00:00Z"), "no trusted reading"),
        (48.0, 3.0, ("--from", "yesterday"), "the time"),
        (48.0, 3.0, ("--noise", "0"), "above zero"),
    ],
)
def test_a_record_that_cannot_carry_an_answer_is_refused_with_the_reason(
    tmp_path: Path, hours: float, swing_k: float, more: tuple[str, ...], why: str
) -> None:
    found = lag(written(tmp_path, hours, swing_k), *more)
    assert found.exit_code != 0
    assert why in found.output

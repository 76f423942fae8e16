"""The kitchen file: what it becomes, and what is refused with key, line and mend. More refusals: test_bad_inputs."""

import tomllib
from datetime import UTC, datetime
from pathlib import Path

import pytest

from collector.batches import HandReading, Method, Packing, Placement, Route, Stage, Where
from collector.kitchen_file import KitchenFile, read_kitchen
from collector.kitchen_tables import KitchenTables
from collector.readings import Quantity, Site
from collector.rota import DAYS, RotaStep
from collector.toml_faults import Fault, keys_of, model_at
from collector.toml_lines import Place, lines_of

EXAMPLE = (Path(__file__).resolve().parents[2] / "deploy" / "kitchen.example.toml").read_text(encoding="utf-8")
STARTED = datetime(2026, 11, 20, 10, 30, tzinfo=UTC).timestamp()


def read(text: str) -> KitchenFile:
    found = read_kitchen(text)
    assert isinstance(found, KitchenFile), [str(fault) for fault in found]
    return found


def faults(text: str) -> list[Fault]:
    found = read_kitchen(text)
    assert not isinstance(found, KitchenFile)
    return list(found)


def test_the_example_becomes_a_kitchen() -> None:
    kitchen = read(EXAMPLE)
    assert kitchen.site == Site("harrow-lane", "Harrow Lane Kitchen", "Europe/London", "US", "variance 2026-014")
    (unit,) = kitchen.units
    assert (unit.id, unit.site, unit.limit_c, unit.air_dwell_s, unit.warm_up_s) == (
        "coldroom", "harrow-lane", 4.5, 2700.0, None,
    )  # fmt: skip
    (channel,) = kitchen.assignments
    assert (channel.quantity, channel.offset_c, channel.until_at) == (Quantity.AIR_TEMPERATURE, -0.2, None)
    assert kitchen.rota == (RotaStep("tomas", 0.0), RotaStep("ines", 600.0, "21:00", "07:00", DAYS))
    assert kitchen.confirmed == ()


def test_a_batch_keeps_spans_in_seconds_and_what_was_not_entered_apart_from_zero() -> None:
    (batch,) = read(EXAMPLE.replace("brine_c = 3.8", "")).batches
    assert (batch.started_at, batch.stage, batch.ended_at) == (STARTED, Stage.CURE, None)
    assert (batch.plan.cure_s, batch.plan.tau_s) == (432_000.0, None)
    assert (batch.plan.method, batch.plan.packing, batch.plan.route) == (
        Method.IMMERSION, Packing.UNDER_BRINE, Route.COOKED,
    )  # fmt: skip
    assert (batch.as_made.brine_c, batch.as_made.meat_c) == (None, 3.1)
    assert batch.placements[1] == Placement("1", None, STARTED + 167_400.0, STARTED + 169_800.0, 22.0)
    assert batch.hand_readings == (
        HandReading(STARTED + 167_700.0, "temperature", 3.4, Where.BRINE, "hand probe 1", "BRISKET-14", None, "1"),
    )
    assert batch.measured_by == ("tomas",)


def test_every_key_of_every_table_stands_in_the_example() -> None:
    written = {line.removeprefix("# ").split(" = ")[0] for line in EXAMPLE.splitlines() if " = " in line}
    tables: list[Place] = [(), ("site",), ("unit",), ("channel",), ("person",), ("rota",), ("confirmed",), ("batch",)]
    tables += [("batch", name) for name in ("plan", "as_made", "placement", "hand_reading")]
    lacking = {}
    for place in tables:
        model = model_at(KitchenTables, place)
        assert model is not None
        keys = [key for key in keys_of(model) if model_at(model, (key,)) is None]
        lacking[place] = [key for key in keys if key not in written]
    assert {place: keys for place, keys in lacking.items() if keys} == {}


def test_every_key_that_the_example_only_shows_in_a_comment_is_read() -> None:
    shown = [line for line in EXAMPLE.splitlines() if line.startswith("# ") and " = " in line]
    assert len(shown) == 21
    text = EXAMPLE
    for line in shown:
        text = text.replace(line, line.removeprefix("# "))
    kitchen = read(text)
    assert kitchen.units[0].warm_up_s == 9000.0
    assert (kitchen.assignments[0].lot, kitchen.assignments[0].tub) == ("BRISKET-14", "1")
    assert (kitchen.batches[0].ended_reason, kitchen.batches[0].plan.tau_s) == ("cooked", 18_000.0)


def test_no_key_may_be_misspelt_anywhere() -> None:
    lines = EXAMPLE.splitlines()
    for number, line in enumerate(lines):
        if " = " in line and not line.startswith("#"):
            key = line.split(" = ")[0]
            wrong = "\n".join([*lines[:number], line.replace(key, f"{key}s", 1), *lines[number + 1 :]])
            found = faults(wrong)
            assert (number + 1, f"did you mean {key}?") in [(fault.line, fault.mend) for fault in found], line


REQUIRED = [
    "zone", "authority", "kind", "quantity", "place", "roles", "after_minutes", "document", "started", "meat", "cut",
    "method", "packing", "route", "cure_days", "thickness_mm", "meat_kg", "measure", "value", "where", "probe",
]  # fmt: skip


@pytest.mark.parametrize("key", REQUIRED)
def test_what_has_no_default_is_asked_for_with_the_line_of_its_table(key: str) -> None:
    lines = EXAMPLE.splitlines()
    number = next(n for n, line in enumerate(lines) if line.startswith(f"{key} = "))
    (fault,) = faults("\n".join([*lines[:number], *lines[number + 1 :]]))
    header = max(n for n in range(number) if lines[n].startswith("["))
    assert (fault.key.split()[-1], fault.what, fault.line) == (key, "it is missing", header + 1)
    assert fault.mend.startswith("add it: ")


def test_all_faults_come_at_once() -> None:
    text = EXAMPLE
    for before, after in [
        ('zone = "Europe/London"', 'zone = "London"'),
        ('id = "coldroom" ', 'id = "cold room"'),
        ('"operator", "approver"', '"boss", "approver"'),
        ("cure_days = 5.0", 'cure_days = "5"'),
        ("+00:00  # when the meat", "  # when the meat"),
    ]:
        assert before in text
        text = text.replace(before, after, 1)
    assert [fault.key for fault in faults(text)] == [
        "site zone",
        "unit 1 id",
        "person 1 roles 1",
        "batch 1 started",
        "batch 1 plan cure_days",
    ]


def placed(text: str, place: Place, values: object) -> None:
    """Check that every value of a TOML text has a line, and that its key stands there."""
    lines = lines_of(text)
    if place:
        assert str([p for p in place if isinstance(p, str)][-1]) in text.splitlines()[lines[place] - 1] or isinstance(
            place[-1], int
        )
    if isinstance(values, dict):
        for key, value in values.items():
            placed(text, (*place, key), value)
    elif isinstance(values, list):
        for index, value in enumerate(values):
            placed(text, (*place, index), value)


@pytest.mark.parametrize(
    "text",
    [
        EXAMPLE,
        "a.b.c = 1\n'd' = 2\n[x.\"y z\"]\nk = '''\n[[no]]\n'''\nl = [\n 1, # [[no]]\n [2, 3],\n]\n",
        'a = { b = 1, c = { d = "}" } }\n[[t]]\n[[t.u]]\nx = 1\n',
        '[[t]]\n[[t.u]]\nx = "\\"]"\n[[t.u]]\nx = 2\n[[t]]\n[t.v]\ny = """ ""\\""" """\n',
        "s = 'it''' \n".replace("'''", "'") + 'd = 1979-05-27T07:32:00Z # "\ne = [ "a]", \'b"\' ]\n',
        '"a.b" = 1\n["c.d".e]\nf = -inf\n',
    ],
)
def test_every_key_of_a_toml_text_is_found_on_its_line(text: str) -> None:
    placed(text, (), tomllib.loads(text))

"""Batches judged again from a data folder: the same inputs, the same words; another rulebook, what would differ."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from alerts.rulebook.shelf import load
from api.cli import main
from collector import events as e
from collector.batches import AsMade, Method, Packing, Placement, Plan, Route
from collector.present import Present
from collector.readings import Assignment, Quantity, Reading, Site, Unit
from collector.sample import Message
from collector.storage import Arrival
from collector.stores_sqlite import open_stores

HOUR, START = 3600.0, 1_760_000_400.0
PLAN = Plan(
    "Brisket", "beef", "brisket", Method.IMMERSION, Packing.UNDER_BRINE, Route.COOKED, 5 * 86_400.0, 55.0, 3.0,
    water_kg=3.0, salt_kg=0.3, tau_s=6 * HOUR,
)  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A data folder with a batch that stood at 4.5 °C for two days, and one that ended before."""
    stores = open_stores(tmp_path / "data")
    made = AsMade(3.0, 3.0, 0.3, brine_c=4.5, meat_c=4.4)
    events: list[e.Event] = [
        e.SiteDescribed(Site("s", "Site", "Europe/London", "US")),
        e.UnitDescribed(Unit("room", "s", "Room", "cold room")),
        e.ChannelAssigned(Assignment("air", Quantity.AIR_TEMPERATURE, "room", "wall", START - HOUR)),
        e.BatchStarted("B1", PLAN, made, (Placement("1", "room", START),)),
        e.BatchStarted("B2", PLAN, made, (Placement("2", "room", START),)),
        e.BatchEnded("B2", START + 20 * HOUR, "cooked and eaten"),
    ]
    Present(stores.journal, lambda: START).decide(lambda kitchen: [e.Draft(START, "kim", event) for event in events])
    times = [START + 300.0 * n for n in range(-3, 576)]
    stores.readings.append(
        [Arrival(Message("air", b"x", at), (Reading("air", at, 4.5, "Cel", at, at),)) for at in times]
    )
    stores.close()
    return tmp_path / "data"


def run(folder: Path, *more: str) -> tuple[int, str]:
    ran = CliRunner().invoke(main, ["judge", "--data", str(folder), *more])
    return ran.exit_code, ran.output


def test_the_same_inputs_give_the_same_words(folder: Path) -> None:
    first, again = run(folder), run(folder)
    assert first == again
    assert first[0] == 0
    assert "2 batches, as recorded: 2 the same, 0 differ" in first[1]


def test_a_stricter_rulebook_says_which_batches_would_come_out_otherwise(folder: Path, tmp_path: Path) -> None:
    shipped = Path("alerts/rulebook/us.toml").read_text(encoding="utf-8")
    stricter = shipped.replace('id = "cold.limit"\nvalue = 5.0', 'id = "cold.limit"\nvalue = 4.0', 1)
    assert stricter != shipped
    file = tmp_path / "stricter.toml"
    file.write_text(stricter, encoding="utf-8")
    code, said = run(folder, "--rulebook", str(file))
    assert code == 0
    assert "B1: differs" in said and "B2: differs" in said
    assert "disposition: continue -> hold" in said
    assert "2 batches, by US" in said and "0 the same, 2 differ" in said
    assert "1 batches" in run(folder, "B1", "--rulebook", str(file))[1]


def test_the_same_rulebook_by_its_name_differs_in_nothing(folder: Path) -> None:
    assert f"by {load('US').name}: 2 the same, 0 differ" in run(folder, "--rulebook", "US")[1]


@pytest.mark.parametrize(
    ("more", "words"),
    [(("NO-1",), "knows: B1, B2"), (("--rulebook", "MARS"), "MARS"), (("--rulebook", "no-such.toml"), "no-such.toml")],
)
def test_what_is_not_there_is_said(folder: Path, more: tuple[str, ...], words: str) -> None:
    code, said = run(folder, *more)
    assert code != 0
    assert words in said

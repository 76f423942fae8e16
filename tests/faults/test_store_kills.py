"""The bare stores killed at random moments: whatever was said to be kept is there afterwards, whole and once."""

import random
import subprocess
import sys
from pathlib import Path

import pytest

from collector.readings import Reading
from collector.sample import Message
from collector.storage import Arrival
from collector.stores_sqlite import Stores, open_stores

KILLS, KILLS_LONG = 10, 200

CHILD = """
import sys
from pathlib import Path
from collector.events import Draft, ItemSetAside
from collector.readings import Reading
from collector.sample import Message
from collector.storage import Arrival
from collector.stores_sqlite import open_stores

stores = open_stores(Path(sys.argv[1]), journal_mode=sys.argv[2], ballast_bytes=4096)
while True:
    head = stores.readings.head()
    group = []
    for number in range(head + 1, head + 1 + 1 + head % 5):
        at = float(number)
        reading = Reading(f"c{number % 3}", at, number / 16, "Cel", at, at, f"boot:{number}")
        group.append(Arrival(Message(f"t{number % 7}", str(number).encode() * (number % 50 + 1), at), (reading,)))
    print("readings", stores.readings.append(group), flush=True)
    seen = stores.journal.head()
    entries = stores.journal.append(
        [Draft(float(seen), "watch", ItemSetAside(str(seen + 1), "x"))],
        seen=seen, recorded_at=float(seen), cursors={"watch": head},
    )
    print("journal", entries[-1].position, flush=True)
    if head % 40 > 34:
        stores.readings.trim(float(head - 60), head)
"""


def run_and_kill(folder: Path, mode: str, acknowledged: int) -> dict[str, int]:
    """Run the child until it has acknowledged so many appends, kill it, and return the last position of each store."""
    command = [sys.executable, "-c", CHILD, str(folder), mode]
    child = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert child.stdout is not None
    last: dict[str, int] = {}
    lines = 0
    for line in child.stdout:
        store, _, position = line.partition(" ")
        # A line that the kill cut short acknowledged nothing.
        if not line.endswith("\n"):
            break
        last[store] = int(position)
        lines += 1
        if lines == acknowledged:
            child.kill()
    _, said = child.communicate(timeout=30)
    assert lines >= acknowledged, said
    return last


def assert_whole(stores: Stores, last: dict[str, int]) -> None:
    head = stores.readings.head()
    assert head >= last["readings"]
    assert stores.journal.head() >= last["journal"]
    kept = stores.readings.arrivals(0, head)
    assert [a.position for a in kept] == list(range(head - len(kept) + 1, head + 1))
    for number, arrival in ((a.position, a) for a in kept):
        at = float(number)
        reading = Reading(f"c{number % 3}", at, number / 16, "Cel", at, at, f"boot:{number}")
        message = Message(f"t{number % 7}", str(number).encode() * (number % 50 + 1), at)
        assert arrival == Arrival(message, (reading,), number)
    archived = [stores.readings.series(f"c{i}", 0.0, 1e9).measured_at.tolist() for i in range(3)]
    assert sorted(at for channel in archived for at in channel) == [float(n) for n in range(1, head + 1)]
    entries = stores.journal.read(0, stores.journal.head())
    assert [e.event.item for e in entries if hasattr(e.event, "item")] == [str(i + 1) for i in range(len(entries))]
    assert stores.journal.cursor("watch") <= head


@pytest.mark.parametrize("mode", ["wal", "truncate"])
def test_what_the_stores_acknowledged_survives_being_killed(
    tmp_path: Path, seed: int, long_form: bool, mode: str
) -> None:
    dice = random.Random(seed)
    for _ in range(KILLS_LONG if long_form else KILLS):
        last = run_and_kill(tmp_path, mode, dice.randrange(2, 120))
        stores = open_stores(tmp_path, journal_mode=mode, ballast_bytes=4096)
        assert_whole(stores, last)
        stores.close()

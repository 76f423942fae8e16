"""What the SQLite readings do beyond the contract: their size on disk, slow readers, forgetting, refusing to write."""

import random
import threading
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from collector import names_sqlite
from collector.readings import Reading
from collector.readings_sqlite import PAGE, SqliteReadings
from collector.sample import Message, Refusal
from collector.sqlite import driver
from collector.storage import Arrival, StoreFailed

NOON = 1_767_268_800.0
DAY_S = 86_400.0


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "readings.sqlite"


@pytest.fixture
def readings(path: Path) -> Iterator[SqliteReadings]:
    store = SqliteReadings(path)
    yield store
    store.close()


def one(i: int, *, channel: str = "probe", sequence: str | None = None, payload: bytes = b"x" * 120) -> Arrival:
    at = NOON + 60 * i
    reading = Reading(channel, at, 4 + i % 7 / 16, "Cel", at + 0.8, at, sequence)
    return Arrival(Message(f"kitchen/{channel}", payload, at + 0.8), (reading,))


def count(path: Path, table: str) -> int:
    with closing(driver.connect(str(path))) as connection:
        return int(connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0])


def bytes_used(path: Path) -> int:
    with closing(driver.connect(str(path))) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        page, pages, free = (
            connection.execute(f"PRAGMA {name}").fetchone()[0] for name in ("page_size", "page_count", "freelist_count")
        )
    return int(page * (pages - free))


@pytest.mark.parametrize(("digits", "budget"), [(4, 27), (12, 32)])
def test_a_reading_and_a_message_stay_within_their_bytes(
    readings: SqliteReadings, path: Path, digits: int, budget: int
) -> None:
    # Budgets of the design: 32 bytes a reading in the archive, 24 a message beside its payload in the log.
    dice, minutes, sensors = random.Random(1), 3 * 1440, 20
    payload = 0
    for minute in range(minutes):
        arrivals = []
        for sensor in range(sensors):
            at = round(NOON + 60 * minute + sensor * 0.7 + dice.random(), 3)
            received_at = round(at + dice.uniform(0.05, 2.5), 3)
            value = round(dice.gauss(4, 1.5) * 16) / 16 if digits == 4 else dice.gauss(4, 1.5)
            reading = Reading(f"urn:dev:mac:0024befffe80{sensor:04x}:t", at, value, "Cel", received_at, at)
            message = Message(f"kitchen/room/{sensor}", bytes(dice.randrange(40, 200)), received_at)
            arrivals.append(Arrival(message, (reading,)))
            payload += len(message.payload)
        readings.append(arrivals)
    whole = bytes_used(path)
    with closing(driver.connect(str(path))) as connection:
        connection.execute("DELETE FROM arrivals")
        connection.commit()
    archive = bytes_used(path)
    number = minutes * sensors
    assert archive / number <= budget
    assert (whole - archive - payload) / number <= 24


def commit_a_thousand(readings: SqliteReadings, path: Path, channel: str) -> int:
    """Return the largest size that the write-ahead log had meanwhile."""
    bytes_used(path)
    log, largest = path.with_name(f"{path.name}-wal"), 0
    for i in range(1000):
        readings.append([one(i, channel=channel)])
        largest = max(largest, log.stat().st_size)
    return largest


def test_a_reader_that_pauses_between_its_pages_holds_no_commit_back_and_no_log(path: Path) -> None:
    readings = SqliteReadings(path, journal_mode="wal")
    readings.append([one(i) for i in range(2 * PAGE + 10)])
    pages = readings.series_pages("probe", 0.0, 1e12)
    first = next(pages)
    paused = commit_a_thousand(readings, path, "second")
    rest = list(pages)
    assert [len(first), *map(len, rest)] == [PAGE, PAGE, 10]
    assert readings.head() == 2 * PAGE + 1010
    # What the pauses are for: a reader that stays in its transaction lets the log grow as long as it stays.
    with closing(driver.connect(str(path), isolation_level=None)) as other:
        other.execute("BEGIN")
        other.execute("SELECT count(*) FROM units").fetchall()
        held = commit_a_thousand(readings, path, "third")
    assert paused < 5 * 1024 * 1024 < held
    readings.close()


def test_an_export_in_pages_sees_each_message_once_while_others_commit(readings: SqliteReadings) -> None:
    readings.append([one(i) for i in range(500)])
    done = threading.Event()

    def intake() -> None:
        for i in range(500, 1500):
            readings.append([one(i)])
        done.set()

    thread = threading.Thread(target=intake)
    thread.start()
    seen: list[int] = []
    while not (done.is_set() and seen and seen[-1] == readings.head()):
        seen += [a.position for a in readings.arrivals(seen[-1] if seen else 0, 50)]
    thread.join()
    assert seen == list(range(1, 1501))


def test_a_message_that_cannot_be_kept_leaves_nothing_of_its_group(readings: SqliteReadings, path: Path) -> None:
    bad = Arrival(Message("t", b"", NOON), (Reading("new", NOON, float("nan"), "Cel", NOON),))
    with pytest.raises(ValueError, match="new: nan is no measurement"):
        readings.append([one(0, channel="also new"), bad])
    assert (readings.head(), readings.channels()) == (0, [])
    assert [count(path, table) for table in ("archive", "series", "origins", "units", "eras")] == [0] * 5
    readings.append([one(0, channel="also new"), one(1, channel="new")])
    assert [c.channel for c in readings.channels()] == ["also new", "new"]


def test_names_learned_in_a_commit_that_failed_are_learned_again(
    readings: SqliteReadings, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("collector.sqlite.BUSY_S", 0.05)
    slow = SqliteReadings(path.with_name("slow.sqlite"), journal_mode="truncate")
    slow.append([one(0)])
    with closing(driver.connect(str(path.with_name("slow.sqlite")), isolation_level=None)) as other:
        # A reader lets the writer prepare its transaction, and refuses it the commit.
        other.execute("BEGIN")
        other.execute("SELECT * FROM series").fetchall()
        with pytest.raises(StoreFailed, match="locked"):
            slow.append([one(0, channel="second"), Arrival(Message("t", b"", NOON), Refusal("code", "reason"))])
        other.execute("ROLLBACK")
    slow.append([one(0, channel="third"), one(0, channel="second")])
    assert [c.channel for c in slow.channels()] == ["probe", "second", "third"]
    assert [a.message.topic for a in slow.arrivals(1, 10)] == ["kitchen/third", "kitchen/second"]
    slow.close()


def test_sequences_boots_reasons_and_eras_go_with_the_messages_that_named_them(
    readings: SqliteReadings, path: Path
) -> None:
    for day in range(4):
        first = day * 1440
        readings.append([Arrival(Message("t", b"", NOON + day * DAY_S), Refusal("code", f"day {day}"))])
        readings.append([one(first + i, sequence=f"boot{day}:{i}") for i in range(5)])
    tables = ("sequences", "boots", "reasons", "refused", "eras", "arrivals", "archive")
    assert [count(path, table) for table in tables] == [20, 4, 4, 4, 4, 24, 20]
    assert readings.trim(NOON + 2 * DAY_S, 24) == 12
    assert [count(path, table) for table in tables] == [10, 2, 2, 2, 2, 12, 20]
    assert readings.trim(NOON + 9 * DAY_S, 24) == 12
    assert [count(path, table) for table in tables] == [0, 0, 0, 0, 1, 0, 20]
    readings.append([one(9000, sequence="boot3:0")])
    (last,) = readings.arrivals(24, 10)
    assert last == Arrival(one(9000).message, one(9000, sequence="boot3:0").outcome, 25)


def test_times_of_receipt_survive_a_clock_that_jumps(readings: SqliteReadings) -> None:
    times = [NOON, NOON + 8388.607, NOON + 8388.608, NOON - 9000.0, 0.0, 2e9, NOON + 0.001, NOON]
    readings.append([Arrival(Message("t", b"", at), ()) for at in times])
    assert [a.message.received_at for a in readings.arrivals(0, 10)] == times


def test_a_topic_of_endless_variety_gets_no_endless_list_of_origins(
    readings: SqliteReadings, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(names_sqlite, "ORIGINS_OF_A_TOPIC_MAX", 5)
    given = [
        Arrival(Message("gateway", b"", NOON), (Reading(f"c{i}", NOON - i, 1.0, "Cel", NOON, NOON - i),))
        for i in range(20)
    ]
    readings.append(given)
    assert count(path, "origins") <= 6
    assert [a.outcome for a in readings.arrivals(0, 100)] == [a.outcome for a in given]


def test_many_names_are_forgotten_and_learned_again(readings: SqliteReadings, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(names_sqlite, "REMEMBERED_MAX", 7)
    given = [one(i, channel=f"c{i % 9}", sequence=f"b{i % 4}:{i}") for i in range(50)]
    readings.append(given)
    assert [a.outcome for a in readings.arrivals(0, 100)] == [a.outcome for a in given]


def test_half_a_character_in_a_reason_does_not_stop_the_message_from_being_kept(readings: SqliteReadings) -> None:
    readings.append([Arrival(Message("t", b'"\\ud800"', NOON), Refusal("odd", "found \ud800 in it"))])
    (kept,) = readings.refused(0, 10)
    assert kept.outcome == Refusal("odd", "found \\ud800 in it")


def test_a_second_process_reads_and_does_not_write(readings: SqliteReadings, path: Path) -> None:
    readings.append([one(0)])
    beside = SqliteReadings(path, read_only=True)
    assert beside.head() == 1
    with pytest.raises(StoreFailed, match="written by the service alone"):
        beside.append([one(1)])
    with pytest.raises(StoreFailed, match="written by the service alone"):
        beside.trim(NOON + 9 * DAY_S, 1)
    readings.append([one(1)])
    assert beside.head() == 2
    beside.close()


def test_intake_stops_before_it_takes_the_room_kept_for_the_journal(path: Path) -> None:
    greedy = SqliteReadings(path, leave_free=2**62)
    with pytest.raises(StoreFailed, match="make room, and readings are taken again"):
        greedy.append([one(0)])
    assert greedy.head() == 0
    greedy.close()

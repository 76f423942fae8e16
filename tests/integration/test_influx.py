"""The copy in InfluxDB beside the local store, on a real server: outage, kill, wrong token, bad lines, preparation."""

import math
import random
import re
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from alerts.service import CURSOR
from api.cli import main
from api.works import Works
from collector.archived import compared
from collector.broker import Broker
from collector.feeder import CURSORS, SET_ASIDE, Feeder
from collector.health import Health
from collector.line_protocol import AccessRefused, Line, LinesRefused
from collector.prepare_influx import prepare, summarise, version
from collector.readings import Reading
from collector.readings_influx import InfluxArchive
from collector.sample import Message, Quality
from collector.storage import Arrival, MemoryReadings, MemoryWorking, Readings, StoreFailed

if TYPE_CHECKING:
    from simulators.influx_server import InfluxServer

NOON = 1_767_268_800.0
"""2026-01-01T12:00:00Z."""
DAY_S = 86_400.0


@dataclass
class Site:
    """A local store, its archive in InfluxDB, and the feeder between them, on a clock that is set."""

    archive: InfluxArchive
    at: float = NOON
    group: int = 1_000
    local: MemoryReadings = field(default_factory=MemoryReadings)
    working: MemoryWorking = field(default_factory=MemoryWorking)
    health: Health = field(default_factory=Health)

    def __post_init__(self) -> None:
        self.feeder = Feeder(self.local, self.archive, self.working, self.health, lambda: self.at, self.group)

    def arrive(self, *readings: Reading) -> None:
        self.local.append([Arrival(Message("kitchen/room", b"payload", self.at), readings)])

    def catch_up(self) -> int:
        """Step until everything is copied; return how many steps that took."""
        steps = 0
        while self.feeder.cursor < self.local.head():
            self.at += self.feeder.step()
            steps += 1
            assert steps < 500, self.sentence
        return steps

    @property
    def state(self) -> str:
        part = self.health.part("influx")
        assert part is not None
        return part.state.value

    @property
    def sentence(self) -> str:
        part = self.health.part("influx")
        return part.sentence if part is not None else ""

    @property
    def numbers(self) -> dict[str, float]:
        part = self.health.part("influx")
        assert part is not None
        return dict(part.numbers)


@pytest.fixture(params=["influx", "influx2"])
def site(request: pytest.FixtureRequest) -> Iterator[Site]:
    """A site with its archive on each line of InfluxDB that is there."""
    server: InfluxServer = request.getfixturevalue(request.param)
    archive = server.archive(f"site_{abs(hash(request.node.nodeid))}")
    yield Site(archive)
    archive.close()


def read(value: float, at: float, channel: str = "probe", received_at: float | None = None) -> Reading:
    return Reading(channel, round(at, 3), value, "Cel", round(received_at or at + 0.3, 3), round(at, 3))


def counted(readings: Readings | InfluxArchive) -> dict[str, list[tuple[float, ...]]]:
    """Return every reading of every channel, as a store has it."""
    found = {}
    for seen in readings.channels():
        series = readings.series(seen.channel, -math.inf, math.inf)
        columns = (series.measured_at, series.values, series.quality, series.received_at)
        found[seen.channel] = [tuple(map(float, row)) for row in zip(*columns, strict=True)]
    return found


def same(site: Site) -> int:
    """Compare both archives reading by reading; return how many there are."""
    ours, theirs = counted(site.local), counted(site.archive)
    assert {name: len(rows) for name, rows in theirs.items()} == {name: len(rows) for name, rows in ours.items()}
    assert theirs == ours
    return sum(len(rows) for rows in ours.values())


def test_after_an_outage_of_two_days_both_archives_hold_the_same_readings(own_influx: "InfluxServer") -> None:
    site = Site(own_influx.archive("outage"), group=100)
    minutes = range(0, 2 * 24 * 60 + 60)
    tries = 0
    due_at = NOON
    for minute in minutes:
        site.at = NOON + 60.0 * minute
        site.arrive(*(read(4.0 + minute % 7 / 16, site.at, f"room {n}") for n in range(5)))
        if minute == 30:
            own_influx.kill()
        if site.at >= due_at:
            due_at = site.at + site.feeder.step()
            tries += 30 < minute
    assert site.state == "doubtful"
    assert "nothing is lost by that" in site.sentence
    assert len(minutes) - 31 <= site.numbers["behind"] <= len(minutes)
    # Once a minute at most, for two days: nothing gave up, and nothing hammered.
    assert 2_000 < tries <= len(minutes)
    own_influx.start()
    site.catch_up()
    assert same(site) == 5 * len(minutes)
    assert site.state == "works"
    assert site.numbers["behind"] == 0


def test_a_server_killed_in_the_middle_of_writing_ends_up_with_every_reading_once(
    own_influx: "InfluxServer", seed: int
) -> None:
    dice = random.Random(seed)
    site = Site(own_influx.archive("killed"), group=100)
    for minute in range(6_000):
        site.arrive(*(read(dice.uniform(-2, 9), NOON + 60.0 * minute, f"room {n}") for n in range(5)))
    kills, broken = 0, 0
    while broken < 3:
        assert kills < 30, "no write was ever hit"
        killer = threading.Timer(dice.uniform(0.0, 0.02), own_influx.kill)
        killer.start()
        while site.feeder.step() == 0.0 and site.feeder.cursor < site.local.head() - 1_000:
            pass
        killer.join()
        kills += 1
        broken += site.state == "doubtful"
        own_influx.start()
    site.catch_up()
    assert same(site) == 30_000
    assert site.numbers["set_aside"] == 0


def test_late_repeated_and_conflicting_readings_are_the_same_in_both_archives(site: Site, seed: int) -> None:
    dice = random.Random(seed)
    sent: list[Reading] = []
    for turn in range(600):
        site.at = NOON + 10.0 * turn
        kind = dice.choice(["new", "new", "late", "again", "other value"])
        if kind == "new" or not sent:
            reading = read(dice.uniform(0, 8), site.at, f"room {dice.randrange(3)}")
        elif kind == "late":
            at = site.at - dice.uniform(0, DAY_S)
            reading = read(dice.uniform(0, 8), at, f"room {dice.randrange(3)}", site.at)
        else:
            value = dice.uniform(0, 8) if kind == "other value" else None
            old = dice.choice(sent)
            reading = replace(old, received_at=site.at, value=old.value if value is None else value)
        sent.append(reading)
        site.arrive(reading)
        if dice.random() < 0.2:
            site.feeder.step()
    site.catch_up()
    total = same(site)
    kinds = [int(row[2]) for rows in counted(site.local).values() for row in rows]
    assert kinds.count(Quality.CONFLICT) > 50
    assert total < 600
    # Once more from the first one, as after a lost cursor: nothing is added and nothing is changed.
    site.working.remove(CURSORS, "influx")
    site.archive = InfluxArchive(site.archive.place)
    site.__post_init__()
    site.catch_up()
    assert same(site) == total


def test_a_wrong_token_is_said_with_its_mend_and_without_itself(site: Site) -> None:
    good, wrong = site.archive.place, "odile:hunter2"
    site.archive = InfluxArchive(replace(good, token=wrong))
    site.__post_init__()
    site.arrive(read(4.0, NOON))
    assert site.feeder.step() == 60.0
    assert site.state == "doubtful"
    assert "mend [influx] token" in site.sentence
    assert "hunter2" not in site.sentence + repr(site.archive.place)
    assert site.feeder.cursor == 0
    site.archive = InfluxArchive(good)
    site.__post_init__()
    site.catch_up()
    assert same(site) == 1


def test_a_user_without_the_right_to_write_is_refused_and_told_what_to_grant(influx: "InfluxServer") -> None:
    site = Site(influx.archive("rights"))
    site.archive.ask("CREATE USER reader WITH PASSWORD 'reads-only'", "POST")
    site.archive.ask(f'GRANT READ ON "{site.archive.place.database}" TO reader', "POST")
    reader = InfluxArchive(influx.place(site.archive.place.database, "reader:reads-only"))
    with pytest.raises(AccessRefused, match="right to read and write"):
        reader.write([Arrival(Message("t", b"", NOON), (read(4.0, NOON),), 1)])
    site.archive.ask(f'GRANT ALL ON "{site.archive.place.database}" TO reader', "POST")
    reader.write([Arrival(Message("t", b"", NOON), (read(4.0, NOON),), 1)])
    assert site.archive.series("probe", NOON, NOON + 1).values.tolist() == [4.0]


@pytest.mark.parametrize("line", ["influx", "influx2"])
def test_a_missing_database_is_said_with_its_mend(line: str, request: pytest.FixtureRequest) -> None:
    server: InfluxServer = request.getfixturevalue(line)
    site = Site(InfluxArchive(server.place("nowhere")))
    site.arrive(read(4.0, NOON))
    site.feeder.step()
    assert "curevigil check --prepare" in site.sentence


class Spoiled:
    """An archive that spoils the lines of some positions, as a fault of ours would."""

    def __init__(self, archive: InfluxArchive, positions: set[int]) -> None:
        self.archive, self.positions, self.calls = archive, positions, 0

    def lines(self, arrivals: Sequence[Arrival]) -> list[Line]:
        lines = self.archive.lines(arrivals)
        return [replace(line, text="reading,channel") if line.position in self.positions else line for line in lines]

    def send(self, lines: Sequence[Line]) -> None:
        self.calls += 1
        self.archive.send(lines)


def test_a_bad_line_is_found_set_aside_and_counted_and_stops_nothing(site: Site) -> None:
    for minute in range(2_000):
        site.arrive(read(4.0, NOON + 60.0 * minute))
    spoiled = Spoiled(site.archive, {17, 500, 501, 1_999})
    site.feeder = Feeder(site.local, spoiled, site.working, site.health, lambda: site.at)
    site.catch_up()
    assert site.archive.series("probe", 0.0, math.inf).values.shape == (1_996,)
    assert site.numbers["set_aside"] == 4
    assert site.state == "doubtful"
    assert "4 readings were refused" in site.sentence
    aside = site.working.all(SET_ASIDE, site.at)
    assert sorted(int(key.partition(":")[0]) for key in aside) == [17, 500, 501, 1_999]
    assert all("parse" in str(kept["reason"]) for kept in aside.values())
    assert spoiled.calls < 100


def test_a_field_of_another_type_is_refused_as_content_and_set_aside(site: Site) -> None:
    site.archive.send([Line(1, 'reading,channel=other,n=0 value="four" 1767268800000')])
    site.arrive(read(4.0, NOON + 1))
    site.catch_up()
    assert site.numbers["set_aside"] == 1
    assert site.numbers["behind"] == 0


@pytest.mark.parametrize("line", ["influx", "influx2"])
def test_what_is_older_than_the_bucket_keeps_is_set_aside_and_kept_here(
    line: str, request: pytest.FixtureRequest
) -> None:
    server: InfluxServer = request.getfixturevalue(line)
    archive = server.archive("short")
    prepare(archive, 30)
    with pytest.raises(LinesRefused, match="retention"):
        archive.write([Arrival(Message("t", b"", 1e9), (read(4.0, 1e9),), 1)])


def test_preparing_twice_makes_the_same_and_the_thinned_copy_counts_every_reading(influx: "InfluxServer") -> None:
    archive = InfluxArchive(influx.place("prepared"))
    assert version(archive) in ("1.x", "1.8.10")
    first = prepare(archive, 0)
    assert prepare(archive, 0) == first
    site = Site(archive)
    for minute in range(240):
        site.arrive(read(float(minute % 30), NOON + 60.0 * minute))
    site.catch_up()
    summarise(archive)
    rows = archive.rows('SELECT * FROM "prepared"."long"."reading_30m"')
    assert [(row["count"], row["mean"], row["min"], row["max"]) for row in rows] == [(30, 14.5, 0.0, 29.0)] * 8
    assert {row["channel"] for row in rows} == {"probe"}
    (kept,) = (row for row in archive.rows('SHOW RETENTION POLICIES ON "prepared"') if row["name"] == "kept")
    assert (kept["duration"], kept["default"]) == ("0s", True)
    prepare(archive, 400)
    (kept,) = (row for row in archive.rows('SHOW RETENTION POLICIES ON "prepared"') if row["name"] == "kept")
    assert kept["duration"] == "9600h0m0s"


def test_the_continuous_query_is_there_and_names_its_reach(influx: "InfluxServer") -> None:
    archive = InfluxArchive(influx.place("continuous"))
    prepare(archive, 0)
    queries = {row["name"]: row["query"] for row in archive.rows("SHOW CONTINUOUS QUERIES") if "query" in row}
    assert "RESAMPLE EVERY 30m FOR 1w" in queries["reading_30m"] or "FOR 7d" in queries["reading_30m"]


def test_a_server_of_2_is_prepared_twice_alike_and_its_task_thins_out_every_reading(
    influx2: "InfluxServer", eventually: Callable[..., None]
) -> None:
    archive = InfluxArchive(influx2.place("prepared"))
    assert version(archive).startswith("2.")
    first = prepare(archive, 0)
    assert prepare(archive, 0) == first
    site = Site(archive)
    # The task looks back from the server's own clock, so these lie within its reach.
    begun_at = time.time() // 1800 * 1800 - 86_400.0
    for minute in range(240):
        site.arrive(read(float(minute % 30), begun_at + 60.0 * minute))
    site.catch_up()
    (task,) = archive.call("GET", "/api/v2/tasks", [("name", "reading_30m prepared/kept")])["tasks"]
    archive.call("POST", f"/api/v2/tasks/{task['id']}/runs", (), {})
    thin = 'SELECT count, mean, min, max FROM "prepared"."long"."reading_30m"'
    eventually(lambda: sum(row["count"] or 0 for row in archive.rows(thin)) == 240, "the task has run")
    rows = archive.rows(thin)
    assert [(row["count"], row["mean"], row["min"], row["max"]) for row in rows] == [(30, 14.5, 0.0, 29.0)] * 8
    prepare(archive, 400)
    (bucket,) = archive.call("GET", "/api/v2/buckets", [("name", "prepared/kept")])["buckets"]
    assert [rule["everySeconds"] for rule in bucket["retentionRules"]] == [400 * 86_400]


def test_a_long_series_is_read_in_pages_without_a_seam(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("collector.readings_influx.PAGE", 7)
    for second in range(50):
        site.arrive(*(read(float(value), NOON + second) for value in range(1 + second % 3)))
    site.catch_up()
    assert same(site) == sum(1 + second % 3 for second in range(50))


def test_the_local_store_that_fails_is_waited_for_too(site: Site) -> None:
    class Failing(MemoryReadings):
        def head(self) -> int:
            raise StoreFailed("the disk does not answer")

    site.feeder = Feeder(Failing(), site.archive, site.working, site.health, lambda: site.at)
    assert [site.feeder.step() for _ in range(8)] == [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 60.0, 60.0]


def test_the_thread_copies_by_itself_and_ends_when_told(site: Site, eventually: Callable[..., None]) -> None:
    site.arrive(read(4.0, NOON))
    site.feeder.start()
    eventually(lambda: site.feeder.cursor == 1, "the reading is copied")
    site.feeder.stop()
    assert same(site) == 1


def test_the_works_feed_it_show_it_and_trim_only_what_is_copied(
    own_influx: "InfluxServer", tmp_path: Path, eventually: Callable[..., None]
) -> None:
    place = own_influx.archive("works").place
    now = NOON + 60 * DAY_S
    nowhere = Broker("127.0.0.1", 9)
    works = Works(*(tmp_path, nowhere, ()), clock=lambda: now, ballast_bytes=0, influx=place, pages_from_influx=True)
    try:
        assert works.feeder is not None
        for minute in range(5):
            at = NOON + 60.0 * minute
            works.readings.append([Arrival(Message("t", b"", at), (read(4.0, at, received_at=at),))])
        works.stores.journal.append([], seen=0, recorded_at=now, cursors={CURSOR: 5})
        own_influx.kill()
        works.feeder.step()
        assert works.trim_log() == 0
        own_influx.start()
        works.feeder.start()
        eventually(lambda: works.feeder is not None and works.feeder.cursor == 5, "everything is copied")
        assert works.shown.series("probe", NOON, now).values.tolist() == [4.0] * 5
        assert compared(works.readings, works.shown) == (5, [])
        assert works.trim_log() == 5
        part = works.health.part("influx")
        assert part is not None
        assert part.state.value == "works"
    finally:
        # Watch and intake were never started, so their stop has nothing to end.
        if works.feeder is not None:
            works.feeder.stop()
        works.stores.close()


def test_a_difference_between_the_archives_is_named_by_its_channel(site: Site) -> None:
    for channel in ("a", "b", "c"):
        site.arrive(read(4.0, NOON, channel))
    site.catch_up()
    assert compared(site.local, site.archive) == (3, [])
    site.archive.send([Line(9, f"reading,channel=b,n=0 value=4.5 {round(NOON * 1000)}")])
    site.archive.write([Arrival(Message("t", b"", NOON), (read(1.0, NOON, "d"),), 9)])
    assert compared(site.local, site.archive) == (3, ["b", "d"])


def test_the_fast_demo_tells_the_same_story_with_influxdb_beside_it(
    influx: "InfluxServer", monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CUREVIGIL_INFLUX_TOKEN", influx.place("any").token)
    alone = CliRunner().invoke(main, ["demo", "--fast"])
    told = CliRunner().invoke(main, ["demo", "--fast", "--influx", influx.url])
    assert told.exit_code == 0, told.output
    first, _, rest = told.stdout.partition("\n")
    count = re.fullmatch(r"InfluxDB holds the same ([\d,]+) readings as the local store, each one compared\.", first)
    assert count is not None, first
    assert int(count[1].replace(",", "")) > 50_000
    assert rest == alone.stdout


@pytest.mark.parametrize("prepared", [False, True])
def test_check_says_what_influxdb_lacks_and_prepares_it(
    influx: "InfluxServer", tmp_path: Path, monkeypatch: pytest.MonkeyPatch, prepared: bool
) -> None:
    database = f"checked_{prepared}"
    (tmp_path / "curevigil.toml").write_text(
        '[broker]\naddress = "127.0.0.1"\n[[source]]\ntopic = "kitchen/#"\nformat = "senml"\n'
        f'[stores]\nfolder = "{tmp_path / "data"}"\nballast_mib = 0\n'
        '[web]\npublic_address = "https://curevigil.example"\n'
        f'[influx]\nurl = "{influx.url}"\nbucket = "{database}/kept"\ntoken = "env:INFLUX_TOKEN"\n',
        encoding="utf-8",
    )
    everyday = "cook:reads-and-writes"
    admin = InfluxArchive(influx.place("any"))
    if prepared:
        admin.ask("CREATE USER cook WITH PASSWORD 'reads-and-writes'", "POST")
    environ = {"INFLUX_TOKEN": everyday if prepared else influx.place("any").token, "ADMIN": influx.place("any").token}
    words = ["check", "--config", str(tmp_path / "curevigil.toml")]
    more = ["--prepare", "--prepare-token", "env:ADMIN"] if prepared else []
    told = CliRunner().invoke(main, [*words, *more], env=environ)
    assert told.exit_code == 1, told.output  # no kitchen is described there
    assert "reads-and-writes" not in told.output
    if prepared:
        assert f"Prepared: database {database}, retention policy kept (kept for ever)" in told.output
        admin.ask(f'GRANT ALL ON "{database}" TO cook', "POST")
        told = CliRunner().invoke(main, words, env=environ)
        assert "influx" not in told.output
    else:
        assert "influx: " in told.output
        assert "curevigil check --prepare" in told.output

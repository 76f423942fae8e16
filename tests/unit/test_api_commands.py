"""`curevigil apply`, `check` and `replay`: what they say, what they keep, and that a replay is the same every time."""

import json
import os
import socket
import sqlite3
import threading
from base64 import b64encode
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest
from click.testing import CliRunner

from alerts.replay import VirtualClock
from api.check import kitchen_known, refusals
from api.cli import main
from api.config_file import read_settings
from api.reading_lines import read_lines, units_of
from api.replay_command import written
from collector.batches import Placement
from collector.books_sql import open_books
from collector.events import AlarmRaised, Draft, PersonDescribed, TubMoved
from collector.findings import Condition
from collector.journal_sql import SqlJournal
from collector.present import Present
from collector.readings import Assignment, Quantity, Reading
from collector.sample import Quality
from collector.stores_sqlite import BOOKS, open_stores

DEPLOY = Path(__file__).resolve().parents[2] / "deploy"
KITCHEN = (DEPLOY / "kitchen.example.toml").read_text(encoding="utf-8")
SETTINGS = (DEPLOY / "curevigil.example.toml").read_text(encoding="utf-8")
Run = Callable[..., tuple[int, str, str]]
REACHED = {
    "CUREVIGIL_INES_WEBHOOK": "https://hooks.example/a1b2",
    "CUREVIGIL_INES_SIGNING": "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw",
    "CUREVIGIL_INES_EMAIL": "ines@kitchen.example",
    "CUREVIGIL_INES_PUSH": "json://push.example/a1b2",
    "CUREVIGIL_SMTP_PASSWORD": "correct horse",
}


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the example kitchen, in which the console stands."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "kitchen.toml").write_text(KITCHEN, encoding="utf-8")
    return tmp_path


@pytest.fixture
def run(folder: Path) -> Run:
    """`run("apply", "kitchen.toml")`: the exit code and the two outputs of a command."""

    def call(*words: str) -> tuple[int, str, str]:
        environ = REACHED
        result = CliRunner().invoke(main, words, env=environ, prog_name="curevigil")
        assert result.exception is None or isinstance(result.exception, SystemExit), result.exc_info
        return result.exit_code, result.stdout, result.stderr

    return call


def changed(folder: Path, before: str, after: str) -> None:
    text = (folder / "kitchen.toml").read_text(encoding="utf-8")
    assert before in text
    (folder / "kitchen.toml").write_text(text.replace(before, after, 1), encoding="utf-8")


# apply


def test_apply_says_what_is_new_and_a_second_time_that_there_is_nothing(run: Run, folder: Path) -> None:
    code, out, err = run("apply", "kitchen.toml", "--data", "data")
    assert (code, err) == (0, "")
    assert out.splitlines()[1:3] == ["unit coldroom: new", "person ines: new"]
    assert len(out.splitlines()) == 9
    bytes_before = (folder / "data" / BOOKS).read_bytes()
    assert run("apply", "kitchen.toml", "--data", "data") == (0, "nothing to change\n", "")
    assert (folder / "data" / BOOKS).read_bytes() == bytes_before
    assert kitchen_known(folder / "data", 0.0).batches["BRISKET-14"].hand_readings[0].value == 3.4


def test_apply_says_one_change_in_one_line(run: Run, folder: Path) -> None:
    run("apply", "kitchen.toml", "--data", "data")
    changed(folder, "limit_c = 4.5", "limit_c = 4.0")
    assert run("apply", "kitchen.toml", "--data", "data") == (0, "unit coldroom: limit_c 4.5 becomes 4\n", "")


def test_a_dry_run_says_the_same_and_makes_nothing(run: Run, folder: Path) -> None:
    code, out, _ = run("apply", "kitchen.toml", "--data", "data", "--dry-run")
    assert (code, out.splitlines()[-1]) == (0, "this was a dry run: nothing was changed")
    assert "unit coldroom: new" in out
    assert not (folder / "data").exists()


def test_apply_lists_every_fault_and_brings_in_nothing(run: Run, folder: Path) -> None:
    changed(folder, 'unit = "coldroom" ', 'unit = "coolroom" ')
    changed(folder, 'person = "tomas" ', 'person = "thomas" ')
    code, out, err = run("apply", "kitchen.toml", "--data", "data")
    assert (code, out) == (1, "")
    assert [line.split(": ")[1] for line in err.splitlines()[:-1]] == ["channel 1 unit", "rota 1 person"]
    assert err.splitlines()[-1] == "Error: 2 faults; nothing was changed"
    assert kitchen_known(folder / "data", 0.0).position == 0


def test_apply_appends_beside_a_running_service(run: Run, folder: Path) -> None:
    stores = open_stores(folder / "data", ballast_bytes=0)
    try:
        present = Present(stores.journal, lambda: 1.8e9)
        assert run("apply", "kitchen.toml", "--data", "data")[0] == 0
        assert present.catch_up().units["coldroom"].name == "Cold room"
        to = Placement("1", None, 1_795_400_000.0, bench_c=20.0)
        present.decide(lambda kitchen: [Draft(to.from_at, "ines", TubMoved("BRISKET-14", to))])
        assert run("apply", "kitchen.toml", "--data", "data")[1] == "nothing to change\n"
    finally:
        stores.close()


def test_apply_decides_again_when_the_journal_moves_meanwhile(
    run: Run, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (folder / "data").mkdir()
    rival = SqlJournal(open_books(folder / "data" / BOOKS))
    append, moves = SqlJournal.append, iter([True])

    def late(self: SqlJournal, *args: object, **named: object) -> object:
        if self is not rival and next(moves, False):
            person = PersonDescribed("ines", "Somebody Else", ("operator", "approver", "admin"))
            append(rival, [Draft(1.8e9, "system", person)], seen=0, recorded_at=1.8e9)
        return append(self, *args, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(SqlJournal, "append", late)
    code, out, _ = run("apply", "kitchen.toml", "--data", "data")
    rival.close()
    assert code == 0
    assert "person ines: name Somebody Else becomes Ines Marlow" in out
    assert kitchen_known(folder / "data", 0.0).people["ines"].name == "Ines Marlow"


def test_root_does_not_write_into_a_folder_of_the_service(
    run: Run, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (folder / "data").mkdir()
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    real = Path.stat

    def stat_of_another(path: Path, **named: bool) -> os.stat_result:
        found = real(path, **named)
        return os.stat_result((*found[:4], 12_345, *found[5:10])) if path.name == "data" else found

    monkeypatch.setattr(Path, "stat", stat_of_another)
    code, _, err = run("apply", "kitchen.toml", "--data", "data")
    assert code == 1
    assert "data belongs to the user 12345, and this is root; run this as that user" in err
    assert not (folder / "data" / BOOKS).exists()


# check


@pytest.fixture
def broker() -> Iterator[int]:
    """A port where somebody takes the call."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        yield int(server.getsockname()[1])


def install(folder: Path, port: int) -> None:
    text = SETTINGS
    for before, after in [
        ("/var/lib/curevigil", str(folder / "data")),
        ("port = 1883 ", f"port = {port} "),
        ('address = "localhost"', 'address = "127.0.0.1"'),
        ('username = "collector"', "# "),
        ('password = "env:CUREVIGIL_BROKER_PASSWORD"', "# "),
        ("ballast_mib = 64", "ballast_mib = 0"),
    ]:
        assert before in text
        text = text.replace(before, after, 1)
    second = '\n[[reach]]\nperson = "tomas"\nchannel = "webhook"\naddress = "env:CUREVIGIL_INES_WEBHOOK"\n'
    second += 'secrets = ["env:CUREVIGIL_INES_SIGNING"]\n'
    (folder / "curevigil.toml").write_text(text + second, encoding="utf-8")


def test_check_finds_nothing_wrong_with_a_whole_installation(run: Run, folder: Path, broker: int) -> None:
    install(folder, broker)
    run("apply", "kitchen.toml", "--config", "curevigil.toml")
    assert run("check", "--config", "curevigil.toml") == (
        0, "It would start; nothing was found that needs mending.\n", "",
    )  # fmt: skip


def test_check_says_that_a_webhook_is_not_signed_and_that_apprise_knows_no_such_address(
    run: Run, folder: Path, broker: int
) -> None:
    install(folder, broker)
    run("apply", "kitchen.toml", "--config", "curevigil.toml")
    text = (folder / "curevigil.toml").read_text(encoding="utf-8")
    unsigned = "\n".join(line for line in text.splitlines() if not line.startswith("secrets"))
    (folder / "curevigil.toml").write_text(unsigned, encoding="utf-8")
    code, out, _ = run("check", "--config", "curevigil.toml")
    assert (code, out.count("the webhook is not signed")) == (1, 2)
    (folder / "curevigil.toml").write_text(text.replace("env:CUREVIGIL_INES_PUSH", "env:ODD"), encoding="utf-8")
    result = CliRunner().invoke(main, ["check", "--config", "curevigil.toml"], env={**REACHED, "ODD": "hunter2://x"})
    assert result.exit_code == 1
    assert "reach ines: what stands at its address is nothing that apprise knows" in result.output
    assert "hunter2" not in result.output


def test_check_looks_at_a_kitchen_file_as_if_it_were_applied(run: Run, folder: Path, broker: int) -> None:
    install(folder, broker)
    assert "no unit is described" in run("check", "--config", "curevigil.toml")[1]
    assert run("check", "--config", "curevigil.toml", "--kitchen", "kitchen.toml")[0] == 0
    assert not (folder / "data").exists()
    changed(folder, 'quantity = "air_temperature"', 'quantity = "humidity"')
    code, out, _ = run("check", "--config", "curevigil.toml", "--kitchen", "kitchen.toml")
    assert (code, out) == (
        1,
        "It would start. To be mended:\n"
        "  unit coldroom: no channel says how warm Cold room is; assign an air temperature to it\n",
    )


def test_check_says_what_would_not_start_and_what_is_to_be_mended_besides(run: Run, folder: Path, broker: int) -> None:
    install(folder, broker)
    (folder / "data").write_text("a file")
    changed(folder, "limit_c = 4.5", "limit_c = 9.0")
    code, out, _ = run("check", "--config", "curevigil.toml", "--kitchen", "kitchen.toml")
    assert code == 1
    assert out.splitlines()[0] == "It would not start:"
    assert out.splitlines()[1].endswith("data is a file; name a folder")
    assert out.splitlines()[2:] == [
        "To be mended:",
        "  kitchen.toml line 18: unit 1 limit_c: 9 °C is looser than the rulebook's 5.0 °C; "
        "a unit's own limit is stricter: write a lower one, or leave it out",
    ]


def test_a_start_is_refused_on_a_disk_without_room(folder: Path, broker: int, monkeypatch: pytest.MonkeyPatch) -> None:
    install(folder, broker)
    for name, value in REACHED.items():
        monkeypatch.setenv(name, value)
    settings = read_settings(folder / "curevigil.toml")
    assert refusals(settings) == ()
    monkeypatch.setattr("shutil.disk_usage", lambda path: type("Usage", (), {"free": 10 * 2**20})())
    (fault,) = refusals(settings)
    assert str(fault) == (
        "data folder: 10 MiB are free on its disk, and 64 MiB are needed at least; "
        "make room, or name a folder on another disk"
    )


def test_a_start_is_refused_on_the_journal_of_a_newer_program(
    folder: Path, run: Run, broker: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    install(folder, broker)
    run("apply", "kitchen.toml", "--data", "data")
    with sqlite3.connect(folder / "data" / BOOKS) as connection:
        connection.execute("UPDATE schema_version SET version = 99")
    connection.close()
    code, out, _ = run("check", "--config", "curevigil.toml")
    assert code == 1
    assert "was written by a newer program" in out
    code, _, err = run("apply", "kitchen.toml", "--data", "data")
    assert (code, "was written by a newer program" in err) == (1, True)


# replay

START = datetime(2026, 11, 20, 10, 30, tzinfo=UTC).timestamp()
HOUR = 3600.0


def record(*stretches: tuple[float, float], channel: str = "smokehouse/coldroom/air") -> str:
    """Return lines of a reading a minute, for so many hours at such a temperature each."""
    lines, at = [], START
    for hours, value in stretches:
        for _ in range(round(hours * 60)):
            line = {"channel": channel, "value": value, "measured_at": at, "received_at": at + 0.3}
            lines.append(json.dumps(line))
            at += 60.0
    return "\n".join(lines) + "\n"


def replay(run: Run, readings: str, until: float, out: str = "out") -> tuple[list[dict[str, object]], ...]:
    Path("readings.jsonl").write_text(readings, encoding="utf-8")
    words = ("--kitchen", "kitchen.toml", "--readings", "readings.jsonl", "--until", str(until), "--out", out)
    code, _, err = run("replay", *words)
    assert code == 0, err
    files = [(Path(out) / name).read_text("utf-8") for name in ("alarms.jsonl", "estimates.jsonl")]
    parts = [[json.loads(line) for line in text.splitlines()] for text in files]
    return (*parts, json.loads((Path(out) / "dispositions.json").read_text("utf-8")))


def one_place(folder: Path) -> None:
    """Let the example's batch stand in its unit throughout, and nobody measure by hand."""
    text = KITCHEN[: KITCHEN.index("[[batch.placement]]")]
    placement = '[[batch.placement]]\ntub = "1"\nunit = "coldroom"\nfrom = 2026-11-20T10:30:00+00:00\n'
    (folder / "kitchen.toml").write_text(text + placement, encoding="utf-8")


def test_the_same_input_twice_gives_the_same_bytes(run: Run, folder: Path) -> None:
    readings = record((30, 3.0), (5, 13.0), (10, 3.0))
    for out in ("first", "second"):
        replay(run, readings, START + 50 * HOUR, out)
    names = sorted(path.name for path in (folder / "first").iterdir())
    assert names == ["alarms.jsonl", "dispositions.json", "estimates.jsonl"]
    for name in names:
        assert (folder / "first" / name).read_bytes() == (folder / "second" / name).read_bytes()
        assert (folder / "first" / name).read_bytes()


def test_a_warming_room_is_told_before_the_product_passes_its_limit(run: Run, folder: Path) -> None:
    one_place(folder)
    alarms, estimates, dispositions = replay(run, record((30, 3.0), (8, 13.0)), START + 38 * HOUR)
    (warm,) = [alarm for alarm in alarms if alarm["kind"] == "product_warm"]
    passed = next(row["t"] for row in estimates if float(str(row["value"])) > 4.7)
    assert START + 30 * HOUR < float(str(warm["raised_at"])) < float(str(passed))
    assert (warm["unit"], warm["category"], warm["batches"], warm["cleared_at"]) == (
        "coldroom", "temperature", ["BRISKET-14"], None,
    )  # fmt: skip
    assert [(d["batch"], d["disposition"]) for d in dispositions] == [("BRISKET-14", "hold")]


def test_estimates_stand_every_five_minutes_with_their_bounds(run: Run, folder: Path) -> None:
    one_place(folder)
    _, estimates, _ = replay(run, record((2, 3.0)), START + 2 * HOUR)
    assert [row["t"] for row in estimates] == [START + 300.0 * step for step in range(1, 25)]
    for row in estimates:
        assert sorted(row) == ["batch", "hi", "hi90", "lo", "lo90", "t", "unit", "value"]
        for low, high in (("lo", "hi"), ("lo90", "hi90")):
            assert float(str(row[low])) <= float(str(row["value"])) <= float(str(row[high]))
        assert float(str(row["lo90"])) <= float(str(row["value"])) <= float(str(row["hi90"]))


def test_silence_up_to_the_end_raises_its_alarm(run: Run, folder: Path) -> None:
    one_place(folder)
    alarms, _, _ = replay(run, record((3, 3.0)), START + 3.3 * HOUR)
    assert [(alarm["kind"], alarm["category"]) for alarm in alarms] == [("channel_silent", "sensor")]
    assert START + 3 * HOUR < float(str(alarms[0]["raised_at"])) < START + 3.3 * HOUR


def test_a_batch_stands_until_it_ends_and_may_begin_after_the_first_reading(run: Run, folder: Path) -> None:
    one_place(folder)
    changed(folder, "started = 2026-11-20T10:30", "started = 2026-11-20T12:30")
    changed(folder, "from = 2026-11-20T10:30", "from = 2026-11-20T12:30")
    changed(folder, "# ended = 2026-11-25T10:30", "ended = 2026-11-20T14:30")
    changed(folder, "# ended_reason", "ended_reason")
    _, estimates, dispositions = replay(run, record((8, 3.0)), START + 8 * HOUR)
    assert [row["t"] for row in estimates] == [START + 2 * HOUR + 300.0 * step for step in range(24)]
    assert [d["batch"] for d in dispositions] == ["BRISKET-14"]


def test_times_may_be_written_as_rfc_3339_and_mean_the_same(run: Run, folder: Path) -> None:
    one_place(folder)
    seconds = record((3, 3.0), (3, 12.5))
    texts = "\n".join(
        json.dumps({key: _text(value) if key.endswith("_at") else value for key, value in json.loads(line).items()})
        for line in seconds.splitlines()
    )
    first = replay(run, seconds, START + 6 * HOUR, "first")
    assert replay(run, texts, START + 6 * HOUR, "second") == first


def _text(at: float) -> str:
    return datetime.fromtimestamp(at, UTC).isoformat(timespec="milliseconds")


def test_the_last_line_of_output_counts_what_came_of_it(run: Run, folder: Path) -> None:
    (folder / "readings.jsonl").write_text(record((1, 3.0)) + record((0.05, 1.0), channel="cellar/air"))
    words = ("--kitchen", "kitchen.toml", "--readings", "readings.jsonl", "--out", "out")
    code, out, err = run("replay", *words, "--until", str(START + HOUR))
    assert (code, out) == (0, "readings 63, alarms 0, dispositions 1\n")
    assert "note: 3 readings of 1 channels that the kitchen does not describe: cellar/air; nobody judges them" in err


def test_a_replayed_reading_is_looked_at_as_the_intake_would() -> None:
    units = units_of([Assignment("a", Quantity.AIR_TEMPERATURE, "u", "wall", 0.0)])

    def read(value: float, measured: float) -> Reading:
        line = {"channel": "a", "value": value, "measured_at": measured, "received_at": START}
        (reading,) = read_lines([json.dumps(line).encode()], units)
        assert isinstance(reading, Reading)
        return reading

    assert (read(4.1, START).unit, read(4.1, START).quality) == ("Cel", Quality.GOOD)
    assert read(85.0, START).quality == Quality.PROBE_FAULT
    assert read(-300.0, START).quality == Quality.OUT_OF_RANGE
    doubted = read(4.1, START + 600.0)
    assert (doubted.measured_at, doubted.device_at, doubted.quality) == (START, START + 600.0, Quality.CLOCK_DOUBT)


def test_a_file_that_cannot_be_finished_leaves_the_old_one(folder: Path) -> None:
    written(folder / "out", {"a.jsonl": ["old\n"]})

    def breaks() -> Iterator[str]:
        yield "new\n"
        raise OSError("the disk is full")

    with pytest.raises(OSError, match="the disk is full"):
        written(folder / "out", {"a.jsonl": breaks()})
    assert (folder / "out" / "a.jsonl").read_text() == "old\n"


def test_a_clock_of_a_replay_never_goes_back() -> None:
    clock = VirtualClock(10.0)
    clock.move(5.0)
    assert clock() == 10.0


# read

MAPPINGS = DEPLOY / "mappings"


def test_read_prints_what_a_message_would_become(run: Run) -> None:
    shape = (
        "read",
        "--mapping",
        str(MAPPINGS / "network-server-v4.toml"),
        "--topic",
        "application/7/device/x/event/up",
    )
    message = (
        '{"time":"2022-07-18T09:34:15.775023242+00:00","deviceInfo":{"devEui":"0101"},"deduplicationId":"3ac7e3c4",'
        '"fCnt":24,"object":{"temperature":85.0}}'
    )
    code, out, _ = run(*shape, message)
    assert code == 0
    assert out.startswith("0101/temperature = 85.0 Cel at ")
    assert "its key is '3ac7e3c4'; doubtful: the device's clock cannot be believed; doubtful: a value that" in out


def test_read_says_why_a_message_is_refused(run: Run) -> None:
    number = ("read", "--mapping", str(MAPPINGS / "number.toml"), "--topic", "gauges/tub/temperature")
    code, out, err = run(*number, "nan")
    assert (code, out) == (1, "")
    assert "(not_finite)" in err
    assert run(*number, "4.1")[0] == 0
    assert run("read", "--topic", "a", "1")[0] == 2


KEYED = """[[source]]
topic = "cold/{device}"
format = "mapped"
retained = "reading"
[[source.measurement]]
channel = "{device}/air"
value = "/c"
unit = "Cel"
time = "/at"
time_format = "rfc3339"
dedupe = ["/id"]
quality = "/status"
quality_names = { "ok" = "good", "E1" = "probe_fault" }
"""


def test_read_shows_quality_and_key_and_what_a_retained_message_would_be(run: Run, folder: Path) -> None:
    (folder / "keyed.toml").write_text(KEYED, encoding="utf-8")
    words = ("read", "--mapping", str(folder / "keyed.toml"), "--topic", "cold/tub")
    code, out, _ = run(*words, '{"c": 4.1, "id": "a/7", "status": "E1"}')
    line, note = out.splitlines()
    assert code == 0
    assert "the same reading whenever its key is 'a~17'; doubtful: a value that the sensor sends instead" in line
    assert note.startswith("Retained by the broker and sent again, it would be a reading where the device's own time")
    code, out, _ = run(*words, "--retained", '{"c": 4.1, "status": "ok"}')
    assert (code, out.splitlines()[0]) == (0, "No reading.")
    assert "sent again, it is a reading where" in out
    assert run(*words, '{"c": 4.1, "status": "fine"}')[0] == 1


def test_read_takes_cbor_as_hex_as_base64_and_as_bytes(folder: Path) -> None:
    words = ["read", "--mapping", str(MAPPINGS / "cbor.toml"), "--topic", "probes/tub-2"]
    payload = bytes.fromhex("a3001a62d52aef01f944000205")
    spaced = payload.hex(" ").upper()
    for text in (payload.hex(), spaced, f"0x{payload.hex()}", b64encode(payload).decode(), "owAaYtUq7wH5RAACBQ"):
        result = CliRunner().invoke(main, [*words, text])
        assert result.output.startswith("tub-2/temperature = 4.0 Cel at "), text
    assert CliRunner().invoke(main, words, input=payload).output.startswith("tub-2/temperature = 4.0 Cel at ")
    for text in ("abc!", "{}", "a3001"):
        result = CliRunner().invoke(main, [*words, text])
        assert result.exit_code != 0
    assert "paste it as hex or as Base64" in CliRunner().invoke(main, [*words, "{}"]).output


def test_read_takes_what_is_piped_in_byte_by_byte(folder: Path) -> None:
    words = ["read", "--mapping", str(MAPPINGS / "number.toml"), "--topic", "gauges/tub/temperature"]
    result = CliRunner().invoke(main, words, input=b"\xff4.1")
    assert result.exit_code == 1
    assert CliRunner().invoke(main, words, input=b"4.1").output.startswith("tub/temperature = 4.1 Cel at ")


# call-test


@pytest.fixture
def receiver() -> Iterator[HTTPServer]:
    class Keep(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            got.append(self.rfile.read(int(self.headers["content-length"])))
            self.send_response(204)
            self.end_headers()

        def log_message(self, format: str, *args: object) -> None:
            return None

    got: list[bytes] = []
    server = HTTPServer(("127.0.0.1", 0), Keep)
    server.got = got  # type: ignore[attr-defined]
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield server
    server.shutdown()
    thread.join()
    server.server_close()


def test_call_test_tries_every_way_and_says_what_happened_without_an_address(
    folder: Path, run: Run, broker: int, receiver: HTTPServer
) -> None:
    install(folder, broker)
    text = (folder / "curevigil.toml").read_text(encoding="utf-8")
    text = text.replace("private_address = false", "private_address = true").replace("port = 587 ", "port = 9 ")
    (folder / "curevigil.toml").write_text(text, encoding="utf-8")
    run("apply", "kitchen.toml", "--config", "curevigil.toml")
    place = f"127.0.0.1:{receiver.server_port}/secret-path"
    environ = {**REACHED, "CUREVIGIL_INES_WEBHOOK": f"http://{place}", "CUREVIGIL_INES_PUSH": f"json://{place}"}
    result = CliRunner().invoke(main, ["call-test", "ines", "--config", "curevigil.toml"], env=environ)
    assert result.output.splitlines() == [
        "webhook: taken; ask them whether it arrived (HTTP 204)",
        "email: FAILED (ConnectionRefusedError)",
        "apprise: taken; ask them whether it arrived (the target has taken it)",
    ]
    assert result.exit_code == 1
    signed, pushed = (json.loads(body) for body in receiver.got)  # type: ignore[attr-defined]
    assert signed["type"] == "curevigil.alarm.drill"
    assert signed["data"]["first_line"].startswith("DRILL: ")
    assert pushed["title"].startswith("DRILL: ")


def test_call_test_calls_nobody_while_an_alarm_stands_or_where_nobody_is_known(
    folder: Path, run: Run, broker: int
) -> None:
    install(folder, broker)
    run("apply", "kitchen.toml", "--config", "curevigil.toml")
    assert "nobody in the kitchen has the id nobody" in run("call-test", "nobody", "--config", "curevigil.toml")[2]
    journal = SqlJournal(open_books(folder / "data" / BOOKS, may_migrate=False))
    warm = Condition("coldroom", "product_warm", "temperature", True, 1_790_000_000.0)
    Present(journal, lambda: 1_790_000_000.0).decide(lambda k: [Draft(1_790_000_000.0, "watch", AlarmRaised(warm))])
    journal.close()
    code, out, err = run("call-test", "ines", "--config", "curevigil.toml")
    assert (code, out) == (1, "")
    assert "an alarm stands" in err

"""The heartbeat towards a web server on this machine: withheld, taken, refused, redirected."""

import threading
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest

from alerts.signs import Signs
from api.check_heartbeat import heartbeat_doubts, last_beat
from api.heartbeat import Heartbeat, Receiver
from api.run_command import works_of
from api.works import Works
from collector.broker import Broker
from collector.health import State
from collector.settings import Settings, parse
from collector.storage import StoreFailed

ALL = Signs(True, 0.0, 0.5, None, True, True)


class Outside:
    """Somebody outside who is called."""

    def __init__(self) -> None:
        self.calls: list[tuple[str, str]] = []
        self.status = 200
        outside = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                outside.calls.append((self.command, self.path))
                self.send_response(outside.status)
                if outside.status == 302:
                    self.send_header("location", "/elsewhere")
                self.send_header("content-length", "0")
                self.end_headers()

            do_POST = do_GET

            def log_message(self, *given: object) -> None:
                return None

        self.server = HTTPServer(("127.0.0.1", 0), Handler)
        self.thread = threading.Thread(target=self.server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
        self.thread.start()

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.server.server_port}/beat/s3cret"

    def close(self) -> None:
        self.server.shutdown()
        self.server.server_close()
        self.thread.join()


@pytest.fixture
def outside() -> Iterator[Outside]:
    made = Outside()
    yield made
    made.close()


class Bench:
    """A heartbeat whose signs and clock are in hand."""

    def __init__(self, receiver: Receiver) -> None:
        self.signs, self.now_s = ALL, 1000.0
        self.kept: list[Mapping[str, object]] = []
        self.heart = Heartbeat(receiver, lambda: self.signs, lambda: self.now_s, self.kept.append)


@pytest.fixture
def bench(outside: Outside) -> Iterator[Bench]:
    made = Bench(Receiver(outside.address, private=True))
    yield made
    made.heart.stop()


def test_it_beats_while_nothing_is_missing(outside: Outside, bench: Bench) -> None:
    assert bench.heart.said()[0] is State.STARTING
    assert bench.heart.beat() and bench.heart.beat()
    assert outside.calls == [("GET", "/beat/s3cret")] * 2
    bench.now_s += 12.0
    assert bench.heart.said() == (State.WORKS, "The last beat was taken 12 s ago.")
    assert bench.heart.numbers() == {"beats": 2, "failures": 0, "withheld": 0}


@pytest.mark.parametrize(
    "lacking",
    [
        {"canary_round": False},
        {"untried_s": 60.0},
        {"disk_free": 0.05},
        {"disk_free": None},
        {"stepped_s": 3.0},
        {"pulse_fresh": False},
        {"journal_written": False},
    ],
    ids=lambda one: next(iter(one)),
)
def test_one_missing_sign_withholds_it_and_its_return_lets_it_beat(
    outside: Outside, bench: Bench, lacking: dict[str, float | bool | None]
) -> None:
    bench.signs = replace(ALL, **lacking)  # type: ignore[arg-type]
    assert not bench.heart.beat()
    assert outside.calls == []
    state, sentence = bench.heart.said()
    assert state is State.DOUBTFUL and sentence.startswith("Withheld: ")
    bench.signs = ALL
    assert bench.heart.beat() and len(outside.calls) == 1


def test_post_is_sent_where_it_is_asked_for(outside: Outside) -> None:
    bench = Bench(Receiver(outside.address, "POST", private=True))
    bench.heart.beat()
    bench.heart.stop()
    assert outside.calls == [("POST", "/beat/s3cret")]


@pytest.mark.parametrize(("status", "why"), [(500, "HTTP 500"), (404, "HTTP 404"), (302, "HTTP 302")])
def test_anything_but_success_counts_as_a_failure_and_no_redirect_is_followed(
    outside: Outside, bench: Bench, status: int, why: str
) -> None:
    outside.status = status
    bench.heart.beat()
    bench.heart.beat()
    assert [path for _, path in outside.calls] == ["/beat/s3cret"] * 2
    assert bench.heart.said() == (State.DOUBTFUL, f"The address did not take it, 2 times in a row: {why}.")
    outside.status = 200
    bench.heart.beat()
    assert bench.heart.said()[0] is State.WORKS
    assert bench.heart.numbers() == {"beats": 1, "failures": 2, "withheld": 0}


@pytest.mark.parametrize(
    ("address", "why"),
    [
        ("http://127.0.0.1:9/", "a private address is called only with private_address = true"),
        ("http://169.254.169.254/", "a link-local or metadata address is never called"),
        ("http://nobody.invalid/", "the name was not found"),
        ("http://[::1/", "InvalidURL"),
    ],
)
def test_where_it_may_not_go_it_does_not_go_and_says_why(address: str, why: str) -> None:
    bench = Bench(Receiver(address))
    bench.heart.beat()
    bench.heart.stop()
    assert bench.heart.why == why


def test_nothing_of_the_address_is_shown(outside: Outside, bench: Bench, caplog: pytest.LogCaptureFixture) -> None:
    outside.status = 500
    with caplog.at_level("DEBUG"):
        bench.heart.beat()
    assert "s3cret" not in repr(bench.heart) + caplog.text + bench.heart.said()[1] + repr(bench.kept)


def test_what_it_kept_for_the_check_is_written_only_when_it_changes(outside: Outside, bench: Bench) -> None:
    for _ in range(3):
        bench.heart.beat()
    bench.signs = replace(ALL, journal_written=False)
    for _ in range(3):
        bench.heart.beat()
    assert bench.kept == [
        {"how": "taken", "why": ""},
        {"how": "withheld", "why": "the journal cannot be written"},
    ]


def test_a_call_that_takes_for_ever_is_said(bench: Bench) -> None:
    bench.heart.beat()
    bench.now_s += 200.0
    state, sentence = bench.heart.said()
    assert state is State.DOUBTFUL and "No beat for 200 s" in sentence


def test_a_stumble_does_not_end_it(outside: Outside, eventually: Callable[..., None]) -> None:
    tries: list[int] = []

    def signs() -> Signs:
        tries.append(1)
        if len(tries) == 1:
            raise ZeroDivisionError
        return ALL

    heart = Heartbeat(Receiver(outside.address, every_s=0.02, private=True), signs, lambda: 0.0)
    heart.start()
    eventually(lambda: outside.calls, "it beats all the same")
    heart.stop()


def test_the_service_knows_its_own_signs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    works = Works(tmp_path, Broker("127.0.0.1", 1), (), ballast_bytes=4096)
    try:
        signs = works.signs()
        assert signs.canary_round is False and signs.pulse_fresh is False and signs.journal_written is False
        assert signs.disk_free is not None and 0.0 < signs.disk_free < 1.0
        works.vitals.look()
        assert works.signs().journal_written

        def refuse(*given: object, **more: object) -> None:
            raise StoreFailed("gone")

        monkeypatch.setattr("api.works.disk_free_share", refuse)
        assert works.signs().disk_free is None
    finally:
        works.stores.close()


SETTINGS = """
[broker]
address = "localhost"
[[source]]
topic = "rooms/#"
format = "senml"
[stores]
folder = "{folder}"
[web]
public_address = "https://curevigil.example"
[heartbeat]
url = "env:HEART"
"""


def settings_for(folder: Path, address: str) -> Settings:
    found = parse(SETTINGS.format(folder=folder), {"HEART": address}, lambda path: "")
    assert isinstance(found, Settings), found
    return found


def test_the_check_judges_the_address_and_calls_nobody(tmp_path: Path, outside: Outside) -> None:
    (fault,) = heartbeat_doubts(settings_for(tmp_path, outside.address), tmp_path)
    assert "private_address = true" in str(fault) and "s3cret" not in str(fault)
    assert outside.calls == []


def test_the_check_says_how_the_running_services_last_beat_went(tmp_path: Path) -> None:
    works = Works(tmp_path, Broker("127.0.0.1", 1), (), ballast_bytes=4096)
    try:
        works._keep_beat({"how": "failed", "why": "HTTP 404"})
        assert last_beat(tmp_path)["how"] == "failed"
        settings = settings_for(tmp_path, "https://127.0.0.1/")
        said = [str(fault) for fault in heartbeat_doubts(settings, tmp_path)]
        assert any("last beat was not taken: HTTP 404" in one for one in said)
        works._keep_beat({"how": "withheld", "why": "the journal cannot be written"})
        said = [str(fault) for fault in heartbeat_doubts(settings, tmp_path)]
        assert any("withholds it: the journal cannot be written" in one for one in said)
        works._keep_beat({"how": "taken", "why": ""})
        assert len(list(heartbeat_doubts(settings, tmp_path))) == 1, "the private address alone"
    finally:
        works.stores.close()


def test_without_a_heartbeat_and_without_a_folder_the_check_has_nothing_to_say(tmp_path: Path) -> None:
    text = SETTINGS.partition("[heartbeat]")[0].format(folder=tmp_path)
    settings = parse(text, {}, lambda path: "")
    assert isinstance(settings, Settings)
    assert list(heartbeat_doubts(settings, tmp_path)) == [] and last_beat(tmp_path / "none") == {}


def test_the_settings_say_who_is_called_and_how_often(tmp_path: Path) -> None:
    more = 'every_s = 30\nmethod = "POST"\nprivate_address = true\n'
    text = SETTINGS.format(folder=tmp_path).replace("[stores]", "[stores]\nballast_mib = 0") + more
    settings = parse(text, {"HEART": "https://beat.example/s3cret"}, lambda path: "")
    assert isinstance(settings, Settings)
    works = works_of(settings)
    try:
        assert works.receiver == Receiver("https://beat.example/s3cret", "POST", 30.0, True)
        assert works.heartbeat is not None and works.canary is not None
        assert "s3cret" not in repr(settings) + repr(works.receiver)
    finally:
        works.stores.close()

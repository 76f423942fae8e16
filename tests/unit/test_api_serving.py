"""The application on a real running kitchen, served on a real port; no broker is there, which is no reason to fail."""

import os
import re
import select
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
import uvicorn
from starlette.applications import Starlette

from api.auth.codes import FIRST_RUN, look_at_code
from api.auth.entry import From, by_code, set_password
from api.auth.links import read_link
from api.office import Office, Settings
from api.serving import _ended_by_signals, estimates_by_unit, first_code, link_maker, office_of, serve
from api.works import Works
from collector.broker import Broker
from collector.storage import StoreFailed
from tests.office import drafts

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = """
import logging
import sys
from pathlib import Path
from api.serving import serve
from api.works import Works
from collector.broker import Broker
logging.basicConfig(level=logging.INFO)
works = Works(Path(sys.argv[1]), Broker("127.0.0.1", 1), (), ballast_bytes=4096)
works.start()
try:
    serve(works, port=0, announce=lambda *said: print(*said, flush=True), plain_http=True)
finally:
    works.stop()
    print("stopped", flush=True)
"""


@pytest.fixture
def works(tmp_path: Path) -> Iterator[Works]:
    works = Works(tmp_path, Broker("127.0.0.1", 1), (), ballast_bytes=4096)
    yield works
    works.stores.close()


@pytest.fixture
def office(works: Works, monkeypatch: pytest.MonkeyPatch) -> Office:
    monkeypatch.setattr("api.serving.content", lambda folder: None)
    return office_of(works, Settings(plain_http=True))


def test_the_first_code_is_announced_until_somebody_has_an_account(works: Works, office: Office) -> None:
    code = first_code(office, "")
    known = look_at_code(office.working, code, time.time())
    assert known is not None and known.person == FIRST_RUN and known.uses == 1
    entered = by_code(office, code, From("here"), person="mia", name="Mia Holt")
    again = look_at_code(office.working, first_code(office, ""), time.time())
    assert again is not None and again.person == "mia", "they left before they set a password"
    set_password(office, entered.person, "brisket under brine")
    assert first_code(office, "") == ""


def test_who_is_named_gets_a_code_every_time(works: Works, office: Office) -> None:
    works.present.decide(lambda kitchen: drafts())
    codes = {first_code(office, "bo") for _ in range(2)}
    assert len(codes) == 2
    assert {by_code(office, code, From("here")).person.id for code in codes} == {"bo"}


def test_an_acknowledge_link_is_made_for_the_address_that_people_type(works: Works) -> None:
    link = link_maker(works, "https://salt.example")("A20", "bo", 0.0)
    found = re.fullmatch(r"https://salt\.example/a/([\w-]{43})", link)
    assert found is not None
    known = read_link(works.working, found[1], time.time())
    assert known is not None and (known.alarm, known.person) == ("A20", "bo")


def test_a_message_goes_without_a_link_where_the_store_refuses(works: Works, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*given: object, **more: object) -> None:
        raise StoreFailed("disk full")

    monkeypatch.setattr(works.working, "put", refuse)
    assert link_maker(works, "https://salt.example")("A20", "bo", 0.0) == ""


def test_what_the_watch_knows_is_said_as_of_its_last_reading(works: Works) -> None:
    works.present.decide(lambda kitchen: drafts())
    works.service.start()
    found = estimates_by_unit(works.service)
    assert {unit: set(lots) for unit, lots in found.items()} == {
        "coldroom": {"BRISKET-14", "HAM-31"},
        "fridge": {"BELLY-32"},
    }
    for unit, lots in found.items():
        watch = works.service.watches[unit]
        for one in lots.values():
            assert one.lower_c <= one.likely_c <= one.upper_c
            assert one.claimed_c is not None and one.claimed_c[0] < one.likely_c < one.claimed_c[1]
            assert one.at == watch.since_at and one.air_c is None, "nothing has been heard"


def test_estimates_are_looked_for_again_while_the_watch_moves_on(works: Works, monkeypatch: pytest.MonkeyPatch) -> None:
    works.present.decide(lambda kitchen: drafts())
    works.service.start()
    real, tries = works.service.estimates, [0]

    def moving() -> object:
        tries[0] += 1
        if tries[0] < 3:
            raise RuntimeError("dictionary changed size during iteration")
        return real()

    monkeypatch.setattr(works.service, "estimates", moving)
    assert estimates_by_unit(works.service) and tries == [3]


def test_health_says_that_the_watch_is_not_running(office: Office) -> None:
    states = {part.name: part.state.value for part in office.health()}
    assert states["watch"] == "failed"


def test_a_port_that_is_held_is_said_in_a_sentence(works: Works, monkeypatch: pytest.MonkeyPatch) -> None:
    with socket.create_server(("127.0.0.1", 0)) as held:
        port = held.getsockname()[1]
        with pytest.raises(SystemExit) as caught:
            serve(works, port=port, announce=lambda *said: None, plain_http=True)
    assert str(caught.value).startswith(f"cannot listen at 127.0.0.1:{port}: ")


def line_of(child: "subprocess.Popen[str]", seconds: float) -> str:
    assert child.stdout is not None
    ready, _, _ = select.select([child.stdout], [], [], seconds)
    assert ready, f"nothing was said in {seconds} s"
    return child.stdout.readline().strip()


@pytest.mark.parametrize("one", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_ends_it_in_order_with_a_stream_open(tmp_path: Path, one: signal.Signals) -> None:
    child = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, str(tmp_path)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    try:
        address, code = line_of(child, 60.0).split()
        assert re.fullmatch(r"[0-9A-Z]{4}-[0-9A-Z]{4}-[0-9A-Z]{4}", code)
        answer = httpx.get(f"{address}/health", timeout=20.0)
        assert answer.status_code == 503 and answer.json() == {"works": False}, "there is no broker"
        assert "server" not in answer.headers
        opened = threading.Event()
        threading.Thread(target=_hold, args=(address, opened), daemon=True).start()
        assert opened.wait(20.0)
        begun = time.monotonic()
        child.send_signal(one)
        assert line_of(child, 20.0) == "stopped" and child.wait(20.0) == 0
        assert time.monotonic() - begun < 15.0
        assert child.stderr is not None and "Traceback" not in child.stderr.read()
    finally:
        child.kill()
        child.wait()
        assert child.stdout is not None and child.stderr is not None
        child.stdout.close()
        child.stderr.close()


def _hold(address: str, opened: threading.Event) -> None:
    def slowly() -> Iterator[bytes]:
        yield b"{"
        opened.set()
        time.sleep(60.0)

    try:
        httpx.post(f"{address}/api/v1/batches", content=slowly(), timeout=60.0)
    except httpx.HTTPError:
        return


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_before_the_server_listens_to_signals_ends_it_all_the_same(number: signal.Signals) -> None:
    server = uvicorn.Server(uvicorn.Config(Starlette()))
    before = signal.getsignal(number)
    with _ended_by_signals(server):
        signal.raise_signal(number)
    assert server.should_exit
    assert signal.getsignal(number) is before

"""Real processes: `curevigil run` is killed or hangs, and its second watcher tells; a drill is told and confirmed."""

import json
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import httpx
import pytest

from alerts.drills import drill_words
from alerts.minding import WITHIN_S, Timings
from api.check import kitchen_known

ROOT = Path(__file__).resolve().parents[2]
CONSOLE = [sys.executable, "-c", "from api.cli import main; main(prog_name='curevigil')"]
SHORT = ["--every-s", "0.5", "--timeout-s", "0.4", "--patience-s", "3"]
INSTALLATION = """
[broker]
address = "{host}"
port = {port}
[[source]]
topic = "kitchen/#"
format = "senml"
[stores]
folder = "{folder}"
ballast_mib = 1
[web]
listen = "127.0.0.1:{web}"
public_address = "http://127.0.0.1:{web}"
plain_http = true
"""
SECOND = """
[[mind]]
address = "http://127.0.0.1:{web}"
name = "Harbour kitchen"
zone = "Europe/London"
[[reach]]
person = "ana"
channel = "webhook"
address = "env:DEAD"
private_address = true
[[reach]]
person = "ana"
channel = "webhook"
address = "env:ANA"
private_address = true
[[reach]]
person = "bo"
channel = "webhook"
address = "env:BO"
private_address = true
"""


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@dataclass
class Posts:
    """What each person's webhook received, with when."""

    received: list[tuple[float, str, dict[str, Any]]] = field(default_factory=list)
    port: int = 0

    def of(self, person: str, kind: str) -> list[dict[str, Any]]:
        """Return what one person was told of one kind."""
        return [d for _, who, d in self.received if who == person and d["type"] == f"curevigil.alarm.{kind}"]


@pytest.fixture
def posts() -> Iterator[Posts]:
    found = Posts()

    class Keep(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["content-length"]))
            found.received.append((time.monotonic(), self.path.strip("/"), json.loads(body)))
            self.send_response(204)
            self.end_headers()

        def log_message(self, format: str, *args: object) -> None:
            return None

    web = HTTPServer(("127.0.0.1", 0), Keep)
    found.port = web.server_port
    thread = threading.Thread(target=web.serve_forever)
    thread.start()
    yield found
    web.shutdown()
    thread.join()
    web.server_close()


@dataclass
class Two:
    """An installation and its second watcher, each a process of its own."""

    folder: Path
    broker: Any
    posts: Posts
    web: int = field(default_factory=free_port)
    children: dict[str, subprocess.Popen[bytes]] = field(default_factory=dict)

    def start(self, name: str, *words: str) -> None:
        """Begin one of them."""
        environ = {
            **os.environ,
            "PYTHONPATH": str(ROOT),
            "DEAD": f"http://127.0.0.1:{free_port()}/dead",
            "ANA": f"http://127.0.0.1:{self.posts.port}/ana",
            "BO": f"http://127.0.0.1:{self.posts.port}/bo",
        }
        with (self.folder / f"{name}.log").open("ab") as log:
            self.children[name] = subprocess.Popen(
                [*CONSOLE, *words], stdin=subprocess.DEVNULL, stdout=log, stderr=log, env=environ
            )

    @property
    def address(self) -> str:
        """Return where the installation is found."""
        return f"http://127.0.0.1:{self.web}"

    def write_first(self, reach: str = "") -> None:
        """Write the settings of the installation."""
        text = INSTALLATION.format(
            host=self.broker.host, port=self.broker.port, folder=self.folder / "data", web=self.web
        )
        (self.folder / "first.toml").write_text(text + (f"[[reach]]{reach}" if reach else ""))

    def run(self, reach: str = "") -> None:
        """Start the installation."""
        self.write_first(reach)
        self.start("run", "run", "--config", str(self.folder / "first.toml"))

    def mind(self, *more: str) -> None:
        """Start its second watcher."""
        (self.folder / "second.toml").write_text(SECOND.format(web=self.web))
        self.start("mind", "mind", "--config", str(self.folder / "second.toml"), *more)

    def works(self) -> bool:
        """Return whether the installation answers that it works."""
        try:
            return httpx.get(f"http://127.0.0.1:{self.web}/health", timeout=2.0).status_code == 200
        except httpx.HTTPError:
            return False

    def said(self, name: str) -> str:
        """Return everything that one of them has printed."""
        return (self.folder / f"{name}.log").read_text(errors="replace")


@pytest.fixture
def two(tmp_path: Path, mosquitto: Any, posts: Posts) -> Iterator[Two]:
    found = Two(tmp_path, mosquitto, posts)
    yield found
    for child in found.children.values():
        child.send_signal(signal.SIGCONT)
        child.kill()
        child.wait(20)


def first_line(post: dict[str, Any]) -> str:
    return str(post["data"]["first_line"])


def watched(two: Two, eventually: Callable[..., None], *timings: str) -> None:
    """Start both, and return once the second has heard the first."""
    two.run()
    eventually(two.works, "the installation works", 60.0)
    two.mind(*timings)
    eventually(lambda: "event=answers" in two.said("mind"), "the second watcher has heard the first", 60.0)


def test_killed_it_is_told_to_everybody_by_the_next_way_at_once_and_again_when_it_is_back(
    two: Two, posts: Posts, eventually: Callable[..., None]
) -> None:
    watched(two, eventually, *SHORT)
    two.children["run"].kill()
    two.children["run"].wait(20)
    killed_s = time.monotonic()
    eventually(lambda: posts.of("ana", "raised") and posts.of("bo", "raised"), "both are told", 60.0)
    took_s = min(at for at, _, _ in posts.received) - killed_s
    said = first_line(posts.of("ana", "raised")[0])
    assert said.startswith("Curevigil at Harbour kitchen has not answered since ")
    assert "Take it that no cold room is watched. Someone must look." in said
    assert said.endswith("Last: the connection is refused.")
    assert "own thermometers" in posts.of("bo", "raised")[0]["data"]["body"]
    for logged in ("person=ana way='webhook' state=failed", "person=ana way='webhook 2' state=accepted"):
        eventually(lambda logged=logged: logged in two.said("mind"), f"its log holds {logged}")
    two.run()
    eventually(lambda: posts.of("ana", "returned") and posts.of("bo", "returned"), "both hear that it is back", 60.0)
    assert first_line(posts.of("ana", "returned")[0]).startswith("Curevigil at Harbour kitchen answers again")
    assert [len(posts.of(who, kind)) for who in ("ana", "bo") for kind in ("raised", "returned")] == [1, 1, 1, 1]
    two.children["mind"].send_signal(signal.SIGTERM)
    assert two.children["mind"].wait(20) == 0
    assert "Traceback" not in two.said("mind")
    print(f"told {took_s:.1f} s after the kill")  # noqa: T201 - the figure is what this run is for


def test_hanging_with_its_port_open_it_is_found_too(two: Two, posts: Posts, eventually: Callable[..., None]) -> None:
    watched(two, eventually, *SHORT)
    two.children["run"].send_signal(signal.SIGSTOP)
    eventually(lambda: posts.of("ana", "raised"), "ana is told", 60.0)
    with socket.create_connection(("127.0.0.1", two.web), timeout=2.0):
        pass
    assert first_line(posts.of("ana", "raised")[0]).endswith("Last: no answer within 0.4 s.")
    two.children["run"].send_signal(signal.SIGCONT)
    eventually(lambda: posts.of("ana", "returned"), "ana hears that it is back", 60.0)


def test_a_broker_that_is_gone_is_told_as_a_watcher_that_says_that_it_does_not_work(
    two: Two, posts: Posts, eventually: Callable[..., None]
) -> None:
    watched(two, eventually, *SHORT)
    two.broker.kill()
    eventually(lambda: posts.of("ana", "raised"), "ana is told", 120.0)
    said = first_line(posts.of("ana", "raised")[0])
    assert said.startswith("Curevigil at Harbour kitchen says that it does not work, since ")


def test_by_the_shipped_timings_somebody_is_told_within_five_minutes() -> None:
    shipped = Timings()
    assert shipped.fault() == ""
    assert (shipped.every_s, shipped.timeout_s, shipped.patience_s) == (20.0, 5.0, 120.0)
    assert shipped.longest_s < WITHIN_S == 300.0


KITCHEN = """
[site]
id = "harbour"
name = "Harbour kitchen"
zone = "UTC"
authority = "US"
checks = ["00:00", "23:59"]
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


def test_a_drill_reaches_whoever_is_on_call_by_the_next_way_and_their_link_ends_it(
    two: Two, posts: Posts, eventually: Callable[..., None]
) -> None:
    (two.folder / "kitchen.toml").write_text(KITCHEN)
    two.run(SECOND.partition("[[reach]]")[2])
    eventually(two.works, "the installation works", 60.0)
    two.start("apply", "apply", str(two.folder / "kitchen.toml"), "--data", str(two.folder / "data"))
    assert two.children["apply"].wait(60) == 0, two.said("apply")
    two.start("drill", "drill", "--config", str(two.folder / "first.toml"), "--minutes", "2")
    eventually(lambda: posts.of("ana", "drill"), "ana is called", 60.0)
    (called,) = posts.of("ana", "drill")
    assert first_line(called).startswith("DRILL: Cold room: meat may pass 5.0 °C from ")
    link = re.search(r"http://\S+/a/\S+", called["data"]["body"])
    assert link is not None
    page = httpx.get(link[0], timeout=10.0)
    form = re.search(r'name="form_token" value="([^"]+)"', page.text)
    assert "Ana, this drill has reached you" in page.text and form is not None
    thanked = httpx.post(link[0], data={"form_token": form[1]}, headers={"origin": two.address}, timeout=10.0)
    assert "Thank you, Ana" in thanked.text
    assert two.children["drill"].wait(60) == 0, two.said("drill")
    said = two.said("drill")
    assert re.search(r"told Ana by webhook: FAILED .*\n(.*\n)*.*told Ana by webhook 2: accepted", said), said
    assert "Ana confirmed, after " in said and said.endswith("The drill is over: answered.\n")
    assert [first_line(post).split()[0] for post in posts.of("ana", "drill")] == ["DRILL:", "DRILL:"]
    assert posts.of("ana", "raised") == [] and posts.of("bo", "drill") == []


def test_the_weekly_drill_calls_by_itself_and_the_page_of_people_says_who_has_confirmed(
    two: Two, posts: Posts, eventually: Callable[..., None]
) -> None:
    due = datetime.now(UTC) - timedelta(minutes=2)
    if f"{due:%H:%M}" > "23:50":
        pytest.skip("its time of day would lie behind the last check of the kitchen")
    (two.folder / "kitchen.toml").write_text(KITCHEN)
    two.run(SECOND.partition("[[reach]]")[2] + f'[drill]\nweekly = "{due:%a %H:%M}"\n')
    eventually(two.works, "the installation works", 60.0)
    two.start("apply", "apply", str(two.folder / "kitchen.toml"), "--data", str(two.folder / "data"))
    assert two.children["apply"].wait(60) == 0, two.said("apply")
    eventually(lambda: posts.of("ana", "drill"), "ana is called", 90.0)
    (called,) = posts.of("ana", "drill")
    assert first_line(called).startswith("DRILL: Curevigil tries whether it reaches you.")
    link = re.search(r"http://\S+/a/\S+", called["data"]["body"])
    assert link is not None
    form = re.search(r'name="form_token" value="([^"]+)"', httpx.get(link[0], timeout=10.0).text)
    assert form is not None
    sent: dict[str, Any] = {"data": {"form_token": form[1]}, "headers": {"origin": two.address}, "timeout": 10.0}
    assert "Thank you, Ana" in httpx.post(link[0], **sent).text
    assert httpx.post(link[0], **sent).status_code == 404
    known = kitchen_known(two.folder / "data", time.time())
    (drill,) = known.drills.values()
    assert drill_words(known, drill, "UTC").endswith("1 of 1 has confirmed")
    assert known.alarms == {}


def test_without_a_running_service_no_drill_is_held(two: Two) -> None:
    (two.folder / "kitchen.toml").write_text(KITCHEN)
    two.write_first(SECOND.partition("[[reach]]")[2])
    two.start("apply", "apply", str(two.folder / "kitchen.toml"), "--data", str(two.folder / "data"))
    assert two.children["apply"].wait(60) == 0, two.said("apply")
    two.start("drill", "drill", "--config", str(two.folder / "first.toml"))
    assert two.children["drill"].wait(60) == 1
    assert "no drill: the pages do not answer, and nobody could confirm" in two.said("drill")
    assert two.posts.received == []


@pytest.mark.long
def test_killed_somebody_is_told_within_five_minutes_by_the_shipped_timings(
    two: Two, posts: Posts, eventually: Callable[..., None]
) -> None:
    watched(two, eventually)
    two.children["run"].kill()
    killed_s = time.monotonic()
    eventually(lambda: posts.of("ana", "raised"), "ana is told", 300.0)
    took_s = posts.received[0][0] - killed_s
    print(f"told {took_s:.1f} s after the kill")  # noqa: T201 - the figure is what this run is for
    assert took_s < 300.0

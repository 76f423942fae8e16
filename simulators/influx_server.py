"""An InfluxDB 1.8 or 2.x of one's own on loopback, for tests and the bench: started, killed, started again. Shell."""

import json
import os
import shutil
import socket
import subprocess
import time
from collections.abc import Mapping
from pathlib import Path
from threading import Event
from urllib.error import HTTPError, URLError
from urllib.parse import urlencode
from urllib.request import Request, urlopen

from collector.prepare_influx import prepare
from collector.readings_influx import InfluxArchive, Place

LOOPBACK = "127.0.0.1"
USER, PASSWORD = "odile", "invented-for-tests"
TOKEN = f"{USER}:{PASSWORD}"
MODULE = "github.com/influxdata/influxdb/cmd/influxd@v1.8.10"
HOW = f"./deploy/test with Go installed, or go install -ldflags=-checklinkname=0 {MODULE}, or INFLUXD=/path/to/influxd"
HOW_2 = "CUREVIGIL_INFLUXD2=/path/to/the/influxd of InfluxDB 2.x, or that program as influxd2 on the path"
ORG = "smokehouse"
TOKEN_2 = "invented-for-tests"
"""Without a colon: the `/query` of 2.x takes what has one for a name and a password (seen with 2.7.12)."""
PATIENCE_S = 30.0
CONFIGURATION = """
reporting-disabled = true
bind-address = "127.0.0.1:{rpc}"
[meta]
  dir = "{folder}/meta"
[data]
  dir = "{folder}/data"
  wal-dir = "{folder}/wal"
[monitor]
  store-enabled = false
[http]
  bind-address = "127.0.0.1:{port}"
  auth-enabled = true
  flux-enabled = true
  log-enabled = false
[logging]
  level = "warn"
"""


def influxd_at(environ: Mapping[str, str] = os.environ) -> str | None:
    """Return the path of the server, or None where there is none: INFLUXD, the path, beside Python, Go's folder."""
    given = environ.get("INFLUXD")
    if given:
        return given
    beside = Path(__file__).resolve().parents[1] / ".venv" / "bin"
    go = Path(environ.get("GOPATH") or Path.home() / "go") / "bin"
    return shutil.which("influxd") or shutil.which("influxd", path=os.pathsep.join((str(beside), str(go))))


def influxd2_at(environ: Mapping[str, str] = os.environ) -> str | None:
    """Return the path of a server of 2.x, or None where there is none: CUREVIGIL_INFLUXD2, or influxd2 on the path."""
    return environ.get("CUREVIGIL_INFLUXD2") or shutil.which("influxd2")


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        return int(probe.getsockname()[1])


class InfluxServer:
    """A real InfluxDB 1.8 that can be stopped, killed and started again with what it had kept."""

    def __init__(self, program: str, folder: Path) -> None:
        self.folder, self.port = folder, _free_port()
        self.url = f"http://{LOOPBACK}:{self.port}"
        self._program, self._rpc = program, _free_port()
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def log(self) -> str:
        """Everything that it has printed so far."""
        path = self.folder / "influxd.log"
        return path.read_text(errors="replace") if path.exists() else ""

    def place(self, database: str, token: str = TOKEN) -> Place:
        """Return a place on this server."""
        return Place(self.url, f"{database}/kept", token)

    def archive(self, database: str) -> InfluxArchive:
        """Return the archive in a database of its own, made where there is none."""
        archive = InfluxArchive(self.place(database))
        archive.ask(f'CREATE DATABASE "{database}" WITH DURATION INF NAME "kept"', "POST")
        return archive

    def start(self) -> None:
        """Start it, make its user, and return once it answers. Raises RuntimeError where it does not."""
        command = self._command()
        with (self.folder / "influxd.log").open("ab") as log:
            environ = {**os.environ, "INFLUXDB_CONFIG_PATH": "", "INFLUXD_CONFIG_PATH": str(self.folder)}
            self._process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=log, stderr=log, env=environ)
        pause, deadline = Event(), time.monotonic() + PATIENCE_S
        while not self._answers():
            if self._process.poll() is not None or time.monotonic() > deadline:
                self.kill()
                raise RuntimeError(f"influxd does not answer on port {self.port}:\n{self.log[-2000:]}")
            pause.wait(0.05)

    def _command(self) -> list[str]:
        settings = self.folder / "influxd.conf"
        text = CONFIGURATION.format(folder=self.folder, port=self.port, rpc=self._rpc)
        settings.write_text(text, encoding="utf-8")
        return [self._program, "-config", str(settings)]

    def _answers(self) -> bool:
        # The first user may be made without one; asked again later, this is refused, which is an answer too.
        query = urlencode({"q": f"CREATE USER {USER} WITH PASSWORD '{PASSWORD}' WITH ALL PRIVILEGES"}).encode()
        try:
            with urlopen(Request(f"{self.url}/query", query), timeout=2.0):  # noqa: S310 - our own loopback server
                return True
        except HTTPError as fault:
            return fault.code == 401
        except (URLError, OSError):
            return False

    def stop(self) -> None:
        """End it as an operator would."""
        self._end(kill=False)

    def kill(self) -> None:
        """End it as a power cut would."""
        self._end(kill=True)

    def _end(self, *, kill: bool) -> None:
        process, self._process = self._process, None
        if process is not None:
            if kill:
                process.kill()
            else:
                process.terminate()
            process.wait(timeout=PATIENCE_S)

    def restart(self) -> None:
        """Start it again on the same port, with what it had kept."""
        self.stop()
        self.start()


class InfluxServer2(InfluxServer):
    """A real InfluxDB 2.x: buckets in an organisation, each readable as a database through a mapping."""

    def place(self, database: str, token: str = TOKEN_2) -> Place:
        """Return a place on this server."""
        return Place(self.url, f"{database}/kept", token, ORG)

    def archive(self, database: str) -> InfluxArchive:
        """Return the archive in a bucket of its own, made where there is none."""
        archive = InfluxArchive(self.place(database))
        prepare(archive, 0)
        return archive

    def _command(self) -> list[str]:
        files = {"bolt": self.folder / "meta.bolt", "engine": self.folder / "engine", "sqlite": self.folder / "meta.db"}
        paths = [word for name, path in files.items() for word in (f"--{name}-path", str(path))]
        address = f"{LOOPBACK}:{self.port}"
        return [self._program, *paths, "--http-bind-address", address, "--reporting-disabled", "--log-level", "warn"]

    def _answers(self) -> bool:
        # Set up once; asked for again later, this is refused, which is an answer too.
        told = {"username": USER, "password": PASSWORD, "org": ORG, "bucket": "setup", "token": TOKEN_2}
        try:
            with urlopen(Request(f"{self.url}/api/v2/setup", json.dumps(told).encode()), timeout=5.0):  # noqa: S310
                return True
        except HTTPError as fault:
            return fault.code == 422
        except (URLError, OSError):
            return False

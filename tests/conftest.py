"""What every kind of test shares: the seed, the long form, the services that are here, the count by kind."""

import os
import shutil
import signal
import socket
import subprocess
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NoReturn

import pytest
from hypothesis import HealthCheck, settings

from simulators.influx_server import HOW, HOW_2, InfluxServer, InfluxServer2, influxd2_at, influxd_at

ROOT = Path(__file__).resolve().parents[1]
KINDS = ("unit", "published", "properties", "contract", "integration", "faults", "browser", "ourselves", "examples")
FALLBACK_SEED = 20261125
"""Where there is no commit to take a seed from (an unpacked archive)."""

# Nothing here is timed: a slow machine must not fail a property.
settings.register_profile("default", derandomize=True, deadline=None, max_examples=60)
settings.register_profile(
    "long", deadline=None, max_examples=2000, print_blob=True, suppress_health_check=[HealthCheck.too_slow]
)


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--seed", type=int, default=None, help="seed of the fault runs; without it, the commit's hash")
    parser.addoption("--long", action="store_true", help="run the long forms too, and Hypothesis for longer")


def pytest_configure(config: pytest.Config) -> None:
    settings.load_profile("long" if config.getoption("--long") else "default")
    if config.getoption("--seed") is None:
        config.option.seed = seed_of_commit()


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark what needs a service, by the fixture it asks for; leave the long forms out unless they were asked for."""
    for item in items:
        names = getattr(item, "fixturenames", ())
        if {"mosquitto", "influx", "own_influx"} & set(names):
            item.add_marker("service")
        if "browser" in names:
            item.add_marker("browser")
    if config.getoption("--long"):
        return
    left_out = [item for item in items if item.get_closest_marker("long")]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if not item.get_closest_marker("long")]


def seed_of_commit() -> int:
    """Return a seed that is new with each commit and the same for everybody who tests that commit."""
    try:
        answer = subprocess.run(["git", "rev-parse", "HEAD"], cwd=ROOT, capture_output=True, text=True, check=True)
    except (OSError, subprocess.CalledProcessError):
        return FALLBACK_SEED
    return int(answer.stdout[:12], 16)


@pytest.fixture(scope="session")
def seed(request: pytest.FixtureRequest) -> int:
    """The seed that everything random in a test is made from, printed at the end of the run."""
    request.config.stash[SEED_USED] = True
    return int(request.config.getoption("--seed"))


@pytest.fixture(scope="session")
def long_form(request: pytest.FixtureRequest) -> bool:
    """Whether the long form was asked for (--long)."""
    return bool(request.config.getoption("--long"))


SEED_USED = pytest.StashKey[bool]()


def kind_of(nodeid: str) -> str:
    """Return which kind of test this is, by the folder that it stands in."""
    folder, _, rest = nodeid.partition("/")
    if folder != "tests":
        return "examples"
    return rest.partition("/")[0] if "/" in rest.partition("::")[0] else "ourselves"


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    """Print how many tests of each kind ran, and the seed where one was used."""
    ran: Counter[str] = Counter()
    skipped: Counter[str] = Counter()
    for outcome, reports in terminalreporter.stats.items():
        for report in reports:
            if not isinstance(report, pytest.TestReport):
                continue
            if outcome == "skipped":
                skipped[kind_of(report.nodeid)] += 1
            elif outcome in ("passed", "failed") and report.when == "call":
                ran[kind_of(report.nodeid)] += 1
    parts = [f"{kind} {ran[kind]}" + (f" (+{skipped[kind]} skipped)" if skipped[kind] else "") for kind in KINDS]
    terminalreporter.write_line(f"tests by kind: {', '.join(parts)}")
    if config.stash.get(SEED_USED, False):
        terminalreporter.write_line(f"seed {config.getoption('--seed')} (give it again with --seed)")


def without(service: str, how: str) -> NoReturn:
    """Skip a test whose service is not here, or fail it where CUREVIGIL_REQUIRE names the service."""
    sentence = f"needs {service}, which is not here; to bring it: {how}"
    if service in os.environ.get("CUREVIGIL_REQUIRE", "").split(","):
        pytest.fail(sentence, pytrace=False)
    pytest.skip(sentence)


@pytest.fixture(scope="session")
def absent() -> Callable[[str, str], NoReturn]:
    """`absent("browser", "sudo apt-get install chromium")`: skip, or fail where the service is required."""
    return without


def wait_until(true: Callable[[], object], what: str, timeout_s: float = 20.0) -> None:
    """Return as soon as something is true; fail with what was waited for when the time is over."""
    deadline = time.monotonic() + timeout_s
    while not true():
        if time.monotonic() > deadline:
            pytest.fail(f"waited {timeout_s:g} s in vain until {what}")
        time.sleep(0.02)


@pytest.fixture(scope="session")
def eventually() -> Callable[..., None]:
    """`eventually(lambda: store.head() == 3, "three arrivals are kept")`: wait for another thread or process."""
    return wait_until


def free_port() -> int:
    """Return a loopback port that nobody listened on a moment ago."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Mosquitto:
    """A real mosquitto on loopback that can be stopped, killed and started again with what it had kept."""

    def __init__(self, program: str, folder: Path) -> None:
        self.host = "127.0.0.1"
        self.port = free_port()
        self.folder = folder
        self._program = program
        self._process: subprocess.Popen[bytes] | None = None

    def _configuration(self) -> Path:
        lines = [
            f"listener {self.port} {self.host}",
            "allow_anonymous true",
            "persistence true",
            f"persistence_location {self.folder}/",
            "autosave_on_changes true",
            "autosave_interval 1",
            "max_queued_messages 0",
        ]
        if os.geteuid() == 0:
            # Started by root it becomes another user, who may not write into the test's folder.
            lines.append("user root")
        path = self.folder / "mosquitto.conf"
        path.write_text("\n".join(lines) + "\n")
        return path

    @property
    def log(self) -> str:
        """Everything that it has printed so far."""
        path = self.folder / "mosquitto.log"
        return path.read_text(errors="replace") if path.exists() else ""

    def start(self) -> None:
        """Start it, and return once it answers."""
        assert self._process is None, "it is running already"
        with (self.folder / "mosquitto.log").open("ab") as log:
            command = [self._program, "-c", str(self._configuration())]
            self._process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=log, stderr=log)
        wait_until(self._answers, f"mosquitto answers on port {self.port}")

    def _answers(self) -> bool:
        if self._process is not None and self._process.poll() is not None:
            pytest.fail(f"mosquitto ended with {self._process.returncode}:\n{self.log}")
        try:
            with socket.create_connection((self.host, self.port), timeout=1):
                return True
        except OSError:
            return False

    def _end(self, how: signal.Signals) -> None:
        if self._process is not None:
            self._process.send_signal(how)
            self._process.wait(timeout=20)
            self._process = None

    def stop(self) -> None:
        """End it as an operator would; it writes what it keeps."""
        self._end(signal.SIGTERM)

    def kill(self) -> None:
        """End it as a power cut would."""
        self._end(signal.SIGKILL)

    def restart(self) -> None:
        """Stop it and start it again on the same port, with what it had kept."""
        self.stop()
        self.start()


@pytest.fixture
def mosquitto(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    """A running mosquitto of this test's own, on a free loopback port."""
    program = shutil.which("mosquitto") or shutil.which(
        "mosquitto", path="/usr/sbin:/usr/local/sbin:/opt/homebrew/sbin"
    )
    if program is None:
        without("mosquitto", "sudo apt-get install mosquitto (macOS: brew install mosquitto)")
    broker = Mosquitto(program, tmp_path_factory.mktemp("mosquitto"))
    broker.start()
    yield broker
    broker.kill()


def influx_in(folder: Path, line: str = "1.8") -> Iterator[InfluxServer]:
    """Yield a running InfluxDB of one line, 1.8 or 2.x, with its files in a folder."""
    program, name, how = (influxd_at(), "influxd", HOW) if line == "1.8" else (influxd2_at(), "influxd2", HOW_2)
    if program is None:
        without(name, how)
    server = (InfluxServer if line == "1.8" else InfluxServer2)(program, folder)
    server.start()
    yield server
    server.kill()


@pytest.fixture(scope="session")
def influx(tmp_path_factory: pytest.TempPathFactory) -> Iterator[InfluxServer]:
    """A running InfluxDB 1.8 shared by the tests, each of which takes a database of its own."""
    yield from influx_in(tmp_path_factory.mktemp("influx"))


@pytest.fixture(scope="session")
def influx2(tmp_path_factory: pytest.TempPathFactory) -> Iterator[InfluxServer]:
    """A running InfluxDB 2.x shared by the tests, each of which takes a bucket of its own."""
    yield from influx_in(tmp_path_factory.mktemp("influx2"), "2.x")


@pytest.fixture(params=["1.8", "2.x"])
def own_influx(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[InfluxServer]:
    """A running InfluxDB of this test's own, to be stopped, killed and started again."""
    yield from influx_in(tmp_path_factory.mktemp("influx"), request.param)

"""How soon `curevigil run` takes its first reading and how much memory it holds, beside the imports alone."""

import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Event

from collector.present import Present
from collector.readings_sqlite import SqliteReadings
from collector.storage import StoreFailed
from collector.stores_sqlite import READINGS, open_stores
from simulators.bench_broker import LOOPBACK, fill, open_sessions, running
from simulators.bench_ingest import DAY_MESSAGES, SIZE
from simulators.bench_kitchen import DAY_S, ROOT, channels, drafts, messages
from simulators.bench_row import Row, Samples, Unmeasured

REPEATS = 3
PATIENCE_S = 60.0
LOOK_S = 0.02
SETTLE_S = 3.0
END_S = 15.0
IMPORTS = "import api.cli"
START_S, MEMORY_MB = 3.0, 180.0
SETTINGS = """\
[broker]
address = "{host}"
port = {port}
client_id = "{client}"
protocol = "5"
[[source]]
topic = "{root}/#"
format = "senml"
[stores]
folder = "{folder}"
[web]
listen = "{host}:{web}"
public_address = "http://{host}:{web}"
plain_http = true
"""


def console() -> str:
    """Return the path of our own command. Raises Unmeasured."""
    beside = Path(sys.executable).with_name("curevigil")
    found = str(beside) if beside.exists() else shutil.which("curevigil")
    if found is None:
        raise Unmeasured("the command curevigil is not installed beside this Python; install the package")
    return found


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        return int(probe.getsockname()[1])


def described(folder: Path) -> Path:
    """Make a data folder with the kitchen in its journal, as it is at every start but the first."""
    stores = open_stores(folder)
    with closing(stores):
        Present(stores.journal, time.time).decide(lambda kitchen: drafts(SIZE, time.time() - 2 * DAY_S))
    return folder


@contextmanager
def child(command: list[str], log: Path) -> Iterator[subprocess.Popen[bytes]]:
    """Run a program of ours until the end of the block."""
    with log.open("wb") as output, subprocess.Popen(command, stdout=output, stderr=output) as program:
        try:
            yield program
        finally:
            program.terminate()
            try:
                program.wait(timeout=END_S)
            except subprocess.TimeoutExpired:
                program.kill()


@contextmanager
def service(folder: Path, name: str, port: int, further: str = "") -> Iterator[subprocess.Popen[bytes]]:
    """Run `curevigil run` on a described data folder, with further tables in its settings."""
    settings = folder / f"{name}.toml"
    text = SETTINGS.format(
        host=LOOPBACK, port=port, client=name, root=ROOT, folder=(folder / name).resolve(), web=_free_port()
    )
    settings.write_text(text + further, encoding="utf-8")
    with child([console(), "run", "--config", str(settings)], folder / f"{name}.log") as program:
        yield program


def until_taken(store: SqliteReadings, count: int, program: subprocess.Popen[bytes], log: Path) -> None:
    """Return once the arrival log holds so many messages. Raises Unmeasured with what the program said."""
    pause, deadline = Event(), time.monotonic() + PATIENCE_S
    while True:
        try:
            if store.head() >= count:
                return
        except StoreFailed as fault:
            raise Unmeasured(str(fault)) from fault
        if program.poll() is not None or time.monotonic() > deadline:
            said = " / ".join(log.read_text(encoding="utf-8", errors="replace").strip().splitlines()[-3:])
            raise Unmeasured(f"`curevigil run` took no reading: {said or 'it said nothing'}")
        pause.wait(LOOK_S)


def imports_s() -> float:
    """Return how long a Python that does nothing but our imports lives. [s]"""
    begun = time.perf_counter()
    subprocess.run([sys.executable, "-c", IMPORTS], check=True)
    return time.perf_counter() - begun


def first_reading_s(folder: Path, name: str, port: int) -> float:
    """Return how long after its start `curevigil run` has kept a reading that was waiting for it. [s]"""
    described(folder / name)
    with closing(SqliteReadings(folder / name / READINGS, read_only=True)) as store:
        begun = time.perf_counter()
        with service(folder, name, port) as program:
            until_taken(store, 1, program, folder / f"{name}.log")
            return time.perf_counter() - begun


def start(program: str, scale: float) -> Iterator[Row]:
    """Measure from the start of the program to the first reading in the arrival log."""
    imports_s()
    with ExitStack() as stack:
        folder = Path(stack.enter_context(TemporaryDirectory(prefix="curevigil-bench-")))
        port = stack.enter_context(running(program, folder))
        names = [f"start-{turn}" for turn in range(REPEATS)]
        open_sessions(((name, "5") for name in names), port)
        fill(messages(channels(SIZE), len(channels(SIZE)), time.time()), port)
        ours = Samples(tuple(first_reading_s(folder, name, port) for name in names), "s")
    theirs = Samples(tuple(imports_s() for _ in range(REPEATS)), "s")
    yield Row(
        "start to first reading",
        str(ours),
        str(theirs),
        ours.median / theirs.median,
        f"at most {START_S:g} s",
        ours.median <= START_S,
        (f"`curevigil run` with {len(channels(SIZE))} channels; yardstick: a Python that imports the same and ends",),
    )


def resident_mb(pid: int) -> float:
    """Return the memory that a process holds now. [MB]"""
    status = Path(f"/proc/{pid}/status")
    if status.exists():
        line = next(line for line in status.read_text().splitlines() if line.startswith("VmRSS:"))
        return int(line.split()[1]) * 1024 / 1e6
    told = subprocess.run(["ps", "-o", "rss=", "-p", str(pid)], capture_output=True, check=True, text=True)
    return int(told.stdout) * 1024 / 1e6


def _imports_mb(folder: Path) -> float:
    ready = folder / "ready"
    code = f"{IMPORTS}, pathlib, sys; pathlib.Path({str(ready)!r}).touch(); sys.stdin.read()"
    with subprocess.Popen([sys.executable, "-c", code], stdin=subprocess.PIPE) as program:
        pause, deadline = Event(), time.monotonic() + PATIENCE_S
        while not ready.exists() and time.monotonic() < deadline and program.poll() is None:
            pause.wait(LOOK_S)
        if not ready.exists():
            raise Unmeasured("the imports alone did not come to an end")
        found = resident_mb(program.pid)
        assert program.stdin is not None
        program.stdin.close()
    return found


def memory(program: str, scale: float) -> Iterator[Row]:
    """Measure what the program holds after it has taken a day of twenty channels."""
    count = max(round(DAY_MESSAGES * scale), 500)
    with ExitStack() as stack:
        folder = Path(stack.enter_context(TemporaryDirectory(prefix="curevigil-bench-")))
        port = stack.enter_context(running(program, folder))
        open_sessions([("day", "5")], port)
        fill(messages(channels(SIZE), count, time.time()), port)
        store = stack.enter_context(closing(SqliteReadings(described(folder / "day") / READINGS, read_only=True)))
        with service(folder, "day", port) as run:
            until_taken(store, count, run, folder / "day.log")
            # The watch still has to pass the last of them, and to judge.
            Event().wait(SETTLE_S)
            ours = resident_mb(run.pid)
        theirs = _imports_mb(folder)
    yield Row(
        "memory of run after a day",
        f"{ours:.0f} MB",
        f"{theirs:.0f} MB",
        ours / theirs,
        f"at most {MEMORY_MB:g} MB",
        ours <= MEMORY_MB,
        (f"resident, after {count:,} messages of twenty channels; yardstick: the imports alone",),
    )

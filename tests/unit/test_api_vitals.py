"""What the service manager is told, on a real socket; and when it is told nothing."""

import socket
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from alerts.pulse import FRESH_S, Pulse
from api.supervisor import Supervisor, supervisor_of
from api.vitals import JOURNAL_S, Vitals
from collector.storage import StoreFailed


class Manager:
    """A service manager's end of the line."""

    def __init__(self, name: str) -> None:
        self.name = name
        self._line = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._line.bind(f"\0{name[1:]}" if name.startswith("@") else name)
        self._line.settimeout(5.0)

    def hears(self) -> str:
        return self._line.recv(4096).decode()

    def heard(self) -> list[str]:
        """Return everything that waits to be read."""
        found: list[str] = []
        self._line.setblocking(False)
        try:
            while True:
                found.append(self._line.recv(4096).decode())
        except BlockingIOError:
            return found
        finally:
            self._line.settimeout(5.0)

    def close(self) -> None:
        self._line.close()


@pytest.fixture(params=["path", "abstract"])
def manager(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Manager]:
    made = Manager(str(tmp_path / "notify") if request.param == "path" else f"@curevigil-test-{tmp_path.name}")
    yield made
    made.close()


class Machine:
    """A clock and a journal that do as they are told."""

    def __init__(self) -> None:
        self.now_s = 1000.0
        self.refuses: Exception | None = None
        self.written = 0

    def write(self) -> None:
        if self.refuses is not None:
            raise self.refuses
        self.written += 1


def vitals(machine: Machine, manager: Manager | None = None) -> Vitals:
    pulse = Pulse()
    pulse.begin(machine.now_s)
    boss = Supervisor(manager.name, 90.0) if manager is not None else None
    return Vitals(pulse, machine.write, lambda: machine.now_s, boss)


def goes(one: Vitals, now_s: float) -> None:
    one.pulse.ticked(now_s, 0.0)
    one.pulse.round.well(now_s)


def test_the_manager_is_told_that_it_has_begun_only_once_everything_went_round(manager: Manager) -> None:
    machine = Machine()
    one = vitals(machine, manager)
    one.look()
    assert manager.heard() == [] and not one.ready
    goes(one, machine.now_s)
    one.look()
    one.look()
    assert manager.heard() == ["READY=1\nWATCHDOG=1", "WATCHDOG=1"]
    one.stop()
    assert manager.hears() == "STOPPING=1"


def test_a_watch_or_a_telling_that_hangs_silences_the_sign_of_life(manager: Manager) -> None:
    for hung in ("watch", "telling"):
        machine = Machine()
        one = vitals(machine, manager)
        goes(one, machine.now_s)
        one.look()
        assert manager.heard()
        machine.now_s += FRESH_S + 1.0
        if hung == "telling":
            one.pulse.ticked(machine.now_s, 0.0)
        else:
            one.pulse.round.well(machine.now_s)
        one.look()
        assert manager.heard() == [], hung


def test_a_journal_that_refuses_is_no_hang_and_is_tried_again(manager: Manager) -> None:
    machine = Machine()
    one = vitals(machine, manager)
    machine.refuses = StoreFailed("disk full")
    for _ in range(30):
        goes(one, machine.now_s)
        one.look()
        assert len(manager.heard()) == 1
        machine.now_s += 5.0
    assert not one.journal_written()
    machine.refuses = None
    machine.now_s += JOURNAL_S
    one.look()
    assert one.journal_written()
    machine.now_s += FRESH_S + 1.0
    assert not one.journal_written(), "nobody has tried it since"


def test_a_journal_that_hangs_silences_the_sign_of_life(manager: Manager, eventually: Callable[..., None]) -> None:
    machine, hang, begun = Machine(), threading.Event(), threading.Event()
    one = vitals(machine, manager)
    goes(one, machine.now_s)
    one.look()
    manager.heard()

    def hangs() -> None:
        begun.set()
        hang.wait(20.0)

    one.write = hangs
    machine.now_s += JOURNAL_S
    one.start()
    try:
        assert begun.wait(5.0)
        goes(one, machine.now_s)
        assert manager.heard() == []
    finally:
        hang.set()
        one.stop()


def test_the_journal_is_not_written_at_every_look() -> None:
    machine = Machine()
    one = vitals(machine)
    for _ in range(10):
        one.look()
        machine.now_s += 5.0
    assert machine.written == 3


def test_a_journal_that_stumbles_over_a_fault_of_ours_does_not_end_the_look() -> None:
    machine = Machine()
    machine.refuses = ZeroDivisionError()
    one = vitals(machine)
    one.look()
    assert one.journal.turned_s == machine.now_s and one.journal.good_s is None


@pytest.mark.parametrize(
    ("environ", "patience_s"),
    [
        ({"NOTIFY_SOCKET": "/run/x"}, None),
        ({"NOTIFY_SOCKET": "/run/x", "WATCHDOG_USEC": "90000000"}, 90.0),
        ({"NOTIFY_SOCKET": "@x", "WATCHDOG_USEC": "90000000", "WATCHDOG_PID": "7"}, 90.0),
        ({"NOTIFY_SOCKET": "@x", "WATCHDOG_USEC": "90000000", "WATCHDOG_PID": "8"}, None),
        ({"NOTIFY_SOCKET": "@x", "WATCHDOG_USEC": "soon"}, None),
    ],
)
def test_how_long_the_manager_waits_is_read_from_the_environment(
    environ: dict[str, str], patience_s: float | None
) -> None:
    found = supervisor_of(environ, pid=7)
    assert found is not None and found.patience_s == patience_s
    assert found.every_s == (None if patience_s is None else patience_s / 3)


@pytest.mark.parametrize("address", ["", "vsock:2:1", "notify", "@", "/"])
def test_where_nobody_waits_to_be_told_there_is_no_manager(address: str) -> None:
    assert supervisor_of({"NOTIFY_SOCKET": address} if address else {}) is None


def test_a_manager_that_is_gone_is_complained_of_once(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    boss = Supervisor(str(tmp_path / "gone"))
    boss.say("WATCHDOG=1")
    boss.say("WATCHDOG=1")
    assert len([r for r in caplog.records if "manager_not_told" in r.message]) == 1

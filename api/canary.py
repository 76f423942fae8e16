"""A message of our own that goes the way of a reading, every minute: broker, decoder, arrival log, watch. Shell.

It comes round once the watch has passed the place in the arrival log at which it was kept. What it proves is said in
seconds; where it stays away, as much as is known of why.
"""

import logging
import secrets
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from collector.canary import OwnTopics, canary
from collector.health import State
from collector.sample import Instant
from collector.storage import Arrival

log = logging.getLogger(__name__)

EVERY_S = 60.0
IN_TIME_S = 30.0
"""Reliability 4.3: so soon a canary must be round. [s]"""
FAILS_S, NEVER_S = 150.0, 300.0
"""House: with the broker there, it has failed so long after the last one that was in time, or where none ever was. With
the two minutes of a second watcher somebody is told within five. [s]"""
LOOK_S, AWAIT_S = 0.5, 0.05
OUT_MOST = 10


class Publisher(Protocol):
    """What is asked of our own connection to the broker."""

    connected: bool
    refused: dict[str, str]
    ended: str

    def send(self, topic: str, payload: bytes) -> bool: ...


@dataclass(slots=True)
class Round:
    """One canary on its way."""

    payload: bytes
    sent_s: float
    position: int | None = None
    """Where it stands in the arrival log."""


@dataclass
class Canary:
    """Sends one every `every_s`; `passed` returns how far in the arrival log the watch has come."""

    own: OwnTopics
    board: Publisher
    passed: Callable[[], int]
    broker_there: Callable[[], bool]
    """Whether readings have a connection to the broker."""
    clock: Callable[[], Instant]
    monotonic: Callable[[], float]
    every_s: float = EVERY_S
    sender: str = field(default_factory=lambda: secrets.token_hex(8))
    sent: int = 0
    came_round: int = 0
    took_s: float | None = None
    """How long the last one took that came round. [s]"""
    round_sent_s: float | None = None
    """Monotonic instant at which that one was sent. [s]"""

    def __post_init__(self) -> None:
        """Make the thread."""
        self._out: list[Round] = []
        self._lock = threading.Lock()
        self._due_s = self._there_s = self._good_s = self.monotonic()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="canary", daemon=True)

    def start(self) -> None:
        """Begin to send."""
        self._thread.start()

    def stop(self) -> None:
        """Send no more."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(timeout=5.0)

    def arrived(self, arrivals: Sequence[Arrival]) -> None:
        """Look for our own among what was just kept; called by the intake."""
        for arrival in arrivals:
            if arrival.message.topic == self.own.canary:
                with self._lock:
                    for one in self._out:
                        if one.payload == arrival.message.payload and one.position is None:
                            one.position = arrival.position

    def good(self) -> bool:
        """Return whether the last that is due has come round in time; one that is still on its way may be."""
        if self.took_s is None or self.round_sent_s is None or self.took_s > IN_TIME_S:
            return False
        return self.monotonic() - self.round_sent_s <= self.every_s + IN_TIME_S

    def missing_s(self) -> float:
        """Return for how long, with the broker there, none has come round in time. [s]"""
        if self.good() or not self.broker_there():
            return 0.0
        return self.monotonic() - max(self._good_s, self._there_s)

    def look(self) -> None:
        """Note what has come round, and send the next where it is due."""
        now_s = self.monotonic()
        self._note_rounds(now_s)
        if not self.broker_there():
            self._there_s = now_s
        if now_s >= self._due_s and self._send(now_s):
            self._due_s = now_s + self.every_s

    def said(self) -> tuple[State, str]:
        """Return the state of the way that readings go, and what is said of it."""
        if self.good():
            return (
                State.WORKS,
                f"A message of our own came round, through the broker to the watch, in {self.took_s:.2f} s.",
            )
        if not self.broker_there():
            return State.DOUBTFUL, "The broker is away, so no message of our own can come round."
        missing_s = self.missing_s()
        if missing_s <= NEVER_S and self.took_s is None and not self._known():
            return State.STARTING, "No message of our own has come round yet."
        state = State.FAILED if missing_s > (NEVER_S if self.took_s is None else FAILS_S) else State.DOUBTFUL
        return state, f"No message of our own has come round in time for {missing_s / 60.0:.0f} min: {self._why()}"

    def numbers(self) -> dict[str, float]:
        """Return its numbers; what has never come round took no time."""
        found: dict[str, float] = {"sent": self.sent, "came_round": self.came_round}
        return found if self.took_s is None else {**found, "seconds": round(self.took_s, 3)}

    def _known(self) -> str:
        if self.board.ended:
            return f"the broker does not let us in a second time to write ({self.board.ended})"
        for topic in (self.own.canary, self.own.status):
            reason = self.board.refused.get(topic or "")
            if reason:
                return f"the broker does not let us write on {topic} ({reason})"
        return ""

    def _why(self) -> str:
        known = self._known()
        if known:
            return f"{known}. Let this client write on {self.own.canary} and {self.own.status} in its access list."
        if not self.board.connected:
            return "our second connection to the broker, by which we write, does not stand; it is tried all the time."
        with self._lock:
            kept = any(one.position is not None for one in self._out)
        if kept:
            return "it was kept, and the watch has not come so far."
        return (
            f"it was sent and has not arrived. Let this client write and read {self.own.canary} in the broker's access "
            "list; if it may, readings on their way may be late or lost."
        )

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                self.look()
            except Exception:
                log.exception("the canary stumbled")
            self._stop.wait(AWAIT_S if self._out else LOOK_S)

    def _note_rounds(self, now_s: float) -> None:
        passed = self.passed()
        with self._lock:
            done = [one for one in self._out if one.position is not None and one.position <= passed]
            self._out = [one for one in self._out if one not in done][-OUT_MOST:]
        for one in done:
            self.came_round += 1
            self.took_s, self.round_sent_s = now_s - one.sent_s, one.sent_s
            if self.took_s <= IN_TIME_S:
                self._good_s = one.sent_s

    def _send(self, now_s: float) -> bool:
        if self.own.canary is None:
            return False
        one = Round(canary(self.sender, self.sent + 1, self.clock()), now_s)
        with self._lock:
            self._out.append(one)
        if not self.board.send(self.own.canary, one.payload):
            with self._lock:
                self._out.remove(one)
            return False
        self.sent += 1
        return True

"""A call to an address outside while the whole way of a reading is known to be open; withheld as soon as it is not.

Whoever is called tells somebody when the calls stop. Nothing waits for this: it has a thread of its own.
"""

import logging
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from alerts.channels.calling import NO_ANSWER, call, caller
from alerts.channels.where import Refused
from alerts.signs import Signs, missing
from collector.health import State

log = logging.getLogger(__name__)

TIMEOUT_S = 5.0
AGAIN_S = 5.0
"""House: how soon it is looked again after a beat was withheld. [s]"""
HEADERS = {"user-agent": "curevigil", "cache-control": "no-store"}
KIND, KEY = "heartbeat", "last"
"""Where the working store keeps how the last beat went, for `curevigil check`."""


@dataclass(frozen=True, slots=True)
class Receiver:
    """Who is called, and how; nothing of the address is in a repr."""

    address: str = field(repr=False)
    method: str = "GET"
    every_s: float = 60.0
    private: bool = False


@dataclass
class Heartbeat:
    """Beats every `every_s` while nothing is missing; `keep` keeps how the last beat went."""

    receiver: Receiver
    signs: Callable[[], Signs]
    monotonic: Callable[[], float]
    keep: Callable[[Mapping[str, object]], None] = lambda how: None
    beats: int = 0
    """Taken by the receiver."""
    failures: int = 0
    failed_in_row: int = 0
    withheld: int = 0
    good_s: float | None = None
    """Monotonic instant of the last beat that was taken. [s]"""
    lacking: tuple[str, ...] = ()
    why: str = ""
    """Why the last beat was not taken."""

    def __post_init__(self) -> None:
        """Make the thread and what calls."""
        self._client = caller(TIMEOUT_S)
        self._begun_s = self.monotonic()
        self._kept: Mapping[str, object] = {}
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="heartbeat", daemon=True)

    def start(self) -> None:
        """Begin to beat."""
        self._begun_s = self.monotonic()
        self._thread.start()

    def stop(self) -> None:
        """Beat no more; a call under way is left to end by itself."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(timeout=TIMEOUT_S + 1.0)
        if not self._thread.is_alive():
            self._client.close()

    def beat(self) -> bool:
        """Call once if nothing is missing; return whether a beat was tried."""
        self.lacking = missing(self.signs())
        if self.lacking:
            self.withheld += 1
            self._keep("withheld", "; ".join(self.lacking))
            return False
        self.why = self._called()
        if self.why:
            self.failures += 1
            self.failed_in_row += 1
            log.warning("event=beat_not_taken reason=%r in_row=%d", self.why, self.failed_in_row)
        else:
            self.beats += 1
            self.failed_in_row = 0
            self.good_s = self.monotonic()
        self._keep("failed" if self.why else "taken", self.why)
        return True

    def said(self) -> tuple[State, str]:
        """Return how the heartbeat is doing, and what is said of it."""
        if self.lacking:
            return State.DOUBTFUL, f"Withheld: {'; '.join(self.lacking)}. Whoever waits for it will ask."
        if self.failed_in_row:
            times = f"{self.failed_in_row} times in a row" if self.failed_in_row > 1 else "once"
            return State.DOUBTFUL, f"The address did not take it, {times}: {self.why}."
        age_s = self.monotonic() - (self._begun_s if self.good_s is None else self.good_s)
        if age_s > 2 * self.receiver.every_s + TIMEOUT_S:
            return State.DOUBTFUL, f"No beat for {age_s:.0f} s: looking up or calling the address takes that long."
        if self.good_s is None:
            return State.STARTING, "No beat yet."
        return State.WORKS, f"The last beat was taken {age_s:.0f} s ago."

    def numbers(self) -> dict[str, float]:
        """Return its numbers."""
        return {"beats": self.beats, "failures": self.failures, "withheld": self.withheld}

    def _called(self) -> str:
        """Return why the call was not taken; empty where it was. The address is never part of it."""
        one = self.receiver
        try:
            answer = call(
                self._client, one.method, one.address, private=one.private, headers=HEADERS, stream=True,
            )  # fmt: skip
            if isinstance(answer, Refused):
                return answer.why
            answer.close()
        except NO_ANSWER as fault:
            return type(fault).__name__
        return "" if answer.is_success else f"HTTP {answer.status_code}"

    def _keep(self, how: str, why: str) -> None:
        now = {"how": how, "why": why}
        if now != self._kept:
            self._kept = now
            self.keep(now)

    def _run(self) -> None:
        while not self._stop.is_set():
            tried = True
            try:
                tried = self.beat()
            except Exception:
                log.exception("the heartbeat stumbled")
            self._stop.wait(self.receiver.every_s if tried else min(AGAIN_S, self.receiver.every_s))

"""What the program knows of its own life: whether its threads go round and its journal answers. Shell.

One thread of its own tries the journal and tells the service manager. It stops telling when something hangs, itself
included; a store that refuses, or a broker that is away, is no hang, and a new start would not mend it.
"""

import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass, field

from alerts.pulse import FRESH_S, Beat, Pulse, Turn
from api.supervisor import GOES_ON, READY, STOPPING, Supervisor
from collector.storage import StoreFailed

log = logging.getLogger(__name__)

LOOK_S = 5.0
JOURNAL_S = 20.0
"""House: how often the journal is tried. A cursor is written, no entry. [s]"""


@dataclass
class Vitals:
    """Looks every few seconds; `write` writes a trifle into the journal and raises StoreFailed where it cannot."""

    pulse: Pulse
    write: Callable[[], None]
    monotonic: Callable[[], float]
    supervisor: Supervisor | None = None
    watches: Callable[[bool], None] = lambda really: None
    """Told at every look whether anybody may rely on the watch."""
    fresh_s: float = FRESH_S
    """How long the journal may be without an answer. [s]"""
    journal: Turn = field(default_factory=Turn)
    ready: bool = False
    """Whether the manager has been told that the program has begun."""

    def __post_init__(self) -> None:
        """Make the thread."""
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="vitals", daemon=True)

    def start(self) -> None:
        """Begin to look."""
        self._thread.start()

    def stop(self) -> None:
        """Say that the program stops, and look no more."""
        self._stop.set()
        if self.supervisor is not None:
            self.supervisor.say(STOPPING)
        if self._thread.is_alive():
            self._thread.join(timeout=5.0)

    def journal_written(self) -> bool:
        """Return whether the journal has taken something lately."""
        return self.journal.good_s is not None and self.monotonic() - self.journal.good_s <= self.fresh_s

    def _run(self) -> None:
        wait_s = LOOK_S
        if self.supervisor is not None and self.supervisor.every_s is not None:
            wait_s = min(wait_s, self.supervisor.every_s)
        while not self._stop.is_set():
            try:
                self.look()
            except Exception:
                log.exception("the look at our own life stumbled")
            self._stop.wait(wait_s)

    def look(self) -> None:
        """Try the journal where that is due, then tell the manager if everything goes round."""
        tried_s = self.journal.turned_s
        if tried_s is None or self.monotonic() - tried_s >= JOURNAL_S:
            self._try_journal()
        self.watches(self.pulse.beat(self.monotonic()) is Beat.FRESH)
        if self.supervisor is not None and self._goes_round():
            self.supervisor.say(GOES_ON if self.ready else f"{READY}\n{GOES_ON}")
            self.ready = True

    def _goes_round(self) -> bool:
        now_s = self.monotonic()
        answered_s = self.journal.turned_s
        return self.pulse.turns(now_s) is Beat.FRESH and answered_s is not None and now_s - answered_s <= self.fresh_s

    def _try_journal(self) -> None:
        try:
            self.write()
        except StoreFailed as fault:
            log.warning("event=journal_refuses fault=%r", str(fault))
            self.journal.badly(self.monotonic())
        except Exception as fault:  # noqa: BLE001 - the look at our own life never ends by itself
            log.error("the journal stumbled", exc_info=fault)
            self.journal.badly(self.monotonic())
        else:
            self.journal.well(self.monotonic())

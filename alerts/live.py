"""The watch and the telling, each in its own thread of the running service. Shell."""

import logging
import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from alerts.pulse import Pulse, bound_for
from alerts.service import Service
from collector.events import Draft, GapSuspected
from collector.storage import Arrival, StoreFailed

log = logging.getLogger(__name__)

TICK_S = 10.0
TELL_S = 1.0
GROUPS_MAX = 200
CLOCK_STEP_S = 2.0


@dataclass
class LiveWatch:
    """Runs a `Service` on committed groups and on a monotonic timer of our own.

    `monotonic` is in the seconds of the machine; `tick_s` too, so a virtual clock that runs sixty times as fast wants
    a sixtieth of it.
    """

    service: Service
    monotonic: Callable[[], float]
    tick_s: float = TICK_S
    tell_s: float = TELL_S

    def __post_init__(self) -> None:
        self.pulse = Pulse(bound_for(self.tick_s))
        self._wake = threading.Event()
        self._news = threading.Event()
        self._stop = threading.Event()
        self._threads = [
            threading.Thread(target=self._watch, name="watch", daemon=True),
            threading.Thread(target=self._tell, name="tell", daemon=True),
        ]
        self._clock_gap: float | None = None
        self._groups: deque[Sequence[Arrival]] = deque(maxlen=GROUPS_MAX)

    def start(self) -> None:
        """Rebuild the state from the stores and begin. Raises StoreFailed."""
        self.service.start()
        self.pulse.begin(self.monotonic())
        for thread in self._threads:
            thread.start()

    def offer(self, arrivals: Sequence[Arrival]) -> None:
        """Hand over a group that was just committed, with its positions: it need not be read back from the log.

        Too many groups waiting are forgotten; the watch then reads them from the log.
        """
        self._groups.append(arrivals)
        self._wake.set()

    def notify(self) -> None:
        """Say that a group was committed, or the journal grew."""
        self._wake.set()

    def stop(self) -> None:
        """End both threads; what was judged is in the journal."""
        self._stop.set()
        self._wake.set()
        self._news.set()
        for thread in self._threads:
            thread.join(timeout=15.0)

    @property
    def alive(self) -> bool:
        """Return whether both threads run."""
        return all(thread.is_alive() for thread in self._threads)

    def _watch(self) -> None:
        due = self.monotonic()
        while not self._stop.is_set():
            self._wake.wait(max(0.0, due - self.monotonic()))
            self._wake.clear()
            try:
                self._follow()
                if self.monotonic() >= due:
                    begun = self.monotonic()
                    self._check_clock()
                    self.service.tick()
                    ended = self.monotonic()
                    self.pulse.ticked(ended, ended - begun)
                    due = max(due + self.tick_s, ended)
                self._news.set()
            except StoreFailed as fault:
                self._failed("the store refused", fault)
                due = self._pause(due)
            except Exception as fault:  # noqa: BLE001 - the loop of the watch never ends by itself
                self._failed("the watch stumbled", fault)
                due = self._pause(due)

    def _follow(self) -> None:
        read_log = not self._groups
        while self._groups:
            group = self._groups.popleft()
            if group and group[0].position == self.service.taken + 1:
                self.service.take(group)
            elif group and group[-1].position > self.service.taken:
                read_log = True
        if read_log:
            self.service.follow()

    def _pause(self, due: float) -> float:
        self.pulse.tick.badly(self.monotonic())
        self._stop.wait(1.0)
        return max(due, self.monotonic())

    def _failed(self, what: str, fault: Exception) -> None:
        self.pulse.failed(what, fault)
        log.error("%s", what, exc_info=fault)

    def _check_clock(self) -> None:
        # A host clock that steps makes spans on wall time doubtful: say so in the record.
        ratio = TICK_S / self.tick_s
        gap = self.service.clock() - self.monotonic() * ratio
        before, self._clock_gap = self._clock_gap, gap
        if before is not None and abs(gap - before) > CLOCK_STEP_S * ratio:
            self.pulse.stepped_s = self.monotonic()
            now = self.service.clock()
            step = GapSuspected(
                min(now, now - (gap - before)), now, f"the host's clock stepped by {gap - before:+.1f} s"
            )
            self.service.present.decide(lambda kitchen: [Draft(now, "system", step)])

    def _tripped(self, what: str, fault: Exception) -> None:
        self._failed(what, fault)
        self.pulse.round.badly(self.monotonic())
        self._stop.wait(1.0)

    def _tell(self) -> None:
        told = 0
        while not self._stop.is_set():
            # A failed way is followed by the next at once, a silent one soon; so look again while anything goes out.
            if not told:
                self._news.wait(self.tell_s)
            self._news.clear()
            try:
                told = 0
                told = self.service.tell()
                self.pulse.told += told
                self.pulse.round.well(self.monotonic())
            except StoreFailed as fault:
                self._tripped("telling could not be recorded", fault)
            except Exception as fault:  # noqa: BLE001 - as above
                self._tripped("telling stumbled", fault)
        try:
            self.service.settle()
        except StoreFailed as fault:
            self._failed("how a telling ended could not be recorded", fault)

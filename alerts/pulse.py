"""How the watch and the telling are doing, by the machine's own monotonic clock. Pure: the instants are passed in.

A domain clock may step, or run sixty times as fast; whether a thread has hung is no question for it.
"""

from dataclasses import dataclass
from enum import Enum

FRESH_S = 60.0
"""House: without a good tick or a good round of telling for so long, nobody may rely on the watch. [s]"""
LEAST_S = 10.0
"""House: however fast the domain clock runs, a busy machine may take so long. [s]"""
CALM_TICKS = 6
"""House: after so many good ticks in a row a stumble is told no more; it stays counted."""


class Beat(Enum):
    """Whether something that repeats itself still does."""

    STARTING = "starting"
    """It has not been seen once, and was begun a moment ago."""
    FRESH = "fresh"
    STALE = "stale"


@dataclass
class Turn:
    """When something that repeats itself was last done, and when that last went well."""

    good_s: float | None = None
    """Monotonic instant of the last time that it went well. [s]"""
    turned_s: float | None = None
    """Monotonic instant of the last time at all: what is refused has not hung. [s]"""

    def well(self, now_s: float) -> None:
        """Note that it went well."""
        self.good_s = self.turned_s = now_s

    def badly(self, now_s: float) -> None:
        """Note that it was tried, and did not go well."""
        self.turned_s = now_s


@dataclass
class Pulse:
    """Read by others; `tick` and what belongs to it is written by the watch, `round` by the telling.

    `bound_s` is how long either may go without being good.
    """

    bound_s: float = FRESH_S
    begun_s: float | None = None
    """Monotonic instant at which the threads were started; None before that. [s]"""
    ticks: int = 0
    tick_took_s: float = 0.0
    failures: int = 0
    last_failure: str = ""
    """What it last stumbled over; empty again after CALM_TICKS good ticks in a row."""
    told: int = 0
    stepped_s: float | None = None
    """Monotonic instant at which a step of the host's clock was last seen. [s]"""
    _calm: int = 0

    def __post_init__(self) -> None:
        """Make the stamps of both threads."""
        self.tick = Turn()
        self.round = Turn()

    def begin(self, now_s: float) -> None:
        """Note that the threads are being started."""
        self.begun_s = now_s

    def ticked(self, now_s: float, took_s: float) -> None:
        """Note a good tick of the watch, and how long it took. [s]"""
        self.ticks += 1
        self.tick_took_s = took_s
        self.tick.well(now_s)
        self._calm += 1
        if self._calm >= CALM_TICKS:
            self.last_failure = ""

    def failed(self, what: str, fault: Exception) -> None:
        """Note that something stumbled."""
        self.failures += 1
        self.last_failure = f"{what}: {type(fault).__name__}"
        self._calm = 0

    def beat(self, now_s: float) -> Beat:
        """Return whether both the watch and the telling have been good within the bound."""
        return self._of((self.tick.good_s, self.round.good_s), now_s)

    def turns(self, now_s: float) -> Beat:
        """Return whether both threads go round, well or badly: what a new start of the program could mend is a hang."""
        return self._of((self.tick.turned_s, self.round.turned_s), now_s)

    def stale(self, now_s: float) -> str:
        """Return which of the two has not been good for too long, in words; empty where neither."""
        words = {"units were not looked at": self.tick, "nobody could be told": self.round}
        late = [what for what, turn in words.items() if self._of((turn.good_s,), now_s) is Beat.STALE]
        return " and ".join(late)

    def _of(self, stamps: tuple[float | None, ...], now_s: float) -> Beat:
        if self.begun_s is None:
            return Beat.STALE
        if any(now_s - (self.begun_s if at is None else at) > self.bound_s for at in stamps):
            return Beat.STALE
        return Beat.STARTING if None in stamps else Beat.FRESH


def bound_for(tick_s: float) -> float:
    """Return how long a watch that ticks so often may go without a good tick. [s]

    >>> bound_for(10.0), bound_for(10.0 / 60.0)
    (60.0, 10.0)
    """
    return max(6.0 * tick_s, LEAST_S)

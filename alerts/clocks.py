"""How long after its own time each reading of a channel was received: whether the clock of a device is wrong. Pure."""

from collections import deque
from dataclasses import dataclass, field
from statistics import median

from alerts.learned import GRID_S
from collector.sample import Instant, Quality

WATCHED_S = 3600.0
"""House: a clock is called wrong by what an hour of readings say, one each of the grid. [s]"""
LEAST = 4
"""House: fewer readings than this say nothing of a clock."""
WRONG_S = 120.0
"""House: more than this is no delay of a radio; a device this far ahead is not believed at intake either. [s]"""
BACK_S = 60.0
"""House: told already, a clock is wrong until a reading of the hour lags by less than this, however unsteady. [s]"""
STEADY_S = 60.0
"""House: what came late after an outage comes less and less late; a clock that is wrong stays so. [s]"""


@dataclass(slots=True)
class Lags:
    """The lags of the last hour and a half, thinned by when they were received."""

    rows: deque[tuple[Instant, float, bool]] = field(default_factory=deque)
    """When received, how long after its own time, and whether that time could not be believed."""

    def take(self, measured_at: Instant, received_at: Instant, quality: Quality | int) -> None:
        """Take in when a reading was measured and received."""
        if self.rows and received_at // GRID_S <= self.rows[-1][0] // GRID_S:
            return
        self.rows.append((received_at, received_at - measured_at, bool(quality & Quality.CLOCK_DOUBT)))
        while len(self.rows) > LEAST and self.rows[1][0] <= received_at - WATCHED_S:
            self.rows.popleft()

    def late_since(self, late_s: float) -> Instant | None:
        """Return since when all that was received lagged by more than a span; None where the last did not."""
        since = None
        for received_at, lag_s, _ in reversed(self.rows):
            if lag_s <= late_s:
                break
            since = received_at
        return since

    def wrong(self, *, stands: bool = False) -> tuple[Instant, float | None] | None:
        """Return since when the clock has been wrong, and by how much its readings lag; None where it is not.

        The lag is None where the device told times that could not be believed: all of them, or where it `stands`
        already, any. [s]
        """
        if len(self.rows) < LEAST or self.rows[-1][0] - self.rows[0][0] < WATCHED_S:
            return None
        doubts = [doubted for _, _, doubted in self.rows]
        if all(doubts) or (stands and any(doubts)):
            return self.rows[0][0], None
        lags = [lag for _, lag, _ in self.rows]
        unsteady = not stands and max(lags) - min(lags) > STEADY_S
        if any(doubts) or min(lags) <= (BACK_S if stands else WRONG_S) or unsteady:
            return None
        return self.rows[0][0], median(lags)

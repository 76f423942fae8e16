"""What was last heard of each channel of a unit, and what has fallen silent. Pure: no clock, no I/O."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from alerts.surroundings import TEMPERATURES, gap_after_s
from collector.readings import Assignment, Quantity
from collector.sample import Instant, Quality


def is_air(assignment: Assignment) -> bool:
    """Return whether a channel measures the air of its unit."""
    return assignment.quantity is Quantity.AIR_TEMPERATURE and assignment.lot is None


@dataclass(frozen=True, slots=True)
class Heard:
    """The last that was heard of one channel."""

    assignment: Assignment
    received_at: Instant
    """From when silence counts: its last reading, or the beginning of the watch where that is later."""
    measured_at: Instant
    value: float
    spoke_at: Instant = -math.inf
    """When its last trusted reading was received."""
    live_at: Instant = -math.inf
    """When the last of them was received that was measured not long before: what is late tells of then, not of now."""
    taken: bool = False
    """Whether it was heard since the watch began, and not only found in the store."""

    @property
    def silent_after_s(self) -> float:
        """Return how long it may say nothing. [s]"""
        return gap_after_s(self.assignment.interval_s)

    @property
    def is_air(self) -> bool:
        """Return whether it measures the air of the unit."""
        return is_air(self.assignment)

    def tells_of(self, lot: str, tub: str) -> bool:
        """Return whether a tub's estimate follows from it: the air of the unit, or a probe in the tub."""
        a = self.assignment
        probes = a.lot == lot and a.tub in (None, tub) and a.quantity in TEMPERATURES
        return self.is_air or probes

    def live(self, now: Instant) -> bool:
        """Return whether it tells of now: its last reading that was not late is no older than it may be silent."""
        return now - self.live_at <= self.silent_after_s

    def silent(self, now: Instant, *, stands: bool) -> bool:
        """Return whether it has said nothing for too long.

        Where an alarm about silence `stands`, a watch that began anew grants no patience: only a reading ends it, and
        none that was in the store before. Since a clock was put back, what is stored may look as if it came just now.
        """
        if stands:
            return not self.taken or now - self.spoke_at > self.silent_after_s
        return now - self.received_at > self.silent_after_s


def late(measured_at: Instant, received_at: Instant, interval_s: float) -> bool:
    """Return whether a reading was received so long after it was measured that it tells of then, not of now."""
    return received_at - measured_at > gap_after_s(interval_s)


@dataclass(frozen=True, slots=True)
class Taken:
    """One trusted reading as the watch takes it: offset applied."""

    channel: str
    measured_at: Instant
    received_at: Instant
    value: float
    quality: Quality = Quality.GOOD


def last_spoke_at(channels: Iterable[Heard], never_at: Instant) -> Instant:
    """Return when any of the channels was last received; `never_at` where none of them ever was."""
    spoke = max((h.spoke_at for h in channels), default=-math.inf)
    return never_at if math.isinf(spoke) else spoke


def patience_s(channels: Iterable[Heard]) -> float:
    """Return how long the channels may all say nothing. [s]"""
    return max((h.silent_after_s for h in channels), default=gap_after_s(0.0))


def with_life_of(channels: Mapping[str, Heard], before: Mapping[str, Heard]) -> dict[str, Heard]:
    """Return channels found in the store, those taken that were so before."""
    return {name: replace(h, taken=name in before and before[name].taken) for name, h in channels.items()}

"""What people have put aside for a time: an alarm that is shelved, an empty unit out of service, planned work in one.

Pure: no clock, no I/O.
"""

from dataclasses import dataclass

from collector.sample import Instant


@dataclass(frozen=True, slots=True)
class Shelving:
    """One alarm that a person put aside for a time, with a reason (ISA-18.2)."""

    from_at: Instant
    until_at: Instant
    """When it ends by itself."""
    reason: str
    by: str
    ended_at: Instant | None = None
    ended_by: str = ""
    why: str = ""
    """Why it ended: `time`, `hand`, `worse`, `answered`, `returned`, or `clock` where the clock was put back."""
    changes: int = 0
    """How often the alarm had become worth telling anew when the shelving ended."""

    @property
    def lasted_s(self) -> float:
        """Return how long it lasted, or is to last while it does; a clock that was put takes nothing away. [s]"""
        longest = self.until_at - self.from_at
        if self.ended_at is None or self.why == "clock":
            return longest
        return min(max(self.ended_at - self.from_at, 0.0), longest)


@dataclass(frozen=True, slots=True)
class OutOfService:
    """An empty unit of which nothing is told until it is in service again."""

    unit: str
    since_at: Instant
    by: str
    reason: str


@dataclass(frozen=True, slots=True)
class PlannedWork:
    """Cleaning or loading that was announced for a unit, from … until …."""

    id: str
    unit: str
    what: str
    """`cleaning` or `loading`."""
    from_at: Instant
    until_at: Instant
    by: str
    note: str = ""
    ended_at: Instant | None = None
    """When somebody ended it early, or called it off."""

    @property
    def over_at(self) -> Instant:
        """Return when it is over: as planned, or when it was ended."""
        return self.until_at if self.ended_at is None else min(self.until_at, max(self.ended_at, self.from_at))

    def goes_on_at(self, at: Instant) -> bool:
        """Return whether the work goes on at the instant."""
        return self.from_at <= at < self.over_at

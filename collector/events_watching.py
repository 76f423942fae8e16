"""Events by which people put alarms aside for a time, and units out of service. Pure: no clock, no I/O."""

from dataclasses import dataclass
from typing import TypeAlias

from collector.sample import Instant


@dataclass(frozen=True, slots=True)
class AlarmShelved:
    """A person put one standing alarm aside for a time; it asks anew afterwards, whoever had answered before."""

    alarm: str
    until_at: Instant
    reason: str


@dataclass(frozen=True, slots=True)
class AlarmUnshelved:
    """The shelving of an alarm ended: its time was over, by hand, or because the clock was put back."""

    alarm: str
    why: str
    """`time`, `hand` or `clock`."""


@dataclass(frozen=True, slots=True)
class UnitOutOfService:
    """An empty unit was put out of service: nothing of it is told."""

    unit: str
    reason: str


@dataclass(frozen=True, slots=True)
class UnitInService:
    """A unit is in service again."""

    unit: str
    reason: str
    lot: str | None = None
    """The batch of which a tub was put into it, where that is why."""


@dataclass(frozen=True, slots=True)
class WorkPlanned:
    """Cleaning or loading of a unit was announced; the work is named after this entry's position."""

    unit: str
    what: str
    """`cleaning` or `loading`."""
    from_at: Instant
    until_at: Instant
    note: str = ""


@dataclass(frozen=True, slots=True)
class WorkEnded:
    """Planned work was ended before its time, or called off."""

    work: str
    why: str
    """`hand`, or `clock` where the clock was put back."""


@dataclass(frozen=True, slots=True)
class AlarmExplained:
    """What is likely behind a standing alarm became clear, or was withdrawn; nobody is told anew."""

    alarm: str
    parameters: dict[str, float | int | str | None]
    """What its sentence is filled with from now on, beside what it was."""


Watching: TypeAlias = (
    AlarmExplained | AlarmShelved | AlarmUnshelved | UnitOutOfService | UnitInService | WorkPlanned | WorkEnded
)

"""Events of drills: that one was held, who was told by which way, who confirmed. Pure: no clock, no I/O.

A drill touches no batch, no unit and no alarm; that it was held is written down, since an inspector asks for it.
"""

from dataclasses import dataclass
from typing import TypeAlias


@dataclass(frozen=True, slots=True)
class DrillStarted:
    """A drill began; its name is D and the position of this entry."""

    kind: str
    """`calls`: whether everybody is reached; `fault`: a warming room is rehearsed from reading to answer."""
    people: tuple[str, ...]
    """Who is to be told."""
    unit: str = ""
    """The unit that is said to warm, in a `fault`."""


@dataclass(frozen=True, slots=True)
class DrillTold:
    """One attempt to tell one person, at its end."""

    drill: str
    person: str
    channel: str
    state: str
    """`accepted` or `failed`."""
    detail: str = ""
    occasion: str = "call"
    """`call`, or `missing`: who has not confirmed was named to this person."""


@dataclass(frozen=True, slots=True)
class DrillAnswered:
    """Somebody confirmed that they were reached."""

    drill: str
    person: str
    way: str
    """`link` or `page`."""


@dataclass(frozen=True, slots=True)
class DrillEnded:
    """A drill is over."""

    drill: str
    reason: str
    missing: tuple[str, ...] = ()
    """Who had not confirmed by then."""


Drilling: TypeAlias = DrillStarted | DrillTold | DrillAnswered | DrillEnded

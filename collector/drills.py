"""A drill, as the journal's events make it. Pure: no clock, no I/O."""

from dataclasses import dataclass

from collector.sample import Instant

CALLS, FAULT = "calls", "fault"
REAL_ALARM = "a real alarm began"


@dataclass(frozen=True, slots=True)
class Called:
    """One attempt to tell one person, at its end."""

    at: Instant
    person: str
    channel: str
    accepted: bool
    occasion: str = "call"


@dataclass(frozen=True, slots=True)
class Drill:
    """A rehearsed fault, or a rehearsed call of everybody."""

    id: str
    kind: str
    started_at: Instant
    people: tuple[str, ...]
    unit: str = ""
    called: tuple[Called, ...] = ()
    answered: tuple[tuple[str, Instant], ...] = ()
    """Who confirmed when, in that order; also after its end."""
    ended_at: Instant | None = None
    reason: str = ""

    @property
    def missing(self) -> tuple[str, ...]:
        """Return who of those that are to be told has not confirmed."""
        confirmed = {person for person, _ in self.answered}
        return tuple(person for person in self.people if person not in confirmed)

    @property
    def open(self) -> bool:
        """Return whether it goes on: it was not ended, and somebody's word is awaited."""
        return self.ended_at is None and bool(self.missing)

    def tried(self, person: str, occasion: str = "call") -> tuple[str, ...]:
        """Return the ways by which a person was called, in that order."""
        return tuple(one.channel for one in self.called if (one.person, one.occasion) == (person, occasion))

    def reached(self, person: str, occasion: str = "call") -> bool:
        """Return whether one of a person's ways took it, which does not say that anybody read it."""
        return any(one.accepted for one in self.called if (one.person, one.occasion) == (person, occasion))

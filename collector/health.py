"""How each part of the running program is doing, in a sentence for people and in numbers. Pure: no clock, no I/O."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from types import MappingProxyType

from collector.sample import Instant


class State(StrEnum):
    """How one part is doing."""

    STARTING = "starting"
    WORKS = "works"
    DOUBTFUL = "doubtful"
    """It works, and something about it asks for a look."""
    FAILED = "failed"
    STOPPED = "stopped"


@dataclass(frozen=True, slots=True)
class Part:
    """What is known about one part."""

    name: str
    state: State
    since_at: Instant
    """Since when it has been in this state."""
    sentence: str
    numbers: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))


class Health:
    """The parts by name. Each part is written by one thread alone; anybody may read at any time.

    A part is replaced whole, never changed in place, so a reader sees either the old one or the new one.
    """

    def __init__(self) -> None:
        self._parts: dict[str, Part] = {}

    def say(self, name: str, state: State, sentence: str, now: Instant) -> None:
        """Set a part's state and sentence; `since_at` stays while the state does, the numbers stay as they are."""
        known = self._parts.get(name)
        if known is None:
            self._parts[name] = Part(name, state, now, sentence)
        else:
            since_at = known.since_at if known.state is state else now
            self._parts[name] = replace(known, state=state, since_at=since_at, sentence=sentence)

    def count(self, name: str, numbers: Mapping[str, float]) -> None:
        """Set some of a part's numbers; the others stay. Does nothing for a part that has said nothing yet."""
        known = self._parts.get(name)
        if known is not None:
            self._parts[name] = replace(known, numbers=MappingProxyType({**known.numbers, **numbers}))

    def part(self, name: str) -> Part | None:
        """Return one part as last told, or None for one that has said nothing yet."""
        return self._parts.get(name)

    def parts(self) -> tuple[Part, ...]:
        """Return every part, by name."""
        return tuple(part for _, part in sorted(dict(self._parts).items()))

    def fails(self) -> bool:
        """Return whether any part has failed."""
        return any(part.state is State.FAILED for part in self.parts())

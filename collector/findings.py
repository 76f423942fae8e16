"""What a rule said of a batch, what is proposed, and who decided. Pure: no clock, no I/O."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TypeAlias

from collector.sample import Instant

Parameters: TypeAlias = Mapping[str, float | int | str | None]
"""What a sentence is filled with: figures already rounded to their printed digit."""


class Outcome(StrEnum):
    """What a rule can say; the third never passes for the first."""

    WITHIN = "within"
    OUTSIDE = "outside"
    CANNOT_TELL = "cannot_tell"


class Tier(StrEnum):
    """How far a finding reaches."""

    NONE = "none"
    RECORDED = "recorded"
    """Cause and action are asked for by the next working day."""
    EXTEND = "extend"
    HOLD = "hold"
    REJECT = "reject"


class Disposition(StrEnum):
    """What is to become of the batch."""

    CONTINUE = "continue"
    EXTEND = "extend"
    HOLD = "hold"
    REJECT = "reject"
    RELEASE = "release"


@dataclass(frozen=True, slots=True)
class Evidence:
    """What a finding rests on."""

    from_at: Instant
    until_at: Instant
    channels: tuple[str, ...]
    readings: int
    gap_s: float
    """Time inside the evidence for which nothing trustworthy is known. [s]"""
    measure: str
    """What was measured, in words: `time above limit`, `longest excursion`."""
    value: float | None
    unit: str
    threshold: float | None


@dataclass(frozen=True, slots=True)
class Finding:
    """One rule applied to one batch."""

    rule: str
    """`e-2` and so on; a hazard's row adds its name: `e-3 staphylococcus_aureus`."""
    outcome: Outcome
    tier: Tier
    sentence: str
    """Key of the sentence that says it."""
    parameters: Parameters
    evidence: Evidence
    limits: tuple[str, ...] = ()
    """Ids of the rulebook rows that decided."""
    add_s: float = 0.0
    """Curing time to add. [s]"""

    def size(self) -> tuple[object, ...]:
        """Return how much a hold rests on, coarsely: what somebody has looked at does not answer for what came after.

        One more excursion or gap counts, and so does a measure that has doubled since it reached its threshold.
        """
        if self.tier is not Tier.HOLD:
            return ()
        value, threshold = self.evidence.value, self.evidence.threshold
        doubled = math.floor(math.log2(value / threshold)) if value and threshold and value >= threshold > 0 else 0
        return (self.parameters.get("excursions"), self.parameters.get("gaps"), doubled)


@dataclass(frozen=True, slots=True)
class Proposal:
    """What the rules propose for a batch, with everything it rests on; a person decides."""

    lot: str
    disposition: Disposition
    findings: tuple[Finding, ...]
    judged_until_at: Instant
    rulebook: str
    """`US 2026.1`: id and version."""
    software: str
    add_s: float = 0.0
    new_end_at: Instant | None = None
    """The working check at which the cure now ends; None while the plan's own end stands."""
    decide_by_at: Instant | None = None
    """A hold's time to decide by."""
    blocks_release: bool = False

    def outcome(self) -> tuple[object, ...]:
        """Return what must differ for a new proposal to be worth recording."""
        said = tuple((f.rule, f.outcome, f.tier, f.size()) for f in self.findings)
        return (self.disposition, said, self.new_end_at, self.rulebook)


@dataclass(frozen=True, slots=True)
class SignOff:
    """A named person confirmed or changed a disposition, with a reason."""

    lot: str
    disposition: Disposition
    reason: str
    person: str
    proposal: int
    """Position of the proposal that was looked at."""
    where_kept: str = ""
    """Where held food stands."""


OF_INSTRUMENTS = ("door", "sensor", "equipment", "info")
"""Categories of what says nothing of the meat. A kind of another category is taken to judge it."""


@dataclass(frozen=True, slots=True)
class Condition:
    """Something the watch finds true of a unit now, that needs a person."""

    unit: str
    """Unit id; for what concerns several, `*` for the whole kitchen, `*site` for a site, `*site/unit` for a group."""
    kind: str
    category: str
    """`temperature`, `cold`, `door`, `sensor`, `connectivity`, `power`, `equipment` or `info`."""
    wakes: bool
    """Whether it wakes a person at night."""
    since_at: Instant
    lots: tuple[str, ...] = ()
    early_at: Instant | None = None
    likely_at: Instant | None = None
    late_at: Instant | None = None
    sentence: str = ""
    parameters: Parameters = field(default_factory=dict)

    @property
    def key(self) -> tuple[str, str]:
        """Return what makes two conditions the same alarm."""
        return (self.unit, self.kind)

    @property
    def members(self) -> tuple[str, ...]:
        """Return the units that one cause is behind, as far as they were recorded; empty for one unit's own."""
        found: list[str] = []
        while (unit := self.parameters.get(f"unit_{len(found) + 1}")) is not None:
            found.append(str(unit))
        return tuple(found)

    def concerns(self, unit: str) -> bool:
        """Return whether it is about a unit, by itself or with others."""
        return unit == self.unit or self.unit == "*" or unit in self.members

    @property
    def judges_product(self) -> bool:
        """Return whether it says something of the meat, or that nobody knows; not of air and instruments alone."""
        return self.wakes or (self.kind != "air_far_over" and self.category not in OF_INSTRUMENTS)

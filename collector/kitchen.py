"""The present state of a kitchen, as the journal's events make it (`collector.fold`). Pure: no clock, no I/O."""

from dataclasses import dataclass, field

from collector import events as e
from collector import events_making as m
from collector.batches import Batch, HandReading
from collector.drills import Drill
from collector.findings import Condition, Disposition, Proposal, SignOff
from collector.logs import Calibration, Composition, ShiftNote, UnderTest
from collector.readings import Assignment, Site, Unit
from collector.rota import RotaStep
from collector.sample import Instant
from collector.suspensions import OutOfService, PlannedWork, Shelving


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody of the site, by the name that signs."""

    id: str
    name: str
    roles: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Told:
    """One attempt to tell one person of one occasion by one channel."""

    at: Instant
    """When it came to its present state."""
    occasion: str
    person: str
    channel: str
    state: str
    """`attempting`, `accepted` or `failed`; what was begun and whose end nobody saw stays `attempting`."""
    detail: str = ""
    began_at: Instant | None = None

    @property
    def accepted(self) -> bool:
        """Return whether the channel took it, which does not say that anybody read it."""
        return self.state == "accepted"


@dataclass(frozen=True, slots=True)
class Seen:
    """One person opened what they were told of."""

    at: Instant
    occasion: str
    person: str
    by: str
    """`link` or `page`."""


@dataclass(frozen=True, slots=True)
class Alarm:
    """An alarm with its state in the sense of ISA-18.2: active or returned, acknowledged or not."""

    id: str
    condition: Condition
    raised_at: Instant
    changes: int = 0
    changed_at: Instant | None = None
    """When it last became something that must be told anew."""
    woke_at: Instant | None = None
    """Since when it is something that wakes a person; None while it is not."""
    acknowledged_at: Instant | None = None
    acknowledged_by: str = ""
    answer: str = ""
    arriving_at: Instant | None = None
    returned_at: Instant | None = None
    return_sentence: str = ""
    return_parameters: dict[str, float | int | str | None] = field(default_factory=dict)
    told: tuple[Told, ...] = ()
    """Every attempt, in the order in which they began."""
    seen: tuple[Seen, ...] = ()
    shelvings: tuple[Shelving, ...] = ()
    """Every time that somebody put it aside, in order."""

    @property
    def active(self) -> bool:
        """Return whether what it is about still holds."""
        return self.returned_at is None

    @property
    def shelving(self) -> Shelving | None:
        """Return the shelving that nobody has ended yet, though its time may be over."""
        return self.shelvings[-1] if self.shelvings and self.shelvings[-1].ended_at is None else None

    @property
    def state(self) -> str:
        """Return the ISA-18.2 state in words."""
        if self.shelving is not None:
            return "shelved alarm"
        if self.active:
            return "acknowledged alarm" if self.acknowledged_at is not None else "unacknowledged alarm"
        return "normal" if self.acknowledged_at is not None else "returned to normal, unacknowledged"


@dataclass(frozen=True, slots=True)
class Recorded:
    """Something with the journal position and instant at which it was written."""

    position: int
    at: Instant
    by: str


@dataclass(frozen=True, slots=True)
class ProposalRecord(Recorded):
    """A proposal as it was recorded."""

    proposal: Proposal


@dataclass(frozen=True, slots=True)
class SignOffRecord(Recorded):
    """A decision as it was recorded."""

    sign_off: SignOff


@dataclass(frozen=True, slots=True)
class Gap:
    """Time in which messages may have been lost."""

    from_at: Instant
    until_at: Instant
    cause: str


@dataclass(frozen=True, slots=True)
class Kitchen:
    """Everything decided so far; the same entries always give the same kitchen."""

    position: int = 0
    sites: dict[str, Site] = field(default_factory=dict)
    units: dict[str, Unit] = field(default_factory=dict)
    said: tuple[Assignment, ...] = ()
    """What people said that channels measure."""
    assignments: tuple[Assignment, ...] = ()
    """The same as readings are judged by it: errors that a check found are taken off, time under test is left out."""
    people: dict[str, Person] = field(default_factory=dict)
    rota: tuple[RotaStep, ...] = ()
    confirmed: dict[tuple[str, str], e.RowConfirmed] = field(default_factory=dict)
    site_limits: dict[str, m.SiteLimitSet] = field(default_factory=dict)
    """The site's own limits, by the id of the limit."""
    batches: dict[str, Batch] = field(default_factory=dict)
    alarms: dict[str, Alarm] = field(default_factory=dict)
    """Every alarm that is active or not yet acknowledged, and the returned ones of `past_alarms`."""
    past_alarms: dict[str, Alarm] = field(default_factory=dict)
    proposals: dict[str, tuple[ProposalRecord, ...]] = field(default_factory=dict)
    sign_offs: dict[str, tuple[SignOffRecord, ...]] = field(default_factory=dict)
    gaps: tuple[Gap, ...] = ()
    set_aside: dict[str, str] = field(default_factory=dict)
    compositions: tuple[Composition, ...] = ()
    """What was read on bags of curing salt, by whom."""
    calibrations: tuple[Calibration, ...] = ()
    """Every comparison of an instrument with a reference, in the order in which they were entered."""
    under_test: tuple[UnderTest, ...] = ()
    unit_readings: tuple[HandReading, ...] = ()
    """What was measured by hand in a unit, and belongs to no batch."""
    notes: tuple[ShiftNote, ...] = ()
    out_of_service: dict[str, OutOfService] = field(default_factory=dict)
    """Empty units of which nothing is told, by unit."""
    planned_work: tuple[PlannedWork, ...] = ()
    """Cleaning and loading that was announced, with what was over not long ago."""
    drills: dict[str, Drill] = field(default_factory=dict)
    """The latest drills, oldest first."""

    def assigned(self, channel: str, at: Instant) -> Assignment | None:
        """Return what a channel measures at the instant, or None."""
        for assignment in reversed(self.assignments):
            if assignment.channel == channel and assignment.holds_at(at):
                return assignment
        return None

    def assignments_of(self, unit: str, at: Instant | None = None) -> tuple[Assignment, ...]:
        """Return a unit's assignments, those in force at an instant or all of them."""
        return tuple(a for a in self.assignments if a.unit == unit and (at is None or a.holds_at(at)))

    def standing_in(self, unit: str, at: Instant) -> tuple[Batch, ...]:
        """Return the batches with a tub in the unit at the instant, by lot code."""
        return tuple(b for _, b in sorted(self.batches.items()) if b.stands_in(unit, at))

    def active_alarms(self) -> tuple[Alarm, ...]:
        """Return the alarms that still hold, oldest first."""
        return tuple(a for a in self.alarms.values() if a.active)

    def alarm(self, name: str) -> Alarm | None:
        """Return an alarm, past or present."""
        return self.alarms.get(name) or self.past_alarms.get(name)

    def proposal_of(self, lot: str) -> ProposalRecord | None:
        """Return the latest proposal for a batch."""
        records = self.proposals.get(lot, ())
        return records[-1] if records else None

    def sign_off_of(self, lot: str) -> SignOffRecord | None:
        """Return the latest decision on a batch."""
        records = self.sign_offs.get(lot, ())
        return records[-1] if records else None

    def site_of(self, unit: str | None) -> Site | None:
        """Return the site of a unit or of a group of units; else the only site where there is one."""
        if unit in self.units:
            return self.sites.get(self.units[unit].site)
        for name, site in self.sites.items():
            if unit is not None and (unit == f"*{name}" or unit.startswith(f"*{name}/")):
                return site
        return next(iter(self.sites.values())) if len(self.sites) == 1 else None

    def cure_end_at(self, lot: str) -> Instant:
        """Return when the cure ends: the last signed extension, or the plan."""
        batch = self.batches[lot]
        by_position = {r.position: r.proposal for r in self.proposals.get(lot, ())}
        extended = [s for s in self.sign_offs.get(lot, ()) if s.sign_off.disposition is Disposition.EXTEND]
        signed = [by_position.get(s.sign_off.proposal) for s in extended]
        ends = [p.new_end_at for p in signed if p is not None and p.new_end_at is not None]
        return max([batch.planned_end_at, *ends])

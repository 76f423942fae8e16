"""What people log while a batch is made and while instruments are checked. Pure: no clock, no I/O."""

from dataclasses import dataclass

from collector.sample import Instant


@dataclass(frozen=True, slots=True)
class CoreLog:
    """The core of the meat while it was cooked or cooled, as it was read from a probe."""

    stage: str
    """`cook` or `cool`."""
    probe: str
    points: tuple[tuple[Instant, float], ...]
    """Instants and core temperatures in order of time. [s since 1970 UTC], [°C]"""
    person: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class SoakLog:
    """The batch lay in fresh water."""

    from_at: Instant
    until_at: Instant
    water_c: float
    """[°C]"""
    person: str


@dataclass(frozen=True, slots=True)
class TaskDone:
    """Somebody turned, weighed down, topped up or looked at what was due."""

    task: str
    """Id of the task, as the plan's tasks name it: `turn 2`, `brine check 1`."""
    done_at: Instant
    person: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class LabelApplied:
    """What was written on the pack: allergens, cure type, `cook before eating`."""

    words: str
    cook_before_eating: bool
    applied_at: Instant
    person: str


@dataclass(frozen=True, slots=True)
class Disposal:
    """Food that was destroyed: how much, how, and who saw it."""

    mass_kg: float
    how: str
    witness: str
    disposed_at: Instant
    person: str


@dataclass(frozen=True, slots=True)
class Calibration:
    """An instrument compared with a reference: what was found, and what was left."""

    instrument: str
    """A channel, the name of a hand probe, or of a scale."""
    kind: str
    """`channel`, `probe` or `scale`."""
    checked_at: Instant
    reference: str
    """`melting ice`, a reference thermometer with its number, a mass with its class."""
    as_found: float
    """What the instrument showed less the reference, before anything was adjusted. [K], or [g] for a scale"""
    as_left: float
    """The same afterwards."""
    due_at: Instant
    """When it is next due."""
    person: str
    tolerance: float
    """The largest error, either way, that is let pass; as the site's rules said when it was entered. [K] or [g]"""

    @property
    def passed(self) -> bool:
        """Return whether it was found within its tolerance."""
        return abs(self.as_found) <= self.tolerance


@dataclass(frozen=True, slots=True)
class UnderTest:
    """A sensor was taken out to be checked: its readings are nobody's (half-open)."""

    channel: str
    from_at: Instant
    until_at: Instant | None = None


@dataclass(frozen=True, slots=True)
class Composition:
    """What a named person read on the bag of a lot of curing salt."""

    curing_salt_lot: str
    nitrite_percent: float
    """NaNO2. [% w/w]"""
    nitrate_percent: float
    """NaNO3. [% w/w]"""
    person: str
    confirmed_at: Instant


@dataclass(frozen=True, slots=True)
class ShiftNote:
    """A note for the next shift, and who has read it."""

    position: int
    """Of its journal entry; names it."""
    text: str
    person: str
    written_at: Instant
    seen_by: tuple[str, ...] = ()

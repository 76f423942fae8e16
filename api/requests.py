"""What a person asks for, as a form or the API hands it over. Pure: plain values, nothing checked yet."""

from dataclasses import dataclass

from collector.batches import AsMade, Plan
from collector.sample import Instant


@dataclass(frozen=True, slots=True)
class StartBatch:
    """Meat went into its tubs: where each tub stands."""

    lot: str
    plan: Plan
    as_made: AsMade
    tubs: tuple[tuple[str, str], ...]
    """(tub, unit) for each tub."""
    started_at: Instant
    stage: str = "cure"


@dataclass(frozen=True, slots=True)
class CorrectAsMade:
    """The as-made sheet, completed or put right."""

    lot: str
    as_made: AsMade
    reason: str


@dataclass(frozen=True, slots=True)
class MoveTub:
    """A tub went to another unit, or out of any (then `bench_c` is the air there)."""

    lot: str
    tub: str
    from_at: Instant
    unit: str | None = None
    bench_c: float | None = None


@dataclass(frozen=True, slots=True)
class CorrectPlacement:
    """Where a tub really stood: (unit or None, from, until or None, bench air or None), in order, without holes."""

    lot: str
    tub: str
    stretches: tuple[tuple[str | None, Instant, Instant | None, float | None], ...]
    reason: str


@dataclass(frozen=True, slots=True)
class EnterHandReading:
    """A temperature, strength, pH, aw or weight that a person measured."""

    measured_at: Instant
    measure: str
    value: float
    where: str
    probe: str
    lot: str | None = None
    unit: str | None = None
    tub: str | None = None


@dataclass(frozen=True, slots=True)
class EnterAction:
    """What was done about an excursion."""

    lot: str
    excursion_at: Instant
    cause: str
    control_regained: str
    prevention: str
    food_disposed: str


@dataclass(frozen=True, slots=True)
class BeginStage:
    """A batch goes on to another stage."""

    lot: str
    stage: str
    from_at: Instant


@dataclass(frozen=True, slots=True)
class EndBatch:
    """A batch left the cold rooms."""

    lot: str
    ended_at: Instant
    reason: str


@dataclass(frozen=True, slots=True)
class AssignChannel:
    """What a channel measures from an instant on."""

    channel: str
    quantity: str
    unit: str
    place: str
    from_at: Instant
    offset_c: float = 0.0
    interval_s: float = 60.0
    uncertainty_c: float = 0.5
    lot: str | None = None
    tub: str | None = None


@dataclass(frozen=True, slots=True)
class EndAssignment:
    """A channel measures nothing of ours from an instant on."""

    channel: str
    until_at: Instant
    reason: str


@dataclass(frozen=True, slots=True)
class Acknowledge:
    """A person's answer to an alarm: `going` (then when they will be there), `passing on` or `cannot`."""

    alarm: str
    answer: str
    arriving_at: Instant | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Sign:
    """A decision on a batch, on the strength of the proposal at a journal position."""

    lot: str
    disposition: str
    reason: str
    proposal: int
    where_kept: str = ""


@dataclass(frozen=True, slots=True)
class ConfirmRow:
    """A rulebook row was compared with its document."""

    rulebook: str
    row: str
    document: str

"""Events of a batch's making, and of what it is measured with and judged by. Pure: no clock, no I/O."""

from dataclasses import dataclass
from typing import TypeAlias

from collector.batches import Placement, Plan, Strand
from collector.logs import Calibration, Composition, CoreLog, Disposal, LabelApplied, SoakLog, TaskDone
from collector.sample import Instant


@dataclass(frozen=True, slots=True)
class PlanChanged:
    """An approver signed another plan for a batch: another route, stage windows, a class that had not been chosen."""

    lot: str
    plan: Plan
    reason: str


@dataclass(frozen=True, slots=True)
class CoreLogged:
    """The core of a batch was followed while it was cooked or cooled."""

    lot: str
    log: CoreLog


@dataclass(frozen=True, slots=True)
class SoakLogged:
    """A batch was soaked."""

    lot: str
    soak: SoakLog


@dataclass(frozen=True, slots=True)
class TaskReported:
    """Somebody did what was due."""

    lot: str
    done: TaskDone


@dataclass(frozen=True, slots=True)
class LabelReported:
    """Somebody said what is written on the pack."""

    lot: str
    label: LabelApplied


@dataclass(frozen=True, slots=True)
class FoodDisposed:
    """Food of a batch was destroyed."""

    lot: str
    disposal: Disposal


@dataclass(frozen=True, slots=True)
class BatchSplit:
    """Some tubs of a batch became a batch of their own, with their whole history."""

    lot: str
    child: str
    tubs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BatchesMerged:
    """Batches became one; it carries the history of each."""

    child: str
    plan: Plan
    meat_kg: float
    strands: tuple[Strand, ...]
    placements: tuple[Placement, ...]


@dataclass(frozen=True, slots=True)
class CompositionConfirmed:
    """A named person read the composition of a lot of curing salt from its bag."""

    composition: Composition


@dataclass(frozen=True, slots=True)
class CalibrationEntered:
    """An instrument was compared with a reference."""

    calibration: Calibration


@dataclass(frozen=True, slots=True)
class SensorUnderTest:
    """A sensor was taken out to be checked."""

    channel: str
    from_at: Instant


@dataclass(frozen=True, slots=True)
class SensorBack:
    """A sensor stands in its place again."""

    channel: str
    until_at: Instant


@dataclass(frozen=True, slots=True)
class NotePinned:
    """A note for the next shift."""

    text: str


@dataclass(frozen=True, slots=True)
class NoteSeen:
    """Somebody read the note of that journal position."""

    note: int


@dataclass(frozen=True, slots=True)
class SiteLimitSet:
    """An approver set a limit of the site's own in place of the rulebook's, or took it back."""

    limit: str
    value: float | None
    """In the unit of the rulebook's row; None for the rulebook's own again."""
    reason: str
    person: str


Making: TypeAlias = (
    PlanChanged
    | CoreLogged
    | SoakLogged
    | TaskReported
    | LabelReported
    | FoodDisposed
    | BatchSplit
    | BatchesMerged
    | CompositionConfirmed
    | CalibrationEntered
    | SensorUnderTest
    | SensorBack
    | NotePinned
    | NoteSeen
    | SiteLimitSet
)

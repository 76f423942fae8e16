"""What the meat of one batch has been through, as far as it is known. Pure: no clock, no I/O."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from collector.batches import Batch
from collector.logs import Composition
from collector.readings import Site
from collector.sample import Instant

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class UnknownTime:
    """A stretch for which nothing trustworthy is known, and why."""

    from_at: Instant
    until_at: Instant
    cause: str


@dataclass(frozen=True, slots=True)
class TubHistory:
    """The product estimate of one tub, at its warmest part, over the batch's life: arrays of equal length n >= 2.

    `unknown[i]` says that the copies differ by more than the sensor can tell at point i (a gap, or its echo): the
    upper copy is judged there for holding, the lower copy for the cure clock, and nothing there can reject.
    A segment between two points is unknown when either end is.
    """

    tub: str
    times_at: Array
    likely_c: Array
    lower_c: Array
    upper_c: Array
    unknown: npt.NDArray[np.bool_]
    gaps: tuple[UnknownTime, ...]
    channels: tuple[str, ...]
    readings: int
    tau_s: float
    uncertainty_c: float
    start_known: bool
    """Whether brine and meat temperatures at filling were both entered."""

    def held_c(self) -> Array:
        """Return the temperatures that a hold looks at: likely, the upper copy where unknown. [°C]"""
        return np.where(self.unknown, self.upper_c, self.likely_c) if self.unknown.any() else self.likely_c

    def clock_c(self) -> Array:
        """Return the temperatures that the cure clock looks at: likely, the lower copy where unknown. [°C]"""
        return np.where(self.unknown, self.lower_c, self.likely_c) if self.unknown.any() else self.likely_c


@dataclass(frozen=True, slots=True)
class BatchHistory:
    """Everything a rule may look at for one batch."""

    batch: Batch
    site: Site
    tubs: tuple[TubHistory, ...]
    """Every tub of which something is known; empty when no reading has ever reached it."""
    unit_limit_c: float | None
    """The strictest limit of the units it stood in; None for the rulebook's own. [°C]"""
    cure_end_at: Instant
    """When the cure ends as things stand: plan, or the last signed extension."""
    judged_until_at: Instant
    compositions: tuple[Composition, ...] = ()
    """What people have read on the bags of the curing salt that its sheet names."""

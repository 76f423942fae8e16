"""If cooling stopped now: when the meat of a unit would pass its limit, and so how long the unit holds over.

Pure: no clock, no I/O. An estimate; local rules and a responsible person come first.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from alerts.science.forecast import time_to_limit_constant
from alerts.science.holdover import time_to_limit_warming
from collector.readings import Unit

ONE_IN_TEN = 1.2815515655446004
"""The standard normal deviate of 90 %."""
PRODUCT_C = 0.3
"""House: one standard deviation of the estimated product temperature. [K]"""
LN_TAU, LN_WARM_UP = 0.35, 0.35
"""House: one standard deviation of the natural logs of the two time constants. [1]"""


@dataclass(frozen=True, slots=True)
class Standing:
    """The warmest tub of a batch as it stands now."""

    likely_c: float
    upper_c: float
    """What is not known counts as this warm. [°C]"""
    air_c: float
    tau_s: float


@dataclass(frozen=True, slots=True)
class HoldOver:
    """Seconds from now until meat passes its limit without cooling; infinite where it would not."""

    early_s: float
    likely_s: float | None
    """None where nobody knows yet how fast the unit's air warms."""
    late_s: float | None

    @property
    def learned(self) -> bool:
        """Return whether the unit's warming with cooling off is known."""
        return self.likely_s is not None


def if_cooling_stopped(unit: Unit, limit_c: float, product: Standing) -> HoldOver:
    """Return when a batch would pass its limit if cooling stopped this minute.

    Early takes everything that is not known on its warm and fast side together. Without a learned warm-up the air is
    at ambient at once (rules e-6), and only the early time is said.
    """
    ambient_c = max(unit.ambient_c, product.air_c)
    warm_c = max(product.upper_c, product.likely_c + ONE_IN_TEN * PRODUCT_C)
    quick_tau_s = product.tau_s * math.exp(-ONE_IN_TEN * LN_TAU)
    if unit.warm_up_s is None:
        return HoldOver(time_to_limit_constant(warm_c, ambient_c, limit_c, quick_tau_s), None, None)
    cold_c = product.likely_c - ONE_IN_TEN * PRODUCT_C
    slower = math.exp(ONE_IN_TEN * LN_WARM_UP)
    slow_tau_s = product.tau_s * math.exp(ONE_IN_TEN * LN_TAU)
    spans = (
        (warm_c, unit.warm_up_s / slower, quick_tau_s),
        (product.likely_c, unit.warm_up_s, product.tau_s),
        (cold_c, unit.warm_up_s * slower, slow_tau_s),
    )
    early, likely, late = (
        time_to_limit_warming(product_c, product.air_c, ambient_c, warm_up_s, limit_c, tau_s)
        for product_c, warm_up_s, tau_s in spans
    )
    return HoldOver(early, likely, late)


def hold_over_of(found: Mapping[str, HoldOver]) -> HoldOver | None:
    """Return the hold-over time of a unit: that of the batch that passes first; None for an empty unit."""
    return min(found.values(), key=lambda one: (one.early_s, one.likely_s or one.early_s), default=None)

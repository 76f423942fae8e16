"""The growth curves that a rulebook may judge by, and the published figure of each. Pure: no clock, no I/O."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from alerts.science.growth import listeria_rate_fat, salmonella_rate
from alerts.science.integral import Rate


@dataclass(frozen=True, slots=True)
class Curve:
    """How fast one organism grows, and the row of a rulebook that names where that comes from."""

    rate: Rate
    """Temperatures [°C] to rates [ln units per h]."""
    row: str
    at_c: float
    """Where the row's figure, a time to double, is read off. [°C]"""

    def doubling_h(self) -> float:
        """Return the time to double at the temperature of the row. [h]"""
        return math.log(2) / float(self.rate(np.asarray([self.at_c], dtype=np.float64))[0])


CURVES: Mapping[str, Curve] = MappingProxyType(
    {
        "e-4 listeria_monocytogenes": Curve(listeria_rate_fat, "growth.listeria_monocytogenes", 5.0),
        "e-4 salmonella": Curve(salmonella_rate, "growth.salmonella", 10.0),
    }
)
"""The curve of each rule e-4, by the id of the rule."""

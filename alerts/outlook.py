"""When the product of a unit may pass its limit, from the last half hour of its air. Pure: no clock, no I/O."""

from collections.abc import Iterable
from dataclasses import dataclass
from statistics import median

from alerts.science.forecast import Spread, early_likely_late
from collector.sample import Instant

SLOPE_WINDOW_S = 1800.0
"""Models 5.3: the slope is taken over 20 to 30 minutes."""
NO_RECOVERY_S = 3300.0
"""House, set on simulated nights: air not once below the limit for this long is no defrost and no delivery. [s]"""
LEAST_RISE_S = 2400.0
"""House: air above the limit for less than this is a defrost, however near the meat stands to its limit. [s]"""
URGENT_S = 1800.0
"""House: product that likely passes its limit this soon leaves no time to wait for a defrost to end. [s]"""
HORIZON_S = 6 * 3600.0
"""House: a crossing that may come this soon is told now. [s]"""
SPREAD = Spread(product_c=0.3, air_c=0.3, slope_c_per_s=0.3 / 3600.0, ln_tau=0.35)
"""House: what is not known of the state, the air, its slope and the time constant of a product nobody has measured."""


@dataclass(frozen=True, slots=True)
class Outlook:
    """Seconds until the product passes its limit; infinite where it never does as things are."""

    early_s: float
    likely_s: float
    late_s: float


def is_due(warm_s: float, seen: Outlook) -> bool:
    """Return whether a person is told now, the air having been above the limit for so long."""
    waited = warm_s >= (LEAST_RISE_S if seen.likely_s <= URGENT_S else NO_RECOVERY_S)
    return waited and seen.early_s <= HORIZON_S


def slope_c_per_s(air: Iterable[tuple[Instant, float]]) -> tuple[float, float]:
    """Return the robust level of the air now and its slope, by the median of pairwise slopes (Theil-Sen). [°C], [K/s]

    The pairs are the first half of the window against the second, one each, so the cost is that of a sort.
    """
    record = list(air)
    if not record:
        raise ValueError("no air, no slope")
    begin = record[-1][0] - SLOPE_WINDOW_S
    window = [(at, value) for at, value in record if at >= begin]
    half = len(window) // 2
    pairs = zip(window[:half], window[len(window) - half :], strict=True)
    slopes = [(v1 - v0) / (t1 - t0) for (t0, v0), (t1, v1) in pairs if t1 > t0]
    slope = median(slopes) if slopes else 0.0
    end = window[-1][0]
    level = median(value + slope * (end - at) for at, value in window[-15:])
    return level, slope


def outlook(
    air: Iterable[tuple[Instant, float]], limit_c: float, ambient_c: float, warmest: tuple[float, float]
) -> Outlook:
    """Return when the tub `warmest` (temperature [°C], time constant [s]) passes its limit, from the last air on."""
    product_c, tau_s = warmest
    level, slope = slope_c_per_s(air)
    crossing = early_likely_late(product_c, level, slope, limit_c, tau_s, max(ambient_c, level), SPREAD)
    return Outlook(crossing.early_s, crossing.likely_s, crossing.late_s)

"""The 90 % interval that is claimed for a product estimate. Pure: no clock, no I/O.

Not the lower and upper copies, by which rules judge: those are bounds, and coincide while readings come.
"""

import math

from alerts.outlook import SPREAD
from alerts.trace import Copies

TWO_SIDED_90 = 1.645
"""Standard deviations either side that hold 90 % of a normal distribution (textbook)."""
SENSOR_SHARE = 0.42
"""House, set on simulated tuning nights: one standard deviation of a fixed sensor's error and of its place, as a share
of its stated uncertainty: 0.21 K for the usual 0.5 K. [1]"""
START_SD_C = 0.4
"""House: one standard deviation of what a hand probe reads, which is let pass at 1 K. [K]"""
BOUND_SHARE = 0.25
"""House: a bound is the worst that can be, taken as four standard deviations from what is likely. [1]"""


def claimed(copies: Copies, lagged_c: float, start_sd_c: float, uncertainty_c: float) -> tuple[float, float]:
    """Return the two ends of the interval that holds the product temperature with 90 %, as far as is known. [°C]

    Parameters
    ----------
    copies : Copies
        Likely temperature and its bounds. [°C]
    lagged_c : float
        The likely temperature filtered once more with its own time constant. [°C]
    start_sd_c : float, >= 0
        What is left of the standard deviation of the state it began from. [K]
    uncertainty_c : float, >= 0
        Stated uncertainty of the sensor that leads. [K]

    Returns
    -------
    (float, float)
        Lower and upper end, on either side of the likely temperature. [°C]

    Notes
    -----
    Of dT/dt = (u - T)/tau the change with ln tau is F - T, where F is T filtered with tau once more; that times the
    standard deviation of ln tau (0.35) is what is not known of a time constant nobody has measured. Independent errors
    add as squares. Left out: air that is not the same everywhere, and a fan that stops, which slows the meat.

    Examples
    --------
    >>> low, high = claimed(Copies(4.0, 4.0, 4.0), 4.0, 0.0, 0.5)
    >>> round(low, 2), round(high, 2)
    (3.65, 4.35)
    >>> low, high = claimed(Copies(6.0, 5.0, 9.0), 4.0, 0.0, 0.5)
    >>> round(low, 2), round(high, 2)
    (4.73, 7.72)
    """
    known = math.hypot(SENSOR_SHARE * uncertainty_c, SPREAD.ln_tau * (copies.likely_c - lagged_c), start_sd_c)
    below = math.hypot(known, BOUND_SHARE * max(copies.likely_c - copies.lower_c, 0.0))
    above = math.hypot(known, BOUND_SHARE * max(copies.upper_c - copies.likely_c, 0.0))
    return copies.likely_c - TWO_SIDED_90 * below, copies.likely_c + TWO_SIDED_90 * above

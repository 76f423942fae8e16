"""When the product will pass its limit if the air goes on as it does. Pure: no clock, no I/O."""

import math
from typing import NamedTuple

from alerts.science.heat import filter_step

_P10 = 1.2815515655446004
"""The standard normal deviate of 90 %."""


_NO_RISE_K = 1e-9
"""A rise of less than this within one time constant is none: no sensor tells, and the closed form loses its digits."""


class Crossing(NamedTuple):
    """Time until the product passes its limit: could be as early as, likely, may take until. [s]"""

    early_s: float
    likely_s: float
    late_s: float


class Spread(NamedTuple):
    """One standard deviation of what a forecast rests on: [K], [K], [K/s], and of the natural log of tau [1]."""

    product_c: float
    air_c: float
    slope_c_per_s: float
    ln_tau: float


def time_to_limit_constant(product_c: float, air_c: float, limit_c: float, tau_s: float) -> float:
    """Return the time until the product passes the limit in air that stays as it is. [s]

    Parameters
    ----------
    product_c : float
        Product temperature now. [°C]
    air_c : float
        Air temperature from now on. [°C]
    limit_c : float
        Limit. [°C]
    tau_s : float, > 0
        Time constant of the product. [s]

    Returns
    -------
    float
        0 if it is above the limit already; infinite if the air is not above the limit. [s]

    Raises
    ------
    ValueError
        If the time constant is not above zero, or a temperature is not a number.

    Notes
    -----
    tau ln((Ta - T0)/(Ta - L)).

    Examples
    --------
    >>> round(time_to_limit_constant(3.0, 9.0, 5.0, 6 * 3600.0) / 3600, 3)
    2.433
    >>> time_to_limit_constant(3.0, 4.9, 5.0, 6 * 3600.0)
    inf

    References
    ----------
    [1] Elementary; checked against scipy.optimize.brentq in the tests.
    """
    _check(product_c, air_c, limit_c, tau_s)
    if product_c > limit_c:
        return 0.0
    if air_c <= limit_c:
        return math.inf
    return tau_s * math.log1p((limit_c - product_c) / (air_c - limit_c))


def time_to_limit_ramp(
    product_c: float, air_c: float, slope_c_per_s: float, limit_c: float, tau_s: float, ambient_c: float
) -> float:
    """Return the time until the product passes the limit in air that goes on rising until it is at ambient. [s]

    Parameters
    ----------
    product_c : float
        Product temperature now. [°C]
    air_c : float
        Air temperature now. [°C]
    slope_c_per_s : float
        Rise of the air; none, a fall, and less than 1e-9 K in one time constant are taken as air that stays. [K/s]
    limit_c : float
        Limit. [°C]
    tau_s : float, > 0
        Time constant of the product. [s]
    ambient_c : float
        Temperature outside the unit, which the air does not pass; air already warmer stays as it is. [°C]

    Returns
    -------
    float
        0 if it is above the limit already; infinite if the air will not be above the limit. [s]

    Raises
    ------
    ValueError
        If the time constant is not above zero, or a temperature is not a number.

    Notes
    -----
    With a = (T0 - u0)/(s tau) + 1 and x = (L - u0)/(s tau) + 1 the product meets the limit at y = t/tau where
    y + a exp(-y) = x: y = x + W0(-a exp(-x)), Lambert's W. From the cap on, `time_to_limit_constant`.

    Examples
    --------
    >>> round(time_to_limit_ramp(3.0, 4.0, 0.8 / 3600, 5.0, 6 * 3600.0, 25.0) / 3600, 2)
    5.28
    >>> time_to_limit_ramp(3.0, 4.0, 0.8 / 3600, 5.0, 6 * 3600.0, 5.0)
    inf

    References
    ----------
    [1] Corless, Gonnet, Hare, Jeffrey and Knuth, *On the Lambert W function*, Adv. Comput. Math. 5, 329-359, 1996.
        (From memory; the closed form is checked against scipy.optimize.brentq in the tests.)
    """
    _check(product_c, air_c, limit_c, tau_s)
    if product_c > limit_c:
        return 0.0
    if not slope_c_per_s * tau_s > _NO_RISE_K or air_c >= ambient_c:
        return time_to_limit_constant(product_c, air_c, limit_c, tau_s)
    capped_s = (ambient_c - air_c) / slope_c_per_s
    rising_s = _ramp(product_c - air_c, limit_c - air_c, slope_c_per_s * tau_s) * tau_s
    if rising_s <= capped_s:
        return rising_s
    if ambient_c <= limit_c:
        return math.inf
    at_cap_c = filter_step(float(product_c), float(air_c), float(ambient_c), float(capped_s), float(tau_s))
    return capped_s + time_to_limit_constant(min(at_cap_c, limit_c), ambient_c, limit_c, tau_s)


def _ramp(product_k: float, limit_k: float, lag_k: float) -> float:
    """Return y > 0 with y + a exp(-y) = x, for a product not above the limit (a <= x)."""
    a, x = product_k / lag_k + 1.0, limit_k / lag_k + 1.0
    if a >= x and product_k <= 0:
        # Standing at the limit in warmer air: it passes at once. In colder air it dips first and comes back.
        return 0.0
    if x > 700.0:
        return x
    if a < 0:
        # Written as a ratio: x + W would lose every digit where the air is far above the limit and rises slowly.
        return math.log(-a / lambert_w0_of_exp(math.log(-a) - x))
    return x + lambert_w0(-a * math.exp(-x))


def lambert_w0(z: float) -> float:
    """Return w >= -1 with w exp(w) = z. [1]

    Parameters
    ----------
    z : float, >= -1/e
        Argument; less than 1e-12 below -1/e is taken as -1/e. [1]

    Returns
    -------
    float
        The principal branch. [1]

    Raises
    ------
    ValueError
        If the argument is below -1/e.

    Notes
    -----
    Halley's iteration from a series about the branch point, or from the logarithm; the power series near zero.

    Examples
    --------
    >>> lambert_w0(1.0)
    0.5671432904
    >>> lambert_w0(-1 / math.e)
    -1.0

    References
    ----------
    [1] Corless and others, 1996, as in `time_to_limit_ramp`; checked against scipy.special.lambertw in the tests.
    """
    if abs(z) < 1e-6:
        return z * (1.0 - z * (1.0 - 1.5 * z))
    if z > 2.0:
        return lambert_w0_of_exp(math.log(z))
    from_branch = math.e * z + 1.0
    if from_branch < 0:
        if from_branch < -1e-12:
            raise ValueError(f"Lambert's W has no real value at {z}")
        return -1.0
    p = math.sqrt(2.0 * from_branch)
    if p < 1e-6:
        return -1.0 + p
    w = -1.0 + p - p * p / 3.0 + 11.0 / 72.0 * p**3 if z < 0.5 else 0.8 * math.log1p(z)
    for _ in range(40):
        e = math.exp(w)
        off = w * e - z
        step = off / (e * (w + 1.0) - (w + 2.0) * off / (2.0 * w + 2.0))
        w -= step
        if abs(step) <= 4e-16 * (1.0 + abs(w)):
            break
    return w


def lambert_w0_of_exp(log_z: float) -> float:
    """Return w > 0 with w exp(w) = exp(log_z), also where exp(log_z) is no float any more. [1]

    Parameters
    ----------
    log_z : float
        Natural log of the argument. [1]

    Returns
    -------
    float
        The principal branch. [1]

    Notes
    -----
    Newton's iteration on w + ln w = log_z, which is concave: from below it converges without passing the root.

    Examples
    --------
    >>> lambert_w0_of_exp(0.0)
    0.5671432904
    >>> lambert_w0_of_exp(1000.0)
    993.1

    References
    ----------
    [1] Corless and others, 1996, as in `time_to_limit_ramp`; checked against scipy.special.lambertw in the tests.
    """
    if log_z < 0.0:
        return lambert_w0(math.exp(log_z))
    w = log_z - math.log(log_z) if log_z > 1.0 else 0.5
    for _ in range(40):
        step = (log_z - w - math.log(w)) / (1.0 + 1.0 / w)
        w += step
        if abs(step) <= 4e-16 * w:
            break
    return w


def early_likely_late(
    product_c: float,
    air_c: float,
    slope_c_per_s: float,
    limit_c: float,
    tau_s: float,
    ambient_c: float,
    spread: Spread,
) -> Crossing:
    """Return when the product could pass the limit at the earliest, when it likely will, and the late end. [s]

    Parameters
    ----------
    product_c, air_c : float
        Temperatures now. [°C]
    slope_c_per_s : float
        Rise of the air; zero and below are taken as air that stays as it is. [K/s]
    limit_c : float
        Limit. [°C]
    tau_s : float, > 0
        Time constant of the product. [s]
    ambient_c : float
        Temperature outside the unit, which the air does not pass. [°C]
    spread : Spread
        One standard deviation of product and air temperature [K], slope [K/s] and ln tau [1].

    Returns
    -------
    Crossing
        One in ten earlier than the first, likely, one in ten later than the last; 0 or infinite as above. [s]

    Raises
    ------
    ValueError
        If the time constant is not above zero, or a temperature is not a number.

    Notes
    -----
    Delta method: the time moves by -(dT/dp)/(dT/dt) for each quantity p, taken at the likely crossing; 1.28 times
    the root of the sum of squares either way, and not before now. In the worked case it gives 4.43 h where drawing
    at random gives 4.52 h: early errs to the early side. Where the likely path never passes the limit, early is the
    time with product, air and an existing rise each 1.28 deviations on the warm side, and late is infinite. A room
    that does not rise is not given a rise. Before the air has risen for 15 to 20 minutes the slope says little.

    Examples
    --------
    >>> hour = 3600.0
    >>> spread = Spread(0.2, 0.15, 0.1 / hour, 0.2)
    >>> crossing = early_likely_late(3.0, 4.0, 0.8 / hour, 5.0, 6 * hour, 25.0, spread)
    >>> [round(s / hour, 2) for s in crossing]
    [4.43, 5.28, 6.13]

    References
    ----------
    [1] First-order propagation of error; compared with a Monte Carlo run in the tests.
    """
    likely_s = time_to_limit_ramp(product_c, air_c, slope_c_per_s, limit_c, tau_s, ambient_c)
    if likely_s <= 0:
        return Crossing(0.0, 0.0, 0.0)
    if math.isinf(likely_s):
        rise = slope_c_per_s + _P10 * spread.slope_c_per_s if slope_c_per_s > 0 else slope_c_per_s
        warm_c = product_c + _P10 * spread.product_c, air_c + _P10 * spread.air_c
        early_s = time_to_limit_ramp(*warm_c, rise, limit_c, tau_s, ambient_c)
        return Crossing(early_s, math.inf, math.inf)
    off_s = _P10 * _deviation(product_c, air_c, slope_c_per_s, tau_s, ambient_c, likely_s, spread)
    return Crossing(max(0.0, likely_s - off_s), likely_s, likely_s + off_s)


def _deviation(
    product_c: float, air_c: float, slope_c_per_s: float, tau_s: float, ambient_c: float, at_s: float, spread: Spread
) -> float:
    slope = slope_c_per_s if slope_c_per_s * tau_s > _NO_RISE_K and air_c < ambient_c else 0.0
    here_c, air_then_c = _after(product_c, air_c, slope, tau_s, ambient_c, at_s)
    nudge = 1e-4
    moved_c = (
        _after(product_c + nudge * spread.product_c, air_c, slope, tau_s, ambient_c, at_s)[0],
        _after(product_c, air_c + nudge * spread.air_c, slope, tau_s, ambient_c, at_s)[0],
        _after(product_c, air_c, slope + nudge * spread.slope_c_per_s, tau_s, ambient_c, at_s)[0] if slope else here_c,
        _after(product_c, air_c, slope, tau_s * math.exp(nudge * spread.ln_tau), ambient_c, at_s)[0],
    )
    rise = (air_then_c - here_c) / tau_s
    return math.hypot(*((moved - here_c) / nudge for moved in moved_c)) / rise if rise > 0 else math.inf


def _after(
    product_c: float, air_c: float, slope_c_per_s: float, tau_s: float, ambient_c: float, at_s: float
) -> tuple[float, float]:
    """Return product and air temperature so much later. [°C]"""
    rising_s = min(at_s, (ambient_c - air_c) / slope_c_per_s) if slope_c_per_s > 0 else 0.0
    then_c = air_c + slope_c_per_s * rising_s
    product_c = filter_step(float(product_c), float(air_c), then_c, float(rising_s), float(tau_s))
    return filter_step(product_c, then_c, then_c, float(at_s - rising_s), float(tau_s)), then_c


def _check(product_c: float, air_c: float, limit_c: float, tau_s: float) -> None:
    if not tau_s > 0:
        raise ValueError("a time constant is above zero")
    if math.isnan(product_c) or math.isnan(air_c) or math.isnan(limit_c):
        raise ValueError("a forecast from an unknown temperature is no forecast")

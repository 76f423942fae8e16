"""How long a unit keeps its product below the limit once cooling has stopped. Pure: no clock, no I/O."""

import math

_STEPS = 200
"""Halvings and doublings at most; a float is settled in fewer than 80."""


def warming_product(
    product_c: float, air_c: float, ambient_c: float, warm_up_s: float, tau_s: float, after_s: float
) -> float:
    """Return the product temperature so long after cooling stopped. [°C]

    Parameters
    ----------
    product_c : float
        Product temperature when cooling stops. [°C]
    air_c : float
        Air temperature when cooling stops. [°C]
    ambient_c : float
        Temperature outside the unit, towards which the air goes. [°C]
    warm_up_s : float, > 0
        Time constant of the air with cooling off. [s]
    tau_s : float, > 0
        Time constant of the product in that air. [s]
    after_s : float, >= 0
        Time since cooling stopped. [s]

    Returns
    -------
    float
        Between the least and the greatest of the three temperatures. [°C]

    Raises
    ------
    ValueError
        If a time constant is not above zero or the time is negative.

    Notes
    -----
    Ta = Tamb - D exp(-bt), dT/dt = a (Ta - T), a = 1/tau, b = 1/warm-up, D = Tamb - Ta(0):
    T = Tamb + (T0 - Tamb) exp(-at) - D a [exp(-bt) - exp(-at)]/(a - b), and a t exp(-at) in place of the last
    fraction where the two are alike. The product's own coolness is in the learned warm-up, not modelled again.

    Examples
    --------
    >>> round(warming_product(3.0, 3.0, 25.0, 27 * 3600.0, 6 * 3600.0, 4 * 3600.0), 2)
    3.84
    >>> round(warming_product(3.0, 3.0, 25.0, 6 * 3600.0, 6 * 3600.0, 4 * 3600.0), 2)
    6.17

    References
    ----------
    [1] Elementary; checked against scipy.integrate.solve_ivp in the tests.
    """
    if not (tau_s > 0 and warm_up_s > 0) or not after_s >= 0:
        raise ValueError("a time constant is above zero, and a time since cooling stopped is not negative")
    a, b = 1.0 / tau_s, 1.0 / warm_up_s
    slow, spread = min(a, b), abs(a - b)
    # exp(-bt) - exp(-at), over a - b, without losing the digits where the two are alike.
    between = after_s if spread * after_s < 1e-12 else -math.expm1(-spread * after_s) / spread
    lag = a * math.exp(-slow * after_s) * between
    return ambient_c + (product_c - ambient_c) * math.exp(-a * after_s) - (ambient_c - air_c) * lag


def time_to_limit_warming(
    product_c: float, air_c: float, ambient_c: float, warm_up_s: float, limit_c: float, tau_s: float
) -> float:
    """Return the time from the end of cooling until the product passes the limit. [s]

    Parameters
    ----------
    product_c, air_c, ambient_c : float
        Product, air and ambient temperature when cooling stops. [°C]
    warm_up_s : float, > 0
        Time constant of the air with cooling off. [s]
    limit_c : float
        Limit. [°C]
    tau_s : float, > 0
        Time constant of the product. [s]

    Returns
    -------
    float
        0 if it is above the limit already; infinite if ambient is not above the limit. [s]

    Raises
    ------
    ValueError
        If a time constant is not above zero, or a temperature is not a number.

    Notes
    -----
    Air that rises all the time crosses the falling product once; from there on the product rises, so the crossing of
    the limit is single, and is found by halving.

    Examples
    --------
    >>> hour = 3600.0
    >>> round(time_to_limit_warming(3.0, 3.0, 25.0, 27 * hour, 5.0, 6 * hour) / hour, 2)
    6.73
    >>> time_to_limit_warming(3.0, 3.0, 4.5, 27 * hour, 5.0, 6 * hour)
    inf

    References
    ----------
    [1] As `warming_product`; checked against scipy.optimize.brentq in the tests.
    """
    if any(math.isnan(value) for value in (product_c, air_c, ambient_c, limit_c)):
        raise ValueError("a forecast from an unknown temperature is no forecast")
    if not (tau_s > 0 and warm_up_s > 0):
        raise ValueError("a time constant is above zero")
    if product_c > limit_c:
        return 0.0
    if max(ambient_c, air_c) <= limit_c:
        return math.inf
    if ambient_c <= limit_c:
        # Air that falls towards ambient may still carry the product over: it does so early, or never.
        return _first_over(product_c, air_c, ambient_c, warm_up_s, limit_c, tau_s)
    late = tau_s
    for _ in range(_STEPS):
        if warming_product(product_c, air_c, ambient_c, warm_up_s, tau_s, late) > limit_c:
            break
        late *= 2.0
    return _halved((product_c, air_c, ambient_c, warm_up_s, tau_s), limit_c, 0.0, late)


def _first_over(
    product_c: float, air_c: float, ambient_c: float, warm_up_s: float, limit_c: float, tau_s: float
) -> float:
    # The product is warmest where it meets the falling air.
    a, b = 1.0 / tau_s, 1.0 / warm_up_s
    heat = (product_c, air_c, ambient_c, warm_up_s, tau_s)
    step = 0.25 / max(a, b)
    warmest = max(range(1, 200), key=lambda n: warming_product(*heat, n * step)) * step
    if warming_product(*heat, warmest) <= limit_c:
        return math.inf
    return _halved(heat, limit_c, 0.0, warmest)


def _halved(heat: tuple[float, float, float, float, float], limit_c: float, early: float, late: float) -> float:
    for _ in range(_STEPS):
        middle = 0.5 * (early + late)
        if middle in (early, late):
            break
        if warming_product(*heat, middle) > limit_c:
            late = middle
        else:
            early = middle
    return late

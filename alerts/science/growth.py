"""Growth of bacteria on raw meat, no lag and no credit for salt: an upper estimate. Pure: no clock, no I/O."""

import math

import numpy as np
from numpy.typing import ArrayLike

from alerts.science.integral import ZERO_C_K, Rate, integral_over
from alerts.science.record import FloatArray

LISTERIA_STOP_C = -1.5
"""*Listeria* is not counted below. House: published limits are -0.4 °C (Tompkin), and no growth at -2 °C on
vacuum-packed high-pH beef (Gill and Reichel, abstract)."""

SALMONELLA_STOP_C = 5.2
"""Lowest growth reported for *Salmonella*: 5.2 °C (ICMSF figures, as quoted in two lists)."""

SALMONELLA_B = 0.03928
SALMONELLA_TMIN_C = 2.55
"""Square-root line through 10 °C (8.1 h) and 15 °C (2.9 h), Mackey and others 1980: fitted here."""

_FASTEST_FAT_K = 2 * 2.0298e7 / 1.2939e5
"""Where the fat equation turns over; held from there on, far above any cold room."""


def listeria_rate_fat(temp_c: ArrayLike) -> FloatArray:
    """Return the growth rate of *Listeria monocytogenes* on fatty beef tissue. [ln units per h]

    Parameters
    ----------
    temp_c : float or array
        Temperature; the equation was fitted from 0 to 30. [°C]

    Returns
    -------
    ndarray of the shape of `temp_c`
        At least 0; 0 below `LISTERIA_STOP_C`. [1/h]

    Notes
    -----
    ln g = -205.73 + 1.2939e5/K - 2.0298e7/K^2, g in generations per hour; the printed digits fix g to 2.5 %.
    One strain, one tissue: published rates at 5 °C spread over 0.035 to 0.556 log10 per day. Quote a factor of two.

    Examples
    --------
    >>> rate = listeria_rate_fat([-2.0, 5.0])
    >>> (float(rate[0]), round(float(np.log(2) / rate[1]), 1))
    (0.0, 18.3)

    References
    ----------
    [1] Grau and Vanderlinde, *J. Food Prot.* 56(2), 96, 1993: equation printed in the abstract. (Typed from it.)
    """
    temps = np.asarray(temp_c, dtype=np.float64)
    kelvins = np.minimum(temps + ZERO_C_K, _FASTEST_FAT_K)
    generations = np.exp(-205.73 + 1.2939e5 / kelvins - 2.0298e7 / kelvins**2)
    return np.where(temps < LISTERIA_STOP_C, 0.0, math.log(2) * generations)


def listeria_rate_lean(temp_c: ArrayLike, ph: float) -> FloatArray:
    """Return the growth rate of *Listeria monocytogenes* on lean beef. [ln units per h]

    Parameters
    ----------
    temp_c : float or array
        Temperature; fitted from 2.5 to 35 at pH 5.5 to 5.6, from 0 at pH 6 to 7. [°C]
    ph : float, 5.5 to 7
        pH of the meat. [1]

    Returns
    -------
    ndarray of the shape of `temp_c`
        At least 0; 0 below `LISTERIA_STOP_C`. [1/h]

    Raises
    ------
    ValueError
        If the pH is outside what the equation was fitted to.

    Notes
    -----
    ln g = -232.64 + 1.4041e5/K - 2.1908e7/K^2 + 115.86/pH - 409.52/pH^2, g in generations per hour.

    Examples
    --------
    >>> round(float(np.log(2) / listeria_rate_lean(5.0, 5.6)), 1)
    29.3

    References
    ----------
    [1] Grau and Vanderlinde, *J. Food Prot.* 56(2), 96, 1993: equation printed in the abstract. (Typed from it.)
    """
    if not 5.5 <= ph <= 7.0:
        raise ValueError(f"the equation for lean beef was fitted from pH 5.5 to 7, not at {ph}")
    temps = np.asarray(temp_c, dtype=np.float64)
    kelvins = np.minimum(temps + ZERO_C_K, 2 * 2.1908e7 / 1.4041e5)
    logs = -232.64 + 1.4041e5 / kelvins - 2.1908e7 / kelvins**2 + 115.86 / ph - 409.52 / ph**2
    return np.where(temps < LISTERIA_STOP_C, 0.0, math.log(2) * np.exp(logs))


def salmonella_rate(temp_c: ArrayLike) -> FloatArray:
    """Return the growth rate of *Salmonella* on beef. [ln units per h]

    Parameters
    ----------
    temp_c : float or array
        Temperature; the line rests on 10 to 15. [°C]

    Returns
    -------
    ndarray of the shape of `temp_c`
        At least 0; 0 below `SALMONELLA_STOP_C`. [1/h]

    Notes
    -----
    mu = (b (T - Tmin))^2. On the unsafe side nowhere between 10 and 15 °C; below 10 °C it is an extrapolation. That
    none grew at 7 to 8 °C in that study is no limit: it did on vacuum-packed high-pH beef at 8 °C.

    Examples
    --------
    >>> rate = salmonella_rate([5.0, 10.0])
    >>> (float(rate[0]), round(float(np.log(2) / rate[1]), 1))
    (0.0, 8.1)

    References
    ----------
    [1] Mackey, Roberts, Mansfield and Farkas, *J. Hyg.* 85(1), 115-124, 1980: generation times in the abstract.
        DOI 10.1017/S0022172400027121.
    """
    temps = np.asarray(temp_c, dtype=np.float64)
    return np.where(temps < SALMONELLA_STOP_C, 0.0, (SALMONELLA_B * (temps - SALMONELLA_TMIN_C)) ** 2)


def log10_increase(times_at: ArrayLike, temps_c: ArrayLike, rate: Rate) -> float:
    """Return the growth over a record, no lag, no ceiling. [log10]

    Parameters
    ----------
    times_at : array of float, shape (n,), n >= 1
        Instants, never going back. [s since 1970 UTC]
    temps_c : array of float, shape (n,)
        Product temperatures, straight in between. [°C]
    rate : callable
        Temperatures [°C] to a rate [ln units per h], such as `salmonella_rate`.

    Returns
    -------
    float
        At least 0 while the rate is. [log10]

    Raises
    ------
    ValueError
        If the record cannot be judged (see `single_record`).

    Examples
    --------
    >>> log10_increase([0.0, 86400.0], [5.0, 5.0], listeria_rate_fat)
    0.39

    References
    ----------
    [1] Integral of the rate; one log10 is 2.302585 ln units.
    """
    breaks_c = (LISTERIA_STOP_C, SALMONELLA_STOP_C)
    return integral_over(times_at, temps_c, rate, breaks_c=breaks_c) / 3600 / math.log(10)


def excess_log10(times_at: ArrayLike, temps_c: ArrayLike, rate: Rate, reference_c: float) -> float:
    """Return the growth beyond that at a reference temperature, cold time earning nothing back. [log10]

    Parameters
    ----------
    times_at : array of float, shape (n,), n >= 1
        Instants, never going back. [s since 1970 UTC]
    temps_c : array of float, shape (n,)
        Product temperatures, straight in between. [°C]
    rate : callable
        Temperatures [°C] to a rate [ln units per h], not falling with temperature.
    reference_c : float
        Temperature whose growth is taken as planned. [°C]

    Returns
    -------
    float
        At least 0. [log10]

    Raises
    ------
    ValueError
        If the record cannot be judged (see `single_record`).

    Notes
    -----
    Integral of max(0, mu(T) - mu(Tref)). Without a reference every good cure would read as growth: five days at 4 °C
    give 1.6 log10 on fat.

    Examples
    --------
    >>> excess_log10([0.0, 86400.0], [5.0, 5.0], listeria_rate_fat, 5.0)
    0.0
    >>> round(excess_log10([0.0, 86400.0], [8.0, 8.0], listeria_rate_fat, 5.0), 2)
    0.33

    References
    ----------
    [1] House.
    """
    planned = float(rate(np.asarray([reference_c], dtype=np.float64))[0])

    def beyond(temps: FloatArray) -> FloatArray:
        return np.maximum(rate(temps) - planned, 0.0)

    breaks_c = (LISTERIA_STOP_C, SALMONELLA_STOP_C, reference_c)
    return integral_over(times_at, temps_c, beyond, breaks_c=breaks_c) / 3600 / math.log(10)

"""Doors of cold rooms: what flows through an open one, and when a kitchen opens it. Pure: no clock, no I/O."""

from collections.abc import Sequence
from datetime import datetime, tzinfo

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

AIR_J_KG_K = 1006.0
GRAVITY_M_S2 = 9.81
LONGEST_OPENING_S = 900.0
QUIET_NIGHT_AND_BUSY_DAY = (0.0,) * 6 + (2, 5, 6, 6, 7, 8, 8, 6, 4, 3, 4, 7, 8, 7, 4, 2) + (0.0,) * 2
"""Openings in each local hour: about 85 a day, none at night (invented). [1/h]"""


def door_conductance(
    inside_c: FloatArray, outside_c: FloatArray, width_m: FloatArray, height_m: FloatArray, open_share: FloatArray
) -> FloatArray:
    """Return the sensible heat that an open door lets in, per kelvin of difference. [W/K]

    Parameters
    ----------
    inside_c, outside_c : ndarray, shape (units,)
        Air temperatures. [°C]
    width_m, height_m : ndarray, shape (units,)
        The doorway. [m]
    open_share : ndarray, shape (units,), 0 to 1
        Share of the time, or of the width, that stands open, times what the doorway and a curtain let pass. [1]

    Returns
    -------
    ndarray, shape (units,)
        At least 0. [W/K]

    Notes
    -----
    Mass flow = 0.221 A rho_i sqrt(1 - rho_o/rho_i) sqrt(g H) Fm with Fm = [2 / (1 + (rho_i/rho_o)^(1/3))]^1.5, dry air,
    rho proportional to 1/T, i the colder side. Moisture is left out: between 3 °C and a humid 25 °C it would add about
    two thirds to the load, most of it on the coil.

    Examples
    --------
    >>> g = door_conductance(*(np.array([x]) for x in (3.0, 25.0, 0.9, 2.0, 1.0)))
    >>> round(float(g[0]) / (AIR_J_KG_K * 1.2759), 2)  # volume flow, m3/s
    0.47

    References
    ----------
    [1] Gosney and Olama's equation as the ASHRAE refrigeration handbook gives it (from memory, high confidence; its
        imperial form, 13.26 A (1 - rho_o/rho_i)^0.5 (g H)^0.5 Fm ft3/min, was read in Jekel's slides of 2017). Moist
        air gives 0.480 m3/s for the example.
    """
    cold_k = np.minimum(inside_c, outside_c) + 273.15
    warm_k = np.maximum(inside_c, outside_c) + 273.15
    density_kg_m3 = 353.05 / cold_k
    mixing = (2.0 / (1.0 + np.cbrt(warm_k / cold_k))) ** 1.5
    buoyancy = np.sqrt(1.0 - cold_k / warm_k) * np.sqrt(GRAVITY_M_S2 * height_m)
    flow: FloatArray = 0.221 * width_m * height_m * density_kg_m3 * buoyancy * mixing * AIR_J_KG_K * open_share
    return flow


def saturation_vapour_pa(temperature_c: FloatArray) -> FloatArray:
    """Return the saturation vapour pressure over water. [Pa]

    Magnus form 610.94 exp(17.625 T / (T + 243.04)), Alduchov and Eskridge 1996 (from memory; compared with CoolProp in
    the tests: within 0.3 % from 0 to 30 °C).
    """
    pressure: FloatArray = 610.94 * np.exp(17.625 * temperature_c / (temperature_c + 243.04))
    return pressure


def openings(
    per_hour: Sequence[float],
    median_s: float,
    spread: float,
    rng: np.random.Generator,
    from_at: float,
    until_at: float,
    zone: tzinfo,
) -> FloatArray:
    """Return when a door was open, as rows (from, until) in order and apart, shape (openings, 2). [s since 1970]

    Openings begin at random at the rate of their local hour; how long they last is log-normal with the given median,
    at most 15 minutes. One that would begin before the last has ended is left out.
    """
    rows: list[tuple[float, float]] = []
    hour_from_at = from_at - from_at % 3600.0
    while hour_from_at < until_at:
        rate = per_hour[datetime.fromtimestamp(hour_from_at, zone).hour]
        starts = np.sort(hour_from_at + 3600.0 * rng.random(rng.poisson(rate)))
        lengths = np.minimum(median_s * np.exp(spread * rng.standard_normal(len(starts))), LONGEST_OPENING_S)
        for start, length in zip(starts.tolist(), lengths.tolist(), strict=True):
            begin, end = round(start, 3), round(start + length, 3)
            if from_at <= begin < until_at and (not rows or begin > rows[-1][1]):
                rows.append((begin, end))
        hour_from_at += 3600.0
    return np.array(rows).reshape(-1, 2)


def open_shares(rows: FloatArray, edges_at: FloatArray) -> FloatArray:
    """Return the share of each step between the edges that the door was open, shape (edges - 1,). [1]"""
    if len(rows) == 0:
        return np.zeros(len(edges_at) - 1)
    lengths = rows[:, 1] - rows[:, 0]
    knots_at = rows.reshape(-1)
    opened_s = np.repeat(np.cumsum(lengths), 2)
    opened_s[0::2] -= lengths
    shares: FloatArray = np.diff(np.interp(edges_at, knots_at, opened_s)) / np.diff(edges_at)
    return shares

"""The warmest part of a product: at filling, and in warmer air. Pure: no clock, no I/O."""

import numpy as np
from numpy.typing import ArrayLike

from alerts.science.record import FloatArray

SURFACE_SHARE = 0.2
"""Share of the step that the surface is ahead of the piece while the air is warmer. House: the slab series gives 0.14
at Biot 0.45 and 0.27 at Biot 1 (reproduced in the published tests)."""

BRINE_HEAT_KJ_KG_K = 3.715
"""Specific heat of a 9.5 % brine at 4 °C: CoolProp 8.0, INCOMP::MNA (no second table seen)."""

MEAT_HEAT_KJ_KG_K = 3.524
"""Specific heat of lean beef (72 % water) at 4 °C: Choi and Okos 1986, as in CoolProp 8.0 and the ASHRAE handbook."""


def surface_temperature(product_c: ArrayLike, air_c: ArrayLike, *, share: float = SURFACE_SHARE) -> FloatArray:
    """Return the estimated temperature of the warmest part of a piece in air: its surface while air is warmer. [°C]

    Parameters
    ----------
    product_c : float or array
        Product temperature of the one-state estimate. [°C]
    air_c : float or array
        Air temperature. [°C]
    share : float, 0 to 1
        Share of the difference to add; see `SURFACE_SHARE` (house). [1]

    Returns
    -------
    ndarray of the common shape of the arguments
        At least `product_c`. [°C]

    Notes
    -----
    T + share max(0, T_air - T). For hung or racked pieces; under brine the brine is the surface.

    Examples
    --------
    >>> surface_temperature([5.0, 5.0], [9.0, 3.0]).tolist()
    [5.8, 5.0]

    References
    ----------
    [1] House; bracketed by the one-dimensional slab series, Cengel and Ghajar, *Heat and Mass Transfer*, table 4-2.
    """
    product, air = np.asarray(product_c, dtype=np.float64), np.asarray(air_c, dtype=np.float64)
    return np.asarray(product + share * np.maximum(air - product, 0.0))


def mixed_temperature(brine_kg: float, brine_c: float, meat_kg: float, meat_c: float) -> float:
    """Return the temperature at which brine and meat meet, before the room takes part. [°C]

    Parameters
    ----------
    brine_kg, meat_kg : float, >= 0, not both 0
        Masses. [kg]
    brine_c, meat_c : float
        Temperatures at filling. [°C]

    Returns
    -------
    float
        Between the two temperatures. [°C]

    Raises
    ------
    ValueError
        If a mass is negative or both are zero.

    Notes
    -----
    Heat balance with the specific heats `BRINE_HEAT_KJ_KG_K` and `MEAT_HEAT_KJ_KG_K`; the tub is left out.

    Examples
    --------
    >>> round(mixed_temperature(3.0, 30.0, 3.0, 3.0), 1)
    16.9

    References
    ----------
    [1] Choi and Okos, *Effects of temperature and composition on the thermal properties of foods*, 1986, as in
        CoolProp 8.0; brine from CoolProp 8.0 INCOMP::MNA.
    """
    brine, meat = brine_kg * BRINE_HEAT_KJ_KG_K, meat_kg * MEAT_HEAT_KJ_KG_K
    if not (brine >= 0 and meat >= 0 and brine + meat > 0):
        raise ValueError(f"masses of {brine_kg} kg brine and {meat_kg} kg meat cannot be mixed")
    return (brine * brine_c + meat * meat_c) / (brine + meat)

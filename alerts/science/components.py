"""Thermal properties of meat from what it is made of. Pure: no clock, no I/O."""

from typing import NamedTuple

COEFFICIENTS: dict[str, tuple[tuple[float, float, float], ...]] = {
    "water": (
        (0.57109, 1.7625e-3, -6.7036e-6),
        (997.18, 3.1439e-3, -3.7574e-3),
        (4.1289, -9.0864e-5, 5.4731e-6),
    ),
    "protein": ((0.17881, 1.1958e-3, -2.7178e-6), (1329.9, -0.5184, 0.0), (2.0082, 1.2089e-3, -1.3129e-6)),
    "fat": ((0.18071, -2.7604e-4, -1.7749e-7), (925.59, -0.41757, 0.0), (1.9842, 1.4733e-3, -4.8008e-6)),
    "carbohydrate": ((0.20141, 1.3874e-3, -4.3312e-6), (1599.1, -0.31046, 0.0), (1.5488, 1.9625e-3, -5.9399e-6)),
    "ash": ((0.32962, 1.4011e-3, -2.9069e-6), (2423.8, -0.28063, 0.0), (1.0926, 1.8896e-3, -3.6817e-6)),
}
"""Conductivity [W/(m K)], density [kg/m3] and heat [kJ/(kg K)] as polynomials of temperature [°C]: Choi and Okos 1986,
from memory, each confirmed against CoolProp 8.0. One public copy has 0.457109 for the conductivity of water: wrong."""

COLDEST_C, WARMEST_C = -40.0, 150.0
"""Range of the polynomials: Choi and Okos 1986."""

FREEZES_C = -1.7
"""Lean beef begins to freeze (from memory, medium confidence); below it there is ice, which is not counted here."""


class Composition(NamedTuple):
    """What meat is made of, as shares of its mass, summing to 1. [1]"""

    water: float
    protein: float
    fat: float
    carbohydrate: float
    ash: float


class Thermal(NamedTuple):
    """Properties of a piece; both ends of the conductivity, heat in J/(kg K)."""

    density_kg_m3: float
    conductivity_w_mk: float
    """With the components side by side: the upper bound, and near what is measured. [W/(m K)]"""
    conductivity_low_w_mk: float
    """With the components one behind the other: the lower bound. [W/(m K)]"""
    heat_j_kg_k: float
    diffusivity_m2_s: float


LEAN = Composition(0.720, 0.212, 0.056, 0.0, 0.012)
"""Lean beef, as in the worked example of the published tests."""

FATTY = Composition(0.575, 0.170, 0.247, 0.0, 0.008)
"""Fatty beef, as in the worked example of the published tests."""


def component_properties(component: str, temp_c: float) -> tuple[float, float, float]:
    """Return conductivity, density and heat of one component of food. [W/(m K)], [kg/m3], [J/(kg K)]

    Parameters
    ----------
    component : {"water", "protein", "fat", "carbohydrate", "ash"}
        The component.
    temp_c : float, -40 to 150
        Temperature. [°C]

    Returns
    -------
    tuple of float
        All above zero. [W/(m K)], [kg/m3], [J/(kg K)]

    Raises
    ------
    ValueError
        If the component is unknown or the temperature out of range.

    Notes
    -----
    The heat of water here is that of water in food, 1.9 % below that of pure water at 4 °C: not for brine.

    Examples
    --------
    >>> [round(value, 3) for value in component_properties("protein", 4.0)]
    [0.184, 1327.826, 2013.015]

    References
    ----------
    [1] Choi and Okos, *Effects of temperature and composition on the thermal properties of foods*, 1986, as in
        CoolProp 8.0 (all five compared in the published tests).
    """
    if component not in COEFFICIENTS:
        raise ValueError(f"unknown component: {component}")
    if not COLDEST_C <= temp_c <= WARMEST_C:
        raise ValueError(f"{temp_c} °C lies outside {COLDEST_C} to {WARMEST_C} °C")
    conductivity, density, heat = (a + b * temp_c + c * temp_c**2 for a, b, c in COEFFICIENTS[component])
    return conductivity, density, 1000 * heat


def thermal_properties(composition: Composition, temp_c: float) -> Thermal:
    """Return density, conductivity, heat and diffusivity of unfrozen meat. [kg/m3], [W/(m K)], [J/(kg K)], [m2/s]

    Parameters
    ----------
    composition : Composition
        Shares of the mass, none negative, summing to 1. [1]
    temp_c : float, FREEZES_C to 150
        Temperature. [°C]

    Returns
    -------
    Thermal
        The diffusivity is that of the upper conductivity. [kg/m3], [W/(m K)], [J/(kg K)], [m2/s]

    Raises
    ------
    ValueError
        If a share is negative, the shares do not sum to 1 within 0.001, or the temperature is out of range.

    Notes
    -----
    1/rho = sum x/rho_i; c = sum x c_i; k = sum v k_i with v the shares of the volume; the lower bound is
    1 / sum v/k_i. Ice is left out, so frozen meat is refused.

    Examples
    --------
    >>> beef = thermal_properties(LEAN, 4.0)
    >>> round(beef.density_kg_m3, 1), round(beef.conductivity_w_mk, 3), round(beef.heat_j_kg_k)
    (1055.6, 0.485, 3524)
    >>> round(beef.diffusivity_m2_s * 1e7, 3)
    1.303

    References
    ----------
    [1] Choi and Okos 1986 as in `component_properties`; mixing rules of the ASHRAE Refrigeration handbook (from
        memory).
    """
    if min(composition) < 0 or not abs(sum(composition) - 1.0) <= 0.001:
        raise ValueError("the shares of a composition are not negative, and sum to 1")
    if not FREEZES_C <= temp_c <= WARMEST_C:
        raise ValueError(f"{temp_c} °C lies outside {FREEZES_C} to {WARMEST_C} °C: frozen meat holds ice")
    parts = [(share, *component_properties(name, temp_c)) for name, share in composition._asdict().items()]
    volume = sum(share / density for share, _, density, _ in parts)
    conductivity = sum(share / density / volume * k for share, k, density, _ in parts)
    resistance = sum(share / density / volume / k for share, k, density, _ in parts)
    heat = sum(share * c for share, _, _, c in parts)
    return Thermal(1 / volume, conductivity, 1 / resistance, heat, conductivity * volume / heat)

"""Roots, coefficients, centre temperatures and properties of the conduction modules, against published figures."""

from collections.abc import Callable

import pytest
from CoolProp.CoolProp import PropsSI

from alerts.science.components import FATTY, LEAN, component_properties, thermal_properties
from alerts.science.conduction import (
    Direction,
    Shape,
    centre_temperature,
    conduction_series,
    core_time_constant,
    lumped_time_constant,
)
from alerts.science.warmest import BRINE_HEAT_KJ_KG_K, MEAT_HEAT_KJ_KG_K

Agrees = Callable[[dict[str, str], str, float], None]
SHAPES: dict[str, Shape] = {"slab": "slab", "cylinder": "cylinder", "sphere": "sphere"}


@pytest.mark.figures("roots.csv")
def test_first_root_and_coefficient_are_the_published_ones(row: dict[str, str], agrees: Agrees) -> None:
    series = conduction_series(SHAPES[row["shape"]], float(row["bi"]), 1)
    agrees(row, "zeta", float(series.roots[0]))
    agrees(row, "c", float(series.coefficients[0]))


def beef_lags(*halves: float, h: float) -> float:
    """Return the time constant of the core of a piece of lean beef at 4 °C. [h]"""
    beef = thermal_properties(LEAN, 4.0)
    directions = [Direction("slab", half, h) for half in halves]
    tau_s, _ = core_time_constant(
        directions, conductivity_w_mk=beef.conductivity_w_mk, diffusivity_m2_s=beef.diffusivity_m2_s
    )
    return tau_s / 3600


@pytest.mark.figures("time_constants.csv", item="slab")
def test_a_slab_lags_by_its_worked_time_constant(row: dict[str, str], agrees: Agrees) -> None:
    h = float(row["h_w_m2k"])
    agrees(row, "tau_h", beef_lags(0.0275, h=h))
    if row["lumped_h"]:
        beef = thermal_properties(LEAN, 4.0)
        agrees(row, "lumped_h", lumped_time_constant([(beef.density_kg_m3 * 0.055, beef.heat_j_kg_k)], h, 2.0) / 3600)


@pytest.mark.figures("time_constants.csv", item="brick")
def test_a_brick_lags_by_its_worked_time_constant(row: dict[str, str], agrees: Agrees) -> None:
    agrees(row, "tau_h", beef_lags(0.0275, 0.075, 0.125, h=float(row["h_w_m2k"])))


@pytest.mark.figures("time_constants.csv", item="tub")
def test_a_tub_lags_by_its_worked_time_constant(row: dict[str, str], agrees: Agrees) -> None:
    heats = [(5.0, 1000 * BRINE_HEAT_KJ_KG_K), (4.0, 1000 * MEAT_HEAT_KJ_KG_K)]
    agrees(row, "tau_h", lumped_time_constant(heats, 1.81, 1.0) / 3600)


@pytest.mark.figures("centres.csv")
def test_the_centre_is_as_warm_as_the_textbook_says(row: dict[str, str], agrees: Agrees) -> None:
    h, half = float(row["h"]), float(row["half_m"])
    shapes: dict[str, Shape] = {"egg": "sphere", "plate": "slab", "shaft": "cylinder", "short cylinder": "cylinder"}
    directions = [Direction(shapes[row["body"]], half, h)]
    if row["other_half_m"]:
        directions.append(Direction("slab", float(row["other_half_m"]), h))
    found = centre_temperature(
        directions,
        float(row["time_s"]),
        start_c=float(row["start_c"]),
        air_c=float(row["air_c"]),
        conductivity_w_mk=float(row["k"]),
        diffusivity_m2_s=float(row["alpha"]),
    )
    agrees(row, "centre_c", found)


@pytest.mark.figures("components.csv")
def test_meat_has_the_properties_of_what_it_is_made_of(row: dict[str, str], agrees: Agrees) -> None:
    found = thermal_properties({"lean": LEAN, "fatty": FATTY}[row["meat"]], 4.0)
    columns = {
        "density": found.density_kg_m3,
        "conductivity": found.conductivity_w_mk,
        "conductivity_low": found.conductivity_low_w_mk,
        "heat": found.heat_j_kg_k / 1000,
        "diffusivity": found.diffusivity_m2_s * 1e7,
    }
    agrees(row, "value", columns[row["column"]])


@pytest.mark.parametrize("component", ["water", "protein", "fat", "carbohydrate", "ash"])
@pytest.mark.parametrize("temp_c", [0.0, 4.0, 21.0, 70.0, 120.0])
def test_every_polynomial_is_that_of_the_property_library(component: str, temp_c: float) -> None:
    fluid = f"INCOMP::Food{component.capitalize()}"
    ours = component_properties(component, temp_c)
    theirs = [PropsSI(output, "T", temp_c + 273.15, "P", 101325, fluid) for output in ("L", "D", "C")]
    assert ours == pytest.approx(theirs, rel=3e-4)

"""Strength, density, freezing point and saturation of brine, against tables and against CoolProp."""

from collections.abc import Callable

import pytest
from CoolProp.CoolProp import PropsSI

from alerts.science.brine import IMPERIAL_GALLON_L, POUND_KG, US_GALLON_L, Recipe, salt_for
from alerts.science.brine_properties import density, freezing_point, saturation
from alerts.science.salometer import (
    SIXTY_F_C,
    degrees_salometer,
    expected_reading,
    recipe_density,
    strength_of_degrees,
)

Agrees = Callable[[dict[str, str], str, float], None]

WATER_LB_US_GALLON = 8.345


@pytest.mark.figures("salometer.csv")
def test_the_degrees_are_those_of_the_trade_table(row: dict[str, str], agrees: Agrees) -> None:
    strength_percent = float(strength_of_degrees(float(row["sal"])))
    salt_per_water = float(salt_for(strength_percent, 1.0))
    agrees(row, "strength_percent", strength_percent)
    agrees(row, "lb_per_us_gallon", salt_per_water * WATER_LB_US_GALLON)
    agrees(row, "g_per_kg_water", 1000 * salt_per_water)
    assert float(degrees_salometer(strength_percent)) == pytest.approx(float(row["sal"]))
    if row["freezes_c"]:
        freezes_c = float(freezing_point(strength_percent))
        agrees(row, "freezes_c", freezes_c)
        agrees(row, "freezes_f", freezes_c * 1.8 + 32)


@pytest.mark.figures("salometer.csv")
def test_the_gravities_are_those_of_the_trade_table(row: dict[str, str], agrees: Agrees) -> None:
    heavier = float(density(strength_of_degrees(float(row["sal"])), SIXTY_F_C) / density(0.0, SIXTY_F_C))
    agrees({**row, "tolerance": "0.001"}, "gravity", heavier)


@pytest.mark.figures("salometer_spots.csv")
def test_a_gallon_of_water_takes_the_quoted_salt(row: dict[str, str], agrees: Agrees) -> None:
    gallon_l = {"us": US_GALLON_L, "imperial": IMPERIAL_GALLON_L}[row["gallon"]]
    water_kg = float(row["gallons"]) * gallon_l * float(density(0.0, 20.0)) / 1000
    salt_kg = float(salt_for(float(row["strength_percent"]), water_kg))
    if row["salt_lb"]:
        agrees(row, "salt_lb", salt_kg / POUND_KG)
    else:
        agrees(row, "salt_kg", salt_kg)


def test_the_wrong_gallon_is_a_fifth_off() -> None:
    assert pytest.approx(1.20095, abs=1e-5) == IMPERIAL_GALLON_L / US_GALLON_L


@pytest.mark.figures("brine_freezing.csv")
def test_brine_freezes_where_the_tables_say(row: dict[str, str], agrees: Agrees) -> None:
    agrees(row, "freezes_c", float(freezing_point(float(row["strength_percent"]))))


@pytest.mark.figures("brine_density.csv")
def test_brine_is_as_dense_as_the_tables_say(row: dict[str, str], agrees: Agrees) -> None:
    agrees(row, "density_kg_m3", float(density(float(row["strength_percent"]), float(row["temp_c"]))))


@pytest.mark.figures("brine_saturation.csv")
def test_brine_is_saturated_where_the_salt_table_says(row: dict[str, str], agrees: Agrees) -> None:
    agrees(row, "saturated_percent", float(saturation((float(row["temp_f"]) - 32) / 1.8)))


@pytest.mark.figures("sugar_density.csv")
def test_sugar_in_water_is_as_dense_as_the_tables_say(row: dict[str, str], agrees: Agrees) -> None:
    sugar = float(row["sugar_percent"])
    agrees(row, "density_kg_m3", recipe_density(Recipe(water_kg=100 - sugar, salt_kg=0.0, sugar_kg=sugar), 20.0))


@pytest.mark.parametrize("temp_c", [0.5, 2.0, 4.0, 8.0, 12.0, 15.56, 21.0, 25.0, 33.0, 39.0])
@pytest.mark.parametrize("strength_percent", [0.5, 1.5, 3.3, 5.0, 7.7, 9.5, 11.0, 13.2, 15.8, 18.4, 20.5, 22.9])
def test_density_follows_coolprop(strength_percent: float, temp_c: float, agrees: Agrees) -> None:
    theirs = PropsSI("D", "T", temp_c + 273.15, "P", 101_325, f"INCOMP::MNA[{strength_percent / 100}]")
    row = {"density_kg_m3": f"{theirs:.3f}", "tolerance": "0.25", "known": "computed"}
    row["source"] = "CoolProp 8.0 INCOMP::MNA, density when the test runs"
    agrees(row, "density_kg_m3", float(density(strength_percent, temp_c)))


@pytest.mark.parametrize("strength_percent", [0.7, 1.5, 3.5, 4.5, 6.5, 8.5, 9.5, 11.0, 13.0, 15.0, 17.0, 19.0, 21.0])
def test_freezing_follows_coolprop(strength_percent: float, agrees: Agrees) -> None:
    theirs = PropsSI("T_FREEZE", "T", 300.0, "P", 101_325, f"INCOMP::MNA[{strength_percent / 100}]") - 273.15
    row = {"freezes_c": f"{theirs:.3f}", "tolerance": "0.1", "known": "computed"}
    row["source"] = "CoolProp 8.0 INCOMP::MNA, freezing point when the test runs"
    agrees(row, "freezes_c", float(freezing_point(strength_percent)))


def test_the_density_column_headed_15_c_is_not_that_of_15_c() -> None:
    # 10 % brine at 10 °C: 1074.2 by the classic tables (from memory). Read as 15 °C it would be 0.2 % of salt off.
    assert float(density(10.0, 10.0)) == pytest.approx(1074.2, abs=0.3)
    assert abs(float(density(10.0, 15.0)) - 1074.2) > 1.5


def test_half_a_hundred_grams_of_sugar_read_as_nine_degrees() -> None:
    # About 9 °SAL, 2.3 % apparent salt, for 50 g of sugar in a litre of water with some salt: worked for this project.
    plain, sweet = Recipe(water_kg=1.0, salt_kg=0.05), Recipe(water_kg=1.0, salt_kg=0.05, sugar_kg=0.05)
    more = expected_reading(sweet, SIXTY_F_C) - expected_reading(plain, SIXTY_F_C)
    assert more == pytest.approx(9.0, abs=0.5)
    assert float(strength_of_degrees(more)) == pytest.approx(2.3, abs=0.1)
    assert sweet.strength_percent == plain.strength_percent

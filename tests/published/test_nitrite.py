"""Ingoing nitrite and nitrate, and salt once even, against worked examples and the quantities of the regulation."""

from collections.abc import Callable

import pytest

from alerts.science.brine import POUND_KG, salt_for
from alerts.science.equilibrium import even_out, water_phase_salt
from alerts.science.nitrite import (
    Form,
    agent_in,
    curing_salt_for,
    expressed_as,
    immersion_method_one,
    immersion_method_two,
    pickle_from_gallons,
    pumped,
    rubbed_or_mixed_in,
)

Agrees = Callable[[dict[str, str], str, float], None]
FORMS: dict[str, Form] = {
    "NaNO2": "NaNO2",
    "KNO2": "KNO2",
    "NO2": "NO2",
    "NaNO3": "NaNO3",
    "KNO3": "KNO3",
    "NO3": "NO3",
}


@pytest.mark.figures("nitrite_immersed.csv", method="one")
def test_immersed_meat_by_method_one_gets_what_is_worked(row: dict[str, str], agrees: Agrees) -> None:
    agent, pickle, pickup = (float(row[name]) for name in ("agent_kg", "pickle_kg", "pickup_percent"))
    agrees(row, "ppm", immersion_method_one(agent, pickle, pickup))


@pytest.mark.figures("nitrite_immersed.csv", method="two")
def test_immersed_meat_by_method_two_gets_what_is_worked(row: dict[str, str], agrees: Agrees) -> None:
    agrees(row, "ppm", immersion_method_two(*(float(row[name]) for name in ("agent_kg", "pickle_kg", "meat_kg"))))


@pytest.mark.figures("nitrite_pumped.csv")
def test_pumped_meat_gets_what_is_worked(row: dict[str, str], agrees: Agrees) -> None:
    agent = agent_in(float(row["curing_salt"]), float(row["composition_percent"]))
    agrees(row, "ppm", pumped(agent, float(row["pickle"]), float(row["pump_percent"])))


@pytest.mark.figures("nitrite_gallons.csv")
def test_the_limit_of_pumped_meat_rests_on_ten_pounds_a_gallon(row: dict[str, str], agrees: Agrees) -> None:
    pickle_kg = pickle_from_gallons(100, float(row["lb_per_gallon"]))
    agrees(row, "ppm", pumped(2 * POUND_KG, pickle_kg, 10.0))


@pytest.mark.figures("nitrite_weighed.csv")
def test_dry_and_chopped_meat_gets_all_that_was_weighed(row: dict[str, str], agrees: Agrees) -> None:
    agrees(row, "ppm", rubbed_or_mixed_in(float(row["agent"]), float(row["meat"])))


@pytest.mark.figures("nitrite_forms.csv")
def test_salt_and_ion_stand_as_the_texts_say(row: dict[str, str], agrees: Agrees) -> None:
    agrees(row, "printed", expressed_as(float(row["amount"]), FORMS[row["have"]], FORMS[row["want"]]))


@pytest.mark.figures("salt_evened.csv")
def test_salt_ends_where_it_was_worked(row: dict[str, str], agrees: Agrees) -> None:
    end = even_out(0.3, 2.7, 3.0, 70.0)
    found = {
        "water_phase_salt_percent": end.water_phase_salt_percent,
        "salt_in_meat_g": 1000 * end.salt_in_meat_kg,
        "salt_in_meat_percent": end.salt_in_meat_percent,
        "bath_ratio": end.bath_ratio,
        "dry_salt_g": 1000 * float(salt_for(3.0, 3.0 * 0.7)),
        "aqueous_percent": water_phase_salt(3.0, 70.0),
    }
    agrees(row, "value", found[row["quantity"]])


def test_one_brine_is_told_a_factor_of_three_apart_by_the_two_methods() -> None:
    brine = 0.00126, 0.6
    assert immersion_method_two(*brine, 1.2) / immersion_method_one(*brine, 10.0) == pytest.approx(10 / 3)


def test_a_batch_within_a_limit_of_the_salt_may_be_over_a_limit_of_the_ion() -> None:
    # 156 ppm NaNO2, the US figure for chopped meat, against 80 mg/kg of the ion.
    assert expressed_as(156.0, "NaNO2", "NO2") > 80.0 > expressed_as(119.0, "NaNO2", "NO2")


def test_the_weight_for_an_amount_gives_that_amount() -> None:
    assert rubbed_or_mixed_in(agent_in(curing_salt_for(156.25, 0.6, 2.0), 0.6), 2.0) == pytest.approx(156.25)

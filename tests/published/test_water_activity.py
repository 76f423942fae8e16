"""Water activity of salt brine against tables and equations."""

from collections.abc import Callable

import numpy as np
import pytest

from alerts.science.brine import strength
from alerts.science.water_activity import (
    NACL_KG_MOL,
    WATER_KG_MOL,
    molality,
    water_activity,
    water_activity_polynomial,
    water_activity_saturated,
    water_activity_with_sucrose,
)

Agrees = Callable[[dict[str, str], str, float], None]


@pytest.mark.figures("water_activity_molal.csv")
def test_water_activity_is_that_of_the_molal_table(row: dict[str, str], agrees: Agrees) -> None:
    molal = float(row["molal"])
    found = float(strength(molal * NACL_KG_MOL, 1.0))
    agrees(row, "strength_percent", found)
    agrees(row, "aw", float(water_activity(found)))
    assert float(molality(found)) == pytest.approx(molal)


@pytest.mark.figures("water_activity.csv", curve="table")
def test_water_activity_of_a_strength_is_as_printed(row: dict[str, str], agrees: Agrees) -> None:
    agrees(row, "aw", float(water_activity(float(row["strength_percent"]))))


@pytest.mark.figures("water_activity.csv", curve="polynomial")
def test_the_short_equation_gives_its_values(row: dict[str, str], agrees: Agrees) -> None:
    agrees(row, "aw", float(water_activity_polynomial(float(row["strength_percent"]))))


@pytest.mark.figures("water_activity_round.csv")
def test_the_round_table_means_salt_per_hundred_grams_of_water(row: dict[str, str], agrees: Agrees) -> None:
    salt = float(row["salt"])
    agrees(row, "aw", float(water_activity(strength(salt, 100.0))))


@pytest.mark.figures("water_activity_round.csv")
def test_the_round_table_read_as_per_cent_of_brine_misleads_from_10_percent_on(row: dict[str, str]) -> None:
    salt, printed = float(row["salt"]), float(row["aw"])
    too_high = printed - float(water_activity(salt))
    assert too_high > 0.004 if salt >= 10 else too_high < 0.004


@pytest.mark.figures("water_activity_sugar.csv")
def test_sugar_hardly_lowers_the_water_activity_of_a_brine(row: dict[str, str], agrees: Agrees) -> None:
    masses = (float(row[name]) for name in ("nacl_kg", "sucrose_kg", "water_kg"))
    agrees(row, "aw", water_activity_with_sucrose(*masses))


def test_saturated_brine_is_at_0_753_to_0_755() -> None:
    # 0.753 to 0.755 at 25 °C, read in three pages.
    assert water_activity_saturated(25.0) == pytest.approx(0.7534, abs=5e-5)


def test_the_table_follows_the_pitzer_equation_between_its_rows() -> None:
    found = np.linspace(0.05, 25.9, 400)
    m = molality(found)
    root = np.sqrt(m)
    osmotic = 1 - 0.3915 * root / (1 + 1.2 * root) + m * (0.0765 + 0.2664 * np.exp(-2 * root)) + 0.00127 * m**2
    pitzer = np.exp(-2 * osmotic * m * WATER_KG_MOL)
    assert np.abs(water_activity(found) - pitzer).max() < 5e-4
    assert np.abs((water_activity(found) - pitzer)[found < 12]).max() < 1e-4


def test_the_short_equation_is_good_to_a_thousandth_up_to_10_percent() -> None:
    found = np.linspace(0.0, 10.0, 101)
    assert np.abs(water_activity_polynomial(found) - water_activity(found)).max() < 0.001


@pytest.mark.parametrize(("strength_percent", "too_high"), [(16.0, 0.002), (22.0, 0.011)])
def test_past_its_end_the_short_equation_would_read_too_high(strength_percent: float, too_high: float) -> None:
    with pytest.raises(ValueError, match="outside 0 to 12"):
        water_activity_polynomial(strength_percent)
    bare = 1 - 0.0052471 * strength_percent - 0.00012206 * strength_percent**2
    assert bare - float(water_activity(strength_percent)) == pytest.approx(too_high, abs=6e-4)

"""What a salometer shows in a brine."""

import pytest

from alerts.science.brine import Recipe
from alerts.science.brine_properties import density
from alerts.science.salometer import (
    SIXTY_F_C,
    corrected_reading,
    degrees_at,
    degrees_salometer,
    expected_reading,
    strength_of_degrees,
)


def test_a_brine_of_salt_alone_at_60_f_reads_its_strength() -> None:
    for salt_kg in (0.02, 0.1, 0.25, 0.35):
        recipe = Recipe(water_kg=1.0, salt_kg=salt_kg)
        assert expected_reading(recipe, SIXTY_F_C) == pytest.approx(
            float(degrees_salometer(recipe.strength_percent)), abs=1e-6
        )


def test_sugar_reads_as_salt_though_it_is_none() -> None:
    plain, sweet = Recipe(water_kg=1.0, salt_kg=0.1), Recipe(water_kg=1.0, salt_kg=0.1, sugar_kg=0.05)
    assert sweet.strength_percent == plain.strength_percent
    assert expected_reading(sweet, SIXTY_F_C) > expected_reading(plain, SIXTY_F_C) + 7


@pytest.mark.parametrize("temp_c", [4.0, 10.0, 20.0, 25.0])
@pytest.mark.parametrize("salt_kg", [0.1, 0.15])
def test_the_trade_correction_brings_a_reading_back_within_a_degree(salt_kg: float, temp_c: float) -> None:
    recipe = Recipe(water_kg=1.0, salt_kg=salt_kg)
    read = expected_reading(recipe, temp_c)
    assert float(corrected_reading(read, temp_c)) == pytest.approx(
        float(degrees_salometer(recipe.strength_percent)), abs=1.0
    )


def test_nothing_reads_below_nought_and_nothing_past_the_scale() -> None:
    assert degrees_at(float(density(0.0, 40.0))) == pytest.approx(0.0, abs=1e-9)
    with pytest.raises(ValueError, match="a density in kg/m3"):
        degrees_at(1300.0)
    with pytest.raises(ValueError, match="a density in kg/m3"):
        expected_reading(Recipe(water_kg=1.0, salt_kg=0.358), 2.0)


def test_a_boiled_brine_is_not_read_hot() -> None:
    with pytest.raises(ValueError, match="brine temperature"):
        corrected_reading(40.0, 60.0)


@pytest.mark.parametrize("degrees_sal", [-1.0, 101.0, float("nan")])
def test_degrees_off_the_scale_mean_nothing(degrees_sal: float) -> None:
    with pytest.raises(ValueError, match="°SAL"):
        strength_of_degrees(degrees_sal)


def test_a_strength_past_saturation_has_no_degrees() -> None:
    with pytest.raises(ValueError, match="a strength in per cent"):
        degrees_salometer(27.0)

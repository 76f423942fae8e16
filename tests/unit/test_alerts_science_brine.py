"""Strength of a brine, and what changes it."""

import pytest

from alerts.science.brine import Recipe, grams_per_litre, salt_for, scaled, strength

TRADE = Recipe(water_kg=2.0, salt_kg=0.2, sugar_kg=0.1, curing_salt_kg=0.03, curing_salt_nacl_percent=93.75)


def test_the_salt_of_the_curing_salt_counts_and_sugar_does_not() -> None:
    assert TRADE.nacl_kg == pytest.approx(0.228125)
    assert TRADE.strength_percent == pytest.approx(100 * 0.228125 / 2.228125)
    assert TRADE.pickle_kg == pytest.approx(2.33)


def test_a_curing_salt_of_unknown_salt_adds_none() -> None:
    unknown = Recipe(water_kg=2.0, salt_kg=0.2, curing_salt_kg=0.03)
    assert unknown.nacl_kg == 0.2


def test_scaling_keeps_the_strength_and_multiplies_every_mass() -> None:
    twice = scaled(TRADE, 2.0)
    assert twice.strength_percent == pytest.approx(TRADE.strength_percent)
    assert twice.pickle_kg == pytest.approx(2 * TRADE.pickle_kg)
    assert twice.curing_salt_nacl_percent == 93.75


@pytest.mark.parametrize("factor", [0.0, -1.0, float("nan"), float("inf")])
def test_a_brine_is_not_scaled_by_nothing(factor: float) -> None:
    with pytest.raises(ValueError, match="cannot be scaled"):
        scaled(TRADE, factor)


def test_ten_per_cent_of_the_water_is_no_ten_per_cent_brine() -> None:
    assert float(strength(0.1, 1.0)) == pytest.approx(9.0909, abs=1e-4)
    assert float(salt_for(10.0, 0.9)) == pytest.approx(0.1)


def test_a_litre_of_brine_holds_less_salt_than_a_litre_of_water_took() -> None:
    assert float(grams_per_litre(10.0, 20.0)) == pytest.approx(107.07, abs=0.05)
    assert 1000 * float(salt_for(10.0, 1.0)) == pytest.approx(111.1, abs=0.05)


@pytest.mark.parametrize(
    ("water_kg", "salt_kg", "nacl_percent"),
    [(0.0, 0.1, 0.0), (-1.0, 0.1, 0.0), (1.0, -0.1, 0.0), (float("nan"), 0.1, 0.0), (1.0, 0.1, 101.0)],
)
def test_an_impossible_recipe_is_refused(water_kg: float, salt_kg: float, nacl_percent: float) -> None:
    with pytest.raises(ValueError, match=r"a brine has water|a curing salt cannot"):
        Recipe(water_kg=water_kg, salt_kg=salt_kg, curing_salt_nacl_percent=nacl_percent)


def test_strength_without_water_is_refused() -> None:
    with pytest.raises(ValueError, match="needs water"):
        strength(0.1, 0.0)
    with pytest.raises(ValueError, match="below 100"):
        salt_for(100.0, 1.0)

"""What holds for every brine: scaling, thinning, order, both ways of a figure."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.science.brine import Recipe, grams_per_litre, salt_for, scaled, strength
from alerts.science.brine_properties import EUTECTIC_PERCENT, SATURATED_PERCENT, density, freezing_point
from alerts.science.equilibrium import brine_cover, even_out
from alerts.science.nitrite import (
    agent_in,
    curing_salt_for,
    immersion_method_one,
    immersion_method_two,
    rubbed_or_mixed_in,
)
from alerts.science.salometer import SIXTY_F_C, degrees_salometer, expected_reading, strength_of_degrees
from alerts.science.water_activity import TABLE_PERCENT, water_activity, water_activity_polynomial

water = st.floats(0.1, 200.0)
more = st.floats(0.0, 50.0)
factors = st.floats(0.01, 100.0)
cold = st.floats(0.0, 25.0)


@st.composite
def recipes(draw: st.DrawFn) -> Recipe:
    """Draw a brine from nothing in it to one that is nearly saturated."""
    water_kg = draw(water)
    return Recipe(
        water_kg=water_kg,
        salt_kg=water_kg * draw(st.floats(0.0, 0.25)),
        sugar_kg=water_kg * draw(st.floats(0.0, 0.1)),
        curing_salt_kg=water_kg * draw(st.floats(0.0, 0.03)),
        curing_salt_nacl_percent=draw(st.floats(0.0, 100.0)),
    )


@given(recipes(), factors)
def test_scaling_a_recipe_keeps_its_strength_and_its_density(recipe: Recipe, factor: float) -> None:
    other = scaled(recipe, factor)
    assert other.strength_percent == pytest.approx(recipe.strength_percent, rel=1e-9, abs=1e-12)
    assert other.pickle_kg == pytest.approx(factor * recipe.pickle_kg)


@given(recipes(), more)
def test_more_water_never_raises_the_strength(recipe: Recipe, more_kg: float) -> None:
    assert strength(recipe.nacl_kg, recipe.water_kg + more_kg) <= recipe.strength_percent * (1 + 1e-12)


@given(recipes(), more)
def test_more_salt_never_lowers_the_strength_and_sugar_changes_nothing(recipe: Recipe, more_kg: float) -> None:
    assert strength(recipe.nacl_kg + more_kg, recipe.water_kg) >= recipe.strength_percent * (1 - 1e-12)
    sweet = Recipe(recipe.water_kg, recipe.salt_kg, recipe.sugar_kg + more_kg, recipe.curing_salt_kg)
    plain = Recipe(recipe.water_kg, recipe.salt_kg, recipe.sugar_kg, recipe.curing_salt_kg)
    assert sweet.strength_percent == plain.strength_percent


@given(st.floats(0.0, 90.0), water)
def test_the_salt_for_a_strength_gives_that_strength(strength_percent: float, water_kg: float) -> None:
    assert float(strength(salt_for(strength_percent, water_kg), water_kg)) == pytest.approx(strength_percent, abs=1e-9)


@given(st.floats(0.0, 100.0))
def test_degrees_and_strength_are_two_names_of_one_thing(degrees_sal: float) -> None:
    assert float(degrees_salometer(strength_of_degrees(degrees_sal))) == pytest.approx(degrees_sal, abs=1e-9)


@given(st.lists(st.floats(0.0, SATURATED_PERCENT), min_size=2, max_size=20), st.floats(0.0, 40.0))
def test_a_stronger_brine_is_never_lighter_and_never_holds_less(strengths: list[float], temp_c: float) -> None:
    rising = np.sort(strengths)
    assert (np.diff(density(rising, temp_c)) >= -1e-9).all()
    assert (np.diff(grams_per_litre(rising, temp_c)) >= -1e-9).all()


@given(st.lists(st.floats(0.0, EUTECTIC_PERCENT), min_size=2, max_size=20))
def test_a_stronger_brine_never_freezes_sooner(strengths: list[float]) -> None:
    assert (np.diff(freezing_point(np.sort(strengths))) <= 0).all()


@given(st.lists(st.floats(0.0, TABLE_PERCENT), min_size=2, max_size=20))
def test_more_salt_never_raises_the_water_activity(strengths: list[float]) -> None:
    rising = np.sort(strengths)
    assert (np.diff(water_activity(rising)) <= 1e-12).all()
    weak = rising[rising <= 12.0]
    assert (np.diff(water_activity_polynomial(weak)) <= 0).all()


@given(recipes(), cold, st.floats(0.0, 0.2))
def test_a_salometer_never_reads_less_for_more_sugar(recipe: Recipe, temp_c: float, more_per_kg: float) -> None:
    sugar_kg = recipe.sugar_kg + more_per_kg * recipe.water_kg
    sweeter = Recipe(recipe.water_kg, recipe.salt_kg, sugar_kg, recipe.curing_salt_kg)
    try:
        read = expected_reading(sweeter, temp_c)
    except ValueError:
        return  # heavier than the scale shows
    plain = Recipe(recipe.water_kg, recipe.salt_kg, recipe.sugar_kg, recipe.curing_salt_kg)
    assert read >= expected_reading(plain, temp_c) - 1e-9
    salts = plain.salt_kg + plain.curing_salt_kg
    if plain.sugar_kg == 0 and temp_c <= SIXTY_F_C:
        assert read >= float(degrees_salometer(strength(salts, plain.water_kg))) - 1e-9


masses = st.floats(0.1, 50.0)


@given(masses, st.floats(0.0, 0.1), masses, more)
def test_more_meat_in_one_brine_never_gets_more_nitrite(
    pickle_kg: float, share: float, meat_kg: float, more_kg: float
) -> None:
    agent_kg = share * pickle_kg
    least = immersion_method_two(agent_kg, pickle_kg, meat_kg + more_kg)
    assert least <= immersion_method_two(agent_kg, pickle_kg, meat_kg) * (1 + 1e-12)
    assert immersion_method_two(agent_kg, pickle_kg, meat_kg) <= 1e6 * share * (1 + 1e-12)


@given(masses, st.floats(0.0, 0.1), masses, factors)
def test_twice_of_everything_gives_the_same_nitrite(
    pickle_kg: float, share: float, meat_kg: float, factor: float
) -> None:
    agent_kg = share * pickle_kg
    both = immersion_method_two(agent_kg, pickle_kg, meat_kg)
    assert immersion_method_two(*(factor * kg for kg in (agent_kg, pickle_kg, meat_kg))) == pytest.approx(both)
    one = immersion_method_one(agent_kg, pickle_kg, 10.0)
    assert immersion_method_one(factor * agent_kg, factor * pickle_kg, 10.0) == pytest.approx(one)


@given(st.floats(0.0, 1000.0), st.floats(0.1, 100.0), masses)
def test_the_curing_salt_for_an_amount_gives_it(ppm: float, composition_percent: float, meat_kg: float) -> None:
    weighed_kg = curing_salt_for(ppm, composition_percent, meat_kg)
    assert rubbed_or_mixed_in(agent_in(weighed_kg, composition_percent), meat_kg) == pytest.approx(ppm, abs=1e-9)


@given(recipes(), masses, st.floats(30.0, 90.0))
def test_salt_is_kept_when_it_evens_out(recipe: Recipe, meat_kg: float, meat_water_percent: float) -> None:
    end = even_out(recipe.nacl_kg, recipe.water_kg, meat_kg, meat_water_percent)
    assert 0 <= end.salt_in_meat_kg <= recipe.nacl_kg * (1 + 1e-12)
    assert end.water_phase_salt_percent <= recipe.strength_percent * (1 + 1e-12)
    in_meat = strength(end.salt_in_meat_kg, meat_kg * meat_water_percent / 100)
    assert float(in_meat) == pytest.approx(end.water_phase_salt_percent, abs=1e-9)


@given(masses, st.floats(0.0, 10.0), st.floats(0.0, 100.0))
def test_brine_added_never_lowers_the_cover(pickle_kg: float, more_kg: float, wanted_mm: float) -> None:
    def cover(kg: float) -> tuple[float, float]:
        found = brine_cover(
            pickle_kg=kg,
            pickle_kg_m3=1075.0,
            meat_kg=5.0,
            meat_kg_m3=1056.0,
            floor_cm2=900.0,
            stacked_mm=120.0,
            wanted_mm=wanted_mm,
        )
        return found.over_meat_mm, found.brine_short_kg

    (before_mm, before_kg), (after_mm, after_kg) = cover(pickle_kg), cover(pickle_kg + more_kg)
    assert after_mm >= before_mm - 1e-9
    assert after_kg <= before_kg + 1e-9

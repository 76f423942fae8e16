"""Salt once even, and whether the brine covers the meat."""

import pytest

from alerts.science.equilibrium import Cover, brine_cover, even_out, water_phase_salt


def cover(pickle_kg: float = 5.0, stacked_mm: float = 100.0, wanted_mm: float = 0.0, meat_kg: float = 4.0) -> Cover:
    """Return how brine of 1100 kg/m3 stands over meat of 1000 kg/m3 on a floor of 0.1 m2."""
    return brine_cover(
        pickle_kg=pickle_kg,
        pickle_kg_m3=1100.0,
        meat_kg=meat_kg,
        meat_kg_m3=1000.0,
        floor_cm2=1000.0,
        stacked_mm=stacked_mm,
        wanted_mm=wanted_mm,
    )


def test_the_meat_lifts_the_brine_by_its_own_room() -> None:
    assert cover(pickle_kg=5.5).level_mm == pytest.approx(90.0)
    assert cover(pickle_kg=5.5).over_meat_mm == pytest.approx(-10.0)


def test_what_is_short_just_covers() -> None:
    found = cover(pickle_kg=5.5)
    assert found.brine_short_kg == pytest.approx(1.1)
    more = cover(pickle_kg=5.5 + found.brine_short_kg)
    assert more.over_meat_mm == pytest.approx(0.0)
    assert more.brine_short_kg == pytest.approx(0.0)


def test_a_wanted_cover_needs_more_and_nothing_is_short_where_there_is_enough() -> None:
    assert cover(wanted_mm=20.0).brine_needed_kg - cover().brine_needed_kg == pytest.approx(2.2)
    assert cover(pickle_kg=50.0).brine_short_kg == 0.0


def test_more_meat_of_the_same_height_needs_less_brine_and_not_more() -> None:
    assert cover(meat_kg=6.0).brine_needed_kg < cover(meat_kg=4.0).brine_needed_kg


def test_meat_cannot_lie_lower_than_its_room() -> None:
    with pytest.raises(ValueError, match="40 mm high"):
        cover(stacked_mm=30.0)


@pytest.mark.parametrize("pickle_kg", [-1.0, float("nan"), float("inf")])
def test_an_impossible_brine_covers_nothing(pickle_kg: float) -> None:
    with pytest.raises(ValueError, match="masses are not below zero"):
        cover(pickle_kg=pickle_kg)


def test_a_dry_cure_has_no_bath_and_keeps_its_salt() -> None:
    end = even_out(0.06, 0.0, 3.0, 70.0)
    assert end.bath_ratio == 0.0
    assert end.salt_in_meat_kg == pytest.approx(0.06)
    assert end.water_phase_salt_percent == pytest.approx(100 * 0.06 / 2.16)


@pytest.mark.parametrize("masses", [(-0.1, 1.0, 1.0, 70.0), (0.1, -1.0, 1.0, 70.0), (0.1, 1.0, 0.0, 70.0)])
def test_salt_does_not_even_out_with_nothing(masses: tuple[float, float, float, float]) -> None:
    with pytest.raises(ValueError, match=r"finite and not below zero|takes up no salt"):
        even_out(*masses)


@pytest.mark.parametrize(("salt", "water"), [(-1.0, 70.0), (3.0, 0.0), (40.0, 70.0), (float("nan"), 70.0)])
def test_a_water_phase_belongs_to_one_product(salt: float, water: float) -> None:
    with pytest.raises(ValueError, match="one product"):
        water_phase_salt(salt, water)

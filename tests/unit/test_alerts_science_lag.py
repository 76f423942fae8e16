"""The time constant that is assumed until one is measured."""

import math

import pytest

from alerts.science.components import LEAN, thermal_properties
from alerts.science.heat import TIME_CONSTANT_SIGMA_LN, time_constant_prior
from alerts.science.lag import SAID_SIGMA_LN, AirMovement, LagPrior, piece_prior, tub_prior

HOUR = 3600.0


def test_the_worked_brick_is_a_flat_piece_of_its_mass() -> None:
    # Worked: 55 by 150 by 250 mm at h 8: 2.85 h. The same mass as a square plate lags about as much.
    mass_kg = 0.055 * 0.150 * 0.250 * thermal_properties(LEAN, 4.0).density_kg_m3
    assert piece_prior(mass_kg, 0.055).tau_s / HOUR == pytest.approx(2.85, abs=0.05)


def test_a_thicker_piece_of_the_same_mass_lags_more() -> None:
    lags = [piece_prior(3.0, thickness / 1000).tau_s for thickness in (20, 30, 40, 55, 70, 90)]
    assert lags == sorted(lags)


@pytest.mark.parametrize("form", ["flat", "round"])
def test_a_heavier_piece_of_the_same_thickness_lags_more_but_never_beyond_its_endless_body(form: str) -> None:
    lags = [piece_prior(mass, 0.06, "flat" if form == "flat" else "round").tau_s for mass in (0.5, 1, 3, 10, 1e3, 1e6)]
    assert lags == sorted(lags)
    assert lags[-1] == pytest.approx(lags[-2], rel=0.05)


def test_a_ball_a_cylinder_as_long_as_wide_and_a_cube_lag_alike() -> None:
    density, width = thermal_properties(LEAN, 4.0).density_kg_m3, 0.1
    cube = piece_prior(width**3 * density, width, "flat").tau_s
    drum = piece_prior(math.pi / 4 * width**3 * density, width, "round").tau_s
    ball = piece_prior(math.pi / 6 * width**3 * density, width, "ball").tau_s
    assert drum == pytest.approx(cube, rel=0.12)
    assert ball == pytest.approx(cube, rel=0.12)


def test_more_air_makes_every_product_quicker() -> None:
    movements: list[AirMovement] = ["still", "stirred", "blast"]
    for lags in (
        [piece_prior(2.0, 0.05, air=air).tau_s for air in movements],
        [tub_prior(4.0, 5.0, air).tau_s for air in movements],
    ):
        assert lags == sorted(lags, reverse=True)


def test_a_tub_of_unsaid_air_has_the_prior_of_any_tub() -> None:
    assert tub_prior(4.0, 5.0) == LagPrior(time_constant_prior(9.0, "tub"), TIME_CONSTANT_SIGMA_LN)
    assert tub_prior(40.0, 40.0) == LagPrior(time_constant_prior(80.0, "tub"), TIME_CONSTANT_SIGMA_LN)


def test_a_tub_scales_with_the_cube_root_of_its_mass_and_a_vessel_slows_it() -> None:
    small, large = tub_prior(4.0, 5.0, "still"), tub_prior(32.0, 40.0, "still")
    assert large.tau_s == pytest.approx(2 * small.tau_s)
    assert tub_prior(4.0, 5.0, "still", vessel_j_k=2e3).tau_s > small.tau_s
    assert small.sigma_ln == SAID_SIGMA_LN


def test_the_general_prior_lies_within_one_spread_of_every_worked_one() -> None:
    worked = [piece_prior(3.0, 0.055, air=air).tau_s for air in ("still", "stirred")]
    general = LagPrior(time_constant_prior(3.0, "hung"), TIME_CONSTANT_SIGMA_LN)
    assert all(general.at(-1.5) < tau_s < general.at(1.5) for tau_s in worked)
    assert general.at(0.0) == general.tau_s


@pytest.mark.parametrize(("mass_kg", "thickness_m"), [(0.0, 0.05), (2.0, 0.0), (math.nan, 0.05), (2.0, math.nan)])
def test_a_piece_without_mass_or_thickness_is_refused(mass_kg: float, thickness_m: float) -> None:
    with pytest.raises(ValueError, match="no time constant"):
        piece_prior(mass_kg, thickness_m)


@pytest.mark.parametrize(("meat", "brine", "vessel"), [(0.0, 0.0, 0.0), (-1.0, 5.0, 0.0), (4.0, 5.0, -1.0)])
def test_a_tub_of_nothing_or_less_is_refused(meat: float, brine: float, vessel: float) -> None:
    with pytest.raises(ValueError, match="no time constant"):
        tub_prior(meat, brine, vessel_j_k=vessel)


def test_words_that_nobody_knows_are_refused() -> None:
    with pytest.raises(ValueError, match="unknown form"):
        piece_prior(2.0, 0.05, "cubic")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="unknown air movement"):
        piece_prior(2.0, 0.05, air="windy")  # type: ignore[arg-type]

"""What the one-state estimate owes the published roots and worked time constants of simple bodies."""

import math
from collections.abc import Callable

import pytest
from CoolProp.CoolProp import PropsSI

from alerts.science.conduction import conduction_series, step_left
from alerts.science.heat import TIME_CONSTANT_SIGMA_LN, filter_step, time_constant_prior
from alerts.science.salt import Shape, penetration
from alerts.science.warmest import BRINE_HEAT_KJ_KG_K, MEAT_HEAT_KJ_KG_K, SURFACE_SHARE, surface_temperature

Agrees = Callable[[dict[str, str], str, float], None]

MEAT_K_W_MK, MEAT_ALPHA_M2_S = 0.485, 1.303e-7
"""Lean beef at 4 °C after Choi and Okos 1986, as in the head of time_constants.csv."""


def slab(bi: float, fo: float, depth: float) -> float:
    """Return what is left of a step at a depth, 0 the centre and 1 the surface."""
    return step_left("slab", bi, fo, depth)


@pytest.mark.figures("roots.csv", bi="inf")
def test_salt_at_the_centre_ends_as_the_published_first_root_says(row: dict[str, str], agrees: Agrees) -> None:
    shapes: dict[str, Shape] = {"slab": "slab", "cylinder": "cylinder", "sphere": "sphere"}
    rest = [1 - penetration(fo, shapes[row["shape"]]).centre for fo in (0.8, 0.9)]
    agrees(row, "zeta", math.sqrt(math.log(rest[0] / rest[1]) / 0.1))


def test_one_state_leaves_two_hundredths_of_a_step_at_biot_a_tenth() -> None:
    # Lumped error for a slab at Bi 0.1, Fo 5: 0.020, worked from the published root (table 4-2).
    bi, fo = 0.1, 5.0
    assert slab(bi, fo, 0.0) - filter_step(1.0, 0.0, 0.0, fo, 1 / bi) == pytest.approx(0.020, abs=0.0005)


def test_the_prior_covers_the_worked_time_constants() -> None:
    def deviations(worked_h: float, prior_s: float) -> float:
        return abs(math.log(worked_h * 3600 / prior_s)) / TIME_CONSTANT_SIGMA_LN

    # Still to stirred air within one deviation; the fan blast (h 30, 1.5 h) within two.
    hung = time_constant_prior(3.0, "hung")
    assert max(deviations(worked_h, hung) for worked_h in (5.3, 4.1, 2.85, 2.5)) < 1.0
    assert deviations(1.5, hung) < 2.0
    assert deviations(5.0, time_constant_prior(9.0, "tub")) < 1.0


@pytest.mark.figures("heats.csv", item="brine")
def test_the_heat_of_brine_is_that_of_the_property_library(row: dict[str, str], agrees: Agrees) -> None:
    agrees(row, "heat_kj_kg_k", BRINE_HEAT_KJ_KG_K)
    agrees(row, "heat_kj_kg_k", PropsSI("C", "T", 277.15, "P", 101325, "INCOMP::MNA[0.095]") / 1000)


@pytest.mark.figures("heats.csv", item="meat")
def test_the_heat_of_meat_is_mixed_from_its_components(row: dict[str, str], agrees: Agrees) -> None:
    shares = {"Water": 0.720, "Protein": 0.212, "Fat": 0.056, "Ash": 0.012}
    heats = [
        share * PropsSI("C", "T", 277.15, "P", 101325, f"INCOMP::Food{component}")
        for component, share in shares.items()
    ]
    agrees(row, "heat_kj_kg_k", MEAT_HEAT_KJ_KG_K)
    agrees(row, "heat_kj_kg_k", sum(heats) / 1000)


def test_the_surface_share_lies_between_the_series_at_biot_045_and_1() -> None:
    def ahead(bi: float) -> float:
        """Return how far the surface is ahead, as a share of what the estimate has still to go."""
        estimate = filter_step(1.0, 0.0, 0.0, 2.0, 1 / float(conduction_series("slab", bi).roots[0]) ** 2)
        return 1 - slab(bi, 2.0, 1.0) / estimate

    # Worked with the estimate at the slab's own time constant: 0.14 at Bi 0.45, 0.27 at Bi 1.
    assert ahead(0.45) == pytest.approx(0.14, abs=0.005)
    assert ahead(1.0) == pytest.approx(0.27, abs=0.005)
    assert ahead(0.45) < SURFACE_SHARE < ahead(1.0)
    assert float(surface_temperature(5.0, 10.0)) == pytest.approx(5.0 + SURFACE_SHARE * 5.0)


def test_the_hung_piece_of_the_note_on_surfaces_is_reproduced() -> None:
    # Worked: 55 mm, h 8 W/m2K, tau 4.1 h, two hours after a step: surface 47 %, lumped estimate 39 % of the step.
    half = 0.0275
    bi, fo = 8 * half / MEAT_K_W_MK, MEAT_ALPHA_M2_S * 7200 / half**2
    assert 1 - slab(bi, fo, 1.0) == pytest.approx(0.47, abs=0.005)
    assert filter_step(0.0, 1.0, 1.0, 7200.0, 4.1 * 3600) == pytest.approx(0.39, abs=0.005)

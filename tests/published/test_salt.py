"""Uptake of salt by simple bodies, and the cure clock, against worked and published figures."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy.optimize import brentq

from alerts.science.integral import Rate
from alerts.science.record import FloatArray
from alerts.science.salt import (
    ACTIVATION_J_MOL,
    Shape,
    cure_clock,
    cure_rate_practice,
    diffusivity_ratio,
    penetration,
)

Agrees = Callable[[dict[str, str], str, float], None]

SHAPES: dict[str, Shape] = {"slab": "slab", "cylinder": "cylinder", "sphere": "sphere"}
DAY = 86400.0


@pytest.mark.figures("uptake.csv")
def test_mean_and_centre_are_those_of_the_series(row: dict[str, str], agrees: Agrees) -> None:
    found = penetration(float(row["fo"]), SHAPES[row["shape"]])
    agrees(row, "mean", found.mean)
    agrees(row, "centre", found.centre)


@pytest.mark.figures("half_uptake.csv")
def test_half_is_taken_up_at_the_published_time(row: dict[str, str], agrees: Agrees) -> None:
    fo = brentq(lambda fo: penetration(fo, SHAPES[row["shape"]]).mean - 0.5, 0.01, 0.5, xtol=1e-12)
    # The slab's figure counts its whole thickness, ours the half.
    agrees(row, "half_uptake", fo / 4 if row["shape"] == "slab" else fo)


@pytest.mark.figures("sheet.csv")
def test_a_sheet_takes_up_what_another_program_says(row: dict[str, str], agrees: Agrees) -> None:
    fo = float(row["d_m2_s"]) * float(row["time_s"]) / float(row["half_thickness_m"]) ** 2
    agrees(row, "uptake", penetration(fo, "slab").mean)


@pytest.mark.figures("brisket.csv")
def test_five_days_season_a_brisket_but_hardly_its_core(row: dict[str, str], agrees: Agrees) -> None:
    brine_wps, half_m = 9.5, 0.0275
    fo_per_day = float(row["d5_m2_s"]) * float(diffusivity_ratio(4.0, 5.0, ACTIVATION_J_MOL)) * DAY / half_m**2
    found = penetration(5 * fo_per_day, "slab")
    agrees(row, "fo", 5 * fo_per_day)
    agrees(row, "mean_wps", brine_wps * found.mean)
    agrees(row, "centre_wps", brine_wps * found.centre)
    centre_2 = brentq(lambda days: brine_wps * penetration(days * fo_per_day, "slab").centre - 2.0, 1.0, 100.0)
    uptake_90 = brentq(lambda days: penetration(days * fo_per_day, "slab").mean - 0.9, 1.0, 1000.0)
    agrees(row, "centre_2_after_d", centre_2)
    agrees(row, "uptake_90_after_d", uptake_90)


@pytest.mark.figures("diffusivity.csv")
def test_salt_moves_as_much_faster_as_worked(row: dict[str, str], agrees: Agrees) -> None:
    activation = 1000 * float(row["activation_kj_mol"])
    agrees(row, "ratio", float(diffusivity_ratio(float(row["temp_c"]), 4.0, activation)))


@pytest.mark.figures("cure_clock.csv")
def test_the_cure_clock_loses_the_worked_hours(row: dict[str, str], agrees: Agrees) -> None:
    end_s, temp_c = float(row["hours"]) * 3600, float(row["temp_c"])

    def diffusion(temps_c: FloatArray) -> FloatArray:
        return diffusivity_ratio(temps_c, 4.0, 1000 * float(row["activation_kj_mol"]))

    rates: dict[str, Rate] = {"diffusion": diffusion, "practice": cure_rate_practice}
    counted_s = cure_clock([0.0, end_s], [temp_c, temp_c], rates[row["rule"]])
    agrees(row, "lost_h", (end_s - counted_s) / 3600)


def test_a_wandering_cure_takes_up_what_a_stepwise_solution_says() -> None:
    # Five days at 6, 1, 0.5, 4 and 9 °C: 0.36643 by the series, 0.36642 by stepwise finite volumes (worked).
    fo = sum(
        1.9e-10 * float(diffusivity_ratio(temp_c, 5.0, ACTIVATION_J_MOL)) * DAY / 0.0275**2
        for temp_c in (6.0, 1.0, 0.5, 4.0, 9.0)
    )
    assert penetration(fo, "slab").mean == pytest.approx(0.36643, abs=1e-5)
    assert math.isclose(finite_volumes(fo), penetration(fo, "slab").mean, abs_tol=3e-4)


def finite_volumes(fo: float, cells: int = 200) -> float:
    """Return the mean uptake of half a sheet by explicit finite volumes, its surface at 1."""
    salt = np.zeros(cells)
    steps = math.ceil(fo / (0.2 / cells**2))
    share = fo / steps * cells**2
    for _ in range(steps):
        flow = np.diff(salt)
        into = 2 * (1.0 - salt[-1])
        salt[1:-1] += share * (flow[1:] - flow[:-1])
        salt[0] += share * flow[0]
        salt[-1] += share * (into - flow[-1])
    return float(salt.mean())

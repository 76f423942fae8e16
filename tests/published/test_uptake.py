"""Salt from limited baths, and days of cure by practice and by diffusion, against published and worked figures."""

from collections.abc import Callable

import pytest

from alerts.science.conduction import Shape
from alerts.science.cure_days import PRACTICES, days_by_diffusion, practice_days
from alerts.science.salt import penetration
from alerts.science.uptake import DIFFUSIVITY_M2_S, _limited_series, diffused_m2

Agrees = Callable[[dict[str, str], str, float], None]
SHAPES: dict[str, Shape] = {"slab": "slab", "cylinder": "cylinder", "sphere": "sphere"}
DAY = 86400.0


@pytest.mark.figures("limited_roots.csv")
def test_a_limited_bath_has_the_published_roots(row: dict[str, str], agrees: Agrees) -> None:
    share = float(row["share"])
    roots, _, _ = _limited_series(SHAPES[row["shape"]], (1 - share) / share)
    agrees(row, "root", float(roots[int(row["number"]) - 1]))


@pytest.mark.figures("cure_days.csv")
def test_salt_takes_the_worked_days_for_a_thickness(row: dict[str, str], agrees: Agrees) -> None:
    half, slower = float(row["thickness_mm"]) / 2000, DIFFUSIVITY_M2_S / (float(row["d5_e_10"]) * 1e-10)
    agrees(row, "centre_2_d", slower * float(days_by_diffusion(2.0 / 9.5, half, "slab", 4.0, "centre")[1]))
    agrees(row, "mean_3_d", slower * float(days_by_diffusion(3.0 / 9.5, half, "slab", 4.0, "mean")[1]))


@pytest.mark.figures("dry_rule.csv")
def test_seven_days_an_inch_leave_the_worked_centre(row: dict[str, str], agrees: Agrees) -> None:
    thickness = float(row["inches"]) * 0.0254
    days, _ = practice_days(PRACTICES["dry cure, bellies"], thickness_m=thickness, mass_kg=5.0)
    _, likely, _ = diffused_m2([0.0, days * DAY], [4.0, 4.0])
    agrees(row, "centre", penetration(likely / (thickness / 2) ** 2, "slab").centre)


def test_a_ham_in_brine_for_sixty_days_is_salted_as_worked() -> None:
    # Worked: a 160 mm cylinder for 60 days at 2.2 °C: centre 0.29, mean 0.69 of the surface.
    _, likely, _ = diffused_m2([0.0, 60 * DAY], [2.2, 2.2])
    found = penetration(likely / 0.08**2, "cylinder")
    assert found.centre == pytest.approx(0.29, abs=0.005)
    assert found.mean == pytest.approx(0.69, abs=0.005)


@pytest.mark.figures("practice_days.csv")
def test_practice_asks_for_the_days_that_its_source_says(row: dict[str, str], agrees: Agrees) -> None:
    pounds, inches = float(row["pounds"]) * 0.45359237, float(row["inches"]) * 0.0254
    agrees(row, "days_to", practice_days(PRACTICES[row["rule"]], thickness_m=inches, mass_kg=pounds)[1])

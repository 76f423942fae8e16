"""Mean kinetic temperature and sums of shares against published forms."""

from collections.abc import Callable

import pytest

from alerts.science.exposure import Band, share_of_budget
from alerts.science.integral import integral_over, mean_kinetic_temperature

Agrees = Callable[[dict[str, str], str, float], None]


def steady(hours: str, temps: list[float]) -> tuple[list[float], list[float]]:
    """Return a record of steady stretches: one step at each change."""
    times_at, temps_c, now_at = [], [], 0.0
    for span_h, temp_c in zip(hours.split(), temps, strict=True):
        times_at += [now_at, now_at + 3600 * float(span_h)]
        temps_c += [temp_c, temp_c]
        now_at = times_at[-1]
    return times_at, temps_c


@pytest.mark.figures("kinetic.csv")
def test_the_kinetic_mean_is_that_of_the_equation(row: dict[str, str], agrees: Agrees) -> None:
    record = steady(row["hours"], [float(temp) for temp in row["temps_c"].split()])
    agrees(row, "kinetic_c", mean_kinetic_temperature(*record, activation_j_mol=83_144.0))
    agrees(row, "mean_c", integral_over(*record, lambda temps_c: temps_c) / record[0][-1])


@pytest.mark.figures("multiplications.csv")
def test_shares_add_up_as_in_the_published_table_of_multiplications(row: dict[str, str], agrees: Agrees) -> None:
    temps_c = [(float(temp) - 32) / 1.8 for temp in row["temps_f"].split()]
    bands = [
        Band(temp_c - 0.1, temp_c + 0.1, 3600 * float(each_h))
        for temp_c, each_h in zip(temps_c, row["hours_each"].split(), strict=True)
    ]
    agrees(row, "multiplications", share_of_budget(*steady(row["hours"], temps_c), bands))

"""Growth curves against the generation times of their papers."""

import math
from collections.abc import Callable

import pytest

from alerts.science.growth import listeria_rate_fat, listeria_rate_lean, log10_increase, salmonella_rate
from alerts.science.integral import Rate
from alerts.science.record import FloatArray

Agrees = Callable[[dict[str, str], str, float], None]


def lean(temps_c: FloatArray) -> FloatArray:
    return listeria_rate_lean(temps_c, 5.6)


RATES: dict[str, Rate] = {
    "listeria_fat": listeria_rate_fat,
    "listeria_lean": lean,
    "salmonella": salmonella_rate,
}


def log10_in(hours: float, temp_c: float, curve: str) -> float:
    return log10_increase([0.0, hours * 3600], [temp_c, temp_c], RATES[curve])


@pytest.mark.figures("generation_times.csv", curve="listeria_fat")
def test_listeria_doubles_on_fat_as_published(row: dict[str, str], agrees: Agrees) -> None:
    agrees(row, "generation_h", math.log10(2) / log10_in(1.0, float(row["temp_c"]), row["curve"]))


@pytest.mark.figures("generation_times.csv", curve="listeria_lean")
def test_listeria_doubles_on_lean_as_published(row: dict[str, str], agrees: Agrees) -> None:
    agrees(row, "generation_h", math.log10(2) / log10_in(1.0, float(row["temp_c"]), row["curve"]))


@pytest.mark.figures("generation_times.csv", curve="salmonella")
def test_salmonella_doubles_as_its_line_says(row: dict[str, str], agrees: Agrees) -> None:
    agrees(row, "generation_h", math.log10(2) / log10_in(1.0, float(row["temp_c"]), row["curve"]))


@pytest.mark.figures("generation_times.csv", curve="observed")
def test_the_salmonella_line_is_never_slower_than_observed(row: dict[str, str], agrees: Agrees) -> None:
    generation_h = math.log10(2) / log10_in(1.0, float(row["temp_c"]), "salmonella")
    if row["temp_c"] == "12.5":
        # The line passes through the two outer points; here it is meant to run fast.
        assert 4.4 < generation_h < float(row["generation_h"])
        agrees({**row, "tolerance": "0.75"}, "generation_h", generation_h)
    else:
        agrees(row, "generation_h", generation_h)


@pytest.mark.figures("growth_per_day.csv")
def test_a_day_adds_what_the_equation_says(row: dict[str, str], agrees: Agrees) -> None:
    agrees(row, "log10_per_day", log10_in(24.0, float(row["temp_c"]), row["curve"]))


@pytest.mark.figures("hours_per_log10.csv")
def test_one_log10_takes_what_the_curves_say(row: dict[str, str], agrees: Agrees) -> None:
    agrees(row, "hours", 1 / log10_in(1.0, float(row["temp_c"]), row["curve"]))

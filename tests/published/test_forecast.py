"""The worked times to the limit."""

from collections.abc import Callable

import numpy as np
import pytest

from alerts.science.forecast import (
    Crossing,
    Spread,
    early_likely_late,
    time_to_limit_constant,
    time_to_limit_ramp,
)

Agrees = Callable[[dict[str, str], str, float], None]

HOUR = 3600.0
SPREAD = Spread(0.2, 0.15, 0.1 / HOUR, 0.2)


def crossing(row: dict[str, str]) -> Crossing:
    slope = float(row["slope_k_h"]) / HOUR
    return early_likely_late(3.0, float(row["air_c"]), slope, 5.0, 6 * HOUR, 25.0, SPREAD)


@pytest.mark.figures("forecast.csv", kind="constant")
def test_air_that_stays_takes_the_worked_time(row: dict[str, str], agrees: Agrees) -> None:
    agrees(row, "likely_h", time_to_limit_constant(3.0, float(row["air_c"]), 5.0, 6 * HOUR) / HOUR)


@pytest.mark.figures("forecast.csv", kind="ramp")
def test_air_that_rises_takes_the_worked_time(row: dict[str, str], agrees: Agrees) -> None:
    slope = float(row["slope_k_h"]) / HOUR
    agrees(row, "likely_h", time_to_limit_ramp(3.0, float(row["air_c"]), slope, 5.0, 6 * HOUR, 25.0) / HOUR)


@pytest.mark.figures("forecast.csv", kind="delta")
def test_the_early_end_is_the_worked_one(row: dict[str, str], agrees: Agrees) -> None:
    agrees(row, "early_h", crossing(row).early_s / HOUR)
    agrees(row, "likely_h", crossing(row).likely_s / HOUR)


@pytest.mark.figures("forecast.csv", kind="monte_carlo")
def test_the_ends_lie_beside_those_of_chance_and_never_later_at_the_early_end(
    row: dict[str, str], agrees: Agrees
) -> None:
    agrees(row, "early_h", crossing(row).early_s / HOUR)
    agrees(row, "late_h", crossing(row).late_s / HOUR)
    assert crossing(row).early_s / HOUR < float(row["early_h"])


@pytest.mark.figures("forecast.csv", kind="monte_carlo")
def test_chance_gives_the_worked_ends(row: dict[str, str], agrees: Agrees) -> None:
    rng = np.random.default_rng(20)
    count = 20_000
    products = rng.normal(3.0, SPREAD.product_c, count)
    airs = rng.normal(float(row["air_c"]), SPREAD.air_c, count)
    slopes = rng.normal(float(row["slope_k_h"]) / HOUR, SPREAD.slope_c_per_s, count)
    taus = 6 * HOUR * np.exp(rng.normal(0.0, SPREAD.ln_tau, count))
    times = [
        time_to_limit_ramp(float(product), float(air), float(slope), 5.0, float(tau), 100.0) / HOUR
        for product, air, slope, tau in zip(products, airs, slopes, taus, strict=True)
    ]
    for column, centile in (("early_h", 10), ("likely_h", 50), ("late_h", 90)):
        agrees({**row, "tolerance": "0.05"}, column, float(np.percentile(times, centile)))

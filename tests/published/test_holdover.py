"""Warming without cooling: the worked room of a two-node model, and scipy on the same equations."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from alerts.science.holdover import time_to_limit_warming, warming_product

HOUR = 3600.0
ROOMS = [
    (3.0, 3.0, 25.0, 27.0, 6.0), (3.0, 8.0, 25.0, 2.0, 6.0), (4.5, 1.0, 32.0, 0.28, 12.0), (2.0, 2.0, 18.0, 6.0, 6.0),
    (2.0, 2.0, 18.0, 6.000001, 6.0), (1.0, 12.0, 15.0, 40.0, 0.5),
]  # fmt: skip


def solved(product_c: float, air_c: float, ambient_c: float, warm_h: float, tau_h: float, until_h: float) -> float:
    """Return the product by numerical integration of both equations. [°C]"""
    run = solve_ivp(
        lambda t, y: [(ambient_c - y[0]) / (warm_h * HOUR), (y[0] - y[1]) / (tau_h * HOUR)],
        (0.0, until_h * HOUR), [air_c, product_c], rtol=1e-10, atol=1e-10,
    )  # fmt: skip
    return float(run.y[1, -1])


@pytest.mark.parametrize("room", ROOMS)
@pytest.mark.parametrize("until_h", [0.1, 1.0, 5.0, 30.0])
def test_the_closed_form_is_what_scipy_integrates(room: tuple[float, ...], until_h: float) -> None:
    product_c, air_c, ambient_c, warm_h, tau_h = room
    ours = warming_product(product_c, air_c, ambient_c, warm_h * HOUR, tau_h * HOUR, until_h * HOUR)
    assert ours == pytest.approx(solved(product_c, air_c, ambient_c, warm_h, tau_h, until_h), abs=1e-7)


@pytest.mark.parametrize("room", ROOMS)
def test_the_crossing_is_what_brentq_finds(room: tuple[float, ...]) -> None:
    product_c, air_c, ambient_c, warm_h, tau_h = room
    heat = (product_c, air_c, ambient_c, warm_h * HOUR, tau_h * HOUR)
    root = brentq(lambda t: warming_product(*heat, t) - 5.0, 1e-6, 400 * HOUR, xtol=1e-6)
    ours = time_to_limit_warming(product_c, air_c, ambient_c, warm_h * HOUR, 5.0, tau_h * HOUR)
    assert ours == pytest.approx(root, abs=0.01)


def test_the_slow_mode_of_the_worked_room_gives_the_worked_hours() -> None:
    # Two-node room after a compressor stop (models 5.2, computed there): tau_slow 27.0 h at ambient 25 °C, product from
    # 3 to 5 °C in 2.57 h and to 8 °C in 6.95 h by the slow mode alone: the product follows its own coolness at once.
    for limit_c, hours in ((5.0, 2.57), (8.0, 6.95)):
        found = time_to_limit_warming(3.0, 3.0, 25.0, 27.0 * HOUR, limit_c, 1.0)
        assert found / HOUR == pytest.approx(hours, abs=0.02)


def test_falling_air_carries_the_product_over_early_or_never() -> None:
    warm, mild = (time_to_limit_warming(4.8, air, 4.0, 3 * HOUR, 5.0, 2 * HOUR) for air in (9.0, 5.1))
    assert 0 < warm < 3 * HOUR
    assert np.isinf(mild)

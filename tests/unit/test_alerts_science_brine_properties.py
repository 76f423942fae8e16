"""Density, freezing point and saturation of brine: their ranges."""

from collections.abc import Callable

import numpy as np
import pytest

from alerts.science.brine_properties import density, freezing_point, saturation


@pytest.mark.parametrize("measure", [lambda: density(26.5, 4.0), lambda: density(-0.1, 4.0), lambda: density(5, 60.0)])
def test_density_is_refused_outside_its_range(measure: Callable[[], object]) -> None:
    with pytest.raises(ValueError, match="where the figures hold"):
        measure()


@pytest.mark.parametrize("strength_percent", [-0.1, 23.4, float("nan")])
def test_freezing_is_refused_outside_its_range(strength_percent: float) -> None:
    with pytest.raises(ValueError, match="where the figures hold"):
        freezing_point(strength_percent)


@pytest.mark.parametrize("temp_c", [-22.0, 38.0, float("nan")])
def test_saturation_is_refused_outside_its_table(temp_c: float) -> None:
    with pytest.raises(ValueError, match="where the figures hold"):
        saturation(temp_c)


def test_one_value_outside_refuses_all() -> None:
    with pytest.raises(ValueError, match="of 24 is outside"):
        freezing_point([5.0, 24.0])


def test_strengths_and_temperatures_spread_over_each_other() -> None:
    assert density(np.array([[5.0], [10.0]]), np.array([4.0, 20.0])).shape == (2, 2)

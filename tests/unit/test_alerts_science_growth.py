"""Growth as information: where it is nothing, and what counts as excess."""

import math

import numpy as np
import pytest
from scipy.integrate import quad

from alerts.science.growth import (
    excess_log10,
    listeria_rate_fat,
    listeria_rate_lean,
    log10_increase,
    salmonella_rate,
)

DAY = 86400.0


def test_nothing_grows_below_its_lowest_reported_temperature() -> None:
    assert listeria_rate_fat([-1.6, -1.5]).tolist()[0] == 0.0
    assert listeria_rate_fat(-1.5) > 0
    assert salmonella_rate([-40.0, 5.19]).tolist() == [0.0, 0.0]
    assert salmonella_rate(5.2) > 0
    assert float(listeria_rate_lean(-2.0, 6.0)) == 0.0


def test_no_rate_falls_with_temperature() -> None:
    temps = np.linspace(-5.0, 60.0, 1301)
    for rates in (listeria_rate_fat(temps), listeria_rate_lean(temps, 5.6), salmonella_rate(temps)):
        assert (np.diff(rates) >= 0).all()


def test_the_apparent_activation_energy_of_listeria_is_near_the_published_one() -> None:
    # 20.9 to 21.1 kcal/mol from another strain and medium (Frontiers in Microbiology 2018, 03023, abstract); the
    # beef equation gives 21.5 between 4 and 30 °C (worked).
    cold, warm = (float(listeria_rate_fat(temp_c)) for temp_c in (4.0, 30.0))
    kcal_mol = 8.314462618 * math.log(warm / cold) / (1 / 277.15 - 1 / 303.15) / 4184
    assert kcal_mol == pytest.approx(21.5, abs=0.05)


def test_a_ph_outside_the_fit_is_refused() -> None:
    for ph in (5.4, 7.1, float("nan")):
        with pytest.raises(ValueError, match="pH 5.5 to 7"):
            listeria_rate_lean(5.0, ph)


def test_excess_counts_warm_time_only_and_cold_time_earns_nothing_back() -> None:
    warm = excess_log10([0.0, DAY], [8.0, 8.0], listeria_rate_fat, 5.0)
    both = excess_log10([0.0, DAY, DAY, 9 * DAY], [8.0, 8.0, 1.0, 1.0], listeria_rate_fat, 5.0)
    assert warm == pytest.approx(
        log10_increase([0.0, DAY], [8.0, 8.0], listeria_rate_fat)
        - log10_increase([0.0, DAY], [5.0, 5.0], listeria_rate_fat)
    )
    assert both == pytest.approx(warm)


def test_excess_on_a_path_through_the_reference_agrees_with_quadrature() -> None:
    # From 2 to 8 °C in six hours, an hour a kelvin: only what lies above 5 °C counts.
    planned = float(listeria_rate_fat(5.0))
    expected = quad(lambda temp_c: float(listeria_rate_fat(temp_c)) - planned, 5.0, 8.0)[0] / math.log(10)
    found = excess_log10([0.0, 6 * 3600.0], [2.0, 8.0], listeria_rate_fat, 5.0)
    assert found == pytest.approx(expected, rel=1e-5)


def test_five_days_as_planned_are_growth_but_no_excess() -> None:
    # 1.6 log10 on fat in five days at 4 °C (worked from the equation).
    record = [0.0, 5 * DAY], [4.0, 4.0]
    assert log10_increase(*record, listeria_rate_fat) == pytest.approx(1.6, abs=0.05)
    assert excess_log10(*record, listeria_rate_fat, 4.0) == 0.0


def test_a_square_root_rate_is_integrated_exactly() -> None:
    # From 6 to 12 °C in one hour: b^2 ((12 - Tmin)^3 - (6 - Tmin)^3) / 18.
    expected = 0.03928**2 * ((12 - 2.55) ** 3 - (6 - 2.55) ** 3) / 18 / math.log(10)
    assert log10_increase([0.0, 3600.0], [6.0, 12.0], salmonella_rate) == pytest.approx(expected, rel=1e-12)

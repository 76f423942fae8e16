"""Tonight in words: which unit comes first, and what its sentence says and never says."""

import math
from dataclasses import replace

import pytest

from api.office import Estimate, Estimates
from api.pages.wording import left_text
from api.tonight import unit_now, units_now
from collector.events import AlarmRaised, Draft
from collector.kitchen import Kitchen
from tests.office import NOW, made_kitchen, made_office, warming

KITCHEN = made_kitchen()
ESTIMATES = made_office().estimates()


def order(estimates: Estimates = ESTIMATES, kitchen: Kitchen = KITCHEN) -> list[str]:
    return [u.unit.id for u in units_now(kitchen, estimates, lambda k, u: 5.0, NOW)]


def sentence(unit: str, estimates: Estimates) -> str:
    return unit_now(KITCHEN, KITCHEN.units[unit], estimates, 5.0, NOW).sentence


def test_the_unit_with_the_least_time_left_comes_first() -> None:
    assert order() == ["coldroom", "fridge", "chamber"]
    warm = {**ESTIMATES, "fridge": {"BELLY-32": Estimate(NOW - 10.0, 5.6, 5.2, 6.0, 6.0)}}
    assert order(warm)[0] == "fridge"


def test_a_forecast_of_two_units_puts_the_earlier_crossing_first() -> None:
    sooner = replace(warming(("BELLY-32",)), unit="fridge", early_at=NOW + 1800.0)
    assert order(kitchen=made_kitchen(Draft(NOW, "watch", AlarmRaised(sooner))))[0] == "fridge"


def test_a_unit_whose_meat_nobody_watches_comes_before_the_calm_ones() -> None:
    silent = {"coldroom": ESTIMATES["coldroom"]}
    units = units_now(KITCHEN, silent, lambda k, u: 5.0, NOW)
    fridge = next(u for u in units if u.unit.id == "fridge")
    assert fridge.sentence == "Nothing is known of the meat in it: measure it, and enter what the probe reads."
    assert [u.unit.id for u in units][-1] == "chamber"


def test_a_sentence_gives_meat_limit_and_air_with_its_trend() -> None:
    assert sentence("coldroom", ESTIMATES) == "Warmest meat 4.1 °C (estimate), limit 5.0 °C. Air 8.1 °C, rising."
    assert sentence("fridge", ESTIMATES) == "Warmest meat 3.1 °C (estimate), limit 5.0 °C. Air 3.0 °C, steady."


def test_meat_above_the_limit_is_called_so() -> None:
    warm = {"fridge": {"BELLY-32": Estimate(NOW, 5.6, 5.2, 6.0, None)}}
    assert sentence("fridge", warm) == "Warmest meat 5.6 °C (estimate), above the limit of 5.0 °C."


def test_an_old_estimate_is_told_as_old_never_as_now() -> None:
    old = {"fridge": {"BELLY-32": Estimate(NOW - 3600.0, 3.1, 2.9, 3.3, 3.0)}}
    assert sentence("fridge", old) == "Nothing known for 1 h 00; at 01:10 the warmest meat was at 3.1 °C (estimate)."


def test_a_batch_of_which_nothing_is_known_is_named_beside_the_known_ones() -> None:
    half = {
        "coldroom": {
            "HAM-31": ESTIMATES["coldroom"]["HAM-31"],
            "BRISKET-14": Estimate(NOW - 3600.0, 9.0, 8.0, 9.9, 8.1),
        }
    }
    said = sentence("coldroom", half)
    assert said.startswith("Warmest meat 3.9 °C (estimate)")
    assert said.endswith("Nothing is known of BRISKET-14.")


def test_an_empty_unit_without_a_sensor_is_said_to_be_unwatched() -> None:
    assert sentence("chamber", {}) == "Nothing is curing in it, and no sensor watches its air."


def test_warm_air_is_never_called_no_limit_in_sight() -> None:
    kitchen = made_kitchen()
    warm = {"fridge": {"BELLY-32": Estimate(NOW, 4.3, 4.1, 4.5, 14.0, 0.0, 5 * 3600.0)}}
    fridge = next(u for u in units_now(kitchen, warm, lambda k, u: 5.0, NOW) if u.unit.id == "fridge")
    assert math.isinf(fridge.left_s)
    # tau ln((14 - 4.3)/(14 - 5)): the closed form of a product in steady air.
    assert fridge.if_stays_s / 60 == pytest.approx(300 * math.log(9.7 / 9.0))
    assert left_text(fridge.left_s, fridge.if_stays_s).startswith("If the air stays this warm, meat passes the limit")

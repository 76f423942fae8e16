"""The interval that is claimed: what widens it, and that it holds what it says it holds."""

import math
from dataclasses import replace

import numpy as np
import pytest

from alerts.interval import START_SD_C, claimed
from alerts.science.heat import filter_step, product_temperature
from alerts.trace import Copies
from alerts.unit_watch import TubState

TAU, STEP = 21_600.0, 300.0


def ramp(hours: int) -> list[float]:
    return [3.0 + 1.5 * max(i * STEP / 3600.0 - 4.0, 0.0) for i in range(hours * 12)]


def lived(air: list[float], tau_s: float) -> TubState:
    tub = TubState("B1", "1", tau_s, Copies(3.0, 3.0, 3.0), start_sd_c=0.0)
    for before, after in zip(air, air[1:], strict=False):
        likely = filter_step(tub.copies.likely_c, before, after, STEP, tau_s)
        tub.moved_to(Copies(likely, likely, likely), STEP)
    return tub


def test_in_steady_air_only_the_sensor_counts() -> None:
    tub = lived([3.0] * 200, TAU)
    low, high = claimed(tub.copies, tub.lagged_c, tub.start_sd_c, 0.5)
    assert [low, high] == pytest.approx([3.0 - 1.645 * 0.21, 3.0 + 1.645 * 0.21])
    wide = claimed(tub.copies, tub.lagged_c, tub.start_sd_c, 1.0)
    assert wide[1] - wide[0] == pytest.approx(2 * (high - low))


@pytest.mark.parametrize("hours", [8, 12, 20])
@pytest.mark.parametrize("sds", [-1.0, 1.0])
def test_while_air_rises_it_holds_a_tub_whose_time_constant_is_another(hours: int, sds: float) -> None:
    air, tub = ramp(hours), lived(ramp(hours), TAU)
    truth = lived(air, TAU * math.exp(0.35 * sds)).copies.likely_c
    low, high = claimed(tub.copies, tub.lagged_c, 0.0, 0.0)
    assert low <= truth <= high
    assert high - low < 5.0 * abs(truth - tub.copies.likely_c)


def test_it_covers_nine_in_ten_of_what_it_says_is_unknown() -> None:
    rng = np.random.default_rng(5)
    air, inside = ramp(14), 0
    tub = lived(air, TAU)
    low, high = claimed(tub.copies, tub.lagged_c, 0.0, 0.5)
    times = STEP * np.arange(len(air))
    for _ in range(600):
        off = 0.21 * float(rng.standard_normal())
        tau = TAU * math.exp(0.35 * float(rng.standard_normal()))
        truth = product_temperature(times, np.array(air) + off, tau, 3.0 + off)[-1]
        inside += bool(low <= truth <= high)
    assert 0.86 <= inside / 600 <= 0.94


def test_a_gap_widens_it_to_the_side_on_which_the_bound_is_far() -> None:
    near = claimed(Copies(4.0, 4.0, 4.0), 4.0, 0.0, 0.5)
    parted = claimed(Copies(4.0, 3.5, 9.0), 4.0, 0.0, 0.5)
    assert parted[0] < near[0] and parted[1] > near[1] + 1.0
    assert parted[1] < 9.0


def test_what_it_began_from_is_forgotten_with_the_time_constant_and_a_probe_knows_it() -> None:
    tub = TubState("B1", "1", TAU, Copies(3.0, 3.0, 3.0))
    tub.moved_to(replace(tub.copies), TAU)
    assert tub.start_sd_c == pytest.approx(START_SD_C / math.e)
    tub.measured_as(4.2)
    assert (tub.start_sd_c, tub.lagged_c, tub.copies.likely_c) == (0.0, 4.2, 4.2)

"""The worked cases that this house judges by: what the estimate and the sums say of each. Estimates only."""

from collections.abc import Callable, Sequence

import numpy as np
import pytest

from alerts.science.exposure import share_of_budget, time_above, time_below
from alerts.science.heat import backward_bound, forward_bound, product_temperature
from alerts.science.record import FloatArray
from alerts.science.salt import cure_rate_practice, hours_lost
from alerts.science.warmest import mixed_temperature

Agrees = Callable[[dict[str, str], str, float], None]

HOUR, DAY = 3600.0, 86400.0
# FDA, Fish and Fishery Products Hazards and Controls Guidance, appendix 4, table A-2, 2011 and later editions
# (memory), bands closed above and beginning where a row begins or at the counting base of 5 °C.
SALMONELLA = [(5.2, 10.0, 2 * DAY), (10.0, 21.0, 5 * HOUR), (21.0, np.inf, 2 * HOUR)]
LISTERIA = [(5.0, 10.0, 1 * DAY), (10.0, 21.0, 7 * HOUR)]
AUREUS = [(10.0, 21.0, 12 * HOUR), (21.0, np.inf, 3 * HOUR)]
BOTULINUM_AB = [(10.0, 21.0, 11 * HOUR), (21.0, np.inf, 2 * HOUR)]
UNCERTAINTY_C = 0.5


def room(*stretches: tuple[float, float]) -> tuple[FloatArray, FloatArray]:
    """Return a record of the air in steps of 60 s from stretches of (hours, °C), with square steps between them."""
    times, temps, begin = [], [], 0.0
    for hours, temp_c in stretches:
        times.append(np.linspace(begin, begin + hours * HOUR, round(hours * 60) + 1))
        temps.append(np.full(times[-1].size, temp_c))
        begin += hours * HOUR
    return np.concatenate(times), np.concatenate(temps)


def product(tau_h: float, start_c: float, *stretches: tuple[float, float]) -> tuple[FloatArray, FloatArray]:
    times, air = room(*stretches)
    return times, product_temperature(times, air, tau_h * HOUR, start_c)


def hours_above(record: tuple[FloatArray, FloatArray], threshold_c: float) -> float:
    return time_above(*record, threshold_c) / HOUR


def share_less_u(record: tuple[FloatArray, FloatArray], bands: Sequence[tuple[float, float, float]]) -> float:
    return share_of_budget(record[0], record[1] - UNCERTAINTY_C, bands)


def warm_two_hours() -> dict[str, float]:
    record = product(6.0, 3.0, (48, 3.0), (2, 9.0), (70, 3.0))
    return {"peak_c": record[1].max(), "hours_above_5": hours_above(record, 5.0)}


def dry_cure() -> dict[str, float]:
    record = product(6.0, 3.0, *[(12, 3.0), (12, 4.0)] * 21)
    return {"hours_above_5": hours_above(record, 5.0), "hours_lost": hours_lost(*record, cure_rate_practice)}


def duck() -> dict[str, float]:
    record = product(4.0, 3.5, (24, 3.5), (30, 8.0), (48, 3.5))
    return {
        "hours_above_5": hours_above(record, 5.0),
        "share_salmonella": share_of_budget(*record, SALMONELLA),
        "share_listeria": share_of_budget(*record, LISTERIA),
    }


def ham() -> dict[str, float]:
    record = product(6.0, 3.0, (24, 3.0), (14, 18.0), (48, 3.0))
    return {
        "share_aureus": share_of_budget(*record, AUREUS),
        "share_aureus_less_u": share_less_u(record, AUREUS),
        "share_botulinum_ab": share_of_budget(*record, BOTULINUM_AB),
        "share_botulinum_ab_less_u": share_less_u(record, BOTULINUM_AB),
    }


def cold_tub() -> dict[str, float]:
    record = product(6.0, 3.0, (24, 3.0), (10, -3.0), (62, 3.0))
    return {
        "lowest_c": record[1].min(),
        "hours_at_or_below_1.1": time_below(*record, 1.1) / HOUR,
        "hours_lost": hours_lost(*record, cure_rate_practice),
    }


def gap() -> dict[str, float]:
    times = np.linspace(0.0, 6 * HOUR, 361)
    forward = forward_bound(3.2, 3.2, 25.0, times, 6 * HOUR)
    upper = np.minimum(forward, backward_bound(3.4, 1.0, times[-1] - times, 6 * HOUR))
    return {
        "bound_with_probe_c": upper.max(),
        "hours_above_5_with_probe": time_above(times, upper, 5.0) / HOUR,
        "bound_without_probe_c": forward.max(),
    }


def warm_brine() -> dict[str, float]:
    mix_c, cool_mix_c = mixed_temperature(3.0, 30.0, 3.0, 3.0), mixed_temperature(3.0, 8.0, 3.0, 4.0)
    record = product(6.0, mix_c, (72, 3.0))
    return {
        "mix_c": mix_c,
        "hours_above_5": hours_above(record, 5.0),
        "hours_above_10": hours_above(record, 10.0),
        "share_salmonella": share_of_budget(*record, SALMONELLA),
        "cool_mix_c": cool_mix_c,
        "cool_hours_above_5": hours_above(product(6.0, cool_mix_c, (72, 3.0)), 5.0),
    }


def pork() -> dict[str, float]:
    record = product(6.0, 5.1, (24, 5.1))
    return {
        "share_listeria": share_of_budget(*record, LISTERIA),
        "share_listeria_less_u": share_less_u(record, LISTERIA),
    }


CASES: dict[str, Callable[[], dict[str, float]]] = {
    "1": warm_two_hours,
    "3": dry_cure,
    "6": duck,
    "7": ham,
    "9": cold_tub,
    "10": gap,
    "12": warm_brine,
    "15": pork,
}


@pytest.mark.figures("worked_cases.csv")
def test_the_case_has_its_key_number(row: dict[str, str], agrees: Agrees) -> None:
    agrees(row, "value", CASES[row["case"]]()[row["quantity"]])

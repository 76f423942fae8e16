"""The yardstick of the nights: a fixed threshold with a delay, a low limit and a no-data rule, tuned elsewhere."""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from statistics import median

import numpy as np
import numpy.typing as npt

from alerts.history import Array
from simulators.bench_nights_play import Played
from simulators.bench_nights_score import Event, Heard, Told, events, meant, unit_months
from simulators.nights import EVERY_S

THRESHOLDS_C: tuple[float, ...] = tuple(0.25 * quarter for quarter in range(16, 57))
DELAYS_S = tuple(60.0 * minutes for minutes in (15, 30, 45, 60, 90, 120, 180))
LOWS_C = (1.0, 0.5, 0.0, -0.5, -1.0, -1.5, -2.0, -3.0)
LOW_DELAY_S = 3600.0
NO_DATA_S = tuple(60.0 * minutes for minutes in (20, 30, 45, 60, 90, 120))
SHARE_LOW = SHARE_NO_DATA = 0.1
"""Shares of the budget that the low limit and the no-data rule may use; the threshold gets what they leave."""
MERGED_ROWS = round(7200.0 / EVERY_S)


@dataclass(frozen=True, slots=True)
class Rule:
    """What everybody has: told when air has been above a line for a delay, below another, or not heard at all."""

    high_c: float
    delay_s: float
    low_c: float
    no_data_s: float


def _runs(beyond: npt.NDArray[np.bool_], delay_s: float) -> list[int]:
    """Return the rows at which a run of at least the delay raises, runs less than two hours apart being one."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], beyond, [False])).astype(np.int8)))
    wait, found, last = math.ceil(delay_s / EVERY_S), [], -MERGED_ROWS - 1
    for begin, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if end - begin > wait:
            if begin + wait - last > MERGED_ROWS:
                found.append(begin + wait)
            last = end
    return found


def _held(values: Array) -> Array:
    """Return the readings with every missing one in the place of the last before it."""
    known = np.where(np.isnan(values), 0, np.arange(values.size))
    held: Array = values[np.maximum.accumulate(known)]
    return held


def high_at(p: Played, column: int, high_c: float, delay_s: float) -> list[float]:
    """Return when the threshold tells of a unit. [s since 1970]"""
    return _instants(p, column, _held(p.sensor_c[:, column]) > high_c, delay_s)


def _low_at(p: Played, column: int, low_c: float) -> list[float]:
    return _instants(p, column, _held(p.sensor_c[:, column]) < low_c, LOW_DELAY_S)


def _instants(p: Played, column: int, beyond: npt.NDArray[np.bool_], delay_s: float) -> list[float]:
    received = p.received_at[:, column]
    return [float(received[r]) if math.isfinite(received[r]) else float(p.times_at[r]) for r in _runs(beyond, delay_s)]


def _no_data_at(p: Played, column: int, no_data_s: float) -> list[float]:
    received = np.sort(p.received_at[:, column])
    received = received[np.isfinite(received)]
    silent = np.flatnonzero(np.diff(received) > no_data_s)
    found = [float(received[i]) + no_data_s for i in silent]
    if p.times_at[-1] - received[-1] > no_data_s:
        found.append(float(received[-1]) + no_data_s)
    return found


def told_by(rule: Rule, played: Iterable[Played]) -> list[Heard]:
    """Return what the rule tells of each unit of each kitchen, in order; everything wakes."""
    every = []
    for p in played:
        found: Heard = {}
        for i, unit in enumerate(p.units):
            rows = [(at, "") for at in high_at(p, i, rule.high_c, rule.delay_s)]
            rows += [(at, "cold") for at in _low_at(p, i, rule.low_c)]
            rows += [(at, "silent") for at in _no_data_at(p, i, rule.no_data_s)]
            found[unit] = [(at, Told(at, True, cause)) for at, cause in sorted(rows)]
        every.append(found)
    return every


def false_count(played: Sequence[Played], told: Sequence[Heard]) -> int:
    """Return how often units with nothing wrong were told of."""
    return sum(
        not meant(p, unit, at)
        for p, heard in zip(played, told, strict=True)
        for unit in p.units
        for at, _ in heard[unit]
    )


def _counted(played: Sequence[Played], when: Callable[[Played, int], list[float]]) -> int:
    return sum(not meant(p, unit, at) for p in played for i, unit in enumerate(p.units) for at in when(p, i))


def in_time(found: Sequence[Event]) -> tuple[float, float]:
    """Return the share of harmful events told before the crossing, and the median lead. [1, s]"""
    leads = [e.lead_s for e in found if e.harmful]
    return sum(lead > 0 for lead in leads) / max(len(leads), 1), median(leads) if leads else 0.0


def tuned(normal: Sequence[Played], faulty: Sequence[Played], budget: float) -> Rule:
    """Return the best rule that keeps to a budget of false alarms per unit-month on the tuning nights.

    Most harmful events told before the crossing, then the longest median lead.
    """
    months = unit_months(normal)
    lows = [low for low in LOWS_C if _counted(normal, partial(_low_at, low_c=low)) <= SHARE_LOW * budget * months]
    quiet = [
        s for s in NO_DATA_S
        if _counted(normal, partial(_no_data_at, no_data_s=s)) <= SHARE_NO_DATA * budget * months
    ]  # fmt: skip
    base = Rule(math.inf, DELAYS_S[0], lows[0] if lows else LOWS_C[-1], quiet[0] if quiet else NO_DATA_S[-1])
    best, best_score = base, (-1.0, -math.inf)
    for delay_s in DELAYS_S:
        rule = replace(base, high_c=_lowest(normal, base, delay_s, budget * months), delay_s=delay_s)
        score = in_time(events(faulty, told_by(rule, faulty)))
        if score > best_score:
            best, best_score = rule, score
    return best


def _lowest(normal: Sequence[Played], base: Rule, delay_s: float, most: float) -> float:
    """Return the lowest threshold that tells of ordinary units at most so often, by halving."""
    low, high = 0, len(THRESHOLDS_C) - 1
    while low < high:
        middle = (low + high) // 2
        rule = replace(base, high_c=THRESHOLDS_C[middle], delay_s=delay_s)
        if false_count(normal, told_by(rule, normal)) <= most:
            high = middle
        else:
            low = middle + 1
    return THRESHOLDS_C[low]

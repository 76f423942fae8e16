"""Simulated months: ordinary life stays cold, each fault does what it says, and what is counted is counted rightly."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import chi2

from simulators.bench_nights_play import Played, Raised, played
from simulators.bench_nights_score import (
    Event,
    Told,
    events,
    false_alarms,
    poisson_interval,
    told_at,
)
from simulators.bench_nights_threshold import Rule, told_by
from simulators.nights import (
    DAY_S,
    EVERY_S,
    HOUR_S,
    OF_A_SENSOR,
    PHYSICAL,
    Stretch,
    Trouble,
    Wrong,
    fleet,
    lived,
)

FROM_AT = 1_780_012_800.0
FAULT_AT = FROM_AT + DAY_S


def stretch(*wrongs: Wrong, days: float = 2.0, severity: float = 1.0) -> Stretch:
    rng = np.random.default_rng(5)
    troubles = [Trouble(w, i, FAULT_AT, FAULT_AT + DAY_S, severity) for i, w in enumerate(wrongs)]
    return lived(fleet(rng, max(len(wrongs), 4)), rng, FROM_AT, days, troubles)


def test_the_product_of_ordinary_units_stays_below_its_limit_for_a_month_but_in_rare_hours() -> None:
    rng = np.random.default_rng(3)
    lived_through = lived(fleet(rng, 16), rng, FROM_AT, 30.0)
    settled = lived_through.product_c[round(2 * DAY_S / EVERY_S) :]
    assert (settled > 5.0).mean() < 0.002
    assert settled.min() > -1.0


@pytest.mark.parametrize("wrong", PHYSICAL)
def test_a_severe_physical_fault_moves_the_product_as_its_name_says(wrong: Wrong) -> None:
    s = stretch(*[wrong] * 4, days=2.0)
    before = s.product_c[s.times_at < FAULT_AT][-12:].mean(axis=0)
    peak = s.product_c[s.times_at >= FAULT_AT].max(axis=0)
    if wrong is Wrong.SET_TOO_COLD:
        assert (s.product_c[-1] < before - 2.0).all()
    elif wrong in (Wrong.CREEP, Wrong.COMPRESSOR_FAILS_SLOWLY):
        assert (peak > before + 0.3).all()
    else:
        assert (peak > before + 1.0).all()


@pytest.mark.parametrize("wrong", [w for w in OF_A_SENSOR if w is not Wrong.SILENT])
def test_a_sensor_that_is_wrong_changes_what_is_read_and_nothing_else(wrong: Wrong) -> None:
    well, ill = stretch(), stretch(wrong)
    assert np.array_equal(well.product_c, ill.product_c)
    later = well.times_at >= FAULT_AT + EVERY_S
    assert not np.array_equal(well.sensor_c[later, 0], ill.sensor_c[later, 0])
    assert np.array_equal(well.sensor_c[~later][:-1, 0], ill.sensor_c[~later][:-1, 0])


def test_an_air_sensor_that_reads_fahrenheit_reads_nine_fifths_and_32_more() -> None:
    well, ill = stretch(), stretch(Wrong.FAHRENHEIT)
    late = well.times_at >= FAULT_AT
    assert ill.sensor_c[late, 0] == pytest.approx(1.8 * well.sensor_c[late, 0] + 32.0)


@pytest.mark.parametrize("count", [0, 1, 3, 28, 200])
def test_the_interval_of_a_count_is_that_of_the_chi_square_quantiles(count: int) -> None:
    low, high = poisson_interval(count)
    assert low == pytest.approx(chi2.ppf(0.025, 2 * count) / 2 if count else 0.0, abs=1e-6)
    assert high == pytest.approx(chi2.ppf(0.975, 2 * count + 2) / 2, rel=1e-6)


def test_28_in_28_months_are_between_0_66_and_1_45_a_month() -> None:
    # The example of our own notes on measuring alarms.
    low, high = poisson_interval(28)
    assert (round(low / 28, 2), round(high / 28, 2)) == (0.66, 1.45)


def test_what_wakes_nobody_is_heard_in_the_morning() -> None:
    day = FROM_AT
    assert told_at(day + 3 * HOUR_S, wakes=False) == day + 7 * HOUR_S
    assert told_at(day + 3 * HOUR_S, wakes=True) == day + 3 * HOUR_S
    assert told_at(day + 22 * HOUR_S, wakes=False) == day + 31 * HOUR_S
    assert told_at(day + 12 * HOUR_S, wakes=False) == day + 12 * HOUR_S


def one(alarms: tuple[Raised, ...], troubles: tuple[Trouble, ...] = (), product_c: float = 3.0) -> Played:
    times = np.array([FROM_AT + EVERY_S * row for row in range(288 * 4)])
    column = np.full((times.size, 1), 3.0)
    product = column.copy()
    product[times >= FAULT_AT + 6 * HOUR_S] = product_c
    return Played((0,), alarms, (), troubles, times, column, times[:, None] + 1.0, product, np.empty((0, 7)))


def raised(at: float, kind: str = "product_warm", cause: str = "cooling", *, wakes: bool = True) -> Raised:
    return Raised(0, kind, wakes, at, at + 600.0, 0, "", cause)


def test_alarms_of_a_quiet_unit_are_false_and_those_close_together_are_one() -> None:
    quiet = one((raised(FROM_AT + HOUR_S), raised(FROM_AT + 2 * HOUR_S), raised(FROM_AT + 9 * HOUR_S)))
    assert len(false_alarms([quiet])) == 2


def test_an_alarm_of_a_unit_whose_product_is_truly_warm_is_not_false() -> None:
    assert false_alarms([one((raised(FAULT_AT + 5 * HOUR_S),), product_c=6.0)]) == []


def test_lead_is_counted_to_the_instant_at_which_the_product_passes() -> None:
    fault = Trouble(Wrong.COMPRESSOR_STOPS, 0, FAULT_AT, FAULT_AT + DAY_S, 1.0)
    (event,) = events([one((raised(FAULT_AT + 2 * HOUR_S),), (fault,), 6.0)])
    assert event.lead_s == pytest.approx(4 * HOUR_S)
    assert event.harmful and event.right
    (untold,) = events([one((raised(FAULT_AT - 2 * HOUR_S),), (fault,), 6.0)])
    assert untold.lead_s == -math.inf and not untold.right


def test_waking_somebody_for_a_wrong_cause_is_not_right_even_where_the_right_one_is_named_too() -> None:
    fault = Trouble(Wrong.STUCK, 0, FAULT_AT, FAULT_AT + DAY_S, 1.0)
    told = (Told(FAULT_AT, True, "cooling"), Told(FAULT_AT, False, "stuck"))
    event = Event(fault, math.inf, told)
    assert event.found and not event.right


def test_a_true_outage_told_during_another_fault_is_neither_its_cause_nor_a_wrong_one() -> None:
    fault = Trouble(Wrong.STUCK, 0, FAULT_AT, FAULT_AT + DAY_S, 1.0)
    silent = raised(FAULT_AT + HOUR_S, "unwatched", "")
    stuck = raised(FAULT_AT + 7 * HOUR_S, "sensor_stuck", "", wakes=False)
    quiet = one((silent, stuck), (fault,))
    assert not events([quiet])[0].right
    (event,) = events([replace(quiet, outages=((FAULT_AT + HOUR_S - 900.0, FAULT_AT + HOUR_S + 900.0),))])
    assert event.right and len(event.told) == 1
    gateway = replace(fault, wrong=Wrong.GATEWAY)
    (of_it,) = events([replace(quiet, troubles=(gateway,), outages=((FAULT_AT, FAULT_AT + 2 * HOUR_S),))])
    assert of_it.found


def test_the_threshold_tells_after_its_delay_and_of_silence_and_cold() -> None:
    p = one(())
    p.sensor_c[100:110] = 9.0
    p.sensor_c[200:220] = -5.0
    p.received_at[300:310] = np.inf
    p.sensor_c[300:310] = np.nan
    (told,) = told_by(Rule(8.0, 1800.0, 0.0, 2400.0), [p])
    assert [(round((at - FROM_AT) / EVERY_S), t.cause) for at, t in told[0]] == [
        (106, ""),
        (212, "cold"),
        (307, "silent"),
    ]


def test_a_kitchen_whose_power_is_cut_is_told_of_by_the_watch() -> None:
    s = stretch(*[Wrong.POWER] * 4)
    result = played(range(4), s, 1)
    told = events([result])
    assert {t.cause for e in told for t in e.told} >= {"connectivity"}
    assert result.estimates.shape == (4 * 48, 7)

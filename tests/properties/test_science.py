"""What holds for every record: order, splitting and joining, bounds, totals."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from alerts.science.exposure import (
    degree_time_above,
    share_of_budget,
    stretches_above,
    time_above,
    time_below,
    time_in_band,
)
from alerts.science.forecast import Spread, early_likely_late, time_to_limit_ramp
from alerts.science.heat import backward_bound, filter_step, forward_bound, lower_bound, product_temperature
from alerts.science.record import FloatArray
from alerts.science.salt import cure_clock, cure_rate_practice

HOUR = 3600.0
Record = tuple[FloatArray, FloatArray]

temperatures = st.floats(-20.0, 40.0)
time_constants = st.floats(600.0, 40 * HOUR)
# Steps at one instant, seconds, minutes, and gaps of months.
spans = st.one_of(st.just(0.0), st.floats(1e-3, 60.0), st.floats(60.0, 1800.0), st.floats(HOUR, 1e7))


@st.composite
def records(draw: st.DrawFn, least: int = 2, most: int = 60) -> Record:
    count = draw(st.integers(least, most))
    steps = draw(st.lists(spans, min_size=count - 1, max_size=count - 1))
    temps = draw(st.lists(temperatures, min_size=count, max_size=count))
    return 1.7e9 + np.concatenate(([0.0], np.cumsum(steps))), np.array(temps)


@given(records(least=1, most=120), time_constants, temperatures)
def test_the_blocked_scan_is_the_plain_loop(record: Record, tau_s: float, start_c: float) -> None:
    times, air = record
    found = product_temperature(times, air, tau_s, start_c)
    temp_c = start_c
    for at in range(1, times.size):
        temp_c = filter_step(temp_c, float(air[at - 1]), float(air[at]), float(times[at] - times[at - 1]), tau_s)
        assert abs(found[at] - temp_c) < 1e-9


@given(records(), st.data(), time_constants, temperatures)
def test_warmer_air_never_gives_cooler_product(
    record: Record, data: st.DataObject, tau_s: float, start_c: float
) -> None:
    times, air = record
    extra = data.draw(st.lists(st.floats(0.0, 20.0), min_size=air.size, max_size=air.size))
    warmer = product_temperature(times, air + np.array(extra), tau_s, start_c)
    assert (warmer >= product_temperature(times, air, tau_s, start_c) - 1e-9).all()


@given(records(), time_constants, temperatures)
def test_product_stays_between_the_coldest_and_the_warmest_it_met(record: Record, tau_s: float, start_c: float) -> None:
    found = product_temperature(*record, tau_s, start_c)
    assert min(start_c, record[1].min()) - 1e-9 <= found.min()
    assert found.max() <= max(start_c, record[1].max()) + 1e-9


@given(records(), st.data(), time_constants, temperatures)
def test_splitting_and_joining_a_record_changes_nothing(
    record: Record, data: st.DataObject, tau_s: float, start_c: float
) -> None:
    times, air = record
    cut = data.draw(st.integers(0, times.size - 1))
    whole = product_temperature(times, air, tau_s, start_c)
    first = product_temperature(times[: cut + 1], air[: cut + 1], tau_s, start_c)
    second = product_temperature(times[cut:], air[cut:], tau_s, float(first[-1]))
    assert np.allclose(whole, np.concatenate((first, second[1:])), rtol=0, atol=1e-9)
    for measure in (time_above, time_below, degree_time_above):
        parts = measure(times[: cut + 1], air[: cut + 1], 5.0) + measure(times[cut:], air[cut:], 5.0)
        assert np.isclose(measure(times, air, 5.0), parts, rtol=1e-9, atol=1e-6)


@given(records(), st.data())
def test_a_sample_on_the_straight_line_changes_nothing(record: Record, data: st.DataObject) -> None:
    times, temps = record
    at = data.draw(st.integers(1, times.size - 1))
    middle = (times[at - 1] + times[at]) / 2, (temps[at - 1] + temps[at]) / 2
    more = np.insert(times, at, middle[0]), np.insert(temps, at, middle[1])
    assert np.isclose(time_above(*more, 5.0), time_above(times, temps, 5.0), rtol=1e-6, atol=1e-3)
    counted_s = cure_clock(times, temps, cure_rate_practice)
    assert np.isclose(cure_clock(*more, cure_rate_practice), counted_s, rtol=1e-6, atol=1e-3)


@given(
    st.lists(st.floats(1.0, 25.0), min_size=2, max_size=40), st.floats(1.0, 20.0), time_constants, st.floats(0.5, 30.0)
)
def test_the_bounds_bracket_whatever_the_air_did_in_a_gap(
    air: list[float], start_c: float, tau_s: float, gap_h: float
) -> None:
    times = np.linspace(0.0, gap_h * HOUR, len(air))
    really = product_temperature(times, air, tau_s, start_c)
    assert (really <= forward_bound(start_c, air[0], 25.0, times, tau_s) + 1e-9).all()
    assert (really >= lower_bound(start_c, 1.0, times, tau_s) - 1e-9).all()
    backward = backward_bound(float(really[-1]), 1.0, times[-1] - times, tau_s)
    # What the reading says is blown up by exp(t/tau) on the way back, and its last bit with it.
    blown = np.exp(np.minimum((times[-1] - times) / tau_s, 700.0))
    assert (really <= backward + 1e-9 + 1e-13 * blown).all()


@given(st.floats(1.0, 20.0), st.floats(1.0, 10.0), time_constants, time_constants, st.floats(0.0, 200.0))
def test_a_learned_unit_is_never_bounded_above_an_unlearned_one(
    start_c: float, air_c: float, tau_s: float, unit_tau_s: float, elapsed_h: float
) -> None:
    learned = forward_bound(start_c, air_c, 25.0, elapsed_h * HOUR, tau_s, unit_tau_s)
    assert learned <= forward_bound(start_c, air_c, 25.0, elapsed_h * HOUR, tau_s) + 1e-9
    assert learned <= 25.0 + 1e-9


@given(records(), st.lists(temperatures, min_size=1, max_size=5))
def test_bands_sum_to_the_whole_record(record: Record, edges: list[float]) -> None:
    times = record[0]
    bounds = [-np.inf, *sorted(edges), np.inf]
    total = sum(time_in_band(*record, low, high) for low, high in zip(bounds[:-1], bounds[1:], strict=True))
    assert np.isclose(total, times[-1] - times[0], rtol=1e-9, atol=1e-6)


@given(records(), temperatures)
def test_excursions_without_a_least_length_sum_to_the_time_above(record: Record, limit_c: float) -> None:
    found = stretches_above(*record, limit_c, at_least_s=0.0, join_s=0.0)
    total = sum(stretch.until_at - stretch.from_at for stretch in found)
    assert np.isclose(total, time_above(*record, limit_c), rtol=1e-6, atol=1e-3)
    assert all(stretch.peak_c > limit_c for stretch in found)
    assert all(before.until_at < after.from_at for before, after in zip(found[:-1], found[1:], strict=True))


@given(records(), temperatures, st.floats(0.0, 3 * HOUR), st.floats(0.0, 3 * HOUR))
def test_excursions_are_long_enough_and_far_enough_apart(
    record: Record, limit_c: float, at_least_s: float, join_s: float
) -> None:
    found = stretches_above(*record, limit_c, at_least_s=at_least_s, join_s=join_s)
    assert all(stretch.until_at - stretch.from_at >= at_least_s for stretch in found)
    assert all(after.from_at - before.until_at >= join_s for before, after in zip(found[:-1], found[1:], strict=True))


@given(records(), st.floats(0.0, 10.0))
def test_a_warmer_record_never_uses_less_of_a_budget(record: Record, warmer_k: float) -> None:
    bands = [(5.2, 10.0, 172800.0), (10.0, 21.0, 18000.0), (21.0, np.inf, 7200.0)]
    used = share_of_budget(*record, bands)
    assert share_of_budget(record[0], record[1] + warmer_k, bands) >= used * (1 - 1e-9) - 1e-9


@given(records(), st.booleans())
def test_the_cure_clock_never_runs_faster_than_time(record: Record, published_days: bool) -> None:
    def rate(temps_c: FloatArray) -> FloatArray:
        return cure_rate_practice(temps_c, published_days=published_days)

    elapsed = float(record[0][-1] - record[0][0])
    assert 0.0 <= cure_clock(*record, rate) <= elapsed * (1 + 1e-12) + 1e-9


forecasts = st.tuples(st.floats(-2.0, 5.0), st.floats(-2.0, 24.0), st.floats(-2.0 / HOUR, 5.0 / HOUR))


@given(forecasts, time_constants, st.floats(0.0, 5.0))
def test_warmer_air_never_passes_the_limit_later(
    now: tuple[float, float, float], tau_s: float, warmer_k: float
) -> None:
    product_c, air_c, slope = now
    later = time_to_limit_ramp(product_c, air_c, slope, 5.0, tau_s, 30.0)
    sooner = time_to_limit_ramp(product_c, air_c + warmer_k, slope, 5.0, tau_s, 30.0)
    assert sooner <= later * (1 + 1e-6) + 1e-2


@given(forecasts, time_constants)
def test_early_is_not_after_likely_nor_likely_after_late(now: tuple[float, float, float], tau_s: float) -> None:
    crossing = early_likely_late(*now, 5.0, tau_s, 25.0, Spread(0.2, 0.15, 0.1 / HOUR, 0.2))
    assert 0.0 <= crossing.early_s <= crossing.likely_s <= crossing.late_s

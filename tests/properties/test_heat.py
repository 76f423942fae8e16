"""What holds for every piece, every bath and every two-state record: order, bounds, splitting and joining."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from alerts.science.cascade import two_state_lower, two_state_temperature, two_state_upper
from alerts.science.conduction import Shape, step_left
from alerts.science.lag import piece_prior
from alerts.science.record import FloatArray
from alerts.science.uptake import combined_penetration, front_depth, limited_penetration

HOUR = 3600.0
Record = tuple[FloatArray, FloatArray]

shapes: st.SearchStrategy[Shape] = st.sampled_from(("slab", "cylinder", "sphere"))
temperatures = st.floats(-20.0, 40.0)
lags = st.floats(60.0, 40 * HOUR)
fos = st.floats(0.002, 3.0)
# Steps at one instant, seconds, minutes, and gaps of months.
spans = st.one_of(st.just(0.0), st.floats(1e-3, 60.0), st.floats(60.0, 1800.0), st.floats(HOUR, 1e7))


@st.composite
def records(draw: st.DrawFn) -> Record:
    count = draw(st.integers(2, 40))
    steps = draw(st.lists(spans, min_size=count - 1, max_size=count - 1))
    temps = draw(st.lists(temperatures, min_size=count, max_size=count))
    return 1.7e9 + np.concatenate(([0.0], np.cumsum(steps))), np.array(temps)


@given(records(), st.data(), lags, lags, temperatures)
def test_splitting_and_joining_a_two_state_record_changes_nothing(
    record: Record, data: st.DataObject, first: float, second: float, start: float
) -> None:
    times, air = record
    cut = data.draw(st.integers(0, times.size - 1))
    whole = two_state_temperature(times, air, first, second, start, start)
    begun = two_state_temperature(times[: cut + 1], air[: cut + 1], first, second, start, start)
    ended = two_state_temperature(
        times[cut:], air[cut:], first, second, float(begun.surface_c[-1]), float(begun.core_c[-1])
    )
    assert np.allclose(whole.core_c, np.concatenate((begun.core_c, ended.core_c[1:])), rtol=0, atol=1e-8)


@given(records(), st.data(), lags, lags, temperatures)
def test_warmer_air_never_gives_a_colder_surface_or_core(
    record: Record, data: st.DataObject, first: float, second: float, start: float
) -> None:
    times, air = record
    extra = np.array(data.draw(st.lists(st.floats(0.0, 20.0), min_size=air.size, max_size=air.size)))
    colder = two_state_temperature(times, air, first, second, start, start)
    warmer = two_state_temperature(times, air + extra, first, second, start, start)
    assert (warmer.surface_c >= colder.surface_c - 1e-9).all()
    assert (warmer.core_c >= colder.core_c - 1e-9).all()


@given(records(), lags, lags, temperatures, temperatures)
def test_a_core_stays_between_the_coldest_and_the_warmest_it_met(
    record: Record, first: float, second: float, surface: float, core: float
) -> None:
    found = two_state_temperature(*record, first, second, surface, core).core_c
    met = [surface, core, *record[1].tolist()]
    assert min(met) - 1e-9 <= found.min()
    assert found.max() <= max(met) + 1e-9


@given(st.lists(st.floats(1.0, 25.0), min_size=2, max_size=40), lags, lags, st.floats(1.0, 20.0), st.floats(0.5, 30.0))
def test_the_two_state_bounds_bracket_whatever_the_air_did_in_a_gap(
    air: list[float], first: float, second: float, start: float, gap_h: float
) -> None:
    times = np.linspace(0.0, gap_h * HOUR, len(air))
    really = two_state_temperature(times, air, first, second, start, start)
    upper = two_state_upper((start, start), air[0], 25.0, times, (first, second))
    lower = two_state_lower((start, start), 1.0, times, (first, second))
    for found, low, high in zip(really, lower, upper, strict=True):
        assert (low - 1e-8 <= found).all()
        assert (found <= high + 1e-8).all()


@given(shapes, st.floats(1e-3, 1e3), fos, st.floats(1.0, 4.0))
def test_a_step_only_fades_with_time_and_faster_with_more_air(
    shape: Shape, biot: float, fo: float, more: float
) -> None:
    left = step_left(shape, biot, fo)
    assert 0.0 <= left <= 1.0
    assert step_left(shape, biot, fo * more) <= left + 1e-9
    assert step_left(shape, biot * more, fo) <= left + 1e-9
    assert step_left(shape, biot, fo, 1.0) <= left + 1e-9


@given(shapes, fos, st.floats(0.05, 100.0), st.floats(1.0, 4.0))
def test_salt_only_comes_in_and_more_brine_never_means_less_of_it(
    shape: Shape, fo: float, ratio: float, more: float
) -> None:
    now, later = limited_penetration(fo, shape, ratio), limited_penetration(fo * more, shape, ratio)
    assert later.mean >= now.mean - 1e-9
    assert later.centre >= now.centre - 1e-9
    salt = now.mean * ratio / (1 + ratio)
    assert limited_penetration(fo, shape, ratio * more).mean * ratio * more / (1 + ratio * more) >= salt - 1e-9


@given(st.lists(fos, min_size=1, max_size=3), fos)
def test_another_pair_of_faces_never_takes_up_less(directions: list[float], another: float) -> None:
    one = combined_penetration([("slab", fo) for fo in directions])
    two = combined_penetration([("slab", fo) for fo in [*directions, another]])
    assert two.mean >= one.mean - 1e-12
    assert two.centre >= one.centre - 1e-12


@given(fos, st.floats(0.05, 0.95), st.floats(1.0, 3.0))
def test_the_salt_front_only_goes_inwards(fo: float, share: float, more: float) -> None:
    assert front_depth(fo * more, 0.03, share) >= front_depth(fo, 0.03, share) - 1e-9


@given(st.floats(0.1, 20.0), st.floats(0.01, 0.2), st.floats(1.0, 4.0))
def test_a_heavier_piece_of_one_thickness_never_lags_less(mass_kg: float, thickness_m: float, more: float) -> None:
    assert piece_prior(mass_kg * more, thickness_m).tau_s >= piece_prior(mass_kg, thickness_m).tau_s * (1 - 1e-9)

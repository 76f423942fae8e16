"""The parts of a record that a rule looks at: where they are cut, and what is known of them."""

import numpy as np
import pytest

from alerts.cold_record import Piece, between, excursions, pieces, reached_at, unknown_s, warm_points
from alerts.history import Array, TubHistory
from collector.batches import AsMade, Batch, Method, Packing, Placement, Plan, Route, Stage, StageSpan

PLAN = Plan("p", "beef", "cut", Method.IMMERSION, Packing.UNDER_BRINE, Route.COOKED, 1e5, 55.0, 3.0)
EVERY = tuple(stage for stage in Stage if stage not in (Stage.SMOKE, Stage.COOK))


def tub(temps: list[float], unknown: list[bool] | None = None, times: list[float] | None = None) -> TubHistory:
    """Return a record at 0, 60, 120, … s; where unknown, two kelvins wide on either side."""
    flags = np.array(unknown or [False] * len(temps))
    likely = np.array(temps, dtype=np.float64)
    lower, upper = likely - 2.0 * flags, likely + 2.0 * flags
    at = np.array(times or [60.0 * i for i in range(len(temps))], dtype=np.float64)
    return TubHistory("1", at, likely, lower, upper, flags, (), ("a",), len(temps), 3600.0, 0.5, True)


def batch(*spans: StageSpan) -> Batch:
    return Batch("B1", PLAN, AsMade(3.0), 0.0, (Placement("1", "u", 0.0),), spans)


def cut(record: TubHistory, from_at: float, until_at: float) -> Piece:
    piece = between(record, from_at, until_at)
    assert piece is not None
    return piece


def test_a_cut_between_points_lies_on_the_straight_line() -> None:
    piece = cut(tub([0.0, 6.0, 12.0]), 30.0, 90.0)
    assert piece.times_at.tolist() == [30.0, 60.0, 90.0]
    assert piece.likely_c.tolist() == [3.0, 6.0, 9.0]


def test_both_ends_can_be_cut_from_one_segment() -> None:
    piece = cut(tub([0.0, 6.0]), 10.0, 50.0)
    assert (piece.times_at.tolist(), piece.likely_c.tolist()) == ([10.0, 50.0], [1.0, 5.0])


def test_a_cut_at_a_step_takes_the_side_that_it_looks_towards() -> None:
    stepped = tub([3.0, 3.0, 9.0, 9.0], times=[0.0, 60.0, 60.0, 120.0])
    assert cut(stepped, 60.0, 120.0).likely_c.tolist() == [9.0, 9.0]
    assert cut(stepped, 0.0, 60.0).likely_c.tolist() == [3.0, 3.0]


@pytest.mark.parametrize(("from_at", "until_at"), [(-90.0, -30.0), (-90.0, 0.0), (120.0, 200.0), (60.0, 60.0)])
def test_nothing_is_left_outside_the_record(from_at: float, until_at: float) -> None:
    assert between(tub([3.0, 4.0, 5.0]), from_at, until_at) is None


@pytest.mark.parametrize(
    ("unknown", "span", "flags"),
    [
        ([True, False, False], (30.0, 120.0), [True, False, False]),
        ([False, True, False], (30.0, 60.0), [True, True]),
        ([False, True, False], (60.0, 90.0), [True, True]),
        ([False, False, True], (0.0, 90.0), [False, False, True]),
        ([False, False, True], (0.0, 60.0), [False, False]),
    ],
)
def test_a_cut_in_a_segment_is_as_unknown_as_the_segment(
    unknown: list[bool], span: tuple[float, float], flags: list[bool]
) -> None:
    assert cut(tub([3.0, 4.0, 5.0], unknown), *span).unknown.tolist() == flags


def test_a_hold_looks_at_the_upper_copy_where_unknown_and_the_clock_at_the_lower() -> None:
    piece = cut(tub([3.0, 4.0, 5.0], [False, True, False]), 0.0, 120.0)
    assert (piece.held_c.tolist(), piece.clock_c.tolist()) == ([3.0, 6.0, 5.0], [3.0, 2.0, 5.0])


def test_known_runs_need_a_segment_between_two_known_points() -> None:
    piece = cut(tub([1.0, 2.0, 3.0, 4.0, 5.0, 6.0], [False, False, True, False, True, False]), 0.0, 300.0)
    assert [temps.tolist() for _, temps in piece.known()] == [[1.0, 2.0]]


def test_stages_left_out_are_cut_away_even_where_they_overlap() -> None:
    spans = StageSpan(Stage.SMOKE, 60.0, 240.0), StageSpan(Stage.COOK, 90.0, 120.0)
    parts = pieces(tub([3.0] * 6), batch(StageSpan(Stage.CURE, 0.0, 60.0), *spans), EVERY, 0.0, 300.0)
    assert [(part.times_at[0], part.times_at[-1]) for part in parts] == [(0.0, 60.0), (240.0, 300.0)]


def test_time_that_no_stage_claims_is_judged() -> None:
    parts = pieces(tub([3.0] * 6), batch(StageSpan(Stage.SMOKE, 60.0, 120.0)), EVERY, 0.0, 300.0)
    assert [(part.times_at[0], part.times_at[-1]) for part in parts] == [(0.0, 60.0), (120.0, 300.0)]


def test_excursions_join_from_record_to_record() -> None:
    first = np.array([0.0, 60.0]), np.array([6.0, 7.0])
    second = np.array([90.0, 150.0]), np.array([9.0, 6.0])
    assert excursions([first, second], 5.0, at_least_s=0.0, join_s=60.0) == [(0.0, 150.0, 9.0)]
    assert len(excursions([first, second], 5.0, at_least_s=0.0, join_s=20.0)) == 2


def test_unknown_time_is_counted_by_segments_that_either_end_makes_unknown() -> None:
    record = tub([3.0] * 5, [False, False, True, False, False])
    assert unknown_s(record, 0.0, 240.0) == 120.0
    assert unknown_s(record, 0.0, 90.0) == 30.0
    assert unknown_s(tub([3.0] * 5), 0.0, 240.0) == 0.0


def test_a_sum_over_records_is_reached_at_the_first_point_that_prints_as_the_threshold() -> None:
    hours = np.arange(0.0, 11.0)
    flat = np.ones_like(hours)
    records = [(hours, flat), (hours + 20.0, flat)]

    def length(times: Array, temps: Array) -> float:
        return float(times[-1] - times[0])

    assert reached_at(records, length, 4.0) == 4.0
    assert reached_at(records, length, 4.004) == 5.0
    assert reached_at(records, length, 14.0) == 24.0
    assert reached_at(records, length, 20.5) is None
    assert reached_at([(hours[:1], flat[:1]), *records], length, 4.0) == 4.0


def test_points_that_bound_warm_time_keep_the_slopes_on_either_side() -> None:
    times, temps = warm_points(np.arange(6.0), np.array([3.0, 3.0, 6.0, 3.0, 3.0, 3.0]), 5.0)
    assert (times.tolist(), temps.tolist()) == ([1.0, 2.0, 3.0], [3.0, 6.0, 3.0])
    assert warm_points(np.arange(3.0), np.full(3, 5.0), 5.0)[0].size == 0

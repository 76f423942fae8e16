"""What core logs say: times held, falls between two temperatures, and what stays unknown."""

import math

import pytest

from alerts.core_record import Run, down_at, fall, first_at, held_enough, held_s, left_at, runs, sessions
from alerts.rulebook.shelf import load
from collector.findings import Outcome
from collector.logs import CoreLog

US = load("US")
FIRST, WHOLE = US.steps("two_stage")
MIN = 60.0


def run(*points: tuple[float, float]) -> Run:
    """Return a run from minutes and temperatures."""
    return Run("P1", tuple((minutes * MIN, core_c) for minutes, core_c in points))


def log(*points: tuple[float, float], stage: str = "cook", probe: str = "P1") -> CoreLog:
    return CoreLog(stage, probe, tuple((minutes * MIN, core_c) for minutes, core_c in points), "kim")


def test_the_longest_unbroken_time_counts_and_not_the_sum() -> None:
    points = run((0, 50), (10, 60), (20, 60), (30, 50), (40, 60), (45, 60), (55, 50)).points
    assert held_s(points, 60.0) == pytest.approx(10 * MIN, abs=0.01)
    assert held_s(points, 55.0) == pytest.approx(20 * MIN)
    assert held_s(points, 60.1) is None
    assert held_s(run((0, 60)).points, 60.0) == 0.0


def test_a_row_is_kept_to_at_its_second_and_not_before() -> None:
    row = US.limits["cook.row.60"]
    for seconds, kept in ((720, True), (719, False)):
        assert held_enough(((0.0, 60.0), (float(seconds), 60.0)), row) is kept
    assert held_enough(((0.0, 70.0),), US.limits["cook.row.70"])
    assert not held_enough(((0.0, 69.9),), US.limits["cook.row.70"])


def test_instants_lie_on_straight_lines_between_entries() -> None:
    points = run((0, 60), (10, 50), (20, 40), (30, 44), (40, 30)).points
    assert left_at(points, 55.0) == pytest.approx(5 * MIN, abs=0.1)
    assert down_at(points, 42.0) == pytest.approx((30 + 10 * 2 / 14) * MIN, abs=0.1)
    assert (left_at(points, 61.0), left_at(points, 20.0), down_at(points, 29.0)) == (None, None, None)
    assert down_at(run((0, 4), (10, 3)).points, 5.0) == 0.0
    assert first_at(run((0, 10), (10, 60)).points, 35.0) == pytest.approx(5 * MIN, abs=0.1)
    assert first_at(points, 80.0) is None


def test_a_fall_that_warms_again_ends_when_it_is_down_for_good() -> None:
    again = run((0, 57), (60, 21), (70, 25), (130, 21))
    assert fall(again, FIRST, None).outcome is Outcome.OUTSIDE
    assert fall(run((0, 57), (60, 21), (70, 20), (130, 19)), FIRST, None).outcome is Outcome.WITHIN


@pytest.mark.parametrize(
    ("points", "hot_at", "outcome"),
    [
        (((0, 57), (120, 21)), None, Outcome.WITHIN),
        (((0, 57), (121, 21)), None, Outcome.OUTSIDE),
        (((0, 57), (121, 22)), None, Outcome.OUTSIDE),
        (((0, 57), (119, 22)), None, Outcome.CANNOT_TELL),
        (((0, 60), (10, 58)), None, Outcome.CANNOT_TELL),
        (((0, 40), (60, 21)), None, Outcome.CANNOT_TELL),
        (((0, 40), (60, 21)), -60.0, Outcome.WITHIN),
        (((0, 40), (60, 21)), -61.0, Outcome.CANNOT_TELL),
        (((0, 40), (121, 21)), 0.0, Outcome.OUTSIDE),
        (((0, 40), (121, 21)), None, Outcome.OUTSIDE),
        (((0, 20), (60, 4)), -120.0, Outcome.WITHIN),
        (((0, 20), (60, 4)), -121.0, Outcome.CANNOT_TELL),
    ],
)
def test_a_fall_is_told_only_as_far_as_its_log_shows(
    points: tuple[tuple[float, float], ...], hot_at: float | None, outcome: Outcome
) -> None:
    assert fall(run(*points), FIRST, None if hot_at is None else hot_at * MIN).outcome is outcome


def test_a_fall_without_an_end_took_at_least_as_long_as_its_log() -> None:
    open_ended = fall(run((0, 57), (100, 30)), WHOLE, None)
    assert (open_ended.most_s, open_ended.outcome) == (math.inf, Outcome.CANNOT_TELL)
    assert (open_ended.least_s, open_ended.due_at) == pytest.approx((6000.0, 6 * 3600.0), abs=0.01)


def test_logs_of_one_probe_that_follow_closely_are_one_run_and_others_are_not() -> None:
    first, second, later = log((0, 4), (60, 50)), log((70, 54), (120, 71)), log((300, 20), (360, 72))
    found = runs([later, second, first, log((0, 3), (9, 8), stage="cool")], "cook", 1e9, 3600.0)
    assert [len(one.points) for one in found] == [4, 2]
    other = runs([first, log((70, 54), (120, 71), probe="P2")], "cook", 1e9, 3600.0)
    assert [one.probe for one in other] == ["P1", "P2"]
    assert [len(group) for group in sessions(found, 3600.0)] == [1, 1]
    assert [len(group) for group in sessions(other, 3600.0)] == [2]


def test_pieces_that_were_followed_at_once_by_one_probe_stay_apart() -> None:
    found = runs([log((0, 4), (60, 71)), log((30, 5), (90, 60))], "cook", 1e9, 3600.0)
    assert [one.highest_c for one in found] == [71.0, 60.0]


def test_nothing_after_the_instant_of_judging_is_looked_at() -> None:
    found = runs([log((0, 4), (60, 50), (120, 71))], "cook", 90 * MIN, 3600.0)
    assert found[0].highest_c == 50.0
    assert runs([log((100, 4))], "cook", 90 * MIN, 3600.0) == ()

"""What an assignment becomes by the checks of its sensor."""

from collector.instruments import by_checks, last_check
from collector.logs import Calibration, UnderTest
from collector.readings import Assignment, Quantity

AIR = Assignment("c", Quantity.AIR_TEMPERATURE, "room", "by the door", 100.0, offset_c=0.1)


def check(at: float, as_found: float, as_left: float = 0.0) -> Calibration:
    return Calibration("c", "channel", at, "melting ice", as_found, as_left, at + 1e6, "kim", 0.5)


def spans(found: tuple[Assignment, ...]) -> list[tuple[float, float | None, float]]:
    return [(a.from_at, a.until_at, a.offset_c) for a in found]


def test_a_sensor_that_nobody_has_checked_is_judged_as_it_was_said() -> None:
    assert by_checks((AIR,), (), ()) == (AIR,)


def test_a_check_within_its_tolerance_corrects_nothing() -> None:
    assert {a.offset_c for a in by_checks((AIR,), (check(200.0, 0.5),), ())} == {0.1}


def test_an_error_beyond_its_tolerance_is_taken_off_since_the_check_before() -> None:
    found = by_checks((AIR,), (check(200.0, 0.2), check(300.0, -0.8)), ())
    assert spans(found) == [(100.0, 200.0, 0.1), (200.0, 300.0, 0.9), (300.0, None, 0.1)]


def test_what_was_left_beyond_its_tolerance_is_taken_off_afterwards() -> None:
    found = by_checks((AIR,), (check(200.0, 1.0, 0.6), check(300.0, 0.0)), ())
    assert spans(found) == [(100.0, 200.0, -0.9), (200.0, 300.0, -0.5), (300.0, None, 0.1)]


def test_a_check_of_another_place_leaves_what_had_ended_before() -> None:
    ended = Assignment("c", Quantity.AIR_TEMPERATURE, "room", "by the door", 100.0, 150.0)
    assert spans(by_checks((ended,), (check(200.0, 1.0),), ())) == [(100.0, 150.0, -1.0)]


def test_time_under_test_is_nobodys() -> None:
    found = by_checks((AIR,), (), (UnderTest("c", 200.0, 260.0),))
    assert [(a.from_at, a.until_at) for a in found] == [(100.0, 200.0), (260.0, None)]
    assert [(a.from_at, a.until_at) for a in by_checks((AIR,), (), (UnderTest("c", 200.0),))] == [(100.0, 200.0)]
    assert by_checks((AIR,), (), (UnderTest("d", 200.0),)) == (AIR,)


def test_a_test_that_began_before_the_assignment_only_delays_it() -> None:
    assert spans(by_checks((AIR,), (), (UnderTest("c", 50.0, 120.0),))) == [(120.0, None, 0.1)]


def test_the_last_check_is_the_last_by_its_own_time() -> None:
    checks = (check(300.0, 0.0), check(200.0, 0.1))
    assert last_check(checks, "c", 400.0) == checks[0]
    assert last_check(checks, "c", 250.0) == checks[1]
    assert last_check(checks, "c", 100.0) is None

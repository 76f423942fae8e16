"""Whether the watch and the telling are fresh, by a clock that nobody sets."""

from alerts.pulse import CALM_TICKS, FRESH_S, Beat, Pulse
from api.watch_said import watch_numbers, watch_said
from collector.health import State
from collector.storage import StoreFailed


def begun(*, tick_s: float | None = None, round_s: float | None = None) -> Pulse:
    pulse = Pulse()
    pulse.begin(100.0)
    if tick_s is not None:
        pulse.ticked(tick_s, 0.1)
    if round_s is not None:
        pulse.round.well(round_s)
    return pulse


def test_what_was_never_begun_is_not_fresh() -> None:
    assert Pulse().beat(5.0) is Beat.STALE


def test_a_watch_that_has_not_ticked_yet_is_starting_and_after_the_bound_it_has_failed() -> None:
    pulse = begun(round_s=101.0)
    assert pulse.beat(101.0) is Beat.STARTING
    assert watch_said(pulse, 101.0, alive=True)[0] is State.STARTING
    assert pulse.beat(100.0 + FRESH_S + 0.1) is Beat.STALE


def test_both_the_tick_and_the_telling_must_be_fresh() -> None:
    pulse = begun(tick_s=200.0, round_s=200.0)
    assert pulse.beat(200.0 + FRESH_S) is Beat.FRESH
    pulse.ticked(250.0, 0.1)
    late = 200.0 + FRESH_S + 0.1
    assert pulse.beat(late) is Beat.STALE
    state, sentence = watch_said(pulse, late, alive=True)
    assert state is State.FAILED and "nobody could be told" in sentence and "not looked at" not in sentence
    pulse.round.well(late)
    assert pulse.beat(late) is Beat.FRESH
    assert watch_said(pulse, late, alive=True)[0] is State.WORKS


def test_what_is_refused_again_and_again_is_stale_and_goes_round_all_the_same() -> None:
    pulse = begun(tick_s=200.0, round_s=200.0)
    for now in range(201, 300):
        pulse.failed("the store refused", StoreFailed("disk full"))
        pulse.tick.badly(float(now))
        pulse.round.well(float(now))
    assert pulse.beat(299.0) is Beat.STALE
    assert pulse.turns(299.0) is Beat.FRESH
    assert "the store refused: StoreFailed" in watch_said(pulse, 299.0, alive=True)[1]
    assert pulse.turns(299.0 + FRESH_S + 0.1) is Beat.STALE


def test_a_stumble_is_told_until_enough_good_ticks_followed_and_stays_counted() -> None:
    pulse = begun(tick_s=200.0, round_s=200.0)
    pulse.failed("the watch stumbled", ZeroDivisionError())
    for n in range(CALM_TICKS - 1):
        pulse.ticked(210.0 + n, 0.1)
    pulse.round.well(210.0)
    assert watch_said(pulse, 220.0, alive=True) == (
        State.DOUBTFUL,
        "The watch goes on; it last stumbled: the watch stumbled: ZeroDivisionError.",
    )
    pulse.ticked(220.0, 0.1)
    assert watch_said(pulse, 220.0, alive=True)[0] is State.WORKS
    assert watch_numbers(pulse, 221.0)["failures"] == 1


def test_a_new_stumble_begins_the_count_anew() -> None:
    pulse = begun()
    pulse.failed("a", ZeroDivisionError())
    for _ in range(CALM_TICKS - 1):
        pulse.ticked(110.0, 0.1)
    pulse.failed("b", ZeroDivisionError())
    pulse.ticked(120.0, 0.1)
    assert pulse.last_failure == "b: ZeroDivisionError"


def test_numbers_give_no_age_to_what_has_never_happened() -> None:
    assert "tick_age_seconds" not in watch_numbers(begun(round_s=101.0), 105.0)
    assert watch_numbers(begun(round_s=101.0), 105.0)["telling_age_seconds"] == 4.0


def test_a_dead_thread_is_failed_however_fresh_it_was() -> None:
    assert watch_said(begun(tick_s=101.0, round_s=101.0), 101.0, alive=False)[0] is State.FAILED


def test_a_watch_that_can_tell_nobody_does_not_work() -> None:
    pulse = begun(tick_s=101.0, round_s=101.0)
    assert watch_said(pulse, 101.0, alive=True, untold_s=59.0)[0] is State.WORKS
    state, sentence = watch_said(pulse, 101.0, alive=True, untold_s=60.0)
    assert state is State.FAILED and "every way to tell anybody has failed" in sentence

"""When another Curevigil counts as gone, and what is said of it."""

from dataclasses import replace

import pytest

from alerts.minding import Answer, Heard, Minded, State, Timings, condition, look, read_answer, returned, take
from alerts.sentences import message
from collector.kitchen import Alarm

TIMINGS = Timings()
AT = 1_764_036_120.0  # 02:02 UTC, 25 November 2025
NOTHING = Heard.NOTHING


def asked(minded: Minded, *answers: tuple[float, Heard]) -> Minded:
    for at_s, heard in answers:
        minded = take(minded, Answer(at_s, heard, "no answer within 5 s"), TIMINGS)
    return minded


def new() -> Minded:
    return Minded("Harbour kitchen", "Europe/Rome", 0.0)


def failing(until_s: float, heard: Heard = NOTHING) -> Minded:
    """One that answered well at 0 and from then on like this, asked every twenty seconds."""
    well = asked(new(), (0.0, Heard.WELL))
    return asked(well, *((at, heard) for at in (20.0, 40.0, 60.0, 80.0, 100.0, 120.0, 140.0) if at <= until_s))


def test_one_lost_answer_makes_it_doubtful_and_a_good_one_makes_it_answer_again() -> None:
    assert failing(0.0).state is State.ANSWERING
    assert look(failing(20.0), 21.0, TIMINGS).state is State.DOUBTFUL
    assert asked(failing(20.0), (40.0, Heard.WELL)).state is State.ANSWERING


def test_it_is_gone_when_nothing_good_was_heard_for_the_patience_and_not_a_second_before() -> None:
    assert look(failing(100.0), 119.9, TIMINGS).state is State.DOUBTFUL
    assert look(failing(100.0), 120.0, TIMINGS).state is State.GONE


def test_one_that_never_answered_is_gone_after_the_patience_from_the_beginning() -> None:
    never = asked(new(), *((20.0 * n, NOTHING) for n in range(6)))
    assert look(never, 119.0, TIMINGS).state is State.DOUBTFUL
    assert look(never, 121.0, TIMINGS).state is State.GONE


def test_after_a_sleep_of_this_machine_nothing_is_known_until_it_was_asked_again() -> None:
    slept = failing(100.0)
    assert look(slept, 9000.0, TIMINGS).state is State.DOUBTFUL
    assert look(asked(slept, (9001.0, NOTHING)), 9001.0, TIMINGS).state is State.GONE
    assert look(asked(slept, (9001.0, Heard.WELL)), 9001.0, TIMINGS).state is State.ANSWERING
    once = asked(failing(0.0), (9000.0, NOTHING))
    assert look(once, 9000.0, TIMINGS).state is State.DOUBTFUL


def test_gone_it_stays_until_a_good_answer() -> None:
    gone = look(failing(120.0), 120.0, TIMINGS)
    assert look(gone, 99_999.0, TIMINGS).state is State.GONE
    assert asked(gone, (140.0, NOTHING)).state is State.GONE
    assert asked(gone, (140.0, Heard.WELL)).state is State.ANSWERING


def test_what_is_said_of_it_changes_only_to_what_was_heard_alone_for_the_patience() -> None:
    gone = look(failing(120.0), 120.0, TIMINGS)
    for at_s, heard in ((140.0, Heard.UNWELL), (160.0, NOTHING), (180.0, Heard.UNWELL), (280.0, Heard.UNWELL)):
        gone = asked(gone, (at_s, heard))
        assert gone.how is NOTHING
    assert asked(gone, (300.0, Heard.UNWELL)).how is Heard.UNWELL


@pytest.mark.parametrize(
    ("minded", "first_line"),
    [
        (failing(120.0), "Curevigil at Harbour kitchen has not answered since 03:02. Take it that no "
                         "cold room is watched. Someone must look. Last: no answer within 5 s."),
        (failing(120.0, Heard.UNWELL), "Curevigil at Harbour kitchen says that it does not work, since 03:02. "
                                       "Take it that no cold room is watched. Someone must look."),
        (replace(failing(120.0), zone="UTC", detail=""), "Curevigil at Harbour kitchen has not answered since "
                                                         "02:02 UTC. Take it that no cold room is watched. "
                                                         "Someone must look."),
        (replace(failing(120.0), well_s=None, detail=""), "Curevigil at Harbour kitchen has not answered (asked since "
                                                          "03:02). Take it that no cold room is watched. "
                                                          "Someone must look."),
    ],
)  # fmt: skip
def test_the_first_line_says_which_place_and_since_when(minded: Minded, first_line: str) -> None:
    found = condition(minded, AT)
    assert found.wakes
    first, body = message(Alarm("A1", found, AT), minded.zone)
    assert first == first_line
    assert body.startswith("1. Look at the cold rooms' own thermometers")
    assert body.endswith("Estimates only: local rules and the responsible person come first.")


def test_the_return_says_when_it_was_seen_to_answer_and_calls_nothing_good() -> None:
    (figures,) = returned(new(), AT + 3600.0).values()
    over = Alarm(
        "A1", condition(failing(120.0), AT), AT, returned_at=AT + 3600.0, return_sentence="watcher_gone_returned",
        return_parameters=dict(figures),
    )  # fmt: skip
    assert message(over, "Europe/Rome")[0] == (
        "Curevigil at Harbour kitchen answers again, seen at 04:02. What happened in the cold rooms meanwhile "
        "may be unknown: look at its first page."
    )


def test_timings_that_nobody_could_rely_on_are_refused() -> None:
    assert Timings().fault() == ""
    assert "within 300 s" in Timings(patience_s=280.0).fault()
    assert Timings(every_s=60.0).fault() == "the patience must let 3 questions fail"
    assert Timings(timeout_s=0.0).fault()
    assert Timings(every_s=float("nan")).fault()
    assert Timings(patience_s=float("inf")).fault()


def test_a_body_that_is_too_long_is_no_answer_whatever_it_says() -> None:
    assert read_answer(200, b'{"works": true}' + b" " * 70_000)[0] is NOTHING

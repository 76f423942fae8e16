"""What drills do to the kitchen: they are known, and touch nothing else."""

from dataclasses import replace

import pytest

from collector import events as e
from collector import events_drill as d
from collector.drills import REAL_ALARM, Drill
from collector.findings import Condition
from collector.fold import fold
from collector.fold_drill import KEPT
from collector.kitchen import Kitchen

AT = 1_795_514_400.0
WARM = Condition("room", "product_warm", "temperature", True, AT, sentence="product_may_pass")


def folded(*events: e.Event, kitchen: Kitchen | None = None) -> Kitchen:
    known = kitchen if kitchen is not None else Kitchen()
    first = known.position + 1
    return fold((e.Entry(first + n, AT + n, AT + n, "kim", one) for n, one in enumerate(events)), known)


def drill(kitchen: Kitchen) -> Drill:
    return list(kitchen.drills.values())[-1]


BEGUN = folded(d.DrillStarted("calls", ("kim", "sam")))


def test_a_drill_is_open_until_everybody_has_confirmed() -> None:
    assert drill(BEGUN).open
    one = folded(d.DrillAnswered("D1", "kim", "link"), kitchen=BEGUN)
    assert (drill(one).missing, drill(one).open) == (("sam",), True)
    both = folded(d.DrillAnswered("D1", "sam", "page"), kitchen=one)
    assert (drill(both).missing, drill(both).open) == ((), False)


def test_who_confirms_twice_or_was_not_called_changes_nothing() -> None:
    events = [d.DrillAnswered("D1", who, "link") for who in ("kim", "kim", "ida")]
    assert drill(folded(*events, kitchen=BEGUN)).answered == (("kim", AT),)


def test_who_confirms_after_its_end_is_known_to_have_confirmed() -> None:
    late = folded(d.DrillEnded("D1", "two hours are over", ("kim", "sam")), d.DrillAnswered("D1", "kim", "link"),
                  kitchen=BEGUN)  # fmt: skip
    assert (drill(late).missing, drill(late).open) == (("sam",), False)


@pytest.mark.parametrize("wakes", [True, False])
def test_a_real_alarm_that_wakes_ends_it_at_once(wakes: bool) -> None:
    with_alarm = folded(e.AlarmRaised(replace(WARM, wakes=wakes)), kitchen=BEGUN)
    assert drill(with_alarm).open is not wakes
    assert drill(with_alarm).reason == (REAL_ALARM if wakes else "")


def test_an_alarm_that_begins_to_wake_ends_it_too() -> None:
    quiet = folded(e.AlarmRaised(replace(WARM, wakes=False)), d.DrillStarted("calls", ("kim",)))
    assert drill(quiet).open
    assert not drill(folded(e.AlarmChanged("A1", WARM), kitchen=quiet)).open


def test_nothing_but_the_drills_changes() -> None:
    before = folded(e.AlarmRaised(replace(WARM, wakes=False)))
    after = folded(
        d.DrillStarted("fault", ("kim",), "room"), d.DrillTold("D2", "kim", "webhook", "failed", "HTTP 500"),
        d.DrillTold("D2", "kim", "email", "accepted"), d.DrillAnswered("D2", "kim", "page"),
        d.DrillEnded("D2", "answered"), kitchen=before,
    )  # fmt: skip
    assert replace(after, drills={}, position=0) == replace(before, position=0)
    assert drill(after).tried("kim") == ("webhook", "email")
    assert drill(after).reached("kim")


def test_only_the_latest_are_kept_and_what_is_said_of_a_forgotten_one_is_passed_over() -> None:
    many = folded(*(d.DrillStarted("calls", ("kim",)) for _ in range(KEPT + 5)), d.DrillAnswered("D1", "kim", "link"))
    assert list(many.drills) == [f"D{n}" for n in range(6, KEPT + 6)]

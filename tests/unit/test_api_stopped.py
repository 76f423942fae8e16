"""If cooling stopped now, as the pages say it."""

from dataclasses import replace

import pytest

from api.office import Estimate, Estimates
from api.pages.stopped import Stopped, stopped_of
from api.tonight import hold_overs, unit_now
from tests.office import NOW, made_kitchen

ESTIMATES = {
    "coldroom": {
        "BRISKET-14": Estimate(NOW - 30.0, 4.1, 3.8, 4.4, 4.0, 0.0, 6 * 3600.0),
        "HAM-31": Estimate(NOW - 30.0, 3.0, 2.8, 3.2, 4.0, 0.0, 20 * 3600.0),
    }
}


def stopped(estimates: Estimates = ESTIMATES, warm_up_s: float | None = 20 * 3600.0) -> Stopped:
    kitchen = made_kitchen()
    unit = replace(kitchen.units["coldroom"], warm_up_s=warm_up_s)
    here = unit_now(kitchen, unit, estimates, 5.0, NOW)
    return stopped_of(here, NOW, "UTC")


def test_the_batch_that_passes_first_stands_first() -> None:
    assert [one.lot for one in stopped().lots] == ["BRISKET-14", "HAM-31"]


def test_a_unit_that_nobody_has_learned_says_so_and_gives_no_likely_time() -> None:
    said = stopped(warm_up_s=None)
    assert "is not known yet" in said.sentence
    assert all("likely" not in one.words for one in said.lots)


def test_a_batch_of_which_nothing_is_known_is_named_and_given_no_time() -> None:
    old = {"coldroom": {"BRISKET-14": replace(ESTIMATES["coldroom"]["BRISKET-14"], at=NOW - 3600.0)}}
    said = stopped(old)
    assert said.lots == ()
    assert "BRISKET-14" in said.unknown


@pytest.mark.parametrize("word", ["safe", "OK", "all clear", "you have"])
def test_nothing_said_calls_it_safe(word: str) -> None:
    said = stopped()
    words = [said.sentence, *(one.words for one in said.lots)]
    assert not any(word in text for text in words)


def test_only_fresh_estimates_with_a_time_constant_are_carried_on() -> None:
    kitchen = made_kitchen()
    unknown = {"coldroom": {"BRISKET-14": replace(ESTIMATES["coldroom"]["BRISKET-14"], tau_s=None)}}
    assert hold_overs(unit_now(kitchen, kitchen.units["coldroom"], unknown, 5.0, NOW), NOW) == {}

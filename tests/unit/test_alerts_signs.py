"""What stands against telling anybody outside that all goes on: each sign alone is enough."""

from dataclasses import replace

import pytest

from alerts.signs import Signs, missing

ALL = Signs(True, 0.0, 0.5, None, True, True)


def test_with_every_sign_there_nothing_is_missing() -> None:
    assert missing(ALL) == ()
    assert missing(replace(ALL, untried_s=59.9, disk_free=0.051, stepped_s=60.1)) == ()


@pytest.mark.parametrize(
    ("signs", "said"),
    [
        (replace(ALL, canary_round=False), "no message of our own came round within 30 s"),
        (replace(ALL, untried_s=60.0), "somebody should have been told 60 s ago"),
        (replace(ALL, untold_s=60.0), "for 60 s nobody could be told of an alarm that wakes people"),
        (replace(ALL, disk_free=0.05), "only 5.0% of the disk is free"),
        (replace(ALL, disk_free=None), "how much of the disk is free is unknown"),
        (replace(ALL, stepped_s=0.0), "the clock of this machine has just stepped"),
        (replace(ALL, stepped_s=60.0), "the clock of this machine has just stepped"),
        (replace(ALL, pulse_fresh=False), "the watch or the telling is not fresh"),
        (replace(ALL, journal_written=False), "the journal cannot be written"),
    ],
)
def test_each_sign_alone_withholds(signs: Signs, said: str) -> None:
    assert missing(signs) == (said,)


def test_everything_that_is_missing_is_named() -> None:
    assert len(missing(Signs(False, 99.0, 0.0, 1.0, False, False, 99.0))) == 7

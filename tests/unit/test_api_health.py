"""What anybody hears who asks whether it works."""

import pytest

from api.routes.health import works
from collector.health import Part, State


def part(name: str, state: State) -> Part:
    return Part(name, state, 0.0, "")


def test_nothing_said_is_no_good_sign() -> None:
    assert not works(())


@pytest.mark.parametrize("state", [State.STARTING, State.FAILED, State.STOPPED])
def test_a_watch_that_only_begins_or_has_failed_does_not_work(state: State) -> None:
    assert not works((part("broker", State.WORKS), part("watch", state)))


def test_a_doubt_is_no_failure() -> None:
    assert works((part("broker", State.STARTING), part("watch", State.DOUBTFUL)))

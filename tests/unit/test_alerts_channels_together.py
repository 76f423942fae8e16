"""Several people told at a time."""

import threading

import pytest

from alerts.channels.together import each_told
from alerts.escalation import Telling

TELLINGS = [Telling(alarm, "raised", person, "first") for alarm in ("A1", "A2") for person in ("ana", "bo", "cy")]


def said(telling: Telling) -> tuple[str, str]:
    return telling.alarm, telling.person


@pytest.mark.parametrize("people_at_once", [1, 2, 8])
def test_what_became_of_each_comes_in_the_order_of_the_tellings(people_at_once: int) -> None:
    assert list(each_told(TELLINGS, said, people_at_once)) == [said(telling) for telling in TELLINGS]


def test_nobody_waits_for_anothers_dead_gateway() -> None:
    reached = threading.Event()

    def tell(telling: Telling) -> bool:
        if telling.person == "ana":
            # Her gateway hangs until somebody else has been told.
            return reached.wait(20)
        reached.set()
        return True

    assert all(each_told(TELLINGS, tell, 8))


def test_one_person_is_told_in_one_thread_and_in_order() -> None:
    heard: list[tuple[str, str, int]] = []

    def tell(telling: Telling) -> None:
        heard.append((telling.person, telling.alarm, threading.get_ident()))

    list(each_told(TELLINGS, tell, 8))
    for person in ("ana", "bo", "cy"):
        mine = [(alarm, thread) for who, alarm, thread in heard if who == person]
        assert [alarm for alarm, _ in mine] == ["A1", "A2"]
        assert len({thread for _, thread in mine}) == 1

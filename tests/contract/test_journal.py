"""What every `Journal` promises: bytes as first written, positions without gaps, no append beside what was seen."""

import threading
from collections.abc import Callable

import pytest

from collector.events import Draft, Entry, GapSuspected, ItemSetAside, encode
from collector.storage import Journal, Moved

NOON = 1_767_268_800.0


def draft(item: str = "probe", at: float = NOON, by: str = "watch") -> Draft:
    return Draft(at, by, ItemSetAside(item, "it sent nothing that could be read"))


def test_an_empty_journal_stands_at_zero(journal: Journal) -> None:
    assert journal.head() == 0
    assert journal.read(0, 10) == []
    assert journal.lines(0, 10) == []
    assert journal.cursor("watch") == 0


def test_an_entry_says_what_its_draft_said(journal: Journal) -> None:
    gap = Draft(NOON + 0.5, "system", GapSuspected(NOON, NOON + 0.25, "the broker forgot the session – ümlaut"))
    entries = journal.append([draft(), gap], seen=0, recorded_at=NOON + 2)
    assert entries == [
        Entry(1, NOON, NOON + 2, "watch", draft().event),
        Entry(2, NOON + 0.5, NOON + 2, "system", gap.event),
    ]
    assert journal.read(0, 10) == entries
    assert journal.head() == 2


def test_the_bytes_are_those_of_the_event(journal: Journal) -> None:
    journal.append([draft("a"), draft("b")], seen=0, recorded_at=NOON)
    assert journal.lines(0, 10) == [(1, encode(draft("a"), NOON)), (2, encode(draft("b"), NOON))]


@pytest.mark.parametrize("seen", [0, 1, 3, 99, -1])
def test_an_append_beside_the_head_is_refused_and_keeps_nothing(journal: Journal, seen: int) -> None:
    journal.append([draft(), draft()], seen=0, recorded_at=NOON, cursors={"watch": 7})
    with pytest.raises(Moved, match="stands at 2"):
        journal.append([draft("late")], seen=seen, recorded_at=NOON, cursors={"watch": 8, "copy": 1})
    assert journal.head() == 2
    assert (journal.cursor("watch"), journal.cursor("copy")) == (7, 0)
    assert journal.append([draft()], seen=2, recorded_at=NOON)[0].position == 3


def test_cursors_move_with_the_entries_and_stay_apart(journal: Journal) -> None:
    journal.append([draft()], seen=0, recorded_at=NOON, cursors={"watch": 5, "copy": 2})
    journal.append([draft()], seen=1, recorded_at=NOON, cursors={"watch": 9})
    assert (journal.cursor("watch"), journal.cursor("copy"), journal.cursor("export")) == (9, 2, 0)


def test_no_drafts_still_move_the_cursors(journal: Journal) -> None:
    assert journal.append([], seen=0, recorded_at=NOON, cursors={"watch": 5}) == []
    assert (journal.head(), journal.cursor("watch")) == (0, 5)
    with pytest.raises(Moved):
        journal.append([], seen=1, recorded_at=NOON, cursors={"watch": 6})
    assert journal.cursor("watch") == 5


def test_a_journal_is_read_in_pages(journal: Journal) -> None:
    journal.append([draft(str(i)) for i in range(25)], seen=0, recorded_at=NOON)
    assert [e.position for e in journal.read(0, 10)] == list(range(1, 11))
    assert [e.position for e in journal.read(20, 10)] == [21, 22, 23, 24, 25]
    assert journal.read(25, 10) == []
    assert journal.read(0, 0) == []


def test_what_was_kept_is_there_when_the_journal_is_opened_again(open_journal: Callable[[], Journal]) -> None:
    first = open_journal()
    first.append([draft("a"), draft("b")], seen=0, recorded_at=NOON, cursors={"watch": 3})
    lines = first.lines(0, 10)
    again = open_journal()
    assert again.lines(0, 10) == lines
    assert (again.head(), again.cursor("watch")) == (2, 3)
    assert again.append([draft("c")], seen=2, recorded_at=NOON)[0].position == 3


def test_a_figure_that_is_not_finite_is_refused_before_anything_is_kept(journal: Journal) -> None:
    with pytest.raises(ValueError, match="JSON compliant"):
        journal.append([draft(), draft(at=float("nan"))], seen=0, recorded_at=NOON, cursors={"watch": 3})
    assert (journal.head(), journal.cursor("watch")) == (0, 0)


def test_of_many_that_append_at_once_each_position_goes_to_one(journal: Journal) -> None:
    positions: list[int] = []
    moved: list[int] = []

    def append_ten(name: str) -> None:
        done = 0
        while done < 10:
            try:
                entries = journal.append([draft(f"{name} {done}")], seen=journal.head(), recorded_at=NOON)
            except Moved:
                moved.append(1)
                continue
            positions.append(entries[0].position)
            done += 1

    threads = [threading.Thread(target=append_ten, args=(name,)) for name in "abcd"]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(positions) == list(range(1, 41))
    assert len({e.event.item for e in journal.read(0, 100) if isinstance(e.event, ItemSetAside)}) == 40


def test_closing_twice_does_nothing(journal: Journal) -> None:
    journal.close()
    journal.close()

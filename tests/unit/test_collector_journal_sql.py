"""The journal in one file that two processes have open."""

import threading
from pathlib import Path

from collector.books_sql import open_books
from collector.events import Draft, ItemSetAside
from collector.journal_sql import SqlJournal
from collector.storage import Moved, StoreFailed

NOON = 1_767_268_800.0


def test_two_that_have_the_file_open_move_each_other_on_and_never_fail(tmp_path: Path) -> None:
    journals = [SqlJournal(open_books(tmp_path / "journal.sqlite")) for _ in range(2)]
    failed: list[StoreFailed] = []

    def append_fifty(journal: SqlJournal, name: str) -> None:
        done = 0
        while done < 50 and not failed:
            draft = Draft(NOON, name, ItemSetAside(f"{name} {done}", "x"))
            try:
                journal.append([draft], seen=journal.head(), recorded_at=NOON, cursors={name: done})
            except Moved:
                continue
            except StoreFailed as fault:
                failed.append(fault)
            done += 1

    threads = [threading.Thread(target=append_fifty, args=pair) for pair in zip(journals, "ab", strict=True)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failed == []
    for journal in journals:
        entries = journal.read(0, 1000)
        assert [entry.position for entry in entries] == list(range(1, 101))
        for name in "ab":
            mine = [e.event for e in entries if e.by == name]
            assert mine == [ItemSetAside(f"{name} {i}", "x") for i in range(50)]
            assert journal.cursor(name) == 49
        journal.close()


def test_a_head_that_moved_after_it_was_read_is_a_moved_journal_and_no_fault(tmp_path: Path) -> None:
    books = open_books(tmp_path / "journal.sqlite")
    first, second = SqlJournal(books), SqlJournal(open_books(tmp_path / "journal.sqlite"))
    first.append([Draft(NOON, "a", ItemSetAside("x", "y"))], seen=0, recorded_at=NOON)
    started, append_done = threading.Event(), threading.Event()

    def append_meanwhile() -> None:
        started.set()
        second.append([Draft(NOON, "b", ItemSetAside("x", "y"))], seen=1, recorded_at=NOON)
        append_done.set()

    thread = threading.Thread(target=append_meanwhile)
    with books.writing() as connection:
        # From its first moment this transaction holds the file: what it reads cannot move before it writes.
        assert connection.exec_driver_sql("SELECT max(position) FROM journal").scalar() == 1
        thread.start()
        started.wait(5)
        assert not append_done.wait(0.1)
    thread.join()
    assert first.head() == 2
    first.close()
    second.close()

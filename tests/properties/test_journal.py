"""The journal under any order of appending, refusing, reopening and reading: no gap, no change, nothing half done."""

import shutil
import tempfile
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from collector.books_sql import open_books
from collector.events import Draft, Event, GapSuspected, ItemSetAside, encode
from collector.journal_sql import SqlJournal
from collector.storage import Journal, MemoryJournal, Moved, StoreFailed

NOON = 1_767_268_800.0
texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
instants = st.integers(0, 4_000_000_000_000).map(lambda ms: ms / 1000)
events: st.SearchStrategy[Event] = st.one_of(
    st.builds(ItemSetAside, texts, texts), st.builds(GapSuspected, instants, instants, texts)
)
drafts = st.lists(st.builds(Draft, instants, texts, events), max_size=4)
names = st.sampled_from(["watch", "copy", "export"])
cursors = st.dictionaries(names, st.integers(0, 2**40), max_size=3)


class JournalMachine(RuleBasedStateMachine):
    """Beside the journal stands a list of the bytes that it has said it keeps."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        self.lines: list[bytes] = []
        self.cursors: dict[str, int] = {}
        self.handles: list[Journal] = []

    def open(self) -> Journal:
        raise NotImplementedError

    @initialize()
    def open_first(self) -> None:
        self.handles = [self.open()]

    @rule(drafts=drafts, cursors=cursors, recorded_at=instants, handle=st.integers(0, 2))
    def append(self, drafts: list[Draft], cursors: dict[str, int], recorded_at: float, handle: int) -> None:
        journal = self.handles[handle % len(self.handles)]
        entries = journal.append(drafts, seen=len(self.lines), recorded_at=recorded_at, cursors=cursors)
        assert [e.position for e in entries] == [len(self.lines) + 1 + i for i in range(len(drafts))]
        assert [(e.at, e.by, e.event) for e in entries] == [(d.at, d.by, d.event) for d in drafts]
        self.lines += [encode(draft, recorded_at) for draft in drafts]
        self.cursors |= cursors

    @rule(drafts=drafts, cursors=cursors, off=st.integers(-3, 3).filter(bool), handle=st.integers(0, 2))
    def append_beside_the_head(self, drafts: list[Draft], cursors: dict[str, int], off: int, handle: int) -> None:
        with pytest.raises(Moved):
            self.handles[handle % len(self.handles)].append(
                drafts, seen=len(self.lines) + off, recorded_at=NOON, cursors=cursors
            )

    @precondition(lambda self: len(self.handles) > 0)
    @rule(drafts=drafts.filter(bool))
    def append_what_no_journal_can_hold(self, drafts: list[Draft]) -> None:
        unfit = Draft(float("inf"), "watch", ItemSetAside("x", "y"))
        with pytest.raises(ValueError, match="JSON compliant"):
            self.handles[0].append([*drafts, unfit], seen=len(self.lines), recorded_at=NOON, cursors={"watch": -1})

    @rule(after=st.integers(0, 30), limit=st.integers(0, 30))
    def read_a_page(self, after: int, limit: int) -> None:
        expected = list(enumerate(self.lines, 1))[after : after + limit]
        for journal in self.handles:
            assert journal.lines(after, limit) == expected
            assert [e.position for e in journal.read(after, limit)] == [position for position, _ in expected]

    @invariant()
    def every_handle_tells_the_same(self) -> None:
        for journal in self.handles:
            assert journal.head() == len(self.lines)
            assert journal.lines(0, 1000) == list(enumerate(self.lines, 1))
            assert {name: journal.cursor(name) for name in ("watch", "copy", "export")} == {
                name: self.cursors.get(name, 0) for name in ("watch", "copy", "export")
            }

    def teardown(self) -> None:
        for journal in self.handles:
            journal.close()
        shutil.rmtree(self.folder)


class MemoryMachine(JournalMachine):
    def open(self) -> Journal:
        return MemoryJournal()


class SqliteMachine(JournalMachine):
    """The same in a file, closed and opened again, and opened twice, as by a command beside the service."""

    def open(self) -> Journal:
        return SqlJournal(open_books(self.folder / "journal.sqlite"))

    @rule()
    def open_again(self) -> None:
        for journal in self.handles:
            journal.close()
        self.handles = [self.open()]

    @precondition(lambda self: len(self.handles) < 3)
    @rule()
    def open_another(self) -> None:
        self.handles.append(self.open())

    @rule(handle=st.integers(0, 2))
    def fail_in_the_middle_of_a_transaction(self, handle: int) -> None:
        books = open_books(self.folder / "journal.sqlite")
        with pytest.raises(StoreFailed), books.writing() as connection:
            line = {"position": len(self.lines) + 1, "line": b"half"}
            connection.exec_driver_sql("INSERT INTO journal VALUES (:position, :line)", line)
            connection.exec_driver_sql("DELETE FROM journal")
        books.close()


FEWER = settings(max_examples=settings().max_examples // 3, stateful_step_count=20)
"""Each step of the file's machine waits for the disk."""

TestMemoryJournal = MemoryMachine.TestCase
TestSqliteJournal = SqliteMachine.TestCase
TestSqliteJournal.settings = FEWER

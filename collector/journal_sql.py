"""The journal in a relational database: bytes as first written, positions without gaps."""

from collections.abc import Callable, Mapping, Sequence

from sqlalchemy import Connection, delete, func, insert, select

from collector.books_sql import CURSORS, JOURNAL, Books
from collector.events import Draft, Entry, decode, encode
from collector.sample import Instant
from collector.storage import Moved, StoreFailed


class SqlJournal:
    """`Journal` in a relational database; `make_room` may free some disk for an entry that would not fit."""

    def __init__(self, books: Books, make_room: Callable[[], bool] = lambda: False) -> None:
        self._books = books
        self._make_room = make_room

    def append(
        self,
        drafts: Sequence[Draft],
        *,
        seen: int,
        recorded_at: Instant,
        cursors: Mapping[str, int] | None = None,
    ) -> list[Entry]:
        lines = [(seen + 1 + i, encode(draft, recorded_at)) for i, draft in enumerate(drafts)]
        entries = [decode(position, line) for position, line in lines]
        try:
            self._write(lines, seen, cursors or {})
        except StoreFailed:
            if not self._make_room():
                raise
            self._write(lines, seen, cursors or {})
        return entries

    def _write(self, lines: Sequence[tuple[int, bytes]], seen: int, cursors: Mapping[str, int]) -> None:
        with self._books.writing() as connection:
            head = _head(connection)
            if head != seen:
                raise Moved(f"the journal stands at {head}, not at {seen}")
            if lines:
                connection.execute(insert(JOURNAL), [{"position": p, "line": line} for p, line in lines])
            if cursors:
                connection.execute(delete(CURSORS).where(CURSORS.c.name.in_(list(cursors))))
                connection.execute(insert(CURSORS), [{"name": n, "position": p} for n, p in cursors.items()])

    def head(self) -> int:
        with self._books.reading() as connection:
            return _head(connection)

    def read(self, after: int, limit: int) -> list[Entry]:
        return [decode(position, line) for position, line in self.lines(after, limit)]

    def lines(self, after: int, limit: int) -> list[tuple[int, bytes]]:
        page = select(JOURNAL).where(JOURNAL.c.position > after).order_by(JOURNAL.c.position).limit(limit)
        with self._books.reading() as connection:
            return [(int(position), bytes(line)) for position, line in connection.execute(page)]

    def cursor(self, name: str) -> int:
        with self._books.reading() as connection:
            found = connection.execute(select(CURSORS.c.position).where(CURSORS.c.name == name)).scalar()
        return int(found or 0)

    def close(self) -> None:
        self._books.close()


def _head(connection: Connection) -> int:
    return int(connection.execute(select(func.max(JOURNAL.c.position))).scalar() or 0)

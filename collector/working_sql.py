"""Small things that may be removed, in a relational database."""

import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Delete, Select, delete, insert, or_, select

from collector.books_sql import THINGS, Books
from collector.sample import Instant


class SqlWorking:
    """`Working` in a relational database; a value is kept as JSON, so that a tuple comes back as a list."""

    def __init__(self, books: Books) -> None:
        self._books = books

    def put(self, kind: str, key: str, value: Mapping[str, object], *, until_at: Instant | None = None) -> None:
        text = json.dumps(dict(value), ensure_ascii=False, allow_nan=False)
        with self._books.writing() as connection:
            connection.execute(_removal(kind, key))
            connection.execute(insert(THINGS).values(kind=kind, key=key, value=text, until_at=until_at))

    def get(self, kind: str, key: str, now: Instant) -> dict[str, object] | None:
        with self._books.reading() as connection:
            text = connection.execute(_one_living(kind, key, now)).scalar()
        return None if text is None else dict(json.loads(text))

    def take(self, kind: str, key: str, now: Instant) -> dict[str, object] | None:
        with self._books.writing() as connection:
            text = connection.execute(_one_living(kind, key, now)).scalar()
            connection.execute(_removal(kind, key))
        return None if text is None else dict(json.loads(text))

    def all(self, kind: str, now: Instant) -> dict[str, dict[str, object]]:
        living = select(THINGS.c.key, THINGS.c.value).where(THINGS.c.kind == kind, _lives(now))
        with self._books.reading() as connection:
            rows = connection.execute(living).all()
        # Sorted here, since a database sorts by its own language's rules.
        return {key: dict(json.loads(value)) for key, value in sorted((row[0], row[1]) for row in rows)}

    def remove(self, kind: str, key: str) -> None:
        with self._books.writing() as connection:
            connection.execute(_removal(kind, key))

    def sweep(self, now: Instant) -> int:
        with self._books.writing() as connection:
            return int(connection.execute(delete(THINGS).where(THINGS.c.until_at <= now)).rowcount)

    def close(self) -> None:
        self._books.close()


def _lives(now: Instant) -> Any:
    return or_(THINGS.c.until_at.is_(None), THINGS.c.until_at > now)


def _one_living(kind: str, key: str, now: Instant) -> Select[Any]:
    return select(THINGS.c.value).where(THINGS.c.kind == kind, THINGS.c.key == key, _lives(now))


def _removal(kind: str, key: str) -> Delete:
    return delete(THINGS).where(THINGS.c.kind == kind, THINGS.c.key == key)

"""Readings in pages: every one once, in order, however many share an instant."""

import pytest

from api.paging import Cursor, readings_page
from collector.readings import Reading
from collector.sample import Message
from collector.storage import Arrival, MemoryReadings

BEGIN = 1_700_000_000.0


def store(values: list[tuple[float, float]]) -> MemoryReadings:
    readings = MemoryReadings()
    for after_s, value in values:
        at = BEGIN + after_s
        readings.append([Arrival(Message("t", b"", at), (Reading("c", at, value, "Cel", at),))])
    return readings


def walked(readings: MemoryReadings, limit: int, until_at: float = BEGIN + 1e8) -> list[tuple[float, float]]:
    """Return everything that the pages hold, one after the other."""
    found, cursor = [], Cursor(BEGIN, 0)
    for _ in range(1000):
        page, following = readings_page(readings, "c", cursor, until_at, limit)
        assert page.values.size <= limit
        after_s = [round(at - BEGIN, 3) for at in page.measured_at.tolist()]
        found += list(zip(after_s, page.values.tolist(), strict=True))
        if following is None:
            return found
        cursor = Cursor.read(str(following)) or pytest.fail("a cursor that cannot be read")
    pytest.fail("the pages never end")


@pytest.mark.parametrize("limit", [1, 2, 3, 7, 100])
def test_pages_hold_every_reading_once_even_where_instants_repeat_and_days_are_empty(limit: int) -> None:
    values = [(0.0, 1.0), (0.0, 2.0), (0.0, 3.0), (60.0, 1.0), (60.0, 2.0), (9e6, 4.0), (9e6 + 0.001, 5.0)]
    assert walked(store(values), limit) == values


def test_a_page_ends_before_the_instant_until() -> None:
    assert walked(store([(0.0, 1.0), (60.0, 2.0)]), 10, BEGIN + 60.0) == [(0.0, 1.0)]
    assert walked(store([]), 10) == []


@pytest.mark.parametrize("text", ["", "x", "1:2:3", "nan:0", "inf:1", "-1:0", "5:-1", "5", "1e99:0"])
def test_what_is_no_cursor_is_not_taken_for_one(text: str) -> None:
    assert Cursor.read(text) is None

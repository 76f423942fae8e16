"""What stands beside the protocols: readings turned to arrays, and what the fakes keep."""

import json

import numpy as np
import pytest

from collector.events import Draft, ItemSetAside
from collector.readings import Reading
from collector.sample import Message, Quality
from collector.storage import Arrival, MemoryJournal, MemoryReadings, Moved, NewerSchema, StoreFailed, series_of

NOON = 1_767_268_800.0


def reading(value: float, measured_at: float, received_at: float = NOON, quality: Quality = Quality.GOOD) -> Reading:
    return Reading("c", measured_at, value, "Cel", received_at, measured_at, None, quality)


def test_readings_become_arrays_in_order_of_measurement_then_of_receipt() -> None:
    series = series_of(
        [
            reading(3.0, NOON + 60, NOON + 61),
            reading(1.0, NOON, NOON + 99, Quality.CLOCK_DOUBT | Quality.CONFLICT),
            reading(2.0, NOON, NOON + 98),
        ]
    )
    assert series.measured_at.tolist() == [NOON, NOON, NOON + 60]
    assert series.values.tolist() == [2.0, 1.0, 3.0]
    assert series.quality.tolist() == [0, 9, 0]
    assert series.received_at.tolist() == [NOON + 98, NOON + 99, NOON + 61]


def test_no_readings_become_empty_arrays_of_the_same_kinds() -> None:
    series = series_of([])
    kinds = [array.dtype for array in (series.measured_at, series.values, series.quality, series.received_at)]
    assert kinds == [np.float64, np.float64, np.int64, np.float64]
    assert len(series.values) == 0


def test_a_newer_file_is_a_store_that_failed_and_a_moved_journal_is_not() -> None:
    assert issubclass(NewerSchema, StoreFailed)
    # A caller that waits until the disk is mended must not wait for a journal that only went on.
    assert not issubclass(Moved, StoreFailed)


def test_the_fake_does_not_change_the_arrivals_it_is_given() -> None:
    store = MemoryReadings()
    given = Arrival(Message("t", b"x", NOON), (reading(1.0, NOON), reading(2.0, NOON)))
    store.append([given])
    assert given.position == 0
    assert isinstance(given.outcome, tuple)
    assert [r.quality for r in given.outcome] == [Quality.GOOD, Quality.GOOD]


def test_the_fake_of_the_journal_keeps_bytes_and_not_objects() -> None:
    journal = MemoryJournal()
    parameters = ItemSetAside("unit", "reason")
    entries = journal.append([Draft(NOON + 0.0004, "watch", parameters)], seen=0, recorded_at=NOON)
    assert entries[0].at == NOON
    assert entries[0].event == parameters
    assert entries[0].event is not parameters
    ((position, line),) = journal.lines(0, 1)
    assert (position, json.loads(line)["body"]) == (1, {"item": "unit", "reason": "reason"})


@pytest.mark.parametrize("seen", [-1, 1])
def test_the_fake_of_the_journal_says_where_it_stands_when_it_refuses(seen: int) -> None:
    with pytest.raises(Moved, match=f"stands at 0, not at {seen}"):
        MemoryJournal().append([], seen=seen, recorded_at=NOON)

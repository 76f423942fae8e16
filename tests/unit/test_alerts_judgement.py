"""What judging asks of the store."""

import numpy as np

from alerts.judgement import fetching_once
from collector.storage import Series


def test_the_store_is_asked_once_for_what_two_tubs_stood_in_together() -> None:
    asked: list[tuple[str, float, float]] = []

    def fetch(channel: str, from_at: float, until_at: float) -> Series:
        asked.append((channel, from_at, until_at))
        return Series(np.zeros(0), np.zeros(0), np.zeros(0, dtype=np.int64), np.zeros(0))

    once = fetching_once(fetch)
    first, again = once("air", 0.0, 10.0), once("air", 0.0, 10.0)
    once("air", 5.0, 10.0)
    once("brine", 0.0, 10.0)
    assert first is again
    assert asked == [("air", 0.0, 10.0), ("air", 5.0, 10.0), ("brine", 0.0, 10.0)]

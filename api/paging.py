"""Long lists in pages: by key, never by counting from the beginning."""

from dataclasses import dataclass, replace

from collector.sample import Instant
from collector.storage import Readings, Series

FIRST_WINDOW_S = 6 * 3600.0


@dataclass(frozen=True, slots=True)
class Cursor:
    """An instant, and how many of the readings measured just then have been shown."""

    at: Instant
    shown: int

    def __str__(self) -> str:
        return f"{self.at:.3f}:{self.shown}"

    @classmethod
    def read(cls, text: str) -> "Cursor | None":
        """Return the cursor that a text holds, or None."""
        at, _, shown = text.partition(":")
        try:
            cursor = cls(float(at), int(shown))
        except ValueError:
            return None
        return cursor if 0 <= cursor.at < 1e11 and 0 <= cursor.shown < 100_000 else None


def readings_page(
    readings: Readings, channel: str, after: Cursor, until_at: Instant, limit: int
) -> tuple[Series, Cursor | None]:
    """Return up to `limit` readings behind the cursor, and the cursor behind them where more follow.

    The archive is read in windows that grow, so that a year of one channel never stands in memory for one page.
    """
    window_s, end_at = FIRST_WINDOW_S, after.at
    series = readings.series(channel, after.at, after.at)
    while end_at < until_at and series.values.size <= after.shown + limit:
        end_at = min(until_at, after.at + window_s)
        series = readings.series(channel, after.at, end_at)
        window_s *= 4.0
    page = _cut(series, after.shown, after.shown + limit)
    if series.values.size <= after.shown + limit:
        return page, None
    last_at = float(page.measured_at[-1])
    before = after.shown if last_at == after.at else 0
    return page, Cursor(last_at, before + int((page.measured_at == last_at).sum()))


def _cut(series: Series, begin: int, end: int) -> Series:
    return replace(
        series,
        measured_at=series.measured_at[begin:end],
        values=series.values[begin:end],
        quality=series.quality[begin:end],
        received_at=series.received_at[begin:end],
    )

"""The journal's lines about each lot, followed once: a batch's page never reads the whole journal again."""

import threading
from dataclasses import dataclass

from api.pages.telling import by_words, entry_words, lots_of, zone_for
from collector.events import AlarmTold
from collector.kitchen import Kitchen
from collector.sample import Instant
from collector.storage import Journal

PAGE = 1000


@dataclass(frozen=True, slots=True)
class Line:
    """One entry, told."""

    position: int
    at: Instant
    by: str
    words: str


class ByLot:
    """Reads the journal forward and keeps what it says of each lot. Shared by the threads of the pages."""

    def __init__(self, journal: Journal) -> None:
        self._journal = journal
        self._lock = threading.Lock()
        self._seen = 0
        self._lines: dict[str, list[Line]] = {}

    def lines(self, lot: str, kitchen: Kitchen) -> list[Line]:
        """Return what the journal says of a lot up to the kitchen's position, oldest first. Raises StoreFailed."""
        with self._lock:
            while self._seen < kitchen.position:
                self._read(kitchen)
            return sorted(self._lines.get(lot, ()), key=lambda line: (line.at, line.position))

    def _read(self, kitchen: Kitchen) -> None:
        entries = self._journal.read(self._seen, PAGE)
        for entry in entries:
            if isinstance(entry.event, AlarmTold):
                continue
            for lot in lots_of(entry, kitchen):
                words = entry_words(entry, kitchen, zone_for(entry, kitchen))
                line = Line(entry.position, entry.at, by_words(kitchen, entry.by), words)
                self._lines.setdefault(lot, []).append(line)
        self._seen = entries[-1].position if entries else kitchen.position

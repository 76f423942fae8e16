"""The journal with the state it folds to, shared by the threads of one process."""

import threading
from collections.abc import Callable, Mapping, Sequence

from collector.events import Draft, Entry
from collector.fold import fold
from collector.kitchen import Kitchen
from collector.sample import Instant
from collector.storage import Journal, Moved

Decide = Callable[[Kitchen], Sequence[Draft]]
PAGE = 1000


class Present:
    """Reads the journal forward, decides against the newest state, and appends what was decided.

    Every follower may be told of new entries through `watchers`; they are called outside the lock, in no order.
    """

    def __init__(self, journal: Journal, clock: Callable[[], Instant]) -> None:
        self._journal = journal
        self._clock = clock
        self._lock = threading.RLock()
        self._kitchen = Kitchen()
        self.watchers: list[Callable[[Sequence[Entry]], None]] = []

    @property
    def kitchen(self) -> Kitchen:
        """Return the state as last caught up; frozen, so it can be read without a lock."""
        return self._kitchen

    def catch_up(self) -> Kitchen:
        """Read entries that others have appended, and return the newest state. Raises StoreFailed."""
        fresh: list[Entry] = []
        with self._lock:
            while entries := self._journal.read(self._kitchen.position, PAGE):
                self._kitchen = fold(entries, self._kitchen)
                fresh.extend(entries)
        self._announce(fresh)
        return self._kitchen

    def decide(self, decide: Decide, *, cursors: Mapping[str, int] | None = None) -> list[Entry]:
        """Append what `decide` makes of the newest state; when the journal moved meanwhile, decide again.

        Raises StoreFailed, and whatever `decide` raises; then nothing was appended.
        """
        while True:
            kitchen = self.catch_up()
            drafts = decide(kitchen)
            if not drafts and not cursors:
                return []
            self._rehearse(kitchen, drafts)
            try:
                with self._lock:
                    entries = self._journal.append(
                        drafts,
                        seen=kitchen.position,
                        recorded_at=self._clock(),
                        cursors=cursors,
                    )
                    if self._kitchen.position == kitchen.position:
                        self._kitchen = fold(entries, self._kitchen)
            except Moved:
                continue
            self._announce(entries)
            return entries

    def _rehearse(self, kitchen: Kitchen, drafts: Sequence[Draft]) -> None:
        # What cannot be folded must never be written: every later start would stumble over it.
        first = kitchen.position + 1
        fold(
            (Entry(first + i, d.at, d.at, d.by, d.event) for i, d in enumerate(drafts)),
            kitchen,
        )

    def cursor(self, name: str) -> int:
        """Return how far a follower of the arrival log has come."""
        return self._journal.cursor(name)

    def _announce(self, entries: Sequence[Entry]) -> None:
        if entries:
            for watcher in list(self.watchers):
                watcher(entries)

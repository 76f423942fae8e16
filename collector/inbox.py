"""The bounded queue between the network and the store. Shell."""

import threading
from collections import deque
from typing import NamedTuple

from collector.sample import Message

MESSAGES_MAX = 5_000
BYTES_MAX = 32 * 1024 * 1024
OVERHEAD_BYTES = 500
"""What a message costs in memory beside its payload, roughly."""


class Delivery(NamedTuple):
    """One message as it came, with what acknowledging it takes."""

    message: Message
    generation: int
    """Number of the connection it came on; its packet id means nothing on any other."""
    mid: int
    qos: int


class Inbox:
    """Deliveries in order of arrival; whoever fills it waits while it is full."""

    def __init__(self, messages_max: int = MESSAGES_MAX, bytes_max: int = BYTES_MAX) -> None:
        self._messages_max = messages_max
        self._bytes_max = bytes_max
        self._waiting: deque[Delivery] = deque()
        self._bytes = 0
        self.longest = 0
        """The most that ever waited."""
        self._wanted = MESSAGES_MAX
        lock = threading.Lock()
        self._filled = threading.Condition(lock)
        self._emptied = threading.Condition(lock)

    def __len__(self) -> int:
        return len(self._waiting)

    def put(self, delivery: Delivery, wait_s: float) -> bool:
        """Add one, waiting at most so long for room; return whether there was any."""
        with self._filled:
            if self._full() and not self._emptied.wait_for(lambda: not self._full(), wait_s):
                return False
            self._waiting.append(delivery)
            self._bytes += len(delivery.message.payload) + OVERHEAD_BYTES
            self.longest = max(self.longest, len(self._waiting))
            # Waking the other thread costs more than putting: only for the first, and for a group that is full.
            if len(self._waiting) == 1 or len(self._waiting) >= self._wanted:
                self._filled.notify()
            return True

    def _full(self) -> bool:
        return len(self._waiting) >= self._messages_max or self._bytes >= self._bytes_max

    def take(self, limit: int, wait_s: float, fill_s: float = 0.0) -> list[Delivery]:
        """Return what is there, at most `limit`: after waiting so long for the first, and then for the rest."""
        with self._filled:
            if not self._filled.wait_for(lambda: self._waiting, wait_s):
                return []
            if fill_s and len(self._waiting) < limit:
                self._wanted = limit
                self._filled.wait_for(lambda: len(self._waiting) >= limit, fill_s)
                self._wanted = MESSAGES_MAX
            taken = [self._waiting.popleft() for _ in range(min(limit, len(self._waiting)))]
            self._bytes -= sum(len(d.message.payload) + OVERHEAD_BYTES for d in taken)
            self._emptied.notify_all()
            return taken

    def clear(self) -> int:
        """Forget what waits; return how many there were."""
        with self._filled:
            forgotten = len(self._waiting)
            self._waiting.clear()
            self._bytes = 0
            self._emptied.notify_all()
            return forgotten

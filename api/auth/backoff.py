"""How long to wait after failed attempts: per account and address, twice as long each time, counted before the answer.

By account and address together, an attacker elsewhere cannot keep the person out; codes and links go other ways in.
"""

import threading

from api.auth.refused import Wait
from api.auth.secrets_kept import digest
from collector.sample import Instant
from collector.storage import Working

KIND = "backoff"
FREE = 3
"""House: attempts that cost nothing; people mistype."""
FIRST_S, LONGEST_S = 2.0, 900.0
"""House: with the longest wait an attacker has fewer than 100 attempts a day."""
FORGOTTEN_S = 86_400.0

_one_at_a_time = threading.Lock()


def wait_s(failures: int) -> float:
    """Return how long the next attempt waits after so many failed ones. [s]"""
    return 0.0 if failures < FREE else float(min(FIRST_S * 2.0 ** min(failures - FREE, 30), LONGEST_S))


def begin_attempt(working: Working, account: str, address: str, now: Instant) -> None:
    """Count an attempt as failed until `forgive` says otherwise. Raises Wait where it comes too early."""
    key = _key(account, address)
    with _one_at_a_time:
        kept = working.get(KIND, key, now) or {"failures": 0, "at": now}
        failures, at = int(str(kept["failures"])), float(str(kept["at"]))
        left_s = at + wait_s(failures) - now
        if left_s > 0:
            raise Wait(left_s)
        working.put(KIND, key, {"failures": failures + 1, "at": now}, until_at=now + FORGOTTEN_S)


def forgive(working: Working, account: str, address: str) -> None:
    """Forget the attempts: the last one was right."""
    working.remove(KIND, _key(account, address))


def _key(account: str, address: str) -> str:
    return digest(f"{account}|{address}")

"""Sign-in codes: typed by a person, for one person, for a time, used up. In Crockford's base 32, without I, L, O, U."""

import secrets
import threading
from dataclasses import dataclass

from api.auth.secrets_kept import digest
from collector.sample import Instant
from collector.storage import Working

KIND = "code"
ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
LETTERS, GROUP = 12, 4
"""12 letters of 32: 60 bits, and one guess in 2^60 is all that an attempt is worth."""
READ_AS = str.maketrans("ILO", "110")
FIRST_RUN = ""
"""Whom a code is for when the site has no admin yet: whoever types it says who they are."""

_one_at_a_time = threading.Lock()


@dataclass(frozen=True, slots=True)
class Code:
    """What is known of a living code."""

    person: str
    uses: int
    until_at: Instant


def issue_code(working: Working, person: str, now: Instant, *, lasts_s: float, uses: int = 1) -> str:
    """Return a new code for a person, shown once. Raises StoreFailed."""
    text = "".join(secrets.choice(ALPHABET) for _ in range(LETTERS))
    _keep(working, digest(text), Code(person, uses, now + lasts_s))
    return "-".join(text[i : i + GROUP] for i in range(0, LETTERS, GROUP))


def look_at_code(working: Working, typed: str, now: Instant) -> Code | None:
    """Return what is known of a code, without using it."""
    return _code(working.get(KIND, digest(_read(typed)), now))


def take_code(working: Working, typed: str, now: Instant) -> Code | None:
    """Use a code once and return whom it was for; of two who come at the same time, one gets the last use."""
    key = digest(_read(typed))
    with _one_at_a_time:
        code = _code(working.take(KIND, key, now))
        if code is not None and code.uses > 1:
            _keep(working, key, Code(code.person, code.uses - 1, code.until_at))
    return code


def end_codes(working: Working, person: str, now: Instant) -> None:
    """End every code of a person."""
    for key, kept in working.all(KIND, now).items():
        if kept["person"] == person:
            working.remove(KIND, key)


def _read(typed: str) -> str:
    return "".join(c for c in typed[:100].upper().translate(READ_AS) if c.isalnum())


def _keep(working: Working, key: str, code: Code) -> None:
    kept = {"person": code.person, "uses": code.uses, "until_at": code.until_at}
    working.put(KIND, key, kept, until_at=code.until_at)


def _code(kept: dict[str, object] | None) -> Code | None:
    if kept is None:
        return None
    return Code(str(kept["person"]), int(str(kept["uses"])), float(str(kept["until_at"])))

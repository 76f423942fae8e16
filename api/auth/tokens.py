"""Bearer tokens for programs: issued by an admin for a person, with at most one role, for a time; kept as digests."""

from dataclasses import dataclass

from api.auth.roles import Role
from api.auth.secrets_kept import digest, fresh
from collector.sample import Instant
from collector.storage import Working

KIND = "token"
PREFIX = "cvt_"
"""So that a leaked one is found by a search."""


@dataclass(frozen=True, slots=True)
class Token:
    """What is known of a token."""

    key: str
    person: str
    role: Role | None
    """None may look and do nothing."""
    name: str
    issued_at: Instant
    until_at: Instant


def issue_token(
    working: Working, person: str, role: Role | None, now: Instant, *, name: str, lasts_s: float
) -> tuple[str, Token]:
    """Return a new token, shown once, and what is kept of it. Raises StoreFailed."""
    secret = PREFIX + fresh()
    token = Token(digest(secret), person, role, name, now, now + lasts_s)
    kept = {"person": person, "role": role or "", "name": name, "issued_at": now, "until_at": token.until_at}
    working.put(KIND, token.key, kept, until_at=token.until_at)
    return secret, token


def find_token(working: Working, secret: str, now: Instant) -> Token | None:
    """Return what is known of a living token."""
    if not secret.startswith(PREFIX):
        return None
    key = digest(secret)
    kept = working.get(KIND, key, now)
    return None if kept is None else _token(key, kept)


def all_tokens(working: Working, now: Instant) -> list[Token]:
    """Return every living token, oldest first."""
    return sorted((_token(key, kept) for key, kept in working.all(KIND, now).items()), key=lambda t: t.issued_at)


def end_token(working: Working, key: str) -> None:
    """End a token, by its key."""
    working.remove(KIND, key)


def _token(key: str, kept: dict[str, object]) -> Token:
    role = Role(str(kept["role"])) if kept["role"] else None
    issued_at, until_at = float(str(kept["issued_at"])), float(str(kept["until_at"]))
    return Token(key, str(kept["person"]), role, str(kept["name"]), issued_at, until_at)

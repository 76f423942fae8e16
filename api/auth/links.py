"""Acknowledge links: for one alarm and one person, once, for 48 h. Opening one changes nothing; its page asks first.

Mail programs open links by themselves, so that only the form of the page may use a link up. A link holds 256 bits:
nobody guesses it, so that no attempts are counted, and nobody can lock it by attempting.
"""

from dataclasses import dataclass

from api.auth.secrets_kept import derived, digest, fresh
from collector.sample import Instant
from collector.storage import Working

KIND = "link"
LASTS_S = 48 * 3600.0
"""House: longer than any night."""


@dataclass(frozen=True, slots=True)
class Link:
    """Whom a link was sent, and about which alarm."""

    alarm: str
    person: str
    until_at: Instant


def issue_link(working: Working, alarm: str, person: str, now: Instant) -> str:
    """Return the token of a new link. Raises StoreFailed."""
    token = fresh()
    kept = {"alarm": alarm, "person": person, "until_at": now + LASTS_S}
    working.put(KIND, digest(token), kept, until_at=now + LASTS_S)
    return token


def read_link(working: Working, token: str, now: Instant) -> Link | None:
    """Return what a living link is for; it stays."""
    return _link(working.get(KIND, digest(token), now))


def take_link(working: Working, token: str, now: Instant) -> Link | None:
    """Use a link up and return what it was for; only one caller ever gets it."""
    return _link(working.take(KIND, digest(token), now))


def link_form_token(token: str) -> str:
    """Return the `form_token` of a link's own page, which needs no session."""
    return derived(token, "link form")


def _link(kept: dict[str, object] | None) -> Link | None:
    if kept is None:
        return None
    return Link(str(kept["alarm"]), str(kept["person"]), float(str(kept["until_at"])))

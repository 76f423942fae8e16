"""Sessions: an opaque token in a cookie, its digest in the working store, idle for 12 h at most and 30 days in all."""

from dataclasses import dataclass

from starlette.responses import Response

from api.auth.secrets_kept import derived, digest, fresh
from api.office import Settings
from collector.sample import Instant
from collector.storage import Working

KIND, SEEN = "session", "session-seen"
"""When a session was last seen stands apart, so that marking it can never bring back a session that was ended."""
IDLE_S = 12 * 3600.0
"""OWASP ASVS 5.0.0 7.3.1 asks for a stated limit; the figure is house: a tablet on a kitchen wall, over one night."""
LONGEST_S = 30 * 86_400.0
"""OWASP ASVS 5.0.0 7.3.2 asks for a stated limit; the figure is house."""
MARK_S = 60.0
"""How stale the mark of the last request may be: not every request writes."""


@dataclass(frozen=True, slots=True)
class Session:
    """One browser of one person."""

    key: str
    """The digest of its token: names the session and opens nothing."""
    person: str
    begun_at: Instant
    seen_at: Instant
    browser: str


def cookie_name(settings: Settings) -> str:
    """Return the cookie's name; `__Host-` binds it to this host and to TLS."""
    return "curevigil" if settings.plain_http else "__Host-curevigil"


def begin(working: Working, person: str, now: Instant, browser: str = "") -> str:
    """Begin a session and return its token. Raises StoreFailed."""
    token = fresh()
    key = digest(token)
    said = {"person": person, "begun_at": now, "browser": browser[:200]}
    working.put(KIND, key, said, until_at=now + LONGEST_S)
    working.put(SEEN, key, {"at": now}, until_at=now + IDLE_S)
    return token


def find(working: Working, token: str, now: Instant) -> Session | None:
    """Return the living session of a token, and mark it as seen."""
    key = digest(token)
    session = _session(key, working.get(KIND, key, now), working.get(SEEN, key, now))
    if session is not None and now - session.seen_at >= MARK_S:
        working.put(SEEN, key, {"at": now}, until_at=now + IDLE_S)
    return session


def _session(key: str, kept: dict[str, object] | None, seen: dict[str, object] | None) -> Session | None:
    if kept is None or seen is None:
        return None
    begun_at, seen_at = float(str(kept["begun_at"])), float(str(seen["at"]))
    return Session(key, str(kept["person"]), begun_at, seen_at, str(kept["browser"]))


def sessions_of(working: Working, person: str, now: Instant) -> list[Session]:
    """Return a person's living sessions, the last seen first."""
    seen = working.all(SEEN, now)
    found = [_session(key, kept, seen.get(key)) for key, kept in working.all(KIND, now).items()]
    return sorted((s for s in found if s is not None and s.person == person), key=lambda s: -s.seen_at)


def end(working: Working, key: str) -> None:
    """End one session, by its key."""
    working.remove(KIND, key)
    working.remove(SEEN, key)


def end_all(working: Working, person: str, now: Instant, *, but: str = "") -> int:
    """End every session of a person but one; return how many."""
    ended = [s for s in sessions_of(working, person, now) if s.key != but]
    for session in ended:
        end(working, session.key)
    return len(ended)


def form_token(token: str) -> str:
    """Return what every form of a session carries: a page of another origin cannot know it."""
    return derived(token, "form")


def put_cookie(response: Response, token: str, settings: Settings) -> None:
    """Give a browser its session."""
    response.set_cookie(
        cookie_name(settings), token, max_age=int(LONGEST_S), path="/",
        secure=not settings.plain_http, httponly=True, samesite="lax",
    )  # fmt: skip


def drop_cookie(response: Response, settings: Settings) -> None:
    """Take a browser's session away."""
    response.delete_cookie(
        cookie_name(settings), path="/", secure=not settings.plain_http, httponly=True, samesite="lax"
    )

"""The journal in words, for the inspector and for whoever asks who did what: newest first, in pages."""

from dataclasses import dataclass

from fastapi import APIRouter
from fastapi.responses import Response

from api.auth.signed import OfficeHere
from api.pages.frame import Framed
from api.pages.rendering import show
from api.pages.telling import by_words, entry_words, zone_for
from api.pages.wording import short_text

router = APIRouter()
PAGE = 50
LATE_S = 120.0
"""House: from this on it is said when an entry was written, beside when it happened. [s]"""


@dataclass(frozen=True, slots=True)
class JournalLine:
    """One entry."""

    position: int
    at: str
    recorded: str
    """When it was written down, where that was later."""
    by: str
    words: str


@dataclass(frozen=True, slots=True)
class JournalContext:
    """Context of the page."""

    lines: tuple[JournalLine, ...]
    first: int
    last: int
    head: int
    older: int | None
    newer: int | None


@router.get("/journal")
def journal(office: OfficeHere, frame: Framed, upto: int | None = None) -> Response:
    """Return one page of the journal, up to a position."""
    kitchen = office.present.kitchen
    head = kitchen.position
    last = head if upto is None else max(0, min(upto, head))
    first = max(0, last - PAGE)
    lines = []
    for entry in reversed(office.journal.read(first, last - first) if last > first else []):
        zone = zone_for(entry, kitchen)
        late = entry.recorded_at - entry.at > LATE_S
        recorded = f"written {short_text(entry.recorded_at, zone)}" if late else ""
        words = entry_words(entry, kitchen, zone)
        lines.append(
            JournalLine(entry.position, short_text(entry.at, zone), recorded, by_words(kitchen, entry.by), words)
        )
    older, newer = (first or None), (min(head, last + PAGE) if last < head else None)
    return show("journal.html", JournalContext(tuple(lines), first + 1, last, head, older, newer), frame)

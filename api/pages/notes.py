"""Notes pinned to *Tonight* for the next shift, and who has read them."""

from dataclasses import dataclass

from api.pages.forms import Field, Form, Kind
from api.pages.rendering import Frame
from api.pages.telling import by_words
from api.pages.wording import short_text
from api.tonight import zone_of
from collector.kitchen import Kitchen
from collector.logs import ShiftNote
from collector.sample import Instant

SHOWN_S, SHOWN = 36 * 3600.0, 5
"""House: a note stays pinned through the next day, and until somebody else has read it. [s]"""


@dataclass(frozen=True, slots=True)
class NoteLine:
    """One note, and who has read it."""

    text: str
    by: str
    seen: str
    form: Form | None


def note_form() -> Form:
    """Return the form that pins a note."""
    fields = (Field("text", "For the next shift", Kind.WORDS, needed=True),)
    return Form("note", "Pin a note for the next shift", "/notes", "Pin it", fields)


def seen_form(position: int) -> Form:
    """Return the button of who has read a note."""
    fields = (Field("note", "", Kind.POSITION),)
    return Form(f"seen-{position}", "", "/notes/seen", "I have read it", fields, {"note": str(position)})


def notes_shown(kitchen: Kitchen, frame: Frame, now: Instant) -> tuple[NoteLine, ...]:
    """Return the pinned notes, the newest first."""

    def pinned(note: ShiftNote) -> bool:
        return now - note.written_at <= SHOWN_S or not set(note.seen_by) - {note.person}

    zone = zone_of(kitchen)
    return tuple(_line(kitchen, note, frame, zone) for note in reversed(kitchen.notes) if pinned(note))[:SHOWN]


def _line(kitchen: Kitchen, note: ShiftNote, frame: Frame, zone: str) -> NoteLine:
    names = ", ".join(by_words(kitchen, one) for one in note.seen_by)
    me = "" if frame.person is None else frame.person.id
    asks = frame.operates and me not in (note.person, *note.seen_by)
    by = f"{by_words(kitchen, note.person)}, {short_text(note.written_at, zone)}"
    seen = f"Read by {names}." if names else "Nobody has read it yet."
    return NoteLine(note.text, by, seen, seen_form(note.position) if asks else None)

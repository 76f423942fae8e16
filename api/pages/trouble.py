"""The page that says what went wrong, in words that help."""

from dataclasses import dataclass

from fastapi.responses import HTMLResponse

from api.pages.rendering import Frame, show


@dataclass(frozen=True, slots=True)
class TroubleContext:
    """Context of the page."""

    title: str
    words: str
    address: str = "/"
    link: str = "To Tonight"


def trouble(frame: Frame, title: str, words: str, status: int) -> HTMLResponse:
    """Return a page that says what went wrong and where to go on."""
    return show("trouble.html", TroubleContext(title, words), frame, status)


def nothing_there(frame: Frame, words: str) -> HTMLResponse:
    """Return the page for an address that leads nowhere."""
    return trouble(frame, "Nothing there", f"{words} It may have been mistyped, or belong to another kitchen.", 404)

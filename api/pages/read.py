"""What a pasted message would become, by the sources of the settings or by a mapping that is being written."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from fastapi import APIRouter
from fastapi.responses import Response

from api.auth.signed import OfficeHere
from api.office import Office
from api.pages.frame import Framed, Typed
from api.pages.rendering import show
from api.previewed import Preview, payload_of, previewed
from collector.message import Source
from collector.sample import Message, Refusal
from collector.settings_sources import MappingFile, read_mapping

router = APIRouter()
LONGEST = 65_536
"""House: no reading is longer, and nobody pastes more by hand."""


@dataclass(frozen=True, slots=True)
class ReadContext:
    """Context of the page: what was pasted, and what became of it."""

    topic: str = ""
    message: str = ""
    mapping: str = ""
    retained: bool = False
    faults: tuple[str, ...] = ()
    found: Preview | None = None


def _sources(office: Office, mapping: str) -> Sequence[Source] | tuple[str, ...]:
    if not mapping.strip():
        return office.sources
    found = read_mapping(mapping)
    return found.message_sources() if isinstance(found, MappingFile) else tuple(str(fault) for fault in found)


def context(office: Office, sent: dict[str, str]) -> ReadContext:
    """Return what the page shows for what was sent."""
    topic, message, mapping = (sent.get(name, "") for name in ("topic", "message", "mapping"))
    typed = ReadContext(topic, message[:LONGEST], mapping[:LONGEST], "retained" in sent)
    if len(message) > LONGEST or len(mapping) > LONGEST:
        return replace(typed, faults=("what was pasted is too long: paste one message",))
    sources = _sources(office, mapping)
    if any(isinstance(one, str) for one in sources):
        return replace(typed, faults=tuple(str(one) for one in sources))
    known = tuple(one for one in sources if isinstance(one, Source))
    payload = payload_of(message, topic.strip(), known)
    if isinstance(payload, Refusal):
        return replace(typed, faults=(payload.reason,))
    return replace(typed, found=previewed(Message(topic.strip(), payload, office.clock(), typed.retained), known))


@router.get("/read")
def read_view(frame: Framed) -> Response:
    """Return the page."""
    return show("read.html", ReadContext(), frame)


@router.post("/read")
def read_tried(office: OfficeHere, frame: Framed, typed: Typed) -> Response:
    """Show what the message would become; nothing is kept."""
    shown = context(office, typed)
    return show("read.html", shown, frame, 422 if shown.faults else 200)

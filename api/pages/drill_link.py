"""The page behind the link of a drill, which needs no sign-in; and the confirming of one, by link or by page."""

from dataclasses import dataclass, replace

from fastapi.responses import Response

from api.auth.links import Link, link_form_token, take_link
from api.office import Office
from api.pages.frame import frame_of
from api.pages.rendering import show
from collector.drills import Drill
from collector.events import Draft
from collector.events_drill import DrillAnswered
from collector.kitchen import Kitchen, Person


@dataclass(frozen=True, slots=True)
class DrillContext:
    """Context of the page: whom it thanks, or asks."""

    name: str
    asks: bool
    action: str


def drill_of(kitchen: Kitchen, link: Link) -> tuple[Person, Drill] | None:
    """Return whose confirmation a link is for, and of which drill; None where it is for no drill that is known."""
    person, drill = kitchen.people.get(link.person), kitchen.drills.get(link.alarm)
    return None if person is None or drill is None else (person, drill)


def asked(office: Office, token: str, person: Person) -> Response:
    """Return the page that asks; opening it has changed nothing."""
    return _page(office, token, person.name, True)


def confirmed_by_link(office: Office, token: str, person: Person, drill: Drill) -> Response | None:
    """Use the link up, write down that it has reached them, and thank them; None where it was used before."""
    if take_link(office.working, token, office.security_clock()) is None:
        return None
    confirm(office, drill.id, person.id, "link")
    return _page(office, token, person.name, False)


def confirm(office: Office, name: str, person: str, way: str) -> bool:
    """Write down that a person was reached; return whether it was awaited. Raises StoreFailed."""

    def decide(kitchen: Kitchen) -> list[Draft]:
        drill = kitchen.drills.get(name)
        awaited = drill is not None and person in drill.missing
        return [Draft(office.clock(), person, DrillAnswered(name, person, way))] if awaited else []

    return bool(office.present.decide(decide))


def _page(office: Office, token: str, name: str, asks: bool) -> Response:
    frame = replace(frame_of(office, None), token=link_form_token(token))
    return show("drill.html", DrillContext(name, asks, f"/a/{token}"), frame, 200)

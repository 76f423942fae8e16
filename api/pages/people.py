"""How each person is reached, in the order in which they want to be; and the drill that tries it."""

from dataclasses import dataclass

from fastapi import APIRouter
from fastapi.responses import Response

from alerts.channels.drill import refusal, tried_text
from api.auth.signed import Admin, OfficeHere
from api.office import Office
from api.pages.frame import Framed, Typed
from api.pages.rendering import show

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Reached:
    """One person; the addresses are in the settings alone."""

    id: str
    name: str
    rota: str
    ways: str
    drill: bool
    """Whether there is a way that a drill can try."""


@dataclass(frozen=True, slots=True)
class PeopleContext:
    """Context of the page."""

    people: tuple[Reached, ...]
    name: str = ""
    """Who was called in the drill."""
    tried: tuple[tuple[bool, str], ...] = ()
    """Whether each way took it, and in words."""
    refused: str = ""


def _reached(office: Office) -> tuple[Reached, ...]:
    kitchen = office.present.kitchen
    after = dict(kitchen.rota)
    found = []
    for one in sorted(kitchen.people.values(), key=lambda p: (after.get(p.id, float("inf")), p.name)):
        rota = _called(after.get(one.id))
        ways = tuple(office.reach.get(one.id, ()))
        found.append(Reached(one.id, one.name, rota, ", then ".join(ways) or "by the log alone", bool(ways)))
    return tuple(found)


def _called(after_s: float | None) -> str:
    if after_s is None:
        return "not on the rota"
    return f"called after {after_s / 60:g} min" if after_s else "called at once"


@router.get("/people")
def people(office: OfficeHere, frame: Framed) -> Response:
    """Return the page."""
    return show("people.html", PeopleContext(_reached(office)), frame)


@router.post("/people/call-test")
def called(office: OfficeHere, frame: Framed, signed: Admin, typed: Typed) -> Response:
    """Hold a drill with one person, and show what happened on each way."""
    person = typed.get("person", "")
    kitchen = office.present.kitchen
    why = refusal(kitchen, person, office.reach.get(person, ()))
    if why:
        return show("people.html", PeopleContext(_reached(office), refused=why), frame, 422)
    tried = tuple((one.accepted, tried_text(one)) for one in office.drill(person))
    return show("people.html", PeopleContext(_reached(office), kitchen.people[person].name, tried), frame)

"""How each person is reached, in the order in which they want to be; and the drill that tries it."""

from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response

from alerts.channels.drill import refusal, tried_text
from alerts.drills import drill_words
from alerts.escalation import called
from api.auth.signed import Admin, OfficeHere, SignedIn
from api.office import Office
from api.pages.drill_link import confirm
from api.pages.frame import Framed, Typed
from api.pages.rendering import show
from api.pages.wording import person_name, short_text
from api.tonight import zone_of
from collector.drills import CALLS
from collector.kitchen import Kitchen
from collector.rota import RotaStep, changes_at, hours_text, on_call
from collector.sample import Instant

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Reached:
    """One person; the addresses are in the settings alone."""

    id: str
    name: str
    rota: str
    """When they are called; empty for who is not on the rota."""
    ways: str
    drill: bool
    """Whether there is a way that a drill can try."""


@dataclass(frozen=True, slots=True)
class OnCall:
    """Who is called now."""

    names: str
    why: str
    """Why everybody is, where nobody in particular is."""
    until: str
    """When that changes; empty where it never does."""


@dataclass(frozen=True, slots=True)
class PeopleContext:
    """Context of the page."""

    people: tuple[Reached, ...]
    now: OnCall
    name: str = ""
    """Who was called in the drill."""
    tried: tuple[tuple[bool, str], ...] = ()
    """Whether each way took it, and in words."""
    refused: str = ""
    last_drill: str = ""
    """How the last drill went; empty where there was none."""


def _context(office: Office, **more: Any) -> PeopleContext:
    kitchen, now = office.present.kitchen, office.clock()
    order = {step.person: n for n, step in reversed(list(enumerate(kitchen.rota)))}
    people = sorted(kitchen.people.values(), key=lambda p: (order.get(p.id, len(order)), p.name))
    found = [
        Reached(
            one.id,
            one.name,
            "; ".join(f"{_after(step)}, {hours_text(step)}" for step in kitchen.rota if step.person == one.id),
            ", then ".join(office.reach.get(one.id, ())) or "by the log alone",
            bool(office.reach.get(one.id)),
        )
        for one in people
    ]
    held = [drill for drill in kitchen.drills.values() if drill.kind == CALLS]
    last = drill_words(kitchen, held[-1], zone_of(kitchen)) if held else ""
    return PeopleContext(tuple(found), _now(kitchen, now), last_drill=last, **more)


def _now(kitchen: Kitchen, now: Instant) -> OnCall:
    zone = zone_of(kitchen)
    names = [f"{person_name(kitchen, step.person)} {_after(step)}" for step in called(kitchen, "*", now)]
    change_at = changes_at(kitchen.rota, zone, now)
    if not kitchen.rota:
        why = "Nobody has described a rota: everybody is called."
    else:
        why = "" if on_call(kitchen.rota, zone, now) else "The rota is empty at this hour: everybody on it is called."
    return OnCall(", then ".join(names), why, short_text(change_at, zone) if change_at is not None else "")


def _after(step: RotaStep) -> str:
    return f"after {step.after_s / 60:g} min" if step.after_s else "at once"


@router.get("/people")
def people(office: OfficeHere, frame: Framed) -> Response:
    """Return the page."""
    return show("people.html", _context(office), frame)


@router.post("/people/drill")
def drill_confirmed(office: OfficeHere, signed: SignedIn, typed: Typed) -> Response:
    """Write down that whoever is signed in was reached."""
    confirm(office, typed.get("drill", ""), signed.person.id, "page")
    return RedirectResponse("/people", 303)


@router.post("/people/call-test")
def called_for_drill(office: OfficeHere, frame: Framed, signed: Admin, typed: Typed) -> Response:
    """Hold a drill with one person, and show what happened on each way."""
    person = typed.get("person", "")
    kitchen = office.present.kitchen
    why = refusal(kitchen, person, office.reach.get(person, ()))
    if why:
        return show("people.html", _context(office, refused=why), frame, 422)
    tried = tuple((one.accepted, tried_text(one)) for one in office.drill(person))
    return show("people.html", _context(office, name=kitchen.people[person].name, tried=tried), frame)

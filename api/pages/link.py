"""The page behind an acknowledge link: opening it changes nothing; its form answers once, and needs no sign-in."""

import hmac
from dataclasses import dataclass, replace

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.actions.answering import answer_alarm
from api.actions.faults import Faults
from api.auth.links import Link, link_form_token, read_link, take_link
from api.auth.origin import check_origin
from api.auth.refused import FormRefused
from api.auth.signed import OfficeHere
from api.doing import Refused, do
from api.office import Office
from api.pages import drill_link
from api.pages.alarms import AlarmCard, answer_form, card_of
from api.pages.forms import Form, asked
from api.pages.frame import frame_of
from api.pages.rendering import show
from api.pages.sent import Unsigned
from api.pages.told import note_seen
from api.schemas import AnswerAlarm
from api.tonight import zone_of
from collector.drills import Drill
from collector.kitchen import Alarm, Person

router = APIRouter()
OVER = "This link was used, is over, or is not whole. The alarm may stand all the same: sign in and look."


@dataclass(frozen=True, slots=True)
class LinkContext:
    """Context of the page: the alarm and whose answer it will be; without an alarm, what is the matter."""

    alarm: AlarmCard | None
    name: str
    words: str


def _page(office: Office, token: str, card: AlarmCard | None, name: str, words: str, status: int) -> Response:
    frame = replace(frame_of(office, None), token=link_form_token(token))
    return show("link.html", LinkContext(card, name, words), frame, status)


def _whose(office: Office, token: str) -> tuple[Link, Person, Alarm] | None:
    link = read_link(office.working, token, office.security_clock())
    if link is None:
        return None
    kitchen = office.present.kitchen
    person, alarm = kitchen.people.get(link.person), kitchen.alarm(link.alarm)
    return None if person is None or alarm is None else (link, person, alarm)


def _drill(office: Office, token: str) -> tuple[Person, Drill] | None:
    link = read_link(office.working, token, office.security_clock())
    # A drill may have been begun by another process a moment ago.
    return None if link is None else drill_link.drill_of(office.present.catch_up(), link)


def _card(office: Office, token: str, alarm: Alarm, form: Form | None = None) -> AlarmCard:
    kitchen, now = office.present.kitchen, office.clock()
    card = card_of(kitchen, alarm, now, True, office.moving(kitchen, alarm, now))
    return replace(card, form=replace(form or card.form, action=f"/a/{token}"))


@router.get("/a/{token}")
def link_view(token: str, office: OfficeHere) -> Response:
    """Return the page; nothing changes, but that it was opened is written down."""
    called = _drill(office, token)
    if called is not None:
        return drill_link.asked(office, token, called[0])
    found = _whose(office, token)
    if found is None:
        return _page(office, token, None, "", OVER, 404)
    _, person, alarm = found
    note_seen(office, alarm.id, person.id, "link")
    return _page(office, token, _card(office, token, alarm), person.name, "", 200)


@router.post("/a/{token}")
def link_used(request: Request, token: str, office: OfficeHere, sent: Unsigned) -> Response:
    """Take the answer, and use the link up."""
    check_origin(request, office.settings)
    if not hmac.compare_digest(sent.get("form_token", "").encode(), link_form_token(token).encode()):
        raise FormRefused
    called = _drill(office, token)
    if called is not None:
        return drill_link.confirmed_by_link(office, token, *called) or _page(office, token, None, "", OVER, 404)
    found = _whose(office, token)
    if found is None:
        return _page(office, token, None, "", OVER, 404)
    _, person, alarm = found
    zone = zone_of(office.present.kitchen, alarm.condition.unit)
    form = answer_form(alarm.id, office.clock(), zone)
    typed = {k: v for k, v in sent.items() if k != "arriving_at" or sent.get("answer") == "going"}
    request_made = asked(form, typed, zone, AnswerAlarm)
    if isinstance(request_made, Form):
        return _page(office, token, _card(office, token, alarm, request_made), person.name, "", 422)
    answer = request_made
    tried = answer_alarm(office.present.kitchen, alarm.id, answer, person, office.clock())
    if isinstance(tried, Faults):
        refused = replace(form, values=dict(typed), faults=tried.found)
        return _page(office, token, _card(office, token, alarm, refused), person.name, "", 422)
    if take_link(office.working, token, office.security_clock()) is None:
        return _page(office, token, None, "", OVER, 404)
    try:
        do(office, lambda kitchen: answer_alarm(kitchen, alarm.id, answer, person, office.clock()))
    except Refused as fault:
        return _page(office, token, None, person.name, fault.faults[0].what + ".", 422)
    return _page(office, token, None, person.name, f"Written down under your name: {answer.answer}.", 200)

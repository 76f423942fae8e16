"""The page of one alarm, its card on *Tonight*, and the answer to it."""

from dataclasses import dataclass, replace

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from alerts.sentences import TITLES, alarm_text, clock_text, first_steps, looks_like
from api.actions.answering import answer_alarm
from api.auth.signed import OfficeHere, Operator
from api.doing import NotThere
from api.pages.aside import form_of, shelved_words
from api.pages.forms import Field, Form, Kind, carry_out, local_field
from api.pages.frame import Framed, Typed
from api.pages.rendering import Frame, show
from api.pages.ringing import Ringing, ringing
from api.pages.told import ToldStep, note_seen, told_steps
from api.pages.wording import ANSWERS, person_name, short_text
from api.schemas import AnswerAlarm
from api.tonight import zone_of
from collector.kitchen import Alarm, Kitchen
from collector.sample import Instant

router = APIRouter()
THERE_IN_S = 1200.0
"""House: what the field for the time of arrival begins with."""
STATES = {"stands": "nobody has answered", "answered": "answered", "shelved": "shelved", "returned": "over"}


@dataclass(frozen=True, slots=True)
class AlarmCard:
    """An alarm as people read it."""

    id: str
    unit: str
    unit_name: str
    kind: str
    look: str
    """`stands`, `answered`, `shelved` or `returned`: how much it asks for."""
    state: str
    says: str
    since: str
    early: str
    likely: str
    late: str
    looks: str
    """What is likely behind it, and why that is thought."""
    steps: tuple[str, ...]
    moving: str
    """Where tubs could go, if the last step comes to that."""
    lots: tuple[str, ...]
    answer: str
    shelved: str
    """By whom, until when and why; empty where it is not."""
    form: Form
    may_answer: bool


@dataclass(frozen=True, slots=True)
class AlarmContext:
    """Context of the page."""

    alarm: AlarmCard
    told: tuple[ToldStep, ...]
    ringing: Ringing
    aside: Form | None
    """To shelve it, or to end that."""


def answer_words(kitchen: Kitchen, alarm: Alarm, zone: str) -> str:
    """Return who answered what; empty while nobody has."""
    if alarm.acknowledged_at is None:
        return ""
    name = person_name(kitchen, alarm.acknowledged_by)
    said = ANSWERS.get(alarm.answer, alarm.answer)
    there = f", there by {clock_text(alarm.arriving_at, zone)}" if alarm.arriving_at is not None else ""
    return f"{name} {said}{there} (said at {clock_text(alarm.acknowledged_at, zone)})."


def answer_form(alarm: str, now: Instant, zone: str) -> Form:
    """Return the form in which an alarm is answered."""
    fields = (
        Field("answer", "Answer", Kind.HIDDEN),
        Field("arriving_at", "I am there by", Kind.WHEN),
    )
    there = local_field((now + THERE_IN_S) // 60 * 60, zone)
    return Form(f"answer-{alarm}", "Answer", f"/alarms/{alarm}/answer", "", fields, {"arriving_at": there})


def card_of(kitchen: Kitchen, alarm: Alarm, now: Instant, may_answer: bool, moving: str = "") -> AlarmCard:
    """Return an alarm as people read it, with where tubs could go."""
    condition = alarm.condition
    unit = kitchen.units.get(condition.unit)
    zone = zone_of(kitchen, condition.unit)
    put_aside = shelved_words(kitchen, alarm, now, zone)
    look = "returned" if not alarm.active else "stands" if alarm.acknowledged_at is None else "answered"
    look = "shelved" if put_aside else look
    early, likely, late = (
        clock_text(at, zone) if at is not None and at > now and alarm.active else ""
        for at in (condition.early_at, condition.likely_at, condition.late_at)
    )
    return AlarmCard(
        id=alarm.id,
        unit=condition.unit if unit is not None else "",
        unit_name=unit.name if unit is not None else "The whole site",
        kind=TITLES.get(condition.kind, condition.kind),
        look=look,
        state=STATES[look],
        says=alarm_text(alarm, zone),
        since=short_text(condition.since_at, zone),
        early=early,
        likely=likely,
        late=late,
        looks=looks_like(condition, zone) if alarm.active else "",
        steps=first_steps(condition) if alarm.active else (),
        moving=moving,
        lots=tuple(lot for lot in condition.lots if lot in kitchen.batches),
        answer=answer_words(kitchen, alarm, zone),
        shelved=put_aside,
        form=answer_form(alarm.id, now, zone),
        may_answer=may_answer and alarm.id in kitchen.alarms,
    )


def alarm_page(
    office: OfficeHere, frame: Frame, alarm: Alarm, form: Form | None = None, aside: Form | None = None,
    status: int = 200,
) -> Response:  # fmt: skip
    """Return the page of an alarm, with a form that was refused in place of a fresh one."""
    kitchen, now = office.present.kitchen, office.clock()
    card = card_of(kitchen, alarm, now, frame.operates, office.moving(kitchen, alarm, now))
    shown = card if form is None else replace(card, form=form)
    told = told_steps(kitchen, alarm, office.reach, now)
    offered = form_of(kitchen, alarm, now) if frame.operates else None
    return show("alarm.html", AlarmContext(shown, told, ringing(kitchen, now), aside or offered), frame, status)


@router.get("/alarms/{alarm}")
def alarm_view(request: Request, alarm: str, office: OfficeHere, frame: Framed) -> Response:
    """Return the page of one alarm, and write down that whoever was told of it has opened it."""
    found = office.present.kitchen.alarm(alarm)
    if found is None:
        raise NotThere(f"there is no alarm {alarm}")
    # A page that stays open renews itself by script: nobody need sit before it.
    if frame.person is not None and request.headers.get("sec-fetch-dest") != "empty":
        note_seen(office, alarm, frame.person.id, "page")
    return alarm_page(office, frame, office.present.kitchen.alarm(alarm) or found)


@router.post("/alarms/{alarm}/answer")
def alarm_answered(alarm: str, office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    """Take the answer to an alarm."""
    kitchen = office.present.kitchen
    found = kitchen.alarm(alarm)
    if found is None:
        raise NotThere(f"there is no alarm {alarm}")
    zone = zone_of(kitchen, found.condition.unit)
    sent = typed if typed.get("answer") == "going" else {k: v for k, v in typed.items() if k != "arriving_at"}
    refused = carry_out(
        office, answer_form(alarm, office.clock(), zone), sent, zone, AnswerAlarm,
        lambda kitchen, request: answer_alarm(kitchen, alarm, request, signed.person, office.clock()),
    )  # fmt: skip
    if refused is not None:
        return alarm_page(office, frame, office.present.kitchen.alarm(alarm) or found, refused, status=422)
    return RedirectResponse("/?done=answer", 303)

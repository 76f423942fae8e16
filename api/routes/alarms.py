"""Alarms, as JSON."""

from fastapi import APIRouter

from api.actions.answering import answer_alarm
from api.actions.faults import Fault
from api.answering import alarm_answer, alarm_number, page_of
from api.answers import AlarmAnswer, Page, Written
from api.auth.signed import OfficeHere, Operator, SignedIn
from api.doing import NotThere, Refused, do
from api.routes.shared import NOT_THERE, REFUSALS, After, Limit, written
from api.schemas import AnswerAlarm

router = APIRouter(prefix="/api/v1", tags=["alarms"], responses=REFUSALS)


@router.get("/alarms")
def list_alarms(
    office: OfficeHere, who: SignedIn, limit: Limit = 100, after: After = None, past: bool = False
) -> Page[AlarmAnswer]:
    """List the alarms, newest first: those that stand or wait for an answer, with `past` the others too."""
    kitchen = office.present.kitchen
    known = [*kitchen.alarms.values(), *(kitchen.past_alarms.values() if past else ())]
    behind = float("inf") if after is None else _number(after)
    alarms = sorted((a for a in known if alarm_number(a) < behind), key=alarm_number, reverse=True)
    items, following = page_of(alarms, limit, lambda a: alarm_answer(kitchen, a), lambda a: a.id)
    return Page(items=items, next=following)


def _number(after: str) -> int:
    if not after.startswith("A") or not after[1:].isdecimal() or len(after) > 16:
        raise Refused([Fault("after", "this is no cursor", "give what the page before said under next")])
    return int(after[1:])


@router.get("/alarms/{alarm}", responses=NOT_THERE)
def one_alarm(alarm: str, office: OfficeHere, who: SignedIn) -> AlarmAnswer:
    """Say everything about one alarm."""
    kitchen = office.present.kitchen
    found = kitchen.alarm(alarm)
    if found is None:
        raise NotThere(f"there is no alarm {alarm}")
    return alarm_answer(kitchen, found)


@router.post("/alarms/{alarm}/answers", status_code=201, responses=NOT_THERE)
def answer(alarm: str, request: AnswerAlarm, office: OfficeHere, who: Operator) -> Written:
    """Answer an alarm: going, and there by when; passing on; or cannot."""
    if office.present.catch_up().alarm(alarm) is None:
        raise NotThere(f"there is no alarm {alarm}")
    return written(do(office, lambda k: answer_alarm(k, alarm, request, who.person, office.clock())))

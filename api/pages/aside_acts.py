"""Putting aside, from the pages of an alarm and of a unit: each form's address."""

from collections.abc import Callable
from typing import TypeVar

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response
from pydantic import BaseModel

from api.actions.faults import Result
from api.actions.servicing import end_work, plan_work, put_in_service, put_out_of_service
from api.actions.shelving import shelve_alarm, unshelve_alarm
from api.auth.signed import OfficeHere, Operator
from api.doing import NotThere
from api.office import Office
from api.pages.alarms import alarm_page
from api.pages.aside import back_form, end_form, out_form, plan_form, shelve_form, unshelve_form
from api.pages.forms import Field, Form, Kind, Sent, carry_out
from api.pages.frame import Framed, Typed
from api.pages.rendering import Frame, show
from api.pages.unit import context
from api.schemas_watching import EndWork, PlanWork, PutInService, PutOutOfService, ShelveAlarm, UnshelveAlarm
from api.tonight import zone_of
from collector.kitchen import Alarm, Kitchen

router = APIRouter()
Model = TypeVar("Model", bound=BaseModel)


def _alarm(office: Office, alarm: str) -> Alarm:
    found = office.present.kitchen.alarm(alarm)
    if found is None:
        raise NotThere(f"there is no alarm {alarm}")
    return found


@router.post("/alarms/{alarm}/shelve")
def alarm_shelved(alarm: str, office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    """Shelve an alarm for a time."""
    found = _alarm(office, alarm)
    refused = carry_out(
        office, shelve_form(found), typed, zone_of(office.present.kitchen, found.condition.unit), ShelveAlarm,
        lambda kitchen, asked: shelve_alarm(kitchen, alarm, asked, signed.person, office.clock()),
    )  # fmt: skip
    return _to_alarm(office, frame, alarm, refused)


@router.post("/alarms/{alarm}/unshelve")
def alarm_unshelved(alarm: str, office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    """End the shelving of an alarm."""
    found = _alarm(office, alarm)
    refused = carry_out(
        office, unshelve_form(alarm), typed, zone_of(office.present.kitchen, found.condition.unit), UnshelveAlarm,
        lambda kitchen, asked: unshelve_alarm(kitchen, alarm, asked, signed.person, office.clock()),
    )  # fmt: skip
    return _to_alarm(office, frame, alarm, refused)


def _to_alarm(office: Office, frame: Frame, alarm: str, refused: Form | None) -> Response:
    if refused is not None:
        return alarm_page(office, frame, _alarm(office, alarm), aside=refused, status=422)
    return RedirectResponse(f"/alarms/{alarm}", 303)


def _at_unit(
    office: Office, frame: Frame, unit: str, form: Form, sent: Sent, model: type[Model],
    act: Callable[[Kitchen, Model], Result], done: str,
) -> Response:  # fmt: skip
    refused = carry_out(office, form, sent, zone_of(office.present.kitchen, unit), model, act)
    if refused is not None:
        return show("unit.html", context(office, frame, unit, aside=refused), frame, 422)
    return RedirectResponse(f"/units/{unit}?done={done}", 303)


def _known(office: Office, unit: str) -> str:
    if unit not in office.present.kitchen.units:
        raise NotThere(f"no unit is called {unit}")
    return unit


@router.post("/units/{unit}/out-of-service")
def unit_out(unit: str, office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    """Put an empty unit out of service."""
    return _at_unit(
        office, frame, _known(office, unit), out_form(unit), typed, PutOutOfService,
        lambda kitchen, asked: put_out_of_service(kitchen, unit, asked, signed.person, office.clock()), "out",
    )  # fmt: skip


@router.post("/units/{unit}/in-service")
def unit_back(unit: str, office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    """Put a unit back into service."""
    return _at_unit(
        office, frame, _known(office, unit), back_form(unit), typed, PutInService,
        lambda kitchen, asked: put_in_service(kitchen, unit, asked, signed.person, office.clock()), "back",
    )  # fmt: skip


@router.post("/units/{unit}/planned-work")
def unit_work(unit: str, office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    """Announce cleaning or loading of a unit."""
    form = plan_form(_known(office, unit), office.clock(), zone_of(office.present.kitchen, unit))
    return _at_unit(
        office, frame, unit, form, typed, PlanWork,
        lambda kitchen, asked: plan_work(kitchen, unit, asked, signed.person, office.clock()), "planned",
    )  # fmt: skip


@router.post("/units/{unit}/planned-work/end")
def unit_work_ended(unit: str, office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    """End planned work before its time, or call it off."""
    name = typed.get("work", "")
    work = next((w for w in office.present.kitchen.planned_work if w.id == name and w.unit == unit), None)
    fields = (Field("work", "", Kind.HIDDEN),)
    bare = Form("end-unknown", "End it", f"/units/{unit}/planned-work/end", "End it", fields, {"work": name})
    form = bare if work is None else end_form(work, office.clock())
    return _at_unit(
        office, frame, _known(office, unit), form, typed, EndWork,
        lambda kitchen, asked: end_work(kitchen, unit, asked, signed.person, office.clock()), "ended",
    )  # fmt: skip

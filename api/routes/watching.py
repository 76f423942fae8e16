"""Alarms that are shelved, units out of service and planned work, as JSON."""

from fastapi import APIRouter

from api.actions.servicing import end_work, plan_work, put_in_service, put_out_of_service
from api.actions.shelving import shelve_alarm, unshelve_alarm
from api.answers import Written
from api.auth.signed import OfficeHere, Operator
from api.doing import NotThere, do
from api.office import Office
from api.routes.shared import NOT_THERE, REFUSALS, written
from api.schemas_watching import EndWork, PlanWork, PutInService, PutOutOfService, ShelveAlarm, UnshelveAlarm

router = APIRouter(prefix="/api/v1", responses={**REFUSALS, **NOT_THERE})


def _alarm(office: Office, alarm: str) -> None:
    if office.present.catch_up().alarm(alarm) is None:
        raise NotThere(f"there is no alarm {alarm}")


def _unit(office: Office, unit: str) -> None:
    if unit not in office.present.catch_up().units:
        raise NotThere(f"there is no unit {unit}")


@router.post("/alarms/{alarm}/shelvings", status_code=201, tags=["alarms"])
def shelve(alarm: str, request: ShelveAlarm, office: OfficeHere, who: Operator) -> Written:
    """Shelve one standing alarm for a time, with a reason; it is told again when that ends and it still stands."""
    _alarm(office, alarm)
    return written(do(office, lambda k: shelve_alarm(k, alarm, request, who.person, office.clock())))


@router.post("/alarms/{alarm}/shelvings/end", status_code=201, tags=["alarms"])
def unshelve(alarm: str, request: UnshelveAlarm, office: OfficeHere, who: Operator) -> Written:
    """End the shelving of an alarm: if it still stands, it is told again."""
    _alarm(office, alarm)
    return written(do(office, lambda k: unshelve_alarm(k, alarm, request, who.person, office.clock())))


@router.post("/units/{unit}/out-of-service", status_code=201, tags=["units and channels"])
def out_of_service(unit: str, request: PutOutOfService, office: OfficeHere, who: Operator) -> Written:
    """Put an empty unit out of service, with a reason: nothing of it is told until a tub is put into it."""
    _unit(office, unit)
    return written(do(office, lambda k: put_out_of_service(k, unit, request, who.person, office.clock())))


@router.post("/units/{unit}/in-service", status_code=201, tags=["units and channels"])
def in_service(unit: str, request: PutInService, office: OfficeHere, who: Operator) -> Written:
    """Put a unit back into service."""
    _unit(office, unit)
    return written(do(office, lambda k: put_in_service(k, unit, request, who.person, office.clock())))


@router.post("/units/{unit}/planned-work", status_code=201, tags=["units and channels"])
def work(unit: str, request: PlanWork, office: OfficeHere, who: Operator) -> Written:
    """Announce cleaning or loading of a unit: meanwhile air far above its limit and an open door are not told."""
    _unit(office, unit)
    return written(do(office, lambda k: plan_work(k, unit, request, who.person, office.clock())))


@router.post("/units/{unit}/planned-work/end", status_code=201, tags=["units and channels"])
def work_ended(unit: str, request: EndWork, office: OfficeHere, who: Operator) -> Written:
    """End planned work before its time, or call it off."""
    _unit(office, unit)
    return written(do(office, lambda k: end_work(k, unit, request, who.person, office.clock())))

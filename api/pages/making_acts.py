"""What can be written down of a batch on its way out: each form's address."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.actions.amending import amend_plan
from api.actions.faults import Result
from api.actions.logging_core import dispose_food, log_core_lines, log_soak, report_label
from api.auth.signed import Approver, OfficeHere, Operator
from api.doing import book_for
from api.pages.batch_acts import take
from api.pages.frame import Framed, Typed
from api.schemas_making import AmendPlan, DisposeFood, LogCoreLines, LogSoak, ReportLabel
from api.tonight import zone_of
from collector.kitchen import Kitchen

router = APIRouter()
WINDOW = "windows.0."


@router.post("/batches/{lot}/core")
def core(request: Request, lot: str, office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    def act(kitchen: Kitchen, asked: LogCoreLines) -> Result:
        return log_core_lines(kitchen, lot, asked, signed.person, office.clock(), zone_of(kitchen))

    return take(request, office, frame, lot, "core", typed, LogCoreLines, act)


@router.post("/batches/{lot}/soak")
def soak(request: Request, lot: str, office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    def act(kitchen: Kitchen, asked: LogSoak) -> Result:
        return log_soak(kitchen, lot, asked, signed.person, office.clock())

    return take(request, office, frame, lot, "soak", typed, LogSoak, act)


@router.post("/batches/{lot}/label")
def label(request: Request, lot: str, office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    def act(kitchen: Kitchen, asked: ReportLabel) -> Result:
        return report_label(kitchen, lot, asked, signed.person, office.clock())

    return take(request, office, frame, lot, "label", typed, ReportLabel, act)


@router.post("/batches/{lot}/disposal")
def disposal(request: Request, lot: str, office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    def act(kitchen: Kitchen, asked: DisposeFood) -> Result:
        return dispose_food(kitchen, lot, asked, signed.person, office.clock())

    return take(request, office, frame, lot, "disposal", typed, DisposeFood, act)


@router.post("/batches/{lot}/route")
def route(request: Request, lot: str, office: OfficeHere, frame: Framed, signed: Approver, typed: Typed) -> Response:
    def act(kitchen: Kitchen, asked: AmendPlan) -> Result:
        return amend_plan(kitchen, lot, asked, signed.person, office.clock(), book_for(office, kitchen, lot))

    return take(request, office, frame, lot, "route", typed, AmendPlan, act)


@router.post("/batches/{lot}/plan")
def plan(request: Request, lot: str, office: OfficeHere, frame: Framed, signed: Approver, typed: Typed) -> Response:
    def act(kitchen: Kitchen, asked: AmendPlan) -> Result:
        return amend_plan(kitchen, lot, asked, signed.person, office.clock(), book_for(office, kitchen, lot))

    # The stage is a choice and always sent; a window is meant where anything else of it was entered.
    meant = any(value.strip() for name, value in typed.items() if name.startswith(WINDOW) and name != f"{WINDOW}stage")
    sent = typed if meant else {name: value for name, value in typed.items() if not name.startswith(WINDOW)}
    return take(request, office, frame, lot, "plan", sent, AmendPlan, act)

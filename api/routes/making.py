"""What is logged of a batch on its way out, and what an approver changes in its plan, as JSON."""

from fastapi import APIRouter

from api.actions.amending import amend_plan
from api.actions.logging_core import dispose_food, log_core, log_soak, report_label
from api.answers import Written
from api.auth.signed import Approver, OfficeHere, Operator
from api.doing import book_for, do
from api.routes.batches import known
from api.routes.shared import NOT_THERE, REFUSALS, written
from api.schemas_making import AmendPlan, DisposeFood, LogCore, LogSoak, ReportLabel

router = APIRouter(prefix="/api/v1", tags=["batches"], responses=REFUSALS)


@router.post("/batches/{lot}/core-logs", status_code=201, responses=NOT_THERE)
def core_log(lot: str, request: LogCore, office: OfficeHere, who: Operator) -> Written:
    """Log the core of a batch while it was cooked or cooled."""
    known(office, lot)
    return written(do(office, lambda k: log_core(k, lot, request, who.person, office.clock())))


@router.post("/batches/{lot}/soaks", status_code=201, responses=NOT_THERE)
def soak(lot: str, request: LogSoak, office: OfficeHere, who: Operator) -> Written:
    """Log that a batch lay in fresh water."""
    known(office, lot)
    return written(do(office, lambda k: log_soak(k, lot, request, who.person, office.clock())))


@router.post("/batches/{lot}/labels", status_code=201, responses=NOT_THERE)
def label(lot: str, request: ReportLabel, office: OfficeHere, who: Operator) -> Written:
    """Say what is written on the pack."""
    known(office, lot)
    return written(do(office, lambda k: report_label(k, lot, request, who.person, office.clock())))


@router.post("/batches/{lot}/disposals", status_code=201, responses=NOT_THERE)
def disposal(lot: str, request: DisposeFood, office: OfficeHere, who: Operator) -> Written:
    """Say that food of a batch was destroyed, how, and who saw it."""
    known(office, lot)
    return written(do(office, lambda k: dispose_food(k, lot, request, who.person, office.clock())))


@router.post("/batches/{lot}/plan", status_code=201, responses=NOT_THERE)
def plan(lot: str, request: AmendPlan, office: OfficeHere, who: Approver) -> Written:
    """Change the plan of a batch, its route above all, with a reason; what is left out stays as it is."""
    known(office, lot)
    book = book_for(office, office.present.kitchen, lot)
    return written(do(office, lambda k: amend_plan(k, lot, request, who.person, office.clock(), book)))

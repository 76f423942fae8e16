"""Notes for the next shift, tasks done, and batches that are split or merged, as JSON."""

from fastapi import APIRouter

from api.actions.dividing import merge_batches, split_batch
from api.actions.noting import pin_note, report_task, see_note
from api.answers import Written
from api.auth.signed import Approver, OfficeHere, Operator
from api.doing import do
from api.routes.batches import known
from api.routes.shared import NOT_THERE, REFUSALS, written
from api.schemas_daily import MergeBatches, PinNote, ReportTask, SeeNote, SplitBatch

router = APIRouter(prefix="/api/v1", tags=["batches"], responses=REFUSALS)


@router.post("/notes", status_code=201)
def pin(request: PinNote, office: OfficeHere, who: Operator) -> Written:
    """Pin a note for the next shift."""
    return written(do(office, lambda k: pin_note(k, request, who.person, office.clock())))


@router.post("/notes/seen", status_code=201)
def seen(request: SeeNote, office: OfficeHere, who: Operator) -> Written:
    """Say that one has read a note."""
    return written(do(office, lambda k: see_note(k, request, who.person, office.clock())))


@router.post("/batches/{lot}/tasks", status_code=201, responses=NOT_THERE)
def task(lot: str, request: ReportTask, office: OfficeHere, who: Operator) -> Written:
    """Say that what was due is done."""
    known(office, lot)
    return written(do(office, lambda k: report_task(k, lot, request, who.person, office.clock())))


@router.post("/batches/{lot}/split", status_code=201, responses=NOT_THERE)
def split(lot: str, request: SplitBatch, office: OfficeHere, who: Operator) -> Written:
    """Make some tubs a batch of their own, with their whole history."""
    known(office, lot)
    return written(do(office, lambda k: split_batch(k, lot, request, who.person, office.clock())))


@router.post("/batches/{lot}/merge", status_code=201, responses=NOT_THERE)
def merge(lot: str, request: MergeBatches, office: OfficeHere, who: Approver) -> Written:
    """Make one batch of this one and others; it carries the history of each."""
    known(office, lot)
    return written(do(office, lambda k: merge_batches(k, lot, request, who.person, office.clock())))

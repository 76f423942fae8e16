"""Notes on *Tonight*, and tasks done, splitting and merging on a batch's page: each form's address."""

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from api.actions.dividing import merge_batches, split_batch
from api.actions.faults import Result
from api.actions.noting import pin_note, report_task, see_note
from api.auth.signed import Approver, OfficeHere, Operator
from api.pages.batch_acts import take
from api.pages.forms import Form, carry_out
from api.pages.frame import Framed, Typed
from api.pages.notes import note_form, seen_form
from api.pages.rendering import show
from api.pages.tonight import context
from api.schemas_daily import MergeBatches, PinNote, ReportTask, SeeNote, SplitBatch
from api.tonight import zone_of
from collector.kitchen import Kitchen

router = APIRouter()


@router.post("/batches/{lot}/task")
def task(request: Request, lot: str, office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    def act(kitchen: Kitchen, asked: ReportTask) -> Result:
        return report_task(kitchen, lot, asked, signed.person, office.clock())

    return take(request, office, frame, lot, "task", typed, ReportTask, act)


@router.post("/batches/{lot}/split")
def split(request: Request, lot: str, office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    def act(kitchen: Kitchen, asked: SplitBatch) -> Result:
        return split_batch(kitchen, lot, asked, signed.person, office.clock())

    return take(request, office, frame, lot, "split", typed, SplitBatch, act)


@router.post("/batches/{lot}/merge")
def merge(request: Request, lot: str, office: OfficeHere, frame: Framed, signed: Approver, typed: Typed) -> Response:
    def act(kitchen: Kitchen, asked: MergeBatches) -> Result:
        return merge_batches(kitchen, lot, asked, signed.person, office.clock())

    return take(request, office, frame, lot, "merge", typed, MergeBatches, act)


@router.post("/notes")
def pin(office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    """Pin a note for the next shift."""
    refused = carry_out(
        office, note_form(), typed, zone_of(office.present.kitchen), PinNote,
        lambda kitchen, asked: pin_note(kitchen, asked, signed.person, office.clock()),
    )  # fmt: skip
    if isinstance(refused, Form):
        return show("tonight.html", context(office, frame, note=refused), frame, 422)
    return RedirectResponse("/?done=note", 303)


@router.post("/notes/seen")
def seen(office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    """Say that one has read a note."""
    refused = carry_out(
        office, seen_form(0), typed, zone_of(office.present.kitchen), SeeNote,
        lambda kitchen, asked: see_note(kitchen, asked, signed.person, office.clock()),
    )  # fmt: skip
    # Pressed twice, it was read: the page that is shown says so.
    return RedirectResponse("/" if refused is not None else "/?done=seen", 303)

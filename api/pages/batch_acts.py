"""What can be written down about a batch: each form's address."""

from collections.abc import Callable

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from api.actions.faults import Result
from api.actions.making import begin_stage, correct_as_made, end_batch
from api.actions.measuring import enter_corrective_action, enter_hand_reading
from api.actions.placing import correct_placements, move_tub
from api.actions.signing import sign_disposition
from api.auth.signed import Approver, OfficeHere, Operator
from api.doing import NotThere, book_for
from api.office import Office
from api.pages import batch_forms as forms
from api.pages.batch import by_lot, context, forms_of
from api.pages.forms import Form, Model, carry_out, compacted
from api.pages.frame import Framed, Typed
from api.pages.rendering import Frame, show
from api.schemas import (
    BeginStage,
    CorrectAsMade,
    CorrectPlacements,
    EndBatch,
    EnterCorrectiveAction,
    EnterHandReading,
    MoveTub,
    SignDisposition,
)
from api.tonight import zone_of
from collector.kitchen import Kitchen

router = APIRouter()


def _form(office: Office, lot: str, name: str) -> Form:
    kitchen = office.present.kitchen
    if lot not in kitchen.batches:
        raise NotThere(f"no batch has lot code {lot}")
    return forms_of(kitchen, kitchen.batches[lot])[name]


def take(
    request: Request, office: Office, frame: Frame, lot: str, name: str, typed: dict[str, str], model: type[Model],
    act: Callable[[Kitchen, Model], Result], form: Form | None = None,
) -> Response:  # fmt: skip
    """Do what a form asks for and go back to the batch; or show its page again with what was typed and the faults."""
    zone = zone_of(office.present.kitchen)
    refused = carry_out(office, form or _form(office, lot, name), typed, zone, model, act)
    if refused is None:
        return RedirectResponse(f"/batches/{lot}?done={name.split()[0]}", 303)
    shown = context(office, frame, by_lot(request, office), lot, refused=(name, refused))
    return show("batch.html", shown, frame, 422)


@router.post("/batches/{lot}/move")
def move(request: Request, lot: str, office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    def act(kitchen: Kitchen, asked: MoveTub) -> Result:
        return move_tub(kitchen, lot, asked, signed.person, office.clock())

    return take(request, office, frame, lot, "move", typed, MoveTub, act)


@router.post("/batches/{lot}/hand")
def hand(request: Request, lot: str, office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    def act(kitchen: Kitchen, asked: EnterHandReading) -> Result:
        return enter_hand_reading(kitchen, asked, signed.person, office.clock())

    return take(request, office, frame, lot, "hand", {**typed, "lot": lot}, EnterHandReading, act)


@router.post("/batches/{lot}/action")
def action(request: Request, lot: str, office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    def act(kitchen: Kitchen, asked: EnterCorrectiveAction) -> Result:
        return enter_corrective_action(kitchen, lot, asked, signed.person, office.clock())

    return take(request, office, frame, lot, "action", typed, EnterCorrectiveAction, act)


@router.post("/batches/{lot}/as-made")
def as_made(request: Request, lot: str, office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    def act(kitchen: Kitchen, asked: CorrectAsMade) -> Result:
        return correct_as_made(kitchen, lot, asked, signed.person, office.clock(), book_for(office, kitchen, lot))

    return take(request, office, frame, lot, "as-made", typed, CorrectAsMade, act)


@router.post("/batches/{lot}/places")
def places(request: Request, lot: str, office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    kitchen, tub = office.present.kitchen, typed.get("tub", "")
    batch = kitchen.batches.get(lot)
    if batch is None or tub not in batch.tubs:
        raise NotThere(f"no batch has lot code {lot} and a tub {tub}")
    sent = compacted(typed, {"placements": "from_at"})
    rows = sum(name.endswith(".from_at") for name in sent)
    form = forms.places_form(kitchen, batch, tub, zone_of(kitchen), rows)

    def act(kitchen: Kitchen, asked: CorrectPlacements) -> Result:
        return correct_placements(kitchen, lot, asked, signed.person, office.clock())

    return take(request, office, frame, lot, f"places {tub}", sent, CorrectPlacements, act, form)


@router.post("/batches/{lot}/stage")
def stage(request: Request, lot: str, office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    def act(kitchen: Kitchen, asked: BeginStage) -> Result:
        return begin_stage(kitchen, lot, asked, signed.person, office.clock())

    return take(request, office, frame, lot, "stage", typed, BeginStage, act)


@router.post("/batches/{lot}/end")
def end(request: Request, lot: str, office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    def act(kitchen: Kitchen, asked: EndBatch) -> Result:
        return end_batch(kitchen, lot, asked, signed.person, office.clock())

    return take(request, office, frame, lot, "end", typed, EndBatch, act)


@router.post("/batches/{lot}/sign")
def sign(request: Request, lot: str, office: OfficeHere, frame: Framed, signed: Approver, typed: Typed) -> Response:
    def act(kitchen: Kitchen, asked: SignDisposition) -> Result:
        return sign_disposition(kitchen, lot, asked, signed.person, office.clock(), office.judged(lot))

    return take(request, office, frame, lot, "sign", typed, SignDisposition, act)

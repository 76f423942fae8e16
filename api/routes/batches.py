"""Batches and everything that is done to them, as JSON."""

from fastapi import APIRouter

from api.actions.making import begin_stage, correct_as_made, end_batch, start_batch
from api.actions.measuring import enter_corrective_action, enter_hand_reading
from api.actions.placing import correct_placements, move_tub
from api.actions.signing import sign_disposition
from api.answering import batch_answer, batch_summary, page_of
from api.answers import BatchAnswer, BatchSummary, Page, Written
from api.auth.signed import Approver, OfficeHere, Operator, SignedIn
from api.doing import NotThere, book_for, book_of, do
from api.office import Office
from api.routes.shared import NOT_THERE, REFUSALS, After, Limit, written
from api.schemas import (
    BeginStage,
    CorrectAsMade,
    CorrectPlacements,
    EndBatch,
    EnterCorrectiveAction,
    EnterHandReading,
    MoveTub,
    SignDisposition,
    StartBatch,
)

router = APIRouter(prefix="/api/v1", tags=["batches"], responses=REFUSALS)


def known(office: Office, lot: str) -> str:
    """Return a lot code that a batch has. Raises NotThere."""
    if lot not in office.present.catch_up().batches:
        raise NotThere(f"there is no batch {lot}")
    return lot


@router.get("/batches")
def list_batches(
    office: OfficeHere, who: SignedIn, limit: Limit = 100, after: After = None, ended: bool = False
) -> Page[BatchSummary]:
    """List the batches by lot code: those that still stand somewhere, with `ended` those that have left too."""
    kitchen = office.present.kitchen
    batches = [
        batch
        for lot, batch in sorted(kitchen.batches.items())
        if (after is None or lot > after) and (ended or batch.ended_at is None)
    ]
    items, following = page_of(batches, limit, lambda b: batch_summary(kitchen, b), lambda b: b.lot)
    return Page(items=items, next=following)


@router.get("/batches/{lot}", responses=NOT_THERE)
def one_batch(lot: str, office: OfficeHere, who: SignedIn) -> BatchAnswer:
    """Say everything about one batch: plan, as-made sheet, where it stood, what is proposed and what was signed."""
    kitchen = office.present.kitchen
    if lot not in kitchen.batches:
        raise NotThere(f"there is no batch {lot}")
    return batch_answer(kitchen, kitchen.batches[lot])


@router.post("/batches", status_code=201)
def start(request: StartBatch, office: OfficeHere, who: Operator) -> Written:
    """Start a batch: meat went into its tubs."""
    unit = request.tubs[0].unit if request.tubs else None
    return written(do(office, lambda k: start_batch(k, request, who.person, office.clock(), book_of(office, k, unit))))


@router.post("/batches/{lot}/as-made", status_code=201, responses=NOT_THERE)
def as_made(lot: str, request: CorrectAsMade, office: OfficeHere, who: Operator) -> Written:
    """Complete or correct the as-made sheet."""
    known(office, lot)
    return written(
        do(office, lambda k: correct_as_made(k, lot, request, who.person, office.clock(), book_for(office, k, lot)))
    )


@router.post("/batches/{lot}/moves", status_code=201, responses=NOT_THERE)
def move(lot: str, request: MoveTub, office: OfficeHere, who: Operator) -> Written:
    """Move a tub to another unit, or out on the bench."""
    known(office, lot)
    return written(do(office, lambda k: move_tub(k, lot, request, who.person, office.clock())))


@router.post("/batches/{lot}/placements", status_code=201, responses=NOT_THERE)
def placements(lot: str, request: CorrectPlacements, office: OfficeHere, who: Operator) -> Written:
    """Put right where a tub stood, with a reason."""
    known(office, lot)
    return written(do(office, lambda k: correct_placements(k, lot, request, who.person, office.clock())))


@router.post("/batches/{lot}/actions", status_code=201, responses=NOT_THERE)
def action(lot: str, request: EnterCorrectiveAction, office: OfficeHere, who: Operator) -> Written:
    """Say what was done about an excursion."""
    known(office, lot)
    return written(do(office, lambda k: enter_corrective_action(k, lot, request, who.person, office.clock())))


@router.post("/batches/{lot}/stages", status_code=201, responses=NOT_THERE)
def stage(lot: str, request: BeginStage, office: OfficeHere, who: Operator) -> Written:
    """Begin another stage."""
    known(office, lot)
    return written(do(office, lambda k: begin_stage(k, lot, request, who.person, office.clock())))


@router.post("/batches/{lot}/end", status_code=201, responses=NOT_THERE)
def end(lot: str, request: EndBatch, office: OfficeHere, who: Operator) -> Written:
    """Say that a batch left the cold rooms."""
    known(office, lot)
    return written(do(office, lambda k: end_batch(k, lot, request, who.person, office.clock())))


@router.post("/batches/{lot}/sign-offs", status_code=201, responses=NOT_THERE)
def sign_off(lot: str, request: SignDisposition, office: OfficeHere, who: Approver) -> Written:
    """Sign a disposition, naming the proposal that was looked at."""
    known(office, lot)
    fresh = office.judged(lot)
    return written(do(office, lambda k: sign_disposition(k, lot, request, who.person, office.clock(), fresh)))


@router.post("/hand-readings", status_code=201)
def hand_reading(request: EnterHandReading, office: OfficeHere, who: Operator) -> Written:
    """Enter what a person measured, in a batch or in a unit."""
    return written(do(office, lambda k: enter_hand_reading(k, request, who.person, office.clock())))

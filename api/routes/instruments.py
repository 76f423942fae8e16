"""Instruments, their checks, and sensors that are out to be checked, as JSON."""

from fastapi import APIRouter

from api.actions.checking import assigned_now, enter_check, put_back, take_out
from api.answering import page_of
from api.answers import Page, Written
from api.answers_instruments import InstrumentAnswer
from api.auth.signed import OfficeHere, Operator, SignedIn
from api.doing import book_of, do
from api.instruments_now import InstrumentNow, instruments_now
from api.routes.shared import REFUSALS, After, Limit, written
from api.schemas_daily import EnterCheck, PutBack, TakeOut

router = APIRouter(prefix="/api/v1", tags=["units and channels"], responses=REFUSALS)


def _answer(one: InstrumentNow) -> InstrumentAnswer:
    check = one.check
    return InstrumentAnswer(
        instrument=one.instrument, kind=one.kind, unit=one.unit, state=one.state, due_at=one.due_at,
        out_since=one.out_since, checked_at=None if check is None else check.checked_at,
        as_found=None if check is None else check.as_found, as_left=None if check is None else check.as_left,
        tolerance=None if check is None else check.tolerance, lots=one.lots,
    )  # fmt: skip


@router.get("/instruments")
def list_instruments(
    office: OfficeHere, who: SignedIn, limit: Limit = 100, after: After = None
) -> Page[InstrumentAnswer]:
    """List every instrument by kind and name, with its last check and when the next is due."""
    kitchen = office.present.kitchen
    every = instruments_now(kitchen, lambda unit: book_of(office, kitchen, unit), office.clock())
    keyed = sorted((f"{one.kind} {one.instrument}", one) for one in every)
    behind = [pair for pair in keyed if after is None or pair[0] > after]
    items, following = page_of(behind, limit, lambda pair: _answer(pair[1]), lambda pair: pair[0])
    return Page(items=items, next=following)


@router.post("/instruments/checks", status_code=201)
def check(request: EnterCheck, office: OfficeHere, who: Operator) -> Written:
    """Say what a comparison with a reference found, and what was left."""
    kitchen = office.present.kitchen
    one = assigned_now(kitchen, request.instrument)
    book = book_of(office, kitchen, one.unit if one is not None else next(iter(kitchen.units), None))
    return written(do(office, lambda k: enter_check(k, request, who.person, office.clock(), book)))


@router.post("/instruments/out", status_code=201)
def out(request: TakeOut, office: OfficeHere, who: Operator) -> Written:
    """Say that a sensor is taken out to be checked: its readings are a gap from then on."""
    return written(do(office, lambda k: take_out(k, request, who.person, office.clock())))


@router.post("/instruments/back", status_code=201)
def back(request: PutBack, office: OfficeHere, who: Operator) -> Written:
    """Say that a sensor stands in its place again."""
    return written(do(office, lambda k: put_back(k, request, who.person, office.clock())))

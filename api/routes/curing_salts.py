"""What people have read on the bags of curing salt, as JSON."""

from fastapi import APIRouter

from api.actions.composing import confirm_composition
from api.answering import page_of
from api.answers import CompositionAnswer, Page, Written
from api.auth.signed import OfficeHere, Operator, SignedIn
from api.doing import do
from api.routes.shared import REFUSALS, After, Limit, written
from api.schemas import ConfirmComposition

router = APIRouter(prefix="/api/v1", tags=["batches"], responses=REFUSALS)


@router.get("/curing-salts")
def list_compositions(
    office: OfficeHere, who: SignedIn, limit: Limit = 100, after: After = None
) -> Page[CompositionAnswer]:
    """List what people have read on bags of curing salt, by lot, person and time."""
    read = {f"{c.curing_salt_lot} {c.person} {c.confirmed_at:.3f}": c for c in office.present.kitchen.compositions}
    behind = [(key, one) for key, one in sorted(read.items()) if after is None or key > after]
    items, following = page_of(
        behind, limit, lambda pair: CompositionAnswer.model_validate(pair[1]), lambda pair: pair[0]
    )
    return Page(items=items, next=following)


@router.post("/curing-salts/confirmations", status_code=201)
def confirm(request: ConfirmComposition, office: OfficeHere, who: Operator) -> Written:
    """Say what the bag of a lot of curing salt says, under one's own name."""
    return written(do(office, lambda k: confirm_composition(k, request, who.person, office.clock())))

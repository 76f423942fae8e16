"""Units, channels and readings, as JSON."""

from typing import Annotated

from fastapi import APIRouter, Query

from api.actions.channels import assign_channel, end_assignment
from api.actions.faults import Fault
from api.answering import channel_answer, page_of, reading_answers, unit_answer
from api.answers import ChannelAnswer, Page, ReadingAnswer, UnitAnswer, Written
from api.auth.signed import OfficeHere, Operator, SignedIn
from api.doing import NotThere, Refused, do
from api.office import Office
from api.paging import Cursor, readings_page
from api.routes.shared import NOT_THERE, REFUSALS, After, Limit, written
from api.schemas import AddressMoment, AssignChannel, EndAssignment
from api.tonight import unit_now
from collector.storage import ChannelSeen

router = APIRouter(prefix="/api/v1", tags=["units and channels"], responses=REFUSALS)


@router.get("/units")
def list_units(office: OfficeHere, who: SignedIn, limit: Limit = 100, after: After = None) -> Page[UnitAnswer]:
    """List the units by id, each with what is known of it now."""
    kitchen, now, estimates = office.present.kitchen, office.clock(), office.estimates()
    units = [unit for name, unit in sorted(kitchen.units.items()) if after is None or name > after]
    items, following = page_of(
        units[: limit + 1],
        limit,
        lambda unit: unit_answer(kitchen, unit_now(kitchen, unit, estimates, office.limit_of(kitchen, unit), now), now),
        lambda unit: unit.id,
    )
    return Page(items=items, next=following)


@router.get("/units/{unit}", responses=NOT_THERE)
def one_unit(unit: str, office: OfficeHere, who: SignedIn) -> UnitAnswer:
    """Say what is known of one unit now."""
    kitchen, now = office.present.kitchen, office.clock()
    if unit not in kitchen.units:
        raise NotThere(f"there is no unit {unit}")
    described = kitchen.units[unit]
    limit_c = office.limit_of(kitchen, described)
    return unit_answer(kitchen, unit_now(kitchen, described, office.estimates(), limit_c, now), now)


@router.get("/channels")
def list_channels(
    office: OfficeHere, who: SignedIn, limit: Limit = 100, after: After = None, unassigned: bool = False
) -> Page[ChannelAnswer]:
    """List every channel that has ever sent something, by name; with `unassigned`, those that nobody has claimed."""
    kitchen, now = office.present.kitchen, office.clock()
    seen = [
        c
        for c in office.readings.channels()
        if (after is None or c.channel > after) and not (unassigned and kitchen.assigned(c.channel, now))
    ]
    items, following = page_of(seen[: limit + 1], limit, lambda c: channel_answer(kitchen, c, now), lambda c: c.channel)
    return Page(items=items, next=following)


def seen_channel(office: Office, channel: str) -> ChannelSeen | None:
    """Return a channel as it was last seen, or None."""
    return next((c for c in office.readings.channels() if c.channel == channel), None)


@router.post("/assignments", status_code=201)
def claim(request: AssignChannel, office: OfficeHere, who: Operator) -> Written:
    """Say what a channel measures, from an instant on."""
    seen = seen_channel(office, request.channel)
    unit = None if seen is None else seen.unit
    return written(do(office, lambda k: assign_channel(k, request, who.person, office.clock(), unit)))


@router.post("/assignments/end", status_code=201)
def unclaim(request: EndAssignment, office: OfficeHere, who: Operator) -> Written:
    """Say that a channel measures nothing of ours any more."""
    return written(do(office, lambda k: end_assignment(k, request, who.person, office.clock())))


@router.get("/readings")
def list_readings(
    office: OfficeHere,
    who: SignedIn,
    channel: Annotated[str, Query(max_length=400)],
    from_at: Annotated[AddressMoment, Query(alias="from")],
    until_at: Annotated[AddressMoment | None, Query(alias="until")] = None,
    limit: Limit = 1000,
    after: After = None,
) -> Page[ReadingAnswer]:
    """List a channel's readings as sent, in order of measured time, from an instant until (not including) another."""
    end = office.clock() + 120.0 if until_at is None else until_at
    if end < from_at:
        raise Refused([Fault("until", "it ends before it begins", "give the later time as until")])
    start = Cursor(from_at, 0) if after is None else _cursor(after)
    series, following = readings_page(office.readings, channel, start, end, limit)
    return Page(items=reading_answers(series), next=None if following is None else str(following))


def _cursor(after: str) -> Cursor:
    cursor = Cursor.read(after)
    if cursor is None:
        raise Refused([Fault("after", "this is no cursor", "give what the page before said under next")])
    return cursor

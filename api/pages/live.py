"""One event stream a browser: it says which units and lots changed, and the page fetches itself again."""

import asyncio
import json
import time
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field

from fastapi import APIRouter, Request
from fastapi.responses import StreamingResponse
from starlette.concurrency import run_in_threadpool

from api.auth.signed import OfficeHere, SignedIn
from api.office import Office
from api.pages.telling import lots_of
from collector.events import AlarmChanged, AlarmRaised
from collector.events_watching import (
    AlarmExplained,
    AlarmShelved,
    AlarmUnshelved,
    UnitInService,
    UnitOutOfService,
    WorkPlanned,
)

router = APIRouter()
LOOK_S, APART_S, BEAT_S = 0.5, 2.0, 20.0
LONGEST_S = 600.0
"""Then the browser connects again by itself, and it is looked at anew whether it may. [s]"""
ENTRIES = 200
OF_ALARMS = (AlarmExplained, AlarmShelved, AlarmUnshelved)


@dataclass
class Seen:
    """What a browser has been told of."""

    position: int
    estimates: dict[str, tuple[object, ...]] = field(default_factory=dict)


def estimates_now(office: Office) -> dict[str, tuple[object, ...]]:
    """Return what people can see of each estimate, by unit: printed figures, and the minute they are of."""
    return {
        unit: tuple(
            (lot, round(e.likely_c, 1), None if e.air_c is None else round(e.air_c, 1), int(e.at // 60))
            for lot, e in sorted(found.items())
        )
        for unit, found in office.estimates().items()
    }


def changed(office: Office, seen: Seen) -> list[str]:
    """Return the ids of what changed since a browser was last told, and take note. Raises StoreFailed."""
    ids: dict[str, None] = {}
    kitchen = office.present.kitchen
    if kitchen.position > seen.position:
        ids["journal"] = None
        after = max(seen.position, kitchen.position - ENTRIES)
        for entry in office.journal.read(after, kitchen.position - after):
            ids |= dict.fromkeys(lots_of(entry, kitchen))
            if isinstance(entry.event, AlarmRaised | AlarmChanged):
                ids[entry.event.condition.unit] = None
            elif isinstance(entry.event, OF_ALARMS) and (alarm := kitchen.alarm(entry.event.alarm)) is not None:
                ids[alarm.condition.unit] = None
            elif isinstance(entry.event, UnitOutOfService | UnitInService | WorkPlanned):
                ids[entry.event.unit] = None
        seen.position = kitchen.position
    fresh = estimates_now(office)
    for unit, now in fresh.items():
        if seen.estimates.get(unit) != now:
            ids[unit] = None
            ids |= dict.fromkeys(lot for lot in office.estimates().get(unit, {}))
    seen.estimates = fresh
    return list(ids)


async def events(office: Office, ends: Callable[[], bool], clock: Callable[[], float]) -> AsyncIterator[str]:
    """Yield the stream's text until it ends: at shutdown, or when it has lasted long enough."""
    seen = Seen(office.present.kitchen.position, estimates_now(office))
    begun = told = beat = clock()
    yield "retry: 2000\n\n"
    while not ends() and clock() - begun < LONGEST_S:
        await asyncio.sleep(LOOK_S)
        if clock() - told >= APART_S:
            ids = await run_in_threadpool(changed, office, seen)
            if ids:
                told = beat = clock()
                yield f"event: changed\ndata: {json.dumps(ids)}\n\n"
        if clock() - beat >= BEAT_S:
            beat = clock()
            yield ": still here\n\n"


@router.get("/live")
async def live(request: Request, office: OfficeHere, signed: SignedIn) -> StreamingResponse:
    """Return the event stream of one browser."""
    stopping = getattr(request.app.state, "stopping", None)

    def ends() -> bool:
        return stopping is not None and bool(stopping.is_set())

    headers = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}
    return StreamingResponse(events(office, ends, time.monotonic), media_type="text/event-stream", headers=headers)

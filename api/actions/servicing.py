"""Putting an empty unit out of service and back, and planning work in a unit. Pure: no clock, no I/O."""

from collections.abc import Iterable

from alerts.sentences import clock_text, span_text
from alerts.suspended import WORK_APART_S, WORK_MOST_S
from api.actions.faults import AHEAD_S, Check, Faults, Result, fault
from api.schemas_watching import EndWork, PlanWork, PutInService, PutOutOfService
from collector.events import Event
from collector.events_watching import UnitInService, UnitOutOfService, WorkEnded, WorkPlanned
from collector.kitchen import Kitchen, Person
from collector.sample import Instant

LEAST_S = 300.0
"""House: shorter work sets off no alarm that wants holding back. [s]"""
AHEAD_MOST_S = 31 * 86_400.0
"""House: nobody knows what stands in a room later than this; announce it nearer to the day. [s]"""


def tubs_in(kitchen: Kitchen, unit: str, now: Instant) -> list[str]:
    """Return the tubs that stand in a unit, or that somebody has entered to come: `B14 tub 1`."""
    return [
        f"{lot} tub {p.tub}"
        for lot, batch in sorted(kitchen.batches.items())
        for p in batch.placements
        if p.unit == unit and (p.until_at is None or p.until_at > now)
    ]


def put_out_of_service(
    kitchen: Kitchen, unit: str, request: PutOutOfService, person: Person, now: Instant
) -> Result:  # fmt: skip
    """Return that an empty unit is out of service, until a tub stands in it or somebody says so."""
    check = Check()
    if not check.unit("unit", unit, kitchen):
        return Faults(tuple(check.found))
    check.that(
        unit not in kitchen.out_of_service, "unit", "it is out of service already", "put it back into service first"
    )  # fmt: skip
    tubs = tubs_in(kitchen, unit, now)
    shown = ", ".join(tubs[:5]) + (f" and {len(tubs) - 5} more" if len(tubs) > 5 else "")
    check.that(
        not tubs, "unit", f"it is not empty: {shown}",
        "carry them to a unit that is cold enough, enter where, and come back",
    )  # fmt: skip
    return check.result(person, now, [UnitOutOfService(unit, request.reason)])


def put_in_service(kitchen: Kitchen, unit: str, request: PutInService, person: Person, now: Instant) -> Result:
    """Return that a unit is in service again."""
    check = Check()
    if check.unit("unit", unit, kitchen):
        out = unit in kitchen.out_of_service
        check.that(out, "unit", "it is in service", "there is nothing to put back")
    return check.result(person, now, [UnitInService(unit, request.reason or "somebody put it back")])


def back_in_service(kitchen: Kitchen, units: Iterable[str | None], lot: str) -> list[Event]:
    """Return that units are in service again because tubs of a lot are put into them."""
    out = [unit for unit in dict.fromkeys(units) if unit is not None and unit in kitchen.out_of_service]
    return [UnitInService(unit, f"a tub of {lot} was put into it", lot) for unit in out]


def plan_work(kitchen: Kitchen, unit: str, request: PlanWork, person: Person, now: Instant) -> Result:
    """Return that cleaning or loading of a unit is announced, from … until …."""
    check = Check()
    if not check.unit("unit", unit, kitchen):
        return Faults(tuple(check.found))
    from_at = now if request.from_at is None else request.from_at
    check.that(
        from_at >= now - AHEAD_S, "from_at", "that has passed", "leave it empty for now, or enter when it begins"
    )
    check.that(
        from_at <= now + AHEAD_MOST_S, "from_at", "that is more than a month ahead", "announce it nearer to the day"
    )
    long_s = request.until_at - from_at
    if check.that(long_s > 0.0, "until_at", "it ends before it begins", "enter the later time as its end"):
        check.that(
            long_s >= LEAST_S, "until_at", "that is less than five minutes", "nothing need be announced for so little"
        )  # fmt: skip
        check.that(
            long_s <= WORK_MOST_S, "until_at", f"planned work lasts {span_text(WORK_MOST_S)} at most",
            "enter an earlier end; for longer work carry the tubs away and put the unit out of service",
        )  # fmt: skip
    for other in kitchen.planned_work:
        near = other.over_at > other.from_at and other.unit == unit
        near = near and from_at < other.over_at + WORK_APART_S and other.from_at - WORK_APART_S < request.until_at
        site = kitchen.site_of(unit)
        zone = site.zone if site is not None else "UTC"
        span = f"{clock_text(other.from_at, zone, day=True)} until {clock_text(other.over_at, zone)}"
        check.that(
            not near, "from_at", f"{other.what} is planned from {span}, less than an hour away",
            "leave an hour between, or end that work first",
        )  # fmt: skip
    planned = WorkPlanned(unit, request.what, round(from_at, 3), round(request.until_at, 3), request.note)
    return check.result(person, now, [planned])


def end_work(kitchen: Kitchen, unit: str, request: EndWork, person: Person, now: Instant) -> Result:
    """Return that planned work is over before its time, or called off."""
    found = next((w for w in kitchen.planned_work if w.id == request.work and w.unit == unit), None)
    if found is None:
        return fault("work", f"no work {request.work} is planned for it", "look at the unit's page")
    if found.over_at <= now or found.over_at <= found.from_at:
        return fault("work", "it is over already", "there is nothing to end")
    return Check().result(person, now, [WorkEnded(found.id, "hand")])

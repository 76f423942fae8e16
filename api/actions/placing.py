"""Where tubs stand: moving them, and putting right where they stood. Pure: no clock, no I/O."""

from api.actions.faults import Check, Faults, Result, check_tub, fault, living
from api.actions.servicing import back_in_service
from api.schemas import CorrectPlacements, MoveTub, PlacementRequest
from collector.batches import Batch, Placement, placement_faults
from collector.events import PlacementCorrected, TubMoved
from collector.kitchen import Kitchen, Person
from collector.sample import Instant


def _check_place(check: Check, kitchen: Kitchen, at: PlacementRequest | MoveTub, prefix: str = "") -> None:
    if at.unit is not None:
        check.unit(f"{prefix}unit", at.unit, kitchen)
        check.that(
            at.bench_c is None, f"{prefix}bench_c", "a tub in a unit stands on no bench",
            "leave the bench temperature empty, or choose the bench",
        )  # fmt: skip
    else:
        check.that(
            at.bench_c is not None, f"{prefix}bench_c", "out on the bench, how warm is the air there?",
            "enter the air temperature where the tub stands; about is enough",
        )  # fmt: skip
        check.temperature(f"{prefix}bench_c", at.bench_c)


def move_tub(kitchen: Kitchen, lot: str, request: MoveTub, person: Person, now: Instant) -> Result:
    """Return that a tub was carried to another unit, or out on the bench."""
    batch = living(kitchen, lot)
    if isinstance(batch, Faults):
        return batch
    at = now if request.at is None else request.at
    check = Check()
    _check_place(check, kitchen, request)
    in_past = check.past("at", at, now)
    if check_tub(check, batch, request.tub):
        here = next((p for p in batch.placements if p.tub == request.tub and p.until_at is None), None)
        if check.that(here is not None, "tub", f"tub {request.tub} stands nowhere", "correct where it stood first"):
            assert here is not None
            same = request.unit == here.unit and request.bench_c == here.bench_c
            check.that(not same, "unit", f"tub {request.tub} stands there already", "choose where it was carried to")
            check.that(
                not in_past or at > here.from_at, "at", "it was put where it stands later than that",
                "enter when it was carried, or correct where it stood",
            )  # fmt: skip
    to = Placement(request.tub, request.unit, round(at, 3), None, request.bench_c)
    return check.result(person, at, [TubMoved(lot, to), *back_in_service(kitchen, [request.unit], lot)])


def _corrected(request: CorrectPlacements) -> tuple[Placement, ...]:
    return tuple(Placement(request.tub, p.unit, p.from_at, p.until_at, p.bench_c) for p in request.placements)


def _check_ends(check: Check, batch: Batch, placements: tuple[Placement, ...], now: Instant) -> None:
    before = [p for p in batch.placements if p.tub == placements[0].tub]
    check.that(
        placements[0].from_at == before[0].from_at, "placements.0.from_at",
        "the record must begin when the tub was filled", "begin the first placement where it began before",
    )  # fmt: skip
    ends_at = batch.ended_at
    check.that(
        placements[-1].until_at == ends_at, f"placements.{len(placements) - 1}.until_at",
        "the last placement must last until now" if ends_at is None else "the last placement must end with the batch",
        "leave its end empty" if ends_at is None else "end it when the batch ended",
    )  # fmt: skip
    check.that(placements != tuple(before), "placements", "this is the record as it stands", "change what is wrong")
    for index, placement in enumerate(placements):
        check.past(f"placements.{index}.from_at", placement.from_at, now)


def correct_placements(
    kitchen: Kitchen, lot: str, request: CorrectPlacements, person: Person, now: Instant
) -> Result:  # fmt: skip
    """Return where a tub really stood; the next judgement sees it, the earlier decisions stay."""
    batch = kitchen.batches.get(lot)
    if batch is None:
        return fault("lot", f"no batch has lot code {lot}", "choose one from the list of batches")
    check = Check()
    if not check_tub(check, batch, request.tub):
        return Faults(tuple(check.found))
    if not check.that(bool(request.placements), "placements", "no placement was entered", "enter at least one"):
        return Faults(tuple(check.found))
    for index, place in enumerate(request.placements):
        _check_place(check, kitchen, place, f"placements.{index}.")
    placements = _corrected(request)
    for said in placement_faults(placements) if not check.found else ():
        what, _, mend = said.partition("; ")
        check.that(False, "placements", what, mend or "mend the times so that no hole is left")
    _check_ends(check, batch, placements, now)
    corrected = PlacementCorrected(lot, request.tub, placements, request.reason)
    stands = [p.unit for p in placements if p.until_at is None]
    return check.result(person, now, [corrected, *back_in_service(kitchen, stands, lot)])

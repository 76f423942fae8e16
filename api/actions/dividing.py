"""Splitting a batch, and merging batches: where each tub's history goes. Pure: no clock, no I/O."""

from collections.abc import Sequence
from dataclasses import replace

from api.actions.amending import route_locked
from api.actions.faults import Check, Faults, Result, check_tub, living
from api.actions.servicing import back_in_service
from api.actions.standing import BLOCKING, standing
from api.schemas_daily import IntoTub, MergeBatches, SplitBatch
from collector.batches import Batch, Placement, Plan, Route, Strand
from collector.events_making import BatchesMerged, BatchSplit
from collector.kitchen import Kitchen, Person
from collector.sample import Instant

ALIKE = (
    "meat", "packing", "method", "route", "process", "process_aw", "parasite_control", "opened", "windows",
    "nitrite_basis", "product_class", "bone_in",
)  # fmt: skip
"""House: of the plan; what differs in one of these is another food, or is judged by another rule."""


def standing_tubs(batch: Batch) -> tuple[str, ...]:
    """Return the tubs of a batch that still stand somewhere."""
    return tuple(dict.fromkeys(p.tub for p in batch.placements if p.until_at is None))


def _free(check: Check, kitchen: Kitchen, child: str) -> None:
    taken = {lot.casefold() for lot in kitchen.batches}
    check.that(
        child.casefold() not in taken, "child", f"lot code {child} is taken",
        "a lot code is used once and never again; choose another",
    )  # fmt: skip


def _probes(check: Check, kitchen: Kitchen, lot: str, tubs: Sequence[str], name: str) -> None:
    for one in kitchen.said:
        here = one.lot == lot and one.until_at is None and one.tub in tubs
        check.that(
            not here, name, f"the probe {one.channel} is claimed for {lot}, tub {one.tub}",
            "an admin writes down that it is taken away, and claims it anew for the new lot",
        )  # fmt: skip


def split_batch(kitchen: Kitchen, lot: str, request: SplitBatch, person: Person, now: Instant) -> Result:
    """Return that some tubs became a batch of their own; a hold goes with them."""
    batch = living(kitchen, lot)
    if isinstance(batch, Faults):
        return batch
    check, stand, tubs = Check(), standing_tubs(batch), tuple(dict.fromkeys(request.tubs))
    _free(check, kitchen, request.child)
    for tub in tubs:
        if check_tub(check, batch, tub, "tubs"):
            check.that(tub in stand, "tubs", f"tub {tub} is gone", "choose tubs that still stand")
    stays = set(stand) - set(tubs)
    check.that(bool(stays), "tubs", f"nothing of {lot} would stay", "leave at least one tub in it")
    _probes(check, kitchen, lot, tubs, "tubs")
    return check.result(person, now, [BatchSplit(lot, request.child, tubs)])


def merge_batches(kitchen: Kitchen, lot: str, request: MergeBatches, person: Person, now: Instant) -> Result:
    """Return that batches became one, which carries the history of each; nothing held is mixed with anything."""
    lots = tuple(dict.fromkeys((lot, *request.lots)))
    check = Check()
    parents = []
    for one in lots:
        batch = living(kitchen, one)
        if isinstance(batch, Faults):
            check.that(False, "lots", batch.found[0].what, batch.found[0].mend)
        else:
            parents.append(batch)
    check.that(len(lots) > 1, "lots", "one batch alone cannot be merged", "name another")
    _free(check, kitchen, request.child)
    if len(parents) < 2 or len(parents) < len(lots):
        return check.result(person, now, [])
    _alike(check, kitchen, parents)
    strands = _strands(check, parents, request)
    for number, tub in enumerate(request.tubs):
        check.unit(f"tubs.{number}.unit", tub.unit, kitchen)
    placements = tuple(Placement(tub.tub, tub.unit, round(now, 3)) for tub in request.tubs)
    meat_kg = round(sum(p.as_made.meat_kg for p in parents), 6)
    merged = BatchesMerged(request.child, _plan(parents), meat_kg, strands, placements)
    again = back_in_service(kitchen, (tub.unit for tub in request.tubs), request.child)
    return check.result(person, now, [merged, *again])


def _alike(check: Check, kitchen: Kitchen, parents: Sequence[Batch]) -> None:
    first = parents[0]
    for one in parents:
        stands = standing(kitchen, one.lot)
        held = stands.disposition in BLOCKING
        check.that(
            not held, "lots", f"{one.lot} is not to be used ({stands.disposition})",
            "it stays by itself, cold, until an approver has decided",
        )  # fmt: skip
        check.that(
            one.stages[-1].stage is first.stages[-1].stage, "lots",
            f"{one.lot} is in stage {one.stages[-1].stage}, {first.lot} in {first.stages[-1].stage}",
            "merge them in the same stage",
        )  # fmt: skip
        for name in ALIKE:
            same = getattr(one.plan, name) == getattr(first.plan, name)
            check.that(
                same, "lots", f"the plans of {one.lot} and {first.lot} differ in {name.replace('_', ' ')}",
                "keep them apart, or an approver changes one plan first",
            )  # fmt: skip
        locked = route_locked(kitchen, one.lot) and one.plan.route is not Route.COOKED
        check.that(not locked, "lots", f"{one.lot} may only be cooked", "an approver changes its route first")
        _probes(check, kitchen, one.lot, one.tubs, "lots")


def _strands(check: Check, parents: Sequence[Batch], request: MergeBatches) -> tuple[Strand, ...]:
    new = [tub.tub for tub in request.tubs]
    check.that(len({n.casefold() for n in new}) == len(new), "tubs", "two tubs have the same name", "name each once")
    old = [(p.lot, tub) for p in parents for tub in standing_tubs(p)]
    into = request.into
    if not into and len(new) == 1:
        into = tuple(IntoTub(lot=lot, tub=tub, into=new[0]) for lot, tub in old)
    told = {(one.lot, one.tub) for one in into}
    for lot, tub in old:
        check.that(
            (lot, tub) in told, "into", f"nothing says where tub {tub} of {lot} went", "name the new tub of each"
        )
    for one in into:
        check.that((one.lot, one.tub) in old, "into", f"no tub {one.tub} of {one.lot} stands", "leave it out")
        check.that(one.into in new, "into", f"no new tub is called {one.into}", "name it among the new tubs")
    for name in new:
        check.that(any(one.into == name for one in into), "tubs", f"nothing went into {name}", "leave it out")
    return tuple(Strand(one.lot, one.tub, one.into) for one in into)


def _plan(parents: Sequence[Batch]) -> Plan:
    """Return the plan of them together: the first one's, its masses summed, the longest cure, the thickest piece."""
    plans = [one.plan for one in parents]
    kg = ("meat_kg", "water_kg", "salt_kg", "sugar_kg", "curing_salt_kg")
    return replace(
        plans[0], cure_s=max(p.cure_s for p in plans), thickness_mm=max(p.thickness_mm for p in plans),
        **{name: round(sum(getattr(p, name) for p in plans), 6) for name in kg},
    )  # fmt: skip

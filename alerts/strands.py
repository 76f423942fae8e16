"""The histories that a batch carries: its own, or those of every batch whose meat went into it. Pure."""

from dataclasses import replace

from collector.batches import Batch, Placement
from collector.kitchen import Kitchen


def strands_of(kitchen: Kitchen, lot: str) -> tuple[Batch, ...]:
    """Return the batch itself; for a merged one, each parent as it went on in it, under the merged lot code.

    A parent keeps its own plan, sheet and filling, and takes the route, the process and what was logged since from the
    batch that it became part of.
    """
    batch = kitchen.batches[lot]
    if batch.merged_at is None:
        return (batch,)
    parents = dict.fromkeys(strand.lot for strand in batch.strands)
    return tuple(_gone_on(one, batch, parent) for parent in parents for one in strands_of(kitchen, parent))


def _gone_on(before: Batch, batch: Batch, parent: str) -> Batch:
    into = {strand.tub: strand.into for strand in batch.strands if strand.lot == parent}
    placements = list(before.placements)
    for tub in before.tubs:
        later = into.get(tub)
        placements += [
            Placement(tub, p.unit, p.from_at, p.until_at, p.bench_c) for p in batch.placements if p.tub == later
        ]
    plan = replace(
        before.plan,
        route=batch.plan.route,
        product_class=before.plan.product_class or batch.plan.product_class,
        process=batch.plan.process,
        process_aw=batch.plan.process_aw,
        windows=batch.plan.windows,
        parasite_control=batch.plan.parasite_control,
        opened=batch.plan.opened,
    )
    hands = tuple(
        replace(h, lot=batch.lot, tub=tub) for h in batch.hand_readings for tub in _tubs_of(h.tub, into)
    )  # fmt: skip
    return replace(
        before,
        lot=batch.lot,
        plan=plan,
        placements=tuple(placements),
        stages=(*before.stages, *batch.stages),
        hand_readings=(*(replace(h, lot=batch.lot) for h in before.hand_readings), *hands),
        actions=(*before.actions, *batch.actions),
        core_logs=(*before.core_logs, *batch.core_logs),
        soaks=(*before.soaks, *batch.soaks),
        labels=(*before.labels, *batch.labels),
        ended_at=batch.ended_at,
    )


def _tubs_of(tub: str | None, into: dict[str, str]) -> tuple[str | None, ...]:
    return (None,) if tub is None else tuple(before for before, now in into.items() if now == tub)

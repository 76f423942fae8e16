"""How the events of a batch's making change the kitchen; `collector.fold` asks it. Pure: no clock, no I/O."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from collector import events as e
from collector import events_making as m
from collector.batches import AsMade, Batch, PlanChange, StageSpan
from collector.instruments import by_checks
from collector.kitchen import Kitchen
from collector.logs import ShiftNote, UnderTest
from collector.sample import Instant


def _with_batch(k: Kitchen, batch: Batch) -> Kitchen:
    return replace(k, batches={**k.batches, batch.lot: batch})


def _plan_changed(k: Kitchen, entry: e.Entry, event: m.PlanChanged) -> Kitchen:
    batch = k.batches[event.lot]
    change = PlanChange(entry.at, entry.by, event.reason, batch.plan)
    changes = (*batch.plan_changes, change)
    return _with_batch(k, replace(batch, plan=event.plan, planned_by=entry.by, plan_changes=changes))


def _core_logged(k: Kitchen, entry: e.Entry, event: m.CoreLogged) -> Kitchen:
    batch = k.batches[event.lot]
    return _with_batch(k, replace(batch, core_logs=(*batch.core_logs, event.log)))


def _soak_logged(k: Kitchen, entry: e.Entry, event: m.SoakLogged) -> Kitchen:
    batch = k.batches[event.lot]
    return _with_batch(k, replace(batch, soaks=(*batch.soaks, event.soak)))


def _task_reported(k: Kitchen, entry: e.Entry, event: m.TaskReported) -> Kitchen:
    batch = k.batches[event.lot]
    return _with_batch(k, replace(batch, tasks_done=(*batch.tasks_done, event.done)))


def _label_reported(k: Kitchen, entry: e.Entry, event: m.LabelReported) -> Kitchen:
    batch = k.batches[event.lot]
    return _with_batch(k, replace(batch, labels=(*batch.labels, event.label)))


def _food_disposed(k: Kitchen, entry: e.Entry, event: m.FoodDisposed) -> Kitchen:
    batch = k.batches[event.lot]
    return _with_batch(k, replace(batch, disposals=(*batch.disposals, event.disposal)))


def _closed(batch: Batch, at: Instant, tubs: tuple[str, ...]) -> Batch:
    placements = tuple(
        replace(p, until_at=at) if p.until_at is None and p.tub in tubs else p for p in batch.placements
    )  # fmt: skip
    return replace(batch, placements=placements)


def _ended(batch: Batch, at: Instant) -> Batch:
    stages = tuple(replace(s, until_at=at) if s.until_at is None else s for s in batch.stages)
    return replace(_closed(batch, at, batch.tubs), stages=stages, ended_at=at)


def _batch_split(k: Kitchen, entry: e.Entry, event: m.BatchSplit) -> Kitchen:
    parent = k.batches[event.lot]
    child = replace(
        parent,
        lot=event.child,
        placements=tuple(p for p in parent.placements if p.tub in event.tubs),
        hand_readings=tuple(replace(r, lot=event.child) for r in parent.hand_readings if r.tub in (None, *event.tubs)),
        split_from=event.lot,
    )
    records, signed = k.proposals.get(event.lot, ()), k.sign_offs.get(event.lot, ())
    k = replace(k, proposals={**k.proposals, event.child: records}, sign_offs={**k.sign_offs, event.child: signed})
    return _with_batch(_with_batch(k, child), _closed(parent, entry.at, event.tubs))


def _batches_merged(k: Kitchen, entry: e.Entry, event: m.BatchesMerged) -> Kitchen:
    parents = [k.batches[lot] for lot in dict.fromkeys(s.lot for s in event.strands)]
    child = Batch(
        event.child,
        event.plan,
        AsMade(event.meat_kg, supplier_lots=tuple(dict.fromkeys(s for p in parents for s in p.as_made.supplier_lots))),
        min(p.started_at for p in parents),
        event.placements,
        (StageSpan(parents[0].stages[-1].stage, entry.at),),
        planned_by=entry.by,
        merged_at=entry.at,
        strands=event.strands,
    )
    k = _with_batch(k, child)
    for parent in parents:
        k = _with_batch(k, _ended(parent, entry.at))
    return k


def _composition_confirmed(k: Kitchen, entry: e.Entry, event: m.CompositionConfirmed) -> Kitchen:
    return replace(k, compositions=(*k.compositions, event.composition))


def judged_by_checks(k: Kitchen) -> Kitchen:
    """Return the kitchen with its assignments as the checks of their sensors make them."""
    return replace(k, assignments=by_checks(k.said, k.calibrations, k.under_test))


def _calibration_entered(k: Kitchen, entry: e.Entry, event: m.CalibrationEntered) -> Kitchen:
    return judged_by_checks(replace(k, calibrations=(*k.calibrations, event.calibration)))


def _sensor_under_test(k: Kitchen, entry: e.Entry, event: m.SensorUnderTest) -> Kitchen:
    return judged_by_checks(replace(k, under_test=(*k.under_test, UnderTest(event.channel, event.from_at))))


def _sensor_back(k: Kitchen, entry: e.Entry, event: m.SensorBack) -> Kitchen:
    def back(test: UnderTest) -> UnderTest:
        open_ = test.channel == event.channel and test.until_at is None
        return replace(test, until_at=max(event.until_at, test.from_at)) if open_ else test

    return judged_by_checks(replace(k, under_test=tuple(map(back, k.under_test))))


def _note_pinned(k: Kitchen, entry: e.Entry, event: m.NotePinned) -> Kitchen:
    return replace(k, notes=(*k.notes, ShiftNote(entry.position, event.text, entry.by, entry.at)))


def _note_seen(k: Kitchen, entry: e.Entry, event: m.NoteSeen) -> Kitchen:
    def seen(note: ShiftNote) -> ShiftNote:
        new = note.position == event.note and entry.by not in note.seen_by
        return replace(note, seen_by=(*note.seen_by, entry.by)) if new else note

    return replace(k, notes=tuple(map(seen, k.notes)))


STEPS: dict[type[Any], Callable[[Kitchen, e.Entry, Any], Kitchen]] = {
    m.PlanChanged: _plan_changed,
    m.CoreLogged: _core_logged,
    m.SoakLogged: _soak_logged,
    m.TaskReported: _task_reported,
    m.LabelReported: _label_reported,
    m.FoodDisposed: _food_disposed,
    m.BatchSplit: _batch_split,
    m.BatchesMerged: _batches_merged,
    m.CompositionConfirmed: _composition_confirmed,
    m.CalibrationEntered: _calibration_entered,
    m.SensorUnderTest: _sensor_under_test,
    m.SensorBack: _sensor_back,
    m.NotePinned: _note_pinned,
    m.NoteSeen: _note_seen,
}

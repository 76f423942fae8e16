"""The journal's events folded to the present state, one entry at a time. Pure: no clock, no I/O."""

from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import reduce
from typing import Any

from collector import events as e
from collector.batches import Batch, StageSpan, moved
from collector.fold_drill import STEPS as DRILL_STEPS
from collector.fold_drill import over_by_alarm
from collector.fold_making import STEPS as MAKING_STEPS
from collector.fold_making import judged_by_checks
from collector.fold_watching import STEPS as WATCHING_STEPS
from collector.fold_watching import in_service_where_tubs_stand, unshelved
from collector.kitchen import Alarm, Gap, Kitchen, Person, ProposalRecord, Seen, SignOffRecord, Told
from collector.readings import Assignment
from collector.sample import Instant


def _with(mapping: dict[Any, Any], key: Any, value: Any) -> dict[Any, Any]:
    return {**mapping, key: value}


def _site_described(k: Kitchen, entry: e.Entry, event: e.SiteDescribed) -> Kitchen:
    return replace(k, sites=_with(k.sites, event.site.id, event.site))


def _unit_described(k: Kitchen, entry: e.Entry, event: e.UnitDescribed) -> Kitchen:
    return replace(k, units=_with(k.units, event.unit.id, event.unit))


def _ended(assignments: tuple[Assignment, ...], channel: str, until_at: Instant) -> tuple[Assignment, ...]:
    def end(a: Assignment) -> Assignment:
        open_ = a.channel == channel and (a.until_at is None or a.until_at > until_at)
        return replace(a, until_at=max(until_at, a.from_at)) if open_ else a

    return tuple(a for a in map(end, assignments) if a.until_at is None or a.until_at > a.from_at)


def _channel_assigned(k: Kitchen, entry: e.Entry, event: e.ChannelAssigned) -> Kitchen:
    new = event.assignment
    return judged_by_checks(replace(k, said=(*_ended(k.said, new.channel, new.from_at), new)))


def _assignment_ended(k: Kitchen, entry: e.Entry, event: e.AssignmentEnded) -> Kitchen:
    return judged_by_checks(replace(k, said=_ended(k.said, event.channel, event.until_at)))


def _person_described(k: Kitchen, entry: e.Entry, event: e.PersonDescribed) -> Kitchen:
    return replace(
        k,
        people=_with(k.people, event.person, Person(event.person, event.name, event.roles)),
    )


def _rota_described(k: Kitchen, entry: e.Entry, event: e.RotaDescribed) -> Kitchen:
    return replace(k, rota=event.steps)


def _row_confirmed(k: Kitchen, entry: e.Entry, event: e.RowConfirmed) -> Kitchen:
    return replace(k, confirmed=_with(k.confirmed, (event.rulebook, event.row), event))


def _batch_started(k: Kitchen, entry: e.Entry, event: e.BatchStarted) -> Kitchen:
    stages = (StageSpan(event.stage, entry.at),)
    batch = Batch(event.lot, event.plan, event.as_made, entry.at, event.placements, stages, planned_by=entry.by)
    return replace(k, batches=_with(k.batches, event.lot, batch))


def _change_batch(k: Kitchen, lot: str, change: Callable[[Batch], Batch]) -> Kitchen:
    return replace(k, batches=_with(k.batches, lot, change(k.batches[lot])))


def _as_made_corrected(k: Kitchen, entry: e.Entry, event: e.AsMadeCorrected) -> Kitchen:
    return _change_batch(k, event.lot, lambda b: replace(b, as_made=event.as_made))


def _stage_begun(k: Kitchen, entry: e.Entry, event: e.StageBegun) -> Kitchen:
    def begin(b: Batch) -> Batch:
        closed = tuple(replace(s, until_at=event.from_at) if s.until_at is None else s for s in b.stages)
        return replace(b, stages=(*closed, StageSpan(event.stage, event.from_at)))

    return _change_batch(k, event.lot, begin)


def _tub_moved(k: Kitchen, entry: e.Entry, event: e.TubMoved) -> Kitchen:
    to = event.placement
    return _change_batch(k, event.lot, lambda b: replace(b, placements=moved(b.placements, to.tub, to)))


def _placement_corrected(k: Kitchen, entry: e.Entry, event: e.PlacementCorrected) -> Kitchen:
    def correct(b: Batch) -> Batch:
        others = tuple(p for p in b.placements if p.tub != event.tub)
        return replace(b, placements=others + event.placements)

    return _change_batch(k, event.lot, correct)


def _hand_reading_entered(k: Kitchen, entry: e.Entry, event: e.HandReadingEntered) -> Kitchen:
    lot = event.reading.lot
    if lot is None:
        return replace(k, unit_readings=(*k.unit_readings, event.reading))
    if lot not in k.batches:
        return k
    return _change_batch(k, lot, lambda b: replace(b, hand_readings=(*b.hand_readings, event.reading)))


def _action_entered(k: Kitchen, entry: e.Entry, event: e.CorrectiveActionEntered) -> Kitchen:
    return _change_batch(k, event.lot, lambda b: replace(b, actions=(*b.actions, event.action)))


def _batch_ended(k: Kitchen, entry: e.Entry, event: e.BatchEnded) -> Kitchen:
    def end(b: Batch) -> Batch:
        placements = tuple(replace(p, until_at=event.ended_at) if p.until_at is None else p for p in b.placements)
        stages = tuple(replace(s, until_at=event.ended_at) if s.until_at is None else s for s in b.stages)
        return replace(b, placements=placements, stages=stages, ended_at=event.ended_at)

    return _change_batch(k, event.lot, end)


def _keep_alarm(k: Kitchen, alarm: Alarm) -> Kitchen:
    if alarm.state == "normal":
        alarms = {name: a for name, a in k.alarms.items() if name != alarm.id}
        return replace(k, alarms=alarms, past_alarms=_with(k.past_alarms, alarm.id, alarm))
    return replace(k, alarms=_with(k.alarms, alarm.id, alarm))


def _alarm_raised(k: Kitchen, entry: e.Entry, event: e.AlarmRaised) -> Kitchen:
    woke_at = entry.at if event.condition.wakes else None
    k = over_by_alarm(k, event.condition, entry.at)
    return _keep_alarm(k, Alarm(f"A{entry.position}", event.condition, entry.at, woke_at=woke_at))


def _alarm_changed(k: Kitchen, entry: e.Entry, event: e.AlarmChanged) -> Kitchen:
    alarm = k.alarms[event.alarm]
    if event.condition.judges_product:
        # What has become worse for the meat is told at once.
        alarm = unshelved(alarm, entry.at, entry.by, "worse")
    woke_at = alarm.woke_at if alarm.woke_at is not None else entry.at
    changed = replace(
        alarm,
        condition=event.condition,
        changes=alarm.changes + 1,
        changed_at=entry.at,
        woke_at=woke_at if event.condition.wakes else None,
    )
    return _keep_alarm(over_by_alarm(k, event.condition, entry.at), changed)


def _alarm_acknowledged(k: Kitchen, entry: e.Entry, event: e.AlarmAcknowledged) -> Kitchen:
    alarm = k.alarms.get(event.alarm)
    if alarm is None:
        return k
    answered = replace(
        unshelved(alarm, entry.at, entry.by, "answered"),
        acknowledged_at=entry.at,
        acknowledged_by=entry.by,
        answer=event.answer,
        arriving_at=event.arriving_at,
    )
    return _keep_alarm(k, answered)


def _alarm_returned(k: Kitchen, entry: e.Entry, event: e.AlarmReturned) -> Kitchen:
    alarm = k.alarms[event.alarm]
    back = replace(
        unshelved(alarm, entry.at, entry.by, "returned"),
        returned_at=entry.at,
        return_sentence=event.sentence,
        return_parameters=dict(event.parameters),
    )
    return _keep_alarm(k, back)


def _attempted(before: tuple[Told, ...], at: Instant, event: e.AlarmTold) -> tuple[Told, ...]:
    began_at = at if event.state == "attempting" else None
    told = Told(at, event.occasion, event.person, event.channel, event.state, event.detail, began_at)
    key = (event.occasion, event.person, event.channel, "attempting")
    begun = [n for n, t in enumerate(before) if (t.occasion, t.person, t.channel, t.state) == key]
    if began_at is not None or not begun:
        return (*before, told)
    # The latest one has ended; an earlier one was cut off, and its end stays unknown.
    n = begun[-1]
    return (*before[:n], replace(told, began_at=before[n].began_at), *before[n + 1 :])


def _alarm_told(k: Kitchen, entry: e.Entry, event: e.AlarmTold) -> Kitchen:
    alarm = k.alarm(event.alarm)
    if alarm is None:
        return k
    if event.state == "seen":
        seen = Seen(entry.at, event.occasion, event.person, event.channel)
        heard = replace(alarm, seen=(*alarm.seen, seen))
    else:
        heard = replace(alarm, told=_attempted(alarm.told, entry.at, event))
    if event.alarm in k.past_alarms:
        return replace(k, past_alarms=_with(k.past_alarms, event.alarm, heard))
    return replace(k, alarms=_with(k.alarms, event.alarm, heard))


def _proposal_made(k: Kitchen, entry: e.Entry, event: e.ProposalMade) -> Kitchen:
    lot = event.proposal.lot
    record = ProposalRecord(entry.position, entry.at, entry.by, event.proposal)
    return replace(k, proposals=_with(k.proposals, lot, (*k.proposals.get(lot, ()), record)))


def _disposition_signed(k: Kitchen, entry: e.Entry, event: e.DispositionSigned) -> Kitchen:
    lot = event.sign_off.lot
    record = SignOffRecord(entry.position, entry.at, entry.by, event.sign_off)
    return replace(k, sign_offs=_with(k.sign_offs, lot, (*k.sign_offs.get(lot, ()), record)))


def _gap_suspected(k: Kitchen, entry: e.Entry, event: e.GapSuspected) -> Kitchen:
    return replace(k, gaps=(*k.gaps, Gap(event.from_at, event.until_at, event.cause)))


def _item_set_aside(k: Kitchen, entry: e.Entry, event: e.ItemSetAside) -> Kitchen:
    return replace(k, set_aside=_with(k.set_aside, event.item, event.reason))


_STEPS: dict[type[Any], Callable[[Kitchen, e.Entry, Any], Kitchen]] = {
    e.SiteDescribed: _site_described,
    e.UnitDescribed: _unit_described,
    e.ChannelAssigned: _channel_assigned,
    e.AssignmentEnded: _assignment_ended,
    e.PersonDescribed: _person_described,
    e.RotaDescribed: _rota_described,
    e.RowConfirmed: _row_confirmed,
    e.BatchStarted: _batch_started,
    e.AsMadeCorrected: _as_made_corrected,
    e.StageBegun: _stage_begun,
    e.TubMoved: _tub_moved,
    e.PlacementCorrected: _placement_corrected,
    e.HandReadingEntered: _hand_reading_entered,
    e.CorrectiveActionEntered: _action_entered,
    **MAKING_STEPS,
    e.BatchEnded: _batch_ended,
    e.AlarmRaised: _alarm_raised,
    e.AlarmChanged: _alarm_changed,
    e.AlarmAcknowledged: _alarm_acknowledged,
    e.AlarmReturned: _alarm_returned,
    e.AlarmTold: _alarm_told,
    **WATCHING_STEPS,
    **DRILL_STEPS,
    e.ProposalMade: _proposal_made,
    e.DispositionSigned: _disposition_signed,
    e.GapSuspected: _gap_suspected,
    e.ItemSetAside: _item_set_aside,
}


def step(kitchen: Kitchen, entry: e.Entry) -> Kitchen:
    """Return the kitchen after one more entry.

    Raises
    ------
    ValueError
        If the entry does not follow the kitchen's position.
    """
    if entry.position != kitchen.position + 1:
        raise ValueError(f"entry {entry.position} does not follow position {kitchen.position}")
    after = _STEPS[type(entry.event)](kitchen, entry, entry.event)
    moved = after.batches is not kitchen.batches or after.out_of_service is not kitchen.out_of_service
    if after.out_of_service and moved:
        after = in_service_where_tubs_stand(after, entry.at)
    return replace(after, position=entry.position)


def fold(entries: Iterable[e.Entry], start: Kitchen | None = None) -> Kitchen:
    """Return the kitchen that the entries make, from the beginning or from an earlier state."""
    return reduce(step, entries, start if start is not None else Kitchen())

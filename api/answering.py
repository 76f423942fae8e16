"""From the kitchen to what the JSON API says of it. Pure: no clock, no I/O."""

import json
import math
from collections.abc import Callable, Iterable, Sequence
from typing import TypeVar

import numpy as np
from pydantic import BaseModel

from alerts.holdover import HoldOver
from alerts.sentences import alarm_text, first_steps, looks_like
from alerts.sentences_findings import finding_text, proposal_text
from alerts.suspended import works_of
from api.actions.signing import choices
from api.actions.standing import standing
from api.answers import (
    AlarmAnswer,
    AssignmentAnswer,
    BatchAnswer,
    BatchSummary,
    ChannelAnswer,
    CoreLogAnswer,
    CorrectiveActionAnswer,
    DisposalAnswer,
    EntryAnswer,
    EstimateAnswer,
    EvidenceAnswer,
    FindingAnswer,
    HandReadingAnswer,
    LabelAnswer,
    OutOfServiceAnswer,
    PlacementAnswer,
    PlanChangeAnswer,
    PointAnswer,
    ProposalAnswer,
    ReadingAnswer,
    ShelvingAnswer,
    SignOffAnswer,
    SoakAnswer,
    StageAnswer,
    StoppedAnswer,
    UnitAnswer,
    WorkAnswer,
)
from api.tonight import UnitNow, hold_overs, zone_of
from collector.batches import Batch
from collector.events import Draft, Entry, encode
from collector.kitchen import Alarm, Kitchen, ProposalRecord, SignOffRecord
from collector.logs import CoreLog
from collector.sample import Instant, Quality
from collector.storage import ChannelSeen, Series

Kept = TypeVar("Kept")
DOUBTS = {
    Quality.CLOCK_DOUBT: "clock not believed",
    Quality.PROBE_FAULT: "probe fault",
    Quality.OUT_OF_RANGE: "out of range",
    Quality.CONFLICT: "another value at the same instant",
}
Said = TypeVar("Said", bound=BaseModel)


def page_of(
    items: Sequence[Kept], limit: int, say: Callable[[Kept], Said], key: Callable[[Kept], str]
) -> tuple[list[Said], str | None]:
    """Return the first `limit` of the items as said, and the cursor behind them where more follow."""
    shown = items[:limit]
    return [say(item) for item in shown], key(shown[-1]) if len(items) > limit else None


def doubts(quality: int) -> list[str]:
    """Return what is doubtful about a value, in words."""
    return [word for flag, word in DOUBTS.items() if quality & flag]


def _stopped(lot: str, one: HoldOver, now: Instant) -> StoppedAnswer:
    spans = (one.early_s, one.likely_s, one.late_s)
    early, likely, late = (None if s is None or math.isinf(s) else round(now + s) for s in spans)
    return StoppedAnswer(lot=lot, early_at=early, likely_at=likely, late_at=late, learned=one.learned)


def unit_answer(kitchen: Kitchen, unit: UnitNow, now: Instant) -> UnitAnswer:
    """Return what is said of a unit."""
    estimates = [
        EstimateAnswer(
            lot=lot,
            at=e.at,
            likely_c=e.likely_c,
            lower_c=e.lower_c,
            upper_c=e.upper_c,
            claimed_low_c=None if e.claimed_c is None else e.claimed_c[0],
            claimed_high_c=None if e.claimed_c is None else e.claimed_c[1],
            air_c=e.air_c,
        )
        for lot, e in sorted(unit.estimates.items())
    ]
    out = kitchen.out_of_service.get(unit.unit.id)
    return UnitAnswer(
        id=unit.unit.id,
        name=unit.unit.name,
        kind=unit.unit.kind,
        site=unit.unit.site,
        limit_c=unit.limit_c,
        sentence=unit.sentence,
        estimates=estimates,
        if_cooling_stopped=[_stopped(lot, one, now) for lot, one in sorted(hold_overs(unit, now).items())],
        batches=[b.lot for b in unit.batches],
        alarms=[a.id for a in unit.alarms],
        channels=[AssignmentAnswer.model_validate(a) for a in kitchen.assignments_of(unit.unit.id, now)],
        out_of_service=None if out is None else OutOfServiceAnswer.model_validate(out),
        planned_work=[WorkAnswer.model_validate(work) for work in works_of(kitchen, unit.unit.id, now)],
    )


def units_of(batch: Batch) -> list[str]:
    """Return the units in which a batch has tubs now."""
    return sorted({p.unit for p in batch.placements if p.until_at is None and p.unit is not None})


def batch_summary(kitchen: Kitchen, batch: Batch) -> BatchSummary:
    """Return what a list says of a batch."""
    stands = standing(kitchen, batch.lot)
    return BatchSummary(
        lot=batch.lot,
        name=batch.plan.name,
        stage=batch.stages[-1].stage,
        units=units_of(batch),
        started_at=batch.started_at,
        cure_end_at=kitchen.cure_end_at(batch.lot),
        ended_at=batch.ended_at,
        disposition=stands.disposition,
        signed=stands.signed,
    )


def proposal_answer(record: ProposalRecord, zone: str) -> ProposalAnswer:
    """Return what is said of a proposal."""
    proposal = record.proposal
    findings = [
        FindingAnswer(
            rule=f.rule,
            outcome=f.outcome,
            tier=f.tier,
            text=finding_text(f, zone),
            limits=f.limits,
            add_s=f.add_s,
            evidence=EvidenceAnswer.model_validate(f.evidence),
        )
        for f in proposal.findings
    ]
    return ProposalAnswer(
        position=record.position,
        at=record.at,
        disposition=proposal.disposition,
        text=proposal_text(proposal, zone),
        findings=findings,
        judged_until_at=proposal.judged_until_at,
        rulebook=proposal.rulebook,
        software=proposal.software,
        add_s=proposal.add_s,
        new_end_at=proposal.new_end_at,
        decide_by_at=proposal.decide_by_at,
        blocks_release=proposal.blocks_release,
    )


def sign_off_answer(record: SignOffRecord) -> SignOffAnswer:
    """Return what is said of a decision."""
    signed = record.sign_off
    return SignOffAnswer(
        position=record.position,
        at=record.at,
        person=signed.person,
        disposition=signed.disposition,
        reason=signed.reason,
        proposal=signed.proposal,
        where_kept=signed.where_kept,
    )


def zone_of_batch(kitchen: Kitchen, batch: Batch) -> str:
    """Return the time zone of the walls that a batch last stood between."""
    units = [p.unit for p in batch.placements if p.unit is not None]
    return zone_of(kitchen, units[-1] if units else None)


def core_log_answer(log: CoreLog) -> CoreLogAnswer:
    """Return a core log with its points named."""
    points = [PointAnswer(at=at, core_c=core_c) for at, core_c in log.points]
    return CoreLogAnswer(stage=log.stage, probe=log.probe, points=points, person=log.person, note=log.note)


def batch_answer(kitchen: Kitchen, batch: Batch) -> BatchAnswer:
    """Return everything that is said of one batch."""
    record, stands = kitchen.proposal_of(batch.lot), standing(kitchen, batch.lot)
    zone = zone_of_batch(kitchen, batch)
    return BatchAnswer(
        **dict(batch_summary(kitchen, batch)),
        plan=batch.plan,
        as_made=batch.as_made,
        placements=[PlacementAnswer.model_validate(p) for p in batch.placements],
        stages=[StageAnswer.model_validate(s) for s in batch.stages],
        hand_readings=[HandReadingAnswer.model_validate(h) for h in batch.hand_readings],
        actions=[CorrectiveActionAnswer.model_validate(a) for a in batch.actions],
        core_logs=[core_log_answer(log) for log in batch.core_logs],
        soaks=[SoakAnswer.model_validate(s) for s in batch.soaks],
        labels=[LabelAnswer.model_validate(label) for label in batch.labels],
        disposals=[DisposalAnswer.model_validate(d) for d in batch.disposals],
        plan_changes=[PlanChangeAnswer.model_validate(c) for c in batch.plan_changes],
        proposal=None if record is None else proposal_answer(record, zone),
        may_sign=list(choices(stands)),
        sign_offs=[sign_off_answer(s) for s in kitchen.sign_offs.get(batch.lot, ())],
    )


def alarm_number(alarm: Alarm) -> int:
    """Return the journal position after which an alarm is named."""
    return int(alarm.id[1:])


def alarm_answer(kitchen: Kitchen, alarm: Alarm) -> AlarmAnswer:
    """Return what is said of an alarm."""
    condition = alarm.condition
    return AlarmAnswer(
        id=alarm.id,
        state=alarm.state,
        unit=condition.unit,
        kind=condition.kind,
        category=condition.category,
        wakes=condition.wakes,
        text=alarm_text(alarm, zone_of(kitchen, condition.unit)),
        looks_like=looks_like(condition, zone_of(kitchen, condition.unit)),
        first_steps=list(first_steps(condition)),
        lots=condition.lots,
        since_at=condition.since_at,
        raised_at=alarm.raised_at,
        early_at=condition.early_at,
        likely_at=condition.likely_at,
        acknowledged_at=alarm.acknowledged_at,
        acknowledged_by=alarm.acknowledged_by,
        answer=alarm.answer,
        arriving_at=alarm.arriving_at,
        returned_at=alarm.returned_at,
        shelved=None if alarm.shelving is None else ShelvingAnswer.model_validate(alarm.shelving),
    )


def channel_answer(kitchen: Kitchen, seen: ChannelSeen, now: Instant) -> ChannelAnswer:
    """Return what is said of a channel that has sent something."""
    assigned = kitchen.assigned(seen.channel, now)
    return ChannelAnswer(
        channel=seen.channel,
        unit=seen.unit,
        first_at=seen.first_at,
        last_at=seen.last_at,
        last_value=seen.last_value,
        topic=seen.topic,
        assignment=None if assigned is None else AssignmentAnswer.model_validate(assigned),
    )


def reading_answers(series: Series) -> list[ReadingAnswer]:
    """Return what is said of each reading of a channel."""
    columns: Iterable[tuple[float, float, int, float]] = zip(
        series.measured_at.tolist(),
        series.values.tolist(),
        np.asarray(series.quality).tolist(),
        series.received_at.tolist(),
        strict=True,
    )
    return [ReadingAnswer(measured_at=at, value=v, received_at=got, doubts=doubts(q)) for at, v, q, got in columns]


def entry_answer(entry: Entry) -> EntryAnswer:
    """Return one line of the journal as it would be written today."""
    body = json.loads(encode(Draft(entry.at, entry.by, entry.event), entry.recorded_at))["body"]
    return EntryAnswer(
        position=entry.position,
        at=entry.at,
        recorded_at=entry.recorded_at,
        by=entry.by,
        kind=type(entry.event).__name__,
        body=body,
    )

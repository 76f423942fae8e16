"""Everything a person does: (kitchen, request, person, now) to events, or to what is wrong and how to mend it. Pure."""

from collections.abc import Sequence
from typing import TypeAlias

from api import requests as r
from api.checking import Checks
from collector import events as e
from collector.batches import CorrectiveAction, HandReading, Placement, Stage, Where, placement_faults
from collector.fault import Fault
from collector.findings import Disposition, SignOff
from collector.kitchen import Kitchen
from collector.readings import Assignment, Quantity
from collector.sample import Instant

Answer: TypeAlias = Sequence[e.Draft] | tuple[Fault, ...]
"""Events to append, or faults; never both, and an empty sequence of events where nothing changes."""

MEASURES = ("temperature", "strength", "ph", "aw", "mass")
ANSWERS = ("going", "passing on", "cannot")


def faults_of(answer: Answer) -> tuple[Fault, ...]:
    """Return the faults of an answer, empty where it is events."""
    return tuple(item for item in answer if isinstance(item, Fault))


def _done(checks: Checks, person: str, at: Instant, *events: e.Event) -> Answer:
    return checks.faults or [e.Draft(at, person, event) for event in events]


def start_batch(kitchen: Kitchen, asked: r.StartBatch, person: str, now: Instant) -> Answer:
    """Begin a batch with its plan, its as-made sheet and where its tubs stand."""
    c = Checks(kitchen, now)
    c.name("lot", asked.lot)
    if asked.lot in kitchen.batches:
        c.say("lot", f"{asked.lot} exists already", "give this batch a lot code of its own")
    c.not_later("started_at", asked.started_at)
    c.plan(asked.plan)
    c.as_made(asked.as_made)
    c.one_of("stage", asked.stage, tuple(Stage))
    if not asked.tubs:
        c.say("tubs", "no tub is named", "name at least one tub and the unit it stands in")
    names = [tub for tub, _ in asked.tubs]
    if len(set(names)) != len(names):
        c.say("tubs", "two tubs have the same name", "give each tub a name of its own")
    for tub, unit in asked.tubs:
        c.name("tub", tub)
        c.unit("unit", unit)
    if c.faults:
        return c.faults
    placements = tuple(Placement(tub, unit, round(asked.started_at, 3)) for tub, unit in asked.tubs)
    started = e.BatchStarted(asked.lot, asked.plan, asked.as_made, placements, Stage(asked.stage))
    return _done(c, person, round(asked.started_at, 3), started)


def correct_as_made(kitchen: Kitchen, asked: r.CorrectAsMade, person: str, now: Instant) -> Answer:
    """Complete or correct the as-made sheet; the first sheet stays in the journal."""
    c = Checks(kitchen, now)
    batch = c.batch(asked.lot)
    c.as_made(asked.as_made)
    c.text("reason", asked.reason)
    if batch is not None and asked.as_made == batch.as_made and not c.faults:
        return []
    return _done(c, person, now, e.AsMadeCorrected(asked.lot, asked.as_made, asked.reason))


def move_tub(kitchen: Kitchen, asked: r.MoveTub, person: str, now: Instant) -> Answer:
    """Move a tub to another unit, or out of any."""
    c = Checks(kitchen, now)
    batch = c.running(asked.lot)
    c.not_later("from_at", asked.from_at)
    if asked.unit is not None:
        c.unit("unit", asked.unit)
    elif asked.bench_c is None:
        c.say("bench_c", "out of a unit without an air temperature", "enter how warm the air is there")
    else:
        c.temperature("bench_c", asked.bench_c)
    if batch is not None:
        open_ = next((p for p in batch.placements if p.tub == asked.tub and p.until_at is None), None)
        if open_ is None:
            c.say("tub", f"{asked.tub!r} is no tub of {asked.lot} that stands anywhere", "choose one of its tubs")
        elif asked.from_at <= open_.from_at:
            c.say("from_at", "the tub had not yet come to where it stands", "correct its placement instead")
        elif asked.unit is not None and asked.unit == open_.unit:
            return c.faults or []
    placement = Placement(asked.tub, asked.unit, round(asked.from_at, 3), None, asked.bench_c)
    return _done(c, person, now, e.TubMoved(asked.lot, placement))


def correct_placement(kitchen: Kitchen, asked: r.CorrectPlacement, person: str, now: Instant) -> Answer:
    """Put right where a tub stood; the next judgement sees it, earlier ones stay."""
    c = Checks(kitchen, now)
    batch = c.batch(asked.lot)
    c.text("reason", asked.reason)
    placements = tuple(
        Placement(asked.tub, unit, round(begin, 3), None if end is None else round(end, 3), bench)
        for unit, begin, end, bench in asked.stretches
    )
    if not placements:
        c.say("stretches", "no stretch is given", "say where the tub stood, from when until when")
    for placement in placements:
        if placement.unit is not None:
            c.unit("unit", placement.unit)
        elif placement.bench_c is not None:
            c.temperature("bench_c", placement.bench_c)
        c.not_later("from_at", placement.from_at)
        if placement.until_at is not None:
            c.not_later("until_at", placement.until_at)
    for wrong in placement_faults(placements):
        said, _, mend = wrong.partition("; ")
        c.say("stretches", said, mend or "make each stretch end where the next begins")
    if batch is not None and placements:
        _check_against(c, batch.lot, asked.tub, batch.tubs, placements, batch.started_at, batch.ended_at)
    return _done(c, person, now, e.PlacementCorrected(asked.lot, asked.tub, placements, asked.reason))


def _check_against(
    c: Checks,
    lot: str,
    tub: str,
    tubs: tuple[str, ...],
    placements: tuple[Placement, ...],
    started_at: Instant,
    ended_at: Instant | None,
) -> None:
    if tub not in tubs:
        c.say("tub", f"{tub!r} is no tub of {lot}", "choose one of its tubs")
    if placements[0].from_at != started_at:
        c.say("from_at", "the first stretch must begin when the batch began", "begin it at the start of the batch")
    if (placements[-1].until_at is None) != (ended_at is None):
        c.say("until_at", "only the last stretch of a running batch is open", "leave exactly that one without an end")


def enter_hand_reading(kitchen: Kitchen, asked: r.EnterHandReading, person: str, now: Instant) -> Answer:
    """Enter what a person measured, in a batch or in a unit."""
    c = Checks(kitchen, now)
    c.not_later("measured_at", asked.measured_at)
    c.one_of("measure", asked.measure, MEASURES)
    c.one_of("where", asked.where, tuple(Where))
    c.text("probe", asked.probe)
    c.measured(asked.measure, asked.value)
    if asked.lot is None and asked.unit is None:
        c.say("lot", "neither a batch nor a unit is named", "name the batch it was measured in")
    if asked.unit is not None:
        c.unit("unit", asked.unit)
    batch = c.batch(asked.lot) if asked.lot is not None else None
    if batch is not None:
        if asked.tub is not None and asked.tub not in batch.tubs:
            c.say("tub", f"{asked.tub!r} is no tub of {asked.lot}", f"choose one of {', '.join(batch.tubs)}")
        if asked.measured_at < batch.started_at:
            c.say("measured_at", "that is before the batch began", "enter when it was measured")
    if c.faults:
        return c.faults
    reading = HandReading(
        round(asked.measured_at, 3),
        asked.measure,
        asked.value,
        Where(asked.where),
        asked.probe,
        asked.lot,
        asked.unit,
        asked.tub,
    )
    if batch is not None and reading in batch.hand_readings:
        return []
    return _done(c, person, round(asked.measured_at, 3), e.HandReadingEntered(reading))


def enter_action(kitchen: Kitchen, asked: r.EnterAction, person: str, now: Instant) -> Answer:
    """Enter what was done about an excursion: all four fields are asked for."""
    c = Checks(kitchen, now)
    c.batch(asked.lot)
    c.not_later("excursion_at", asked.excursion_at)
    for name in ("cause", "control_regained", "prevention", "food_disposed"):
        c.text(name, getattr(asked, name))
    action = CorrectiveAction(
        asked.excursion_at, asked.cause, asked.control_regained, asked.prevention, asked.food_disposed
    )
    return _done(c, person, now, e.CorrectiveActionEntered(asked.lot, action))


def begin_stage(kitchen: Kitchen, asked: r.BeginStage, person: str, now: Instant) -> Answer:
    """Let a batch go on to another stage."""
    c = Checks(kitchen, now)
    batch = c.running(asked.lot)
    c.one_of("stage", asked.stage, tuple(Stage))
    c.not_later("from_at", asked.from_at)
    if batch is not None and asked.from_at <= batch.stages[-1].from_at:
        c.say("from_at", "that is before the present stage began", "enter when the new stage began")
    if c.faults:
        return c.faults
    return _done(c, person, now, e.StageBegun(asked.lot, Stage(asked.stage), round(asked.from_at, 3)))


def end_batch(kitchen: Kitchen, asked: r.EndBatch, person: str, now: Instant) -> Answer:
    """End a batch; one on hold or rejected ends only as disposed of, with a signed decision."""
    c = Checks(kitchen, now)
    batch = c.running(asked.lot)
    c.not_later("ended_at", asked.ended_at)
    c.text("reason", asked.reason)
    if batch is not None:
        latest = max([batch.started_at, *(p.from_at for p in batch.placements), *(s.from_at for s in batch.stages)])
        if asked.ended_at <= latest:
            c.say("ended_at", "something happened to the batch after that", "enter when it left the cold rooms")
        if blocked_from_release(kitchen, asked.lot):
            c.say("lot", f"{asked.lot} is on hold or rejected", "an approver signs what becomes of it first")
    return _done(c, person, now, e.BatchEnded(asked.lot, round(asked.ended_at, 3), asked.reason))


def assign_channel(kitchen: Kitchen, asked: r.AssignChannel, person: str, now: Instant) -> Answer:
    """Say what a channel measures; an earlier open assignment of it ends there."""
    c = Checks(kitchen, now)
    c.name("channel", asked.channel)
    c.one_of("quantity", asked.quantity, tuple(Quantity))
    c.unit("unit", asked.unit)
    c.text("place", asked.place)
    c.not_later("from_at", asked.from_at)
    c.between("offset_c", asked.offset_c, -10.0, 10.0, "K")
    c.between("interval_s", asked.interval_s, 1.0, 86_400.0, "s")
    c.between("uncertainty_c", asked.uncertainty_c, 0.05, 5.0, "K")
    if asked.lot is not None:
        batch = c.batch(asked.lot)
        if batch is not None and asked.tub is not None and asked.tub not in batch.tubs:
            c.say("tub", f"{asked.tub!r} is no tub of {asked.lot}", f"choose one of {', '.join(batch.tubs)}")
    elif asked.quantity == Quantity.BRINE_TEMPERATURE:
        c.say("lot", "a probe in brine stands in one batch", "name that batch")
    if c.faults:
        return c.faults
    assignment = Assignment(
        asked.channel,
        Quantity(asked.quantity),
        asked.unit,
        asked.place,
        round(asked.from_at, 3),
        None,
        asked.offset_c,
        asked.interval_s,
        asked.uncertainty_c,
        asked.lot,
        asked.tub,
    )
    return [] if assignment in kitchen.assignments else _done(c, person, now, e.ChannelAssigned(assignment))


def end_assignment(kitchen: Kitchen, asked: r.EndAssignment, person: str, now: Instant) -> Answer:
    """Say that a channel measures nothing of ours any more."""
    c = Checks(kitchen, now)
    c.text("reason", asked.reason)
    c.not_later("until_at", asked.until_at)
    if kitchen.assigned(asked.channel, now) is None:
        c.say("channel", f"{asked.channel!r} is assigned to nothing", "choose an assigned channel")
    return _done(c, person, now, e.AssignmentEnded(asked.channel, round(asked.until_at, 3), asked.reason))


def acknowledge(kitchen: Kitchen, asked: r.Acknowledge, person: str, now: Instant) -> Answer:
    """Answer an alarm. It is no end: the telling comes back if the product still warms at the stated time."""
    c = Checks(kitchen, now)
    alarm = kitchen.alarms.get(asked.alarm)
    if alarm is None:
        c.say("alarm", f"there is no open alarm {asked.alarm!r}", "look at Tonight for what stands")
    c.one_of("answer", asked.answer, ANSWERS)
    if asked.answer == "going" and alarm is not None and alarm.active:
        if asked.arriving_at is None:
            c.say("arriving_at", "no time is given", "say when you will be there")
        elif not now - 60.0 <= asked.arriving_at <= now + 12 * 3600.0:
            c.say("arriving_at", "that is not within the next twelve hours", "say when you will be there")
    arriving_at = None if asked.arriving_at is None else round(asked.arriving_at)
    answered = e.AlarmAcknowledged(asked.alarm, asked.answer, arriving_at, asked.note[:500])
    return _done(c, person, now, answered)


def blocked_from_release(kitchen: Kitchen, lot: str) -> bool:
    """Return whether the latest proposal blocks release and no approver has signed otherwise since."""
    record = kitchen.proposal_of(lot)
    signed = kitchen.sign_off_of(lot)
    if signed is not None and signed.sign_off.disposition in (Disposition.HOLD, Disposition.REJECT):
        return signed.sign_off.disposition is Disposition.HOLD
    if record is None or not record.proposal.blocks_release:
        return False
    return signed is None or signed.position < record.position


def sign(kitchen: Kitchen, asked: r.Sign, person: str, now: Instant) -> Answer:
    """Confirm or change a disposition: an approver, with a reason, looking at the latest proposal."""
    c = Checks(kitchen, now)
    c.batch(asked.lot)
    c.one_of("disposition", asked.disposition, tuple(Disposition))
    c.text("reason", asked.reason)
    who = kitchen.people.get(person)
    if who is None or "approver" not in who.roles:
        c.say("person", "only an approver signs", "ask an approver of the site")
    record = kitchen.proposal_of(asked.lot)
    if record is None:
        c.say("proposal", "nothing has been proposed yet", "wait until the batch has been judged")
    elif asked.proposal != record.position:
        c.say("proposal", "the batch has been judged anew since", "look at the new proposal, then sign")
    if record is not None and asked.disposition in tuple(Disposition):
        _check_strength(c, kitchen, asked, record.proposal.disposition)
    if c.faults:
        return c.faults
    signed = SignOff(
        asked.lot, Disposition(asked.disposition), asked.reason, person, asked.proposal, asked.where_kept[:200]
    )
    return _done(c, person, now, e.DispositionSigned(signed))


def _check_strength(c: Checks, kitchen: Kitchen, asked: r.Sign, proposed: Disposition) -> None:
    chosen = Disposition(asked.disposition)
    before = kitchen.sign_off_of(asked.lot)
    rejected = before is not None and before.sign_off.disposition is Disposition.REJECT
    if (proposed is Disposition.REJECT or rejected) and chosen not in (Disposition.REJECT, Disposition.HOLD):
        c.say("disposition", "a rejected batch can only be disposed of or returned to hold", "choose reject or hold")
    if chosen is Disposition.RELEASE and proposed is not Disposition.RELEASE:
        c.say("disposition", "release needs its own evidence, and the rules do not propose it", "choose another")
    if chosen is Disposition.HOLD and not asked.where_kept.strip():
        c.say("where_kept", "held food stands somewhere", "say where it is kept and how it is labelled")


def confirm_row(kitchen: Kitchen, asked: r.ConfirmRow, person: str, now: Instant, rows: Sequence[str]) -> Answer:
    """Say that a rulebook row was compared with its document; from then on it may take its full part."""
    c = Checks(kitchen, now)
    c.text("document", asked.document)
    who = kitchen.people.get(person)
    if who is None or "approver" not in who.roles:
        c.say("person", "only an approver confirms", "ask an approver of the site")
    if asked.row not in rows:
        c.say("row", f"the rulebook has no row {asked.row!r}", "choose one that `curevigil rulebook show` prints")
    if (asked.rulebook, asked.row) in kitchen.confirmed and not c.faults:
        return []
    return _done(c, person, now, e.RowConfirmed(asked.rulebook, asked.row, asked.document, person))

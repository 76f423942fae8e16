"""What each event does to the kitchen, and that folding in parts is folding at once."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector import events as e
from collector import events_drill as d
from collector import events_making as m
from collector import events_watching as w
from collector.batches import (
    AsMade,
    CorrectiveAction,
    HandReading,
    Method,
    Packing,
    Placement,
    Plan,
    Route,
    Stage,
    StageSpan,
    Strand,
    Where,
)
from collector.events import KINDS, Draft, Entry, decode, encode
from collector.findings import Condition, Disposition, Proposal, SignOff
from collector.fold import fold, step
from collector.kitchen import Gap, Kitchen, Person, ProposalRecord, Seen, SignOffRecord, Told
from collector.logs import Calibration, Composition, CoreLog, Disposal, LabelApplied, SoakLog, TaskDone, UnderTest
from collector.readings import Assignment, Quantity, Site, Unit
from collector.rota import RotaStep

NOON = 1_767_268_800.0
H = 3600.0

SITE = Site("home", "Älgen smokehouse", "America/New_York", "US")
UNIT = Unit("walk-in", "home", "Walk-in", "cold room")
PLAN = Plan("Loin", "pork", "loin", Method.IMMERSION, Packing.UNDER_BRINE, Route.COOKED, 120 * H, 65.0, 12.0)
MADE = AsMade(12.0)
TUBS = (Placement("1", "walk-in", NOON), Placement("2", "walk-in", NOON))
STARTED = e.BatchStarted("L1", PLAN, MADE, TUBS)
WARM = Condition("walk-in", "product warm", "temperature", True, NOON, ("L1",))


def entries(*events: e.Event | tuple[float, e.Event], by: str = "kim") -> list[Entry]:
    """Return the events as entries; an event alone is dated an hour after the one before."""
    found = []
    for i, event in enumerate(events):
        at, what = event if isinstance(event, tuple) else (NOON + i * H, event)
        found.append(Entry(i + 1, at, at + 1, by, what))
    return found


def kitchen(*events: e.Event | tuple[float, e.Event]) -> Kitchen:
    return fold(entries(*events))


def proposal(
    lot: str = "L1", disposition: Disposition = Disposition.CONTINUE, new_end_at: float | None = None
) -> Proposal:
    return Proposal(lot, disposition, (), NOON, "US 2026.1", "0.1.0", new_end_at=new_end_at)


def assigned(
    channel: str = "c", unit: str = "walk-in", from_at: float = NOON, until_at: float | None = None
) -> Assignment:
    return Assignment(channel, Quantity.AIR_TEMPERATURE, unit, "by the fan", from_at, until_at)


def test_no_entries_make_an_empty_kitchen() -> None:
    assert fold([]) == Kitchen()


@pytest.mark.parametrize("position", [0, 1, 3])
def test_an_entry_that_does_not_follow_is_refused(position: int) -> None:
    start = kitchen(e.SiteDescribed(SITE))
    with pytest.raises(ValueError, match=f"entry {position} does not follow position 1"):
        step(start, Entry(position, NOON, NOON, "kim", e.UnitDescribed(UNIT)))


def test_what_is_described_again_replaces_what_was_described() -> None:
    k = kitchen(
        e.SiteDescribed(SITE),
        e.SiteDescribed(replace(SITE, name="Barn")),
        e.UnitDescribed(UNIT),
        e.UnitDescribed(replace(UNIT, limit_c=3.0)),
        e.PersonDescribed("kim", "Kim", ("operator",)),
        e.PersonDescribed("kim", "Kim Doe", ("approver",)),
        e.RotaDescribed((RotaStep("kim", 0.0),)),
        e.RotaDescribed((RotaStep("sam", 60.0),)),
    )
    assert {s.name for s in k.sites.values()} == {"Barn"}
    assert k.units["walk-in"].limit_c == 3.0
    assert k.people == {"kim": Person("kim", "Kim Doe", ("approver",))}
    assert k.rota == (RotaStep("sam", 60.0),)
    assert k.position == 8


def test_a_confirmed_row_is_confirmed_for_its_rulebook_alone() -> None:
    confirmed = e.RowConfirmed("US 2026.1", "us-cold-1", "9 CFR 318.9", "kim")
    assert kitchen(confirmed).confirmed == {("US 2026.1", "us-cold-1"): confirmed}


def test_the_last_limit_of_the_sites_own_stands_until_it_is_taken_back() -> None:
    first = m.SiteLimitSet("excursion.hold", 3.0, "our own plan says so", "kim")
    then = m.SiteLimitSet("excursion.hold", 2.0, "our new plan says so", "kim")
    other = m.SiteLimitSet("warm.hold", 20.0, "our own plan says so", "kim")
    back = m.SiteLimitSet("excursion.hold", None, "as shipped again", "kim")
    assert kitchen(first, other, then).site_limits == {"excursion.hold": then, "warm.hold": other}
    assert kitchen(first, other, back).site_limits == {"warm.hold": other}


def test_a_channel_measures_one_thing_at_a_time() -> None:
    k = kitchen(
        e.ChannelAssigned(assigned(from_at=NOON)),
        e.ChannelAssigned(assigned("other", from_at=NOON)),
        e.ChannelAssigned(assigned(unit="fridge", from_at=NOON + 10)),
    )
    assert k.assignments == (
        assigned(from_at=NOON, until_at=NOON + 10),
        assigned("other"),
        assigned(unit="fridge", from_at=NOON + 10),
    )


def test_an_assignment_that_is_replaced_from_its_own_beginning_is_gone() -> None:
    k = kitchen(e.ChannelAssigned(assigned()), e.ChannelAssigned(assigned(unit="fridge")))
    assert k.assignments == (assigned(unit="fridge"),)


def test_an_ended_assignment_keeps_its_past() -> None:
    k = kitchen(
        e.ChannelAssigned(assigned()),
        e.ChannelAssigned(assigned("other")),
        e.AssignmentEnded("c", NOON + 50, "taken out"),
    )
    assert k.assignments == (assigned(until_at=NOON + 50), assigned("other"))


def test_an_assignment_that_had_ended_is_not_ended_again_later() -> None:
    k = kitchen(e.ChannelAssigned(assigned(until_at=NOON + 5)), e.AssignmentEnded("c", NOON + 50, "late"))
    assert k.assignments == (assigned(until_at=NOON + 5),)


def test_a_started_batch_begins_at_the_instant_of_its_entry_in_its_stage() -> None:
    batch = kitchen((NOON + 5, replace(STARTED, stage=Stage.REST))).batches["L1"]
    assert (batch.started_at, batch.placements, batch.plan, batch.as_made) == (NOON + 5, TUBS, PLAN, MADE)
    assert batch.stages == (StageSpan(Stage.REST, NOON + 5),)
    assert batch.ended_at is None


def test_a_corrected_sheet_replaces_the_first_and_nothing_else() -> None:
    before = kitchen(STARTED).batches["L1"]
    after = kitchen(STARTED, e.AsMadeCorrected("L1", AsMade(11.0, brine_c=2.0), "read again")).batches["L1"]
    assert after == replace(before, as_made=AsMade(11.0, brine_c=2.0))


def test_a_stage_ends_where_the_next_begins() -> None:
    batch = kitchen(STARTED, e.StageBegun("L1", Stage.SOAK, NOON + 9 * H)).batches["L1"]
    assert batch.stages == (StageSpan(Stage.CURE, NOON, NOON + 9 * H), StageSpan(Stage.SOAK, NOON + 9 * H))


def test_a_tub_that_moves_leaves_its_old_place_at_that_instant_and_the_others_stay() -> None:
    to = Placement("1", "fridge", NOON + H)
    batch = kitchen(STARTED, e.TubMoved("L1", to)).batches["L1"]
    assert batch.placements == (Placement("1", "walk-in", NOON, NOON + H), TUBS[1], to)


def test_a_tub_that_stands_nowhere_cannot_move() -> None:
    with pytest.raises(ValueError, match="tub 9 stands nowhere"):
        kitchen(STARTED, e.TubMoved("L1", Placement("9", "fridge", NOON + H)))


def test_a_correction_replaces_all_placements_of_its_tub_and_of_no_other() -> None:
    right = (Placement("1", None, NOON, NOON + H, 18.0), Placement("1", "fridge", NOON + H))
    batch = kitchen(STARTED, e.PlacementCorrected("L1", "1", right, "it stood on the bench")).batches["L1"]
    assert batch.placements == (TUBS[1], *right)


def test_hand_readings_and_actions_are_added_to_their_batch() -> None:
    first = HandReading(NOON, "temperature", 4.0, Where.BRINE, "probe 2", "L1")
    second = HandReading(NOON + 1, "ph", 5.8, Where.SURFACE, "meter", "L1")
    action = CorrectiveAction(NOON, "door", "closed", "a spring", "none")
    batch = kitchen(
        STARTED, e.HandReadingEntered(first), e.HandReadingEntered(second), e.CorrectiveActionEntered("L1", action)
    ).batches["L1"]
    assert batch.hand_readings == (first, second)
    assert batch.actions == (action,)


@pytest.mark.parametrize("lot", [None, "gone"])
def test_a_hand_reading_of_no_known_batch_changes_no_batch(lot: str | None) -> None:
    reading = HandReading(NOON, "temperature", 4.0, Where.AIR, "probe 2", lot, "walk-in")
    k = kitchen(STARTED, e.HandReadingEntered(reading))
    assert replace(k, position=1, unit_readings=()) == kitchen(STARTED)
    assert k.unit_readings == ((reading,) if lot is None else ())


def test_an_ended_batch_has_left_its_places_and_its_stage() -> None:
    batch = kitchen(
        STARTED, e.TubMoved("L1", Placement("1", "fridge", NOON + H)), e.BatchEnded("L1", NOON + 9 * H, "sold")
    ).batches["L1"]
    assert batch.ended_at == NOON + 9 * H
    assert [p.until_at for p in batch.placements] == [NOON + H, NOON + 9 * H, NOON + 9 * H]
    assert batch.stages == (StageSpan(Stage.CURE, NOON, NOON + 9 * H),)


@pytest.mark.parametrize(
    "event",
    [
        e.AsMadeCorrected("L9", MADE, "x"),
        e.StageBegun("L9", Stage.SOAK, NOON),
        e.TubMoved("L9", TUBS[0]),
        e.PlacementCorrected("L9", "1", (), "x"),
        e.CorrectiveActionEntered("L9", CorrectiveAction(NOON, "", "", "", "")),
        e.BatchEnded("L9", NOON, "sold"),
        e.AlarmChanged("A9", WARM),
        e.AlarmReturned("A9", "returned", {}),
    ],
    ids=lambda event: type(event).__name__,
)
def test_an_event_about_what_is_not_there_cannot_be_folded(event: e.Event) -> None:
    # So `Present` finds out before it is written: see its rehearsal.
    with pytest.raises(KeyError):
        kitchen(event)


def test_an_alarm_is_named_after_the_position_of_its_entry() -> None:
    k = kitchen(e.SiteDescribed(SITE), (NOON + 7, e.AlarmRaised(WARM)))
    alarm = k.alarms["A2"]
    assert (alarm.id, alarm.condition, alarm.raised_at, alarm.changes) == ("A2", WARM, NOON + 7, 0)
    assert alarm.state == "unacknowledged alarm"


def test_a_changed_alarm_says_the_new_condition_and_stays_as_it_was_otherwise() -> None:
    worse = replace(WARM, likely_at=NOON + 5)
    before = kitchen(e.AlarmRaised(WARM)).alarms["A1"]
    k = kitchen(e.AlarmRaised(WARM), e.AlarmChanged("A1", worse), e.AlarmChanged("A1", worse))
    assert k.alarms == {"A1": replace(before, condition=worse, changes=2, changed_at=NOON + 2 * H)}


def test_an_answer_says_who_when_and_what_and_the_alarm_still_stands() -> None:
    answered = e.AlarmAcknowledged("A1", "going", NOON + 2 * H, "ten minutes")
    alarm = kitchen(e.AlarmRaised(WARM), answered).alarms["A1"]
    assert (alarm.acknowledged_at, alarm.acknowledged_by) == (NOON + H, "kim")
    assert (alarm.answer, alarm.arriving_at) == ("going", NOON + 2 * H)
    assert alarm.state == "acknowledged alarm"


ACKNOWLEDGED = e.AlarmAcknowledged("A1", "going")
RETURNED = e.AlarmReturned("A1", "returned", {"estimate_c": 4.0})


def test_an_alarm_that_returned_unanswered_waits_for_its_answer() -> None:
    k = kitchen(e.AlarmRaised(WARM), RETURNED)
    alarm = k.alarms["A1"]
    assert alarm.state == "returned to normal, unacknowledged"
    assert (alarm.returned_at, alarm.return_sentence, alarm.return_parameters) == (
        NOON + H,
        "returned",
        {"estimate_c": 4.0},
    )
    assert k.past_alarms == {}


@pytest.mark.parametrize("last_two", [(ACKNOWLEDGED, RETURNED), (RETURNED, ACKNOWLEDGED)], ids=["first", "afterwards"])
def test_an_alarm_that_is_answered_and_has_returned_is_past(last_two: tuple[e.Event, e.Event]) -> None:
    k = kitchen(e.AlarmRaised(WARM), *last_two)
    assert k.alarms == {}
    assert k.past_alarms["A1"].state == "normal"


def test_an_answer_to_a_past_or_unknown_alarm_changes_nothing() -> None:
    done = (e.AlarmRaised(WARM), ACKNOWLEDGED, RETURNED)
    k = kitchen(*done, e.AlarmAcknowledged("A1", "cannot"), e.AlarmAcknowledged("A99", "going"))
    assert replace(k, position=3) == kitchen(*done)


TOLD = e.AlarmTold("A1", "raised", "kim", "webhook", "failed", "refused")


@pytest.mark.parametrize("before", [(), (RETURNED,), (ACKNOWLEDGED, RETURNED)], ids=["standing", "returned", "past"])
def test_every_attempt_to_tell_is_kept_with_its_alarm(before: tuple[e.Event, ...]) -> None:
    k = kitchen(
        e.AlarmRaised(WARM), *before, (NOON + 99, TOLD), (NOON + 100, replace(TOLD, state="accepted", detail=""))
    )
    alarm = k.alarm("A1")
    assert alarm is not None
    assert alarm.told == (
        Told(NOON + 99, "raised", "kim", "webhook", "failed", "refused"),
        Told(NOON + 100, "raised", "kim", "webhook", "accepted", ""),
    )
    assert ("A1" in k.past_alarms) == (len(before) == 2)
    assert ("A1" in k.alarms) == (len(before) < 2)


def test_an_attempt_ends_where_it_began_and_one_that_was_cut_off_stays_as_it_was() -> None:
    begun = replace(TOLD, state="attempting", detail="")
    other = replace(begun, channel="email")
    ends = ((NOON + 12, replace(other, state="accepted")), (NOON + 13, replace(TOLD, state="accepted", detail="late")))
    k = kitchen(e.AlarmRaised(WARM), (NOON + 9, begun), (NOON + 10, begun), (NOON + 11, other), *ends)
    assert k.alarms["A1"].told == (
        Told(NOON + 9, "raised", "kim", "webhook", "attempting", "", NOON + 9),
        Told(NOON + 13, "raised", "kim", "webhook", "accepted", "late", NOON + 10),
        Told(NOON + 12, "raised", "kim", "email", "accepted", "", NOON + 11),
    )


def test_that_somebody_opened_it_is_no_attempt_and_no_answer() -> None:
    k = kitchen(e.AlarmRaised(WARM), TOLD, (NOON + 9, replace(TOLD, state="seen", channel="link", detail="")))
    alarm = k.alarms["A1"]
    assert alarm.seen == (Seen(NOON + 9, "raised", "kim", "link"),)
    assert len(alarm.told) == 1 and alarm.acknowledged_at is None


def test_an_attempt_to_tell_of_an_unknown_alarm_changes_nothing() -> None:
    assert replace(kitchen(TOLD), position=0) == Kitchen()


def test_proposals_and_decisions_follow_each_other_and_none_is_lost() -> None:
    first, second = proposal(), proposal(disposition=Disposition.HOLD)
    signed = SignOff("L1", Disposition.HOLD, "wait", "kim", 3)
    k = kitchen(STARTED, e.ProposalMade(first), e.ProposalMade(second), e.DispositionSigned(signed))
    assert k.proposals["L1"] == (
        ProposalRecord(2, NOON + H, "kim", first),
        ProposalRecord(3, NOON + 2 * H, "kim", second),
    )
    assert k.sign_offs["L1"] == (SignOffRecord(4, NOON + 3 * H, "kim", signed),)
    assert kitchen(STARTED).batches == k.batches


def test_gaps_and_things_put_aside_are_remembered() -> None:
    k = kitchen(
        e.GapSuspected(NOON, NOON + 5, "session lost"),
        e.GapSuspected(NOON, NOON + 5, "session lost"),
        e.ItemSetAside("unit fridge", "first"),
        e.ItemSetAside("unit fridge", "second"),
    )
    assert k.gaps == (Gap(NOON, NOON + 5, "session lost"),) * 2
    assert k.set_aside == {"unit fridge": "second"}


LIFE: list[e.Event] = [
    e.SiteDescribed(SITE),
    e.UnitDescribed(UNIT),
    e.ChannelAssigned(assigned()),
    e.PersonDescribed("kim", "Kim", ("operator",)),
    e.RotaDescribed((RotaStep("kim", 0.0),)),
    e.RowConfirmed("US 2026.1", "us-cold-1", "9 CFR 318.9", "kim"),
    STARTED,
    e.AlarmRaised(WARM),
    e.AlarmTold("A8", "raised", "kim", "webhook", "accepted"),
    e.AlarmChanged("A8", WARM),
    e.ProposalMade(proposal()),
    e.AsMadeCorrected("L1", AsMade(11.0), "read again"),
    e.AlarmAcknowledged("A8", "going"),
    e.TubMoved("L1", Placement("1", "fridge", NOON + 14 * H)),
    e.PlacementCorrected("L1", "2", TUBS[1:], "as it was"),
    e.HandReadingEntered(HandReading(NOON, "temperature", 4.0, Where.BRINE, "probe", "L1")),
    e.AlarmReturned("A8", "returned", {}),
    e.CorrectiveActionEntered("L1", CorrectiveAction(NOON, "door", "closed", "a spring", "none")),
    e.StageBegun("L1", Stage.SOAK, NOON + 19 * H),
    e.DispositionSigned(SignOff("L1", Disposition.CONTINUE, "fine by the record", "kim", 11)),
    e.AssignmentEnded("c", NOON + 21 * H, "taken out"),
    e.GapSuspected(NOON, NOON + 5, "session lost"),
    e.ItemSetAside("unit fridge", "first"),
    m.SiteLimitSet("excursion.hold", 3.0, "our own plan says so", "kim"),
    m.CompositionConfirmed(Composition("CS-1", 6.25, 0.0, "kim", NOON)),
    m.CalibrationEntered(Calibration("c", "channel", NOON, "melting ice", 0.3, 0.0, NOON + 1e7, "kim", 0.5)),
    m.SensorUnderTest("c", NOON),
    m.SensorBack("c", NOON + 60),
    m.NotePinned("tub 1 is held"),
    m.NoteSeen(28),
    m.TaskReported("L1", TaskDone("turn 1", NOON, "kim")),
    m.SoakLogged("L1", SoakLog(NOON, NOON + 60, 4.0, "kim")),
    m.CoreLogged("L1", CoreLog("cook", "p", ((NOON, 10.0), (NOON + 60, 70.0)), "kim")),
    m.LabelReported("L1", LabelApplied("cook before eating", True, NOON, "kim")),
    m.FoodDisposed("L1", Disposal(1.0, "binned", "Sam", NOON, "kim")),
    m.BatchSplit("L1", "L1b", ("2",)),
    m.PlanChanged("L1", replace(PLAN, route=Route.SOLD_RAW), "for the counter"),
    m.BatchesMerged("L3", PLAN, 6.0, (Strand("L1b", "2", "A"),), (Placement("A", "fridge", NOON + 38 * H),)),
    e.BatchEnded("L1", NOON + 60 * H, "sold"),
    e.AlarmRaised(WARM),
    w.AlarmExplained("A40", {"cause": "door"}),
    w.AlarmShelved("A40", NOON + 50 * H, "the coil is being thawed"),
    w.AlarmUnshelved("A40", "time"),
    e.AlarmReturned("A40", "returned", {}),
    w.UnitOutOfService("walk-in", "its compressor is being changed"),
    w.UnitInService("walk-in", "the compressor runs"),
    w.WorkPlanned("walk-in", "cleaning", NOON + 60 * H, NOON + 61 * H),
    w.WorkEnded("W46", "hand"),
    d.DrillStarted("calls", ("kim", "sam")),
    d.DrillTold("D48", "kim", "webhook", "accepted"),
    d.DrillAnswered("D48", "kim", "link"),
    d.DrillEnded("D48", "two hours are over", ("sam",)),
]


def test_the_life_told_here_holds_every_kind_of_event() -> None:
    assert {type(event).__name__ for event in LIFE} == set(KINDS)


@given(st.lists(st.integers(0, len(LIFE)), max_size=5))
def test_folding_in_parts_equals_folding_at_once(cuts: list[int]) -> None:
    whole = entries(*LIFE)
    k = Kitchen()
    bounds = [0, *sorted(cuts), len(whole)]
    for start, end in zip(bounds, bounds[1:], strict=False):
        k = fold(whole[start:end], k)
    assert k == fold(whole)


def test_folding_what_was_written_and_read_again_makes_the_same_kitchen() -> None:
    whole = entries(*LIFE)
    read = [
        decode(entry.position, encode(Draft(entry.at, entry.by, entry.event), entry.recorded_at)) for entry in whole
    ]
    assert read == whole
    assert fold(read) == fold(whole)


@pytest.mark.parametrize("length", range(len(LIFE)))
def test_folding_on_leaves_the_earlier_kitchen_as_it_was(length: int) -> None:
    whole = entries(*LIFE)
    earlier = fold(whole[:length])
    fold(whole[length:], earlier)
    assert earlier == fold(whole[:length])


def test_a_past_state_answers_as_it_did_then() -> None:
    whole = entries(*LIFE)
    then = fold(whole[:9])
    assert [a.id for a in then.active_alarms()] == ["A8"]
    assert then.proposal_of("L1") is None
    now = fold(whole)
    assert now.active_alarms() == ()
    assert now.proposal_of("L1") == ProposalRecord(11, NOON + 10 * H, "kim", proposal())


def made(*events: e.Event) -> Kitchen:
    return fold(entries(*events))


def test_a_changed_plan_keeps_what_it_was_who_signed_and_why() -> None:
    cooked = made(STARTED, m.PlanChanged("L1", replace(PLAN, route=Route.SOLD_RAW), "for the counter")).batches["L1"]
    assert cooked.plan.route is Route.SOLD_RAW
    assert [(c.reason, c.before.route) for c in cooked.plan_changes] == [("for the counter", Route.COOKED)]


def test_a_split_batch_brings_its_whole_history_and_leaves_the_parent_its_own() -> None:
    before = made(STARTED).batches["L1"]
    k = made(STARTED, m.BatchSplit("L1", "L1b", ("2",)))
    child, parent = k.batches["L1b"], k.batches["L1"]
    assert (child.started_at, child.stages, child.as_made) == (before.started_at, before.stages, before.as_made)
    assert child.placements == tuple(p for p in before.placements if p.tub == "2")
    assert all(p.until_at is not None for p in parent.placements if p.tub == "2")
    assert any(p.until_at is None for p in parent.placements if p.tub == "1")


def test_a_hold_that_was_signed_goes_with_the_tubs_that_are_split_off() -> None:
    signed = e.DispositionSigned(SignOff("L1", Disposition.HOLD, "wait", "kim", 2))
    k = made(STARTED, e.ProposalMade(proposal()), signed, m.BatchSplit("L1", "L1b", ("2",)))
    record = k.sign_off_of("L1b")
    assert record is not None and record.sign_off.disposition is Disposition.HOLD


def test_merged_batches_end_and_the_new_one_names_every_tub_it_came_from() -> None:
    strands = (Strand("L1", "1", "A"), Strand("L1", "2", "A"))
    k = made(STARTED, m.BatchesMerged("L9", PLAN, 12.0, strands, (Placement("A", "fridge", NOON + 2 * H),)))
    assert k.batches["L1"].ended_at == k.batches["L9"].merged_at is not None
    assert k.batches["L9"].strands == strands
    assert k.batches["L9"].started_at == k.batches["L1"].started_at


def test_a_sensor_is_under_test_until_it_stands_in_its_place_again() -> None:
    away = m.SensorUnderTest("c", NOON)
    assert made(away).under_test == (UnderTest("c", NOON),)
    assert made(away, m.SensorBack("c", NOON + 60)).under_test == (UnderTest("c", NOON, NOON + 60),)


def test_a_note_is_seen_once_by_each_who_reads_it() -> None:
    k = made(m.NotePinned("tub 1 is held"), m.NoteSeen(1), m.NoteSeen(1))
    assert [note.seen_by for note in k.notes] == [("kim",)]

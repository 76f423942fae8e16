"""What people do, as pure functions: what is let in, what is refused, and in which words."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from api.actions.answering import answer_alarm
from api.actions.channels import assign_channel, end_assignment
from api.actions.faults import Faults, Result
from api.actions.making import begin_stage, correct_as_made, end_batch, start_batch
from api.actions.measuring import enter_corrective_action, enter_hand_reading
from api.actions.people import describe_person
from api.actions.placing import correct_placements, move_tub
from api.actions.signing import choices, confirm_row, sign_disposition
from api.actions.standing import standing
from api.schemas import (
    AnswerAlarm,
    AssignChannel,
    BeginStage,
    ConfirmRow,
    CorrectAsMade,
    CorrectPlacements,
    DescribePerson,
    EndAssignment,
    EndBatch,
    EnterCorrectiveAction,
    EnterHandReading,
    MoveTub,
    SignDisposition,
    StartBatch,
)
from collector.events import AlarmReturned, Draft, ProposalMade
from collector.findings import Disposition, Finding, Outcome, Tier
from collector.fold import fold
from collector.kitchen import Kitchen
from tests.office import DAY, NO_COOK, NOW, SHOWN, WARM, WITHIN, finding, made_kitchen, proposal

KITCHEN = made_kitchen()
ADA, BO = KITCHEN.people["ada"], KITCHEN.people["bo"]
BRISKET, HAM = KITCHEN.proposals["BRISKET-14"][0].position, KITCHEN.proposals["HAM-31"][0].position

PLAN = {
    "name": "Tongue, six days", "meat": "beef", "cut": "tongue", "method": "immersion", "packing": "under brine",
    "route": "cooked", "cure_days": 6.0, "thickness_mm": 70.0, "meat_kg": 1.4, "water_kg": 1.5, "salt_kg": 0.15,
    "curing_salt_kg": 0.02, "nitrite_percent": 6.25,
}  # fmt: skip
START = {
    "lot": "TONGUE-40", "plan": PLAN, "as_made": {"meat_kg": 1.42, "brine_c": 3.6},
    "tubs": [{"tub": "white", "unit": "fridge"}],
}  # fmt: skip


def changed(base: dict[str, Any], **paths: Any) -> dict[str, Any]:
    """Return a request with some fields changed; `plan__name` names a field below."""
    result = {key: dict(value) if isinstance(value, dict) else value for key, value in base.items()}
    for path, value in paths.items():
        *above, name = path.split("__")
        inner = result
        for key in above:
            inner = inner[key]
        inner[name] = value
    return result


def start(**paths: Any) -> Result:
    return start_batch(KITCHEN, StartBatch.model_validate(changed(START, **paths)), BO, NOW)


def move(**said: Any) -> Result:
    return move_tub(KITCHEN, "BRISKET-14", MoveTub.model_validate({"tub": "1", **said}), BO, NOW)


def hand(**said: Any) -> Result:
    base = {"value": 3.3, "where": "brine", "probe": "hand probe 1", "lot": "BRISKET-14"}
    return enter_hand_reading(KITCHEN, EnterHandReading.model_validate({**base, **said}), BO, NOW)


def correct(*placements: dict[str, Any], tub: str = "1") -> Result:
    request = CorrectPlacements.model_validate({"tub": tub, "placements": placements, "reason": "moved by the baker"})
    return correct_placements(KITCHEN, "BRISKET-14", request, BO, NOW)


def sign(kitchen: Kitchen = KITCHEN, lot: str = "BRISKET-14", **said: Any) -> Result:
    base = {"disposition": "hold", "reason": "looked at the curve and the probe", "proposal": BRISKET}
    return sign_disposition(kitchen, lot, SignDisposition.model_validate({**base, **said}), ADA, NOW)


def claim(seen: str | None = "Cel", **said: Any) -> Result:
    base = {"channel": "new/air", "quantity": "air_temperature", "unit": "chamber", "place": "on the wall"}
    return assign_channel(KITCHEN, AssignChannel.model_validate({**base, **said}), BO, NOW, seen)


def answer(**said: Any) -> Result:
    return answer_alarm(KITCHEN, "A21", AnswerAlarm.model_validate(said), BO, NOW)


def stage(**said: Any) -> Result:
    return begin_stage(KITCHEN, "HAM-31", BeginStage.model_validate(said), BO, NOW)


def end(lot: str = "BELLY-32", **said: Any) -> Result:
    return end_batch(KITCHEN, lot, EndBatch.model_validate({"reason": "cooked and eaten", **said}), BO, NOW)


def confirm(**said: Any) -> Result:
    base = {"rulebook": "US", "row": "row.memory", "document": "Appendix 4, Table A-2"}
    return confirm_row(KITCHEN, ConfirmRow.model_validate({**base, **said}), ADA, NOW, {"US": ["row.memory"]})


def describe(**said: Any) -> Result:
    return describe_person(KITCHEN, DescribePerson.model_validate(said), ADA, NOW)


def action(**said: Any) -> Result:
    base = {
        "excursion_at": NOW - DAY, "cause": "door ajar", "control_regained": "shut it", "prevention": "new closer",
        "food_disposed": "kept",
    }  # fmt: skip
    return enter_corrective_action(
        KITCHEN, "BRISKET-14", EnterCorrectiveAction.model_validate({**base, **said}), BO, NOW
    )  # fmt: skip


def after(result: Result, kitchen: Kitchen = KITCHEN) -> Kitchen:
    """Return the kitchen after what was done, as the journal would make it."""
    assert not isinstance(result, Faults), result
    return made_from(kitchen, result)


def made_from(kitchen: Kitchen, drafts: tuple[Draft, ...]) -> Kitchen:
    from collector.events import Entry

    first = kitchen.position + 1
    return fold((Entry(first + i, d.at, d.at, d.by, d.event) for i, d in enumerate(drafts)), kitchen)


TWO_TUBS = [{"tub": "A", "unit": "fridge"}, {"tub": "a", "unit": "fridge"}]
HERE = {"unit": "coldroom", "from_at": NOW - 4 * DAY}
BEGUN = NOW - 4 * DAY

REFUSED: list[tuple[Callable[[], Result], str, str]] = [
    (lambda: start(lot="brisket-14"), "lot", "lot code brisket-14 is taken"),
    (lambda: start(started_at=NOW + 3600.0), "started_at", "this time has not come yet"),
    (lambda: start(started_at=NOW - 100 * DAY), "started_at", "that was more than 90 days ago"),
    (lambda: start(plan__meat_kg=0.0), "plan.meat_kg", "0 kg is nothing"),
    (lambda: start(plan__meat_kg=-1.0), "plan.meat_kg", "-1 kg is nothing"),
    (lambda: start(plan__salt_kg=-0.1), "plan.salt_kg", "−0.1 kg is outside 0 to 2000 kg"),
    (lambda: start(plan__cure_days=0.0), "plan.cure_days", "0 days is outside 0.05 to 180 days"),
    (lambda: start(plan__thickness_mm=4000.0), "plan.thickness_mm", "4000 mm is outside 1 to 400 mm"),
    (lambda: start(plan__nitrite_percent=101.0), "plan.nitrite_percent", "101 % is outside 0 to 100 %"),
    (lambda: start(plan__tau_hours=0.0), "plan.tau_hours", "0 h is outside 0.1 to 72 h"),
    (lambda: start(as_made__meat_kg=0.0), "as_made.meat_kg", "0 kg is nothing"),
    (lambda: start(as_made__brine_c=80.0), "as_made.brine_c", "80 °C is outside −30 to 60 °C"),
    (lambda: start(as_made__meat_c=-40.0), "as_made.meat_c", "−40 °C is outside −30 to 60 °C"),
    (lambda: start(plan__packing="open"), "as_made.brine_c", "a batch that is not under brine has no brine"),
    (lambda: start(tubs=[]), "tubs", "no tub was named"),
    (lambda: start(tubs=TWO_TUBS), "tubs", "two tubs have the same name"),
    (lambda: start(tubs=[{"tub": "A", "unit": "attic"}]), "tubs.0.unit", "no unit is called attic"),
    (lambda: move(unit="attic"), "unit", "no unit is called attic"),
    (lambda: move(), "bench_c", "out on the bench, how warm is the air there?"),
    (lambda: move(bench_c=99.0), "bench_c", "99 °C is outside −30 to 60 °C"),
    (lambda: move(unit="fridge", bench_c=20.0), "bench_c", "a tub in a unit stands on no bench"),
    (lambda: move(unit="coldroom"), "unit", "tub 1 stands there already"),
    (lambda: move(unit="fridge", tub="9"), "tub", "BRISKET-14 has no tub 9"),
    (lambda: move(unit="fridge", at=NOW + 600.0), "at", "this time has not come yet"),
    (lambda: move(unit="fridge", at=NOW - 5 * DAY), "at", "it was put where it stands later than that"),
    (lambda: correct(tub="9"), "tub", "BRISKET-14 has no tub 9"),
    (lambda: correct(), "placements", "no placement was entered"),
    (lambda: correct(HERE), "placements", "this is the record as it stands"),
    (lambda: correct({**HERE, "until_at": NOW}), "placements.0.until_at", "the last placement must last until now"),
    (lambda: correct({**HERE, "from_at": NOW - DAY}), "placements.0.from_at", "the record must begin when"),
    (lambda: correct({**HERE, "unit": "attic"}), "placements.0.unit", "no unit is called attic"),
    (lambda: correct({"from_at": BEGUN}), "placements.0.bench_c", "out on the bench"),
    (
        lambda: correct({**HERE, "until_at": NOW - DAY}, {"unit": "fridge", "from_at": NOW - 3600.0}),
        "placements", "tub 1: one placement must end exactly where the next begins",
    ),
    (lambda: hand(value=80.0), "value", "80 °C is outside −30 to 60 °C"),
    (lambda: hand(measure="ph", value=15.0), "value", "15 pH is outside 0 to 14 pH"),
    (lambda: hand(measure="aw", value=1.2), "value", "1.2 aw is outside 0 to 1 aw"),
    (lambda: hand(measure="strength", value=30.0), "value", "30 % is outside 0 to 26.4 %"),
    (lambda: hand(measure="mass", value=0.0), "value", "0 kg is outside"),
    (lambda: hand(lot="NONE-1"), "lot", "no batch has lot code NONE-1"),
    (lambda: hand(lot=None), "lot", "neither a batch nor a unit was named"),
    (lambda: hand(lot=None, unit="attic"), "unit", "no unit is called attic"),
    (lambda: hand(tub="9"), "tub", "BRISKET-14 has no tub 9"),
    (lambda: hand(lot=None, unit="fridge", tub="1"), "tub", "a tub needs its batch"),
    (lambda: hand(measured_at=NOW + 600.0), "measured_at", "this time has not come yet"),
    (lambda: hand(measured_at=NOW - 5 * DAY), "measured_at", "that was before the batch began"),
    (lambda: action(excursion_at=NOW + DAY), "excursion_at", "this time has not come yet"),
    (lambda: action(excursion_at=NOW - 9 * DAY), "excursion_at", "that was before the batch began"),
    (lambda: stage(stage="cure"), "stage", "HAM-31 is in this stage already"),
    (lambda: stage(stage="rest", from_at=NOW + DAY), "from_at", "this time has not come yet"),
    (lambda: stage(stage="rest", from_at=NOW - 20 * DAY), "from_at", "the stage before (cure) began later"),
    (lambda: end(lot="BRISKET-14"), "reason", "BRISKET-14 is on hold"),
    (lambda: end(lot="NONE-1"), "lot", "no batch has lot code NONE-1"),
    (lambda: end(ended_at=NOW - 20 * DAY), "ended_at", "it was moved, or began a stage, later than that"),
    (lambda: claim(seen=None), "channel", "nothing has ever arrived on new/air"),
    (lambda: claim(seen="%RH"), "quantity", "this channel sends %RH, not Cel"),
    (lambda: claim(unit="attic"), "unit", "no unit is called attic"),
    (lambda: claim(offset_c=9.0), "offset_c", "9 K is outside −5 to 5 K"),
    (lambda: claim(interval_s=0.0), "interval_s", "0 s is outside 1 to 86400 s"),
    (lambda: claim(uncertainty_c=0.0), "uncertainty_c", "0 K is outside 0.01 to 5 K"),
    (lambda: claim(lot="NONE-1"), "lot", "no batch has lot code NONE-1"),
    (lambda: claim(lot="HAM-31"), "tub", "a probe in a batch stands in one tub"),
    (lambda: claim(tub="blue"), "tub", "a tub needs its batch"),
    (lambda: claim(from_at=NOW + DAY), "from_at", "this time has not come yet"),
    (lambda: answer(answer="going"), "arriving_at", "going, but there by when?"),
    (lambda: answer(answer="going", arriving_at=NOW + DAY), "arriving_at", "that is not within the next four hours"),
    (lambda: answer(answer="cannot", arriving_at=NOW), "arriving_at", "only who is going arrives"),
    (lambda: sign(where_kept=""), "where_kept", "where does it stand while it is held?"),
    (lambda: sign(disposition="continue", reason="looks fine"[:5]), "reason", "this reason is too short"),
    (lambda: sign(disposition="release"), "disposition", "BRISKET-14 may not be released while"),
    (lambda: sign(disposition="extend"), "disposition", "no hours to add were proposed"),
    (lambda: sign(proposal=HAM), "proposal", f"{HAM} is no proposal for BRISKET-14"),
    (lambda: confirm(rulebook="XX"), "rulebook", "there is no rulebook XX"),
    (lambda: confirm(row="other"), "row", "other is no row known from memory"),
    (lambda: describe(person="ada", name="Ada Brandt", roles=["operator"]), "roles", "nobody would be admin any more"),
    (lambda: describe(person="rules", name="Rules"), "person", "rules is what the program calls itself"),
    (lambda: describe(person="bo", name="Bo Lindqvist", roles=["operator"]), "person", "this is how it stands"),
]  # fmt: skip


@pytest.mark.parametrize(("act", "field", "what"), REFUSED, ids=lambda value: value if isinstance(value, str) else "")
def test_what_is_wrong_is_said_with_field_and_mend_and_nothing_is_done(
    act: Callable[[], Result], field: str, what: str
) -> None:
    result = act()
    assert isinstance(result, Faults)
    said = [fault for fault in result.found if fault.field == field and fault.what.startswith(what)]
    assert said, result.found
    assert all(fault.mend for fault in result.found)


def test_everything_that_is_wrong_is_said_at_once() -> None:
    result = start(lot="HAM-31", plan__meat_kg=0.0, tubs=[])
    assert isinstance(result, Faults)
    assert {fault.field for fault in result.found} == {"lot", "plan.meat_kg", "tubs"}


def test_a_batch_starts_with_its_tubs_where_they_were_put() -> None:
    kitchen = after(start(started_at=NOW - 600.0))
    batch = kitchen.batches["TONGUE-40"]
    assert batch.started_at == NOW - 600.0
    assert batch.plan.cure_s == 6 * DAY
    assert batch.as_made.brine_c == 3.6
    assert batch.as_made.meat_c is None
    assert batch.stands_in("fridge", NOW)


def test_a_moved_tub_leaves_the_others_where_they_are() -> None:
    batch = after(move(unit="fridge", at=NOW - 60.0)).batches["BRISKET-14"]
    assert batch.stands_in("fridge", NOW)
    assert batch.stands_in("coldroom", NOW)
    out = after(move(bench_c=22.0)).batches["BRISKET-14"]
    assert out.placements[-1].unit is None
    assert out.placements[-1].bench_c == 22.0


def test_a_corrected_placement_replaces_the_record_of_that_tub_alone() -> None:
    half = NOW - DAY
    batch = after(correct({**HERE, "until_at": half}, {"unit": "fridge", "from_at": half})).batches["BRISKET-14"]
    assert [p.unit for p in batch.placements if p.tub == "1"] == ["coldroom", "fridge"]
    assert [p.unit for p in batch.placements if p.tub == "2"] == ["coldroom"]


def test_a_hot_core_may_be_entered_while_the_batch_is_cooked_and_only_then() -> None:
    cooking = after(stage(stage="cook", from_at=NOW - 600.0))
    request = EnterHandReading(value=70.0, where="core", probe="hand probe 1", lot="HAM-31")
    assert not isinstance(enter_hand_reading(cooking, request, BO, NOW), Faults)
    assert isinstance(enter_hand_reading(KITCHEN, request, BO, NOW), Faults)


def test_a_completed_sheet_must_differ_from_what_stands() -> None:
    as_made = {
        "meat_kg": 3.05, "salt_kg": 0.3, "sugar_kg": 0.1, "curing_salt_kg": 0.009, "curing_salt_lot": "CS-0412",
        "nitrite_percent": 6.25, "meat_c": 3.1, "scale": "bench scale 2, 1 g", "supplier_lots": ["HF-2209"],
        "nitrate_percent": 0.0,
    }  # fmt: skip
    same = CorrectAsMade.model_validate({"as_made": as_made, "reason": "no change"})
    assert isinstance(correct_as_made(KITCHEN, "BELLY-32", same, BO, NOW), Faults)
    colder = CorrectAsMade.model_validate({"as_made": {**as_made, "meat_c": 4.0}, "reason": "misread the probe"})
    kitchen = after(correct_as_made(KITCHEN, "BELLY-32", colder, BO, NOW))
    assert kitchen.batches["BELLY-32"].as_made.meat_c == 4.0


def test_an_ended_batch_takes_no_further_moves() -> None:
    kitchen = after(end())
    assert kitchen.batches["BELLY-32"].ended_at == NOW
    late = move_tub(kitchen, "BELLY-32", MoveTub(tub="rack 1", unit="coldroom"), BO, NOW)
    assert isinstance(late, Faults)
    assert late.found[0].what == "batch BELLY-32 has ended"


def test_a_claimed_channel_measures_from_the_instant_on_and_can_be_taken_away() -> None:
    kitchen = after(claim(from_at=NOW - 3600.0))
    assert kitchen.assigned("new/air", NOW - 3600.0) is not None
    assert kitchen.assigned("new/air", NOW - 3601.0) is None
    gone = end_assignment(kitchen, EndAssignment(channel="new/air", reason="probe broken"), BO, NOW)
    assert after(gone, kitchen).assigned("new/air", NOW) is None
    unknown = end_assignment(KITCHEN, EndAssignment(channel="new/air", reason="probe broken"), BO, NOW)
    assert isinstance(unknown, Faults)


def test_going_says_when_and_an_answered_alarm_stands_until_it_returns() -> None:
    kitchen = after(answer(answer="going", arriving_at=NOW + 900.0))
    alarm = kitchen.alarms["A21"]
    assert (alarm.answer, alarm.acknowledged_by, alarm.arriving_at) == ("going", "bo", NOW + 900.0)
    assert alarm.state == "acknowledged alarm"
    assert after(answer(answer="cannot")).alarms["A21"].arriving_at is None


def test_an_alarm_that_is_over_needs_no_time_of_arrival_and_closes_once_it_was_seen() -> None:
    returned = made_from(KITCHEN, (Draft(NOW, "watch", AlarmReturned("A21", "product_warm_returned", {})),))
    seen = answer_alarm(returned, "A21", AnswerAlarm(answer="going"), BO, NOW)
    closed = after(seen, returned)
    assert closed.past_alarms["A21"].state == "normal"
    again = answer_alarm(closed, "A21", AnswerAlarm(answer="going"), BO, NOW)
    assert isinstance(again, Faults)
    assert again.found[0].what == "this alarm is over and was answered"


def test_only_an_approver_signs_or_confirms() -> None:
    request = SignDisposition(disposition="hold", reason="as proposed", proposal=BRISKET, where_kept="shelf 2")
    refused = sign_disposition(KITCHEN, "BRISKET-14", request, BO, NOW)
    assert isinstance(refused, Faults)
    assert refused.found[0].what == "Bo Lindqvist is no approver"
    row = ConfirmRow(rulebook="US", row="row.memory", document="the table")
    assert isinstance(confirm_row(KITCHEN, row, BO, NOW, {"US": ["row.memory"]}), Faults)
    assert ("US", "row.memory") in after(confirm()).confirmed


def test_a_signed_hold_names_its_place_and_is_lifted_with_a_reason() -> None:
    shown = Draft(NOW - 60.0, "rules", ProposalMade(proposal("BRISKET-14", Disposition.HOLD, WARM, SHOWN)))
    kitchen = made_from(KITCHEN, (shown,))
    held = after(sign(kitchen, proposal=kitchen.position, where_kept="coldroom, bottom shelf"), kitchen)
    assert standing(held, "BRISKET-14").disposition is Disposition.HOLD
    assert Disposition.RELEASE not in choices(standing(held, "BRISKET-14"))
    assert standing(held, "BRISKET-14").signed
    reason = "core probed at 3.4, door log read"
    lifted = after(sign(held, disposition="continue", reason=reason, proposal=kitchen.position), held)
    stands = standing(lifted, "BRISKET-14")
    assert (stands.disposition, stands.signed, stands.waits) == (Disposition.CONTINUE, True, False)
    assert Disposition.RELEASE in choices(stands)


def test_a_lifted_hold_does_not_cover_the_excursion_that_came_afterwards() -> None:
    lifted = after(sign(disposition="continue", reason="core probed at 3.4, door log read"))
    longer = replace(WARM, evidence=replace(WARM.evidence, value=5.5))
    drifted = made_from(lifted, (Draft(NOW, "rules", ProposalMade(proposal("BRISKET-14", Disposition.HOLD, longer))),))
    assert standing(drifted, "BRISKET-14").disposition is Disposition.CONTINUE
    second = replace(WARM, parameters={**WARM.parameters, "excursions": 2})
    doubled = replace(WARM, evidence=replace(WARM.evidence, value=8.0))
    for news in (second, doubled):
        again = made_from(lifted, (Draft(NOW, "rules", ProposalMade(proposal("BRISKET-14", Disposition.HOLD, news))),))
        stands = standing(again, "BRISKET-14")
        assert (stands.disposition, stands.signed) == (Disposition.HOLD, False)


def test_news_alone_never_lifts_a_signed_hold() -> None:
    held = after(sign(where_kept="coldroom, bottom shelf"))
    milder = Draft(NOW, "rules", ProposalMade(proposal("BRISKET-14", Disposition.CONTINUE, WITHIN)))
    assert standing(made_from(held, (milder,)), "BRISKET-14").disposition is Disposition.HOLD


def test_a_newer_proposal_with_another_outcome_must_be_looked_at_before_signing() -> None:
    newer = Draft(NOW, "rules", ProposalMade(proposal("BRISKET-14", Disposition.REJECT, WARM)))
    kitchen = made_from(KITCHEN, (newer,))
    refused = sign(kitchen, where_kept="shelf")
    assert isinstance(refused, Faults)
    assert refused.found[0].what == "a newer proposal says something else"
    same = Draft(NOW, "rules", ProposalMade(proposal("BRISKET-14", Disposition.HOLD, WARM)))
    assert not isinstance(sign(made_from(KITCHEN, (same,)), where_kept="shelf"), Faults)


def test_a_reject_is_disposed_of_or_goes_back_to_hold_with_a_reason_and_nothing_else() -> None:
    drafted = Draft(NOW, "rules", ProposalMade(proposal("BRISKET-14", Disposition.REJECT, WARM)))
    kitchen = made_from(KITCHEN, (drafted,))
    looked = kitchen.position
    for disposition in ("continue", "release", "extend"):
        refused = sign(kitchen, disposition=disposition, proposal=looked)
        assert isinstance(refused, Faults)
        assert [f.field for f in refused.found] == ["disposition"]
    assert isinstance(end_batch(kitchen, "BRISKET-14", EndBatch(reason="thrown away"), BO, NOW), Faults)
    rejected = after(sign(kitchen, disposition="reject", proposal=looked), kitchen)
    assert not isinstance(end_batch(rejected, "BRISKET-14", EndBatch(reason="thrown away"), BO, NOW), Faults)
    short = sign(rejected, disposition="hold", reason="wait", proposal=looked, where_kept="shelf 2")
    assert isinstance(short, Faults)
    back = after(sign(rejected, disposition="hold", proposal=looked, where_kept="shelf 2"), rejected)
    assert standing(back, "BRISKET-14").disposition is Disposition.HOLD


def test_an_extension_is_signed_where_hours_were_proposed() -> None:
    kitchen = after(sign(lot="HAM-31", disposition="extend", proposal=HAM))
    assert kitchen.cure_end_at("HAM-31") == NOW + 4 * DAY


def test_an_extension_that_is_not_signed_as_one_moves_no_end() -> None:
    kitchen = after(sign(lot="HAM-31", disposition="continue", proposal=HAM, reason="cut open: pink to the bone"))
    assert kitchen.cure_end_at("HAM-31") == kitchen.batches["HAM-31"].planned_end_at


def test_the_figures_that_were_seen_are_recorded_with_the_signature() -> None:
    recorded = KITCHEN.proposals["BRISKET-14"][-1]
    grown = replace(recorded.proposal, judged_until_at=recorded.proposal.judged_until_at + 3600.0)
    request = SignDisposition(
        disposition=Disposition.HOLD, reason="warm for hours", proposal=recorded.position, where_kept="shelf 2"
    )
    kitchen = after(sign_disposition(KITCHEN, "BRISKET-14", request, ADA, NOW, grown))
    signed = kitchen.sign_offs["BRISKET-14"][-1].sign_off
    looked = next(r for r in kitchen.proposals["BRISKET-14"] if r.position == signed.proposal)
    assert looked.proposal == grown
    assert standing(kitchen, "BRISKET-14").signed


def test_figures_of_another_outcome_are_not_what_was_seen() -> None:
    recorded = KITCHEN.proposals["BRISKET-14"][-1]
    other = replace(recorded.proposal, disposition=Disposition.REJECT)
    request = SignDisposition(
        disposition=Disposition.HOLD, reason="warm for hours", proposal=recorded.position, where_kept="shelf 2"
    )
    kitchen = after(sign_disposition(KITCHEN, "BRISKET-14", request, ADA, NOW, other))
    assert len(kitchen.proposals["BRISKET-14"]) == len(KITCHEN.proposals["BRISKET-14"])


def test_nothing_is_released_against_what_the_rules_say_this_minute() -> None:
    shown = Draft(NOW, "rules", ProposalMade(proposal("BELLY-32", Disposition.RELEASE, WITHIN, SHOWN)))
    kitchen = made_from(KITCHEN, (shown,))
    recorded = kitchen.proposals["BELLY-32"][-1]
    unshown = proposal("BELLY-32", Disposition.CONTINUE, WITHIN, NO_COOK)
    held = proposal("BELLY-32", Disposition.HOLD, WARM)
    for disposition, news in (
        (Disposition.CONTINUE, held),
        (Disposition.RELEASE, held),
        (Disposition.RELEASE, unshown),
    ):
        request = SignDisposition(
            disposition=disposition, reason="looked at the curve and the probe", proposal=recorded.position
        )
        assert not isinstance(sign_disposition(kitchen, "BELLY-32", request, ADA, NOW, recorded.proposal), Faults)
        refused = sign_disposition(kitchen, "BELLY-32", request, ADA, NOW, news)
        assert isinstance(refused, Faults)
        assert [found.field for found in refused.found] == ["disposition"]


@pytest.mark.parametrize(
    "untold",
    [
        finding("e-1", Outcome.CANNOT_TELL, Tier.NONE, "e-1 no rule", {"stages": "smoke"}),
        finding("e-1 smoke", Outcome.CANNOT_TELL, Tier.NONE, "e-1 no window", {"stage": "smoke", "blocks": 1}),
        finding("e-11 cook", Outcome.OUTSIDE, Tier.HOLD, "e-11 cook short", {"blocks": 1}),
        finding("e-11 parasites", Outcome.OUTSIDE, Tier.NONE, "e-11 parasites not enough", {"blocks": 1}),
        finding("e-3 salmonella", Outcome.OUTSIDE, Tier.HOLD, "e-3 cook or discard", {}),
        NO_COOK,
    ],
    ids=lambda found: found.sentence,
)
def test_what_a_route_asks_for_is_shown_whoever_signs(untold: Finding) -> None:
    for found, free in (((SHOWN, untold), False), ((SHOWN, WARM), True)):
        news = Draft(NOW, "rules", ProposalMade(proposal("BELLY-32", Disposition.HOLD, *found)))
        kitchen = made_from(KITCHEN, (news,))
        looked: dict[str, Any] = {"lot": "BELLY-32", "proposal": kitchen.position}
        signed = after(sign(kitchen, disposition="continue", reason="looked at it with care", **looked), kitchen)
        assert (Disposition.RELEASE in choices(standing(signed, "BELLY-32"))) == free
        refused = sign(signed, disposition="release", reason="looked at it with care", **looked)
        assert isinstance(refused, Faults) != free


def test_nothing_is_released_that_no_gate_has_looked_at() -> None:
    assert Disposition.RELEASE not in choices(standing(KITCHEN, "BELLY-32"))

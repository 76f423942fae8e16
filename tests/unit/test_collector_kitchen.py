"""What the kitchen answers about the state it holds."""

from dataclasses import replace

import pytest

from collector.batches import AsMade, Batch, Method, Packing, Placement, Plan, Route, Stage, StageSpan
from collector.findings import Condition, Disposition, Proposal, SignOff
from collector.kitchen import Alarm, Kitchen, ProposalRecord, SignOffRecord
from collector.readings import Assignment, Quantity, Site, Unit

NOON = 1_767_268_800.0
H = 3600.0
PLAN = Plan("Loin", "pork", "loin", Method.IMMERSION, Packing.UNDER_BRINE, Route.COOKED, 120 * H, 65.0, 12.0)
WARM = Condition("walk-in", "product warm", "temperature", True, NOON)


def assignment(channel: str, unit: str, from_at: float, until_at: float | None = None) -> Assignment:
    return Assignment(channel, Quantity.AIR_TEMPERATURE, unit, "by the fan", from_at, until_at)


def batch(lot: str, *placements: Placement, ended_at: float | None = None) -> Batch:
    return Batch(
        lot, PLAN, AsMade(12.0), NOON, placements, (StageSpan(Stage.CURE, NOON),), ended_at=ended_at
    )  # fmt: skip


FIRST = assignment("c", "walk-in", NOON, NOON + 10)
SECOND = assignment("c", "fridge", NOON + 10)
OTHER = assignment("d", "walk-in", NOON + 5)


@pytest.mark.parametrize(
    ("at", "expected"),
    [(NOON - 1, None), (NOON, FIRST), (NOON + 9.999, FIRST), (NOON + 10, SECOND), (NOON + 1e9, SECOND)],
)
def test_a_channel_measures_what_it_was_assigned_to_at_that_instant(at: float, expected: Assignment | None) -> None:
    assert Kitchen(assignments=(FIRST, OTHER, SECOND)).assigned("c", at) == expected


def test_a_channel_that_nobody_assigned_measures_nothing() -> None:
    assert Kitchen(assignments=(FIRST,)).assigned("x", NOON) is None


def test_a_unit_has_the_assignments_in_force_or_all_it_ever_had() -> None:
    k = Kitchen(assignments=(FIRST, OTHER, SECOND))
    assert k.assignments_of("walk-in") == (FIRST, OTHER)
    assert k.assignments_of("walk-in", NOON + 4) == (FIRST,)
    assert k.assignments_of("walk-in", NOON + 10) == (OTHER,)
    assert k.assignments_of("bench") == ()


def test_batches_stand_in_a_unit_while_a_tub_of_theirs_does() -> None:
    moved = batch("B", Placement("1", "walk-in", NOON, NOON + 10), Placement("1", "fridge", NOON + 10))
    both = batch("A", Placement("1", "walk-in", NOON), Placement("2", "fridge", NOON))
    gone = batch("C", Placement("1", "walk-in", NOON, NOON + 5), ended_at=NOON + 5)
    k = Kitchen(batches={"B": moved, "C": gone, "A": both})
    assert [b.lot for b in k.standing_in("walk-in", NOON + 9)] == ["A", "B"]
    assert [b.lot for b in k.standing_in("walk-in", NOON + 10)] == ["A"]
    assert [b.lot for b in k.standing_in("fridge", NOON + 10)] == ["A", "B"]
    assert k.standing_in("walk-in", NOON - 1) == ()


@pytest.mark.parametrize(
    ("acknowledged_at", "returned_at", "state"),
    [
        (None, None, "unacknowledged alarm"),
        (NOON, None, "acknowledged alarm"),
        (None, NOON, "returned to normal, unacknowledged"),
        (NOON, NOON, "normal"),
    ],
)
def test_an_alarm_names_its_state_by_what_has_happened(
    acknowledged_at: float | None, returned_at: float | None, state: str
) -> None:
    alarm = Alarm("A1", WARM, NOON, acknowledged_at=acknowledged_at, returned_at=returned_at)
    assert alarm.state == state
    assert alarm.active is (returned_at is None)


def test_active_alarms_are_those_that_still_hold_oldest_first() -> None:
    first, back, second = (Alarm(f"A{i}", WARM, NOON + i) for i in (1, 2, 3))
    back = replace(back, returned_at=NOON + 9)
    k = Kitchen(alarms={"A1": first, "A2": back, "A3": second}, past_alarms={"A0": replace(back, id="A0")})
    assert k.active_alarms() == (first, second)
    assert k.alarm("A2") == back
    assert k.alarm("A0") == replace(back, id="A0")
    assert k.alarm("A9") is None


def proposed(position: int, new_end_at: float | None) -> ProposalRecord:
    made = Proposal("L1", Disposition.EXTEND, (), NOON, "US 2026.1", "0.1.0", new_end_at=new_end_at)
    return ProposalRecord(position, NOON, "rules", made)


def signed(position: int, proposal: int) -> SignOffRecord:
    return SignOffRecord(position, NOON, "kim", SignOff("L1", Disposition.EXTEND, "as proposed", "kim", proposal))


def test_the_latest_proposal_and_decision_are_the_ones_that_count() -> None:
    k = Kitchen(
        proposals={"L1": (proposed(2, None), proposed(3, NOON))}, sign_offs={"L1": (signed(4, 2), signed(5, 3))}
    )
    assert k.proposal_of("L1") == proposed(3, NOON)
    assert k.sign_off_of("L1") == signed(5, 3)
    assert k.proposal_of("L2") is None
    assert k.sign_off_of("L2") is None


PLANNED = NOON + 120 * H


@pytest.mark.parametrize(
    ("proposals", "sign_offs", "end_at"),
    [
        ((), (), PLANNED),
        ((proposed(2, PLANNED + H),), (), PLANNED),
        ((proposed(2, PLANNED + H),), (signed(3, 2),), PLANNED + H),
        ((proposed(2, PLANNED + H), proposed(4, PLANNED + 9 * H)), (signed(3, 2),), PLANNED + H),
        ((proposed(2, None),), (signed(3, 2),), PLANNED),
        ((proposed(2, PLANNED + H),), (signed(3, 77),), PLANNED),
        ((proposed(2, PLANNED - 9 * H),), (signed(3, 2),), PLANNED),
    ],
    ids=["plan", "only proposed", "signed", "a later one unsigned", "no new end", "another entry", "never earlier"],
)
def test_a_cure_ends_by_plan_until_a_person_has_signed_another_end(
    proposals: tuple[ProposalRecord, ...], sign_offs: tuple[SignOffRecord, ...], end_at: float
) -> None:
    k = Kitchen(
        batches={"L1": batch("L1", Placement("1", "walk-in", NOON))},
        proposals={"L1": proposals},
        sign_offs={"L1": sign_offs},
    )
    assert k.cure_end_at("L1") == end_at


def test_a_unit_lies_in_its_site_and_what_has_no_unit_in_the_only_one() -> None:
    home, barn = Site("home", "Home", "UTC", "US"), Site("barn", "Barn", "UTC", "GB")
    walk_in = Unit("walk-in", "barn", "Walk-in", "cold room")
    two = Kitchen(sites={"home": home, "barn": barn}, units={"walk-in": walk_in})
    assert two.site_of("walk-in") == barn
    assert two.site_of(None) is None
    assert two.site_of("nowhere") is None
    assert Kitchen(sites={"home": home}).site_of(None) == home
    assert Kitchen().site_of(None) is None

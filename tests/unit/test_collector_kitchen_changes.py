"""What a kitchen file changes: said once, dated, with its reason, and nothing the second time."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.assignments import merged
from collector.batches import Placement, Stage
from collector.events import (
    AsMadeCorrected,
    AssignmentEnded,
    BatchEnded,
    BatchStarted,
    ChannelAssigned,
    Draft,
    Entry,
    Event,
    HandReadingEntered,
    PlacementCorrected,
    StageBegun,
    TubMoved,
    UnitDescribed,
)
from collector.fold import fold
from collector.kitchen import Kitchen
from collector.kitchen_changes import Changes, changes, future_faults
from collector.kitchen_file import KitchenFile, read_kitchen
from collector.readings import Assignment, Quantity

EXAMPLE = (Path(__file__).resolve().parents[2] / "deploy" / "kitchen.example.toml").read_text(encoding="utf-8")
Edit = tuple[str, str]


def at(text: str) -> float:
    return datetime.fromisoformat(f"2026-{text}+00:00").timestamp()


NOW = at("11-23T08:00")


def edited(*edits: Edit) -> KitchenFile:
    text = EXAMPLE
    for before, after in edits:
        assert before in text, before
        text = text.replace(before, after, 1)
    found = read_kitchen(text)
    assert isinstance(found, KitchenFile), [str(fault) for fault in found]
    return found


def after(kitchen: Kitchen, drafts: Sequence[Draft]) -> Kitchen:
    first = kitchen.position + 1
    return fold([Entry(first + i, d.at, d.at, d.by, d.event) for i, d in enumerate(drafts)], kitchen)


def done(kitchen: Kitchen, *events: Event) -> Kitchen:
    return after(kitchen, [Draft(NOW, "ines", event) for event in events])


@pytest.fixture
def kitchen() -> Kitchen:
    """The example, brought in."""
    return after(Kitchen(), changes(Kitchen(), edited(), NOW).drafts)


def the_event(found: Changes) -> Event:
    assert found.faults == ()
    (draft,) = found.drafts
    (line,) = found.lines
    assert line
    return draft.event


def test_the_example_comes_into_an_empty_journal() -> None:
    found = changes(Kitchen(), edited(), NOW)
    assert found.lines == (
        "site harrow-lane: new",
        "unit coldroom: new",
        "person ines: new",
        "person tomas: new",
        "rota: tomas after 0 min, then ines after 10 min (21:00 to 07:00, from Mon, Tue, Wed, Thu, Fri, Sat, Sun)",
        "own limit excursion.hold: 3, ines: our own plan says three hours",
        "channel smokehouse/coldroom/air: air temperature in coldroom, by the evaporator, from 2026-11-01 00:00Z",
        "batch BRISKET-14: new, Brisket, five days, started 2026-11-20 10:30Z, tub 1",
        "batch BRISKET-14: tomas measured temperature 3.4 in the brine at 2026-11-22 09:05Z",
    )
    kitchen = after(Kitchen(), found.drafts)
    batch = kitchen.batches["BRISKET-14"]
    assert (batch.started_at, batch.stage_at(NOW), len(batch.placements)) == (at("11-20T10:30"), Stage.CURE, 3)
    assert batch.hand_readings[0].value == 3.4
    assert [draft.by for draft in found.drafts if isinstance(draft.event, HandReadingEntered)] == ["tomas"]


def test_applied_again_it_changes_nothing(kitchen: Kitchen) -> None:
    assert changes(kitchen, edited(), NOW + 3600.0) == Changes((), ())


EDITS: list[tuple[str, Sequence[Edit], type[Event], str]] = [
    (
        "a limit", [("limit_c = 4.5", "limit_c = 4.0")], UnitDescribed,
        "unit coldroom: limit_c 4.5 becomes 4",
    ),
    (
        "a weight", [("meat_kg = 2.04", "meat_kg = 2.14")], AsMadeCorrected,
        "batch BRISKET-14 as made: meat_kg 2.04 becomes 2.14",
    ),
    (
        "an offset", [("offset_c = -0.2", "offset_c = 0.1")], ChannelAssigned,
        "channel smokehouse/coldroom/air from 2026-11-01 00:00Z: offset_c -0.2 becomes 0.1",
    ),
    (
        "a channel's end", [("# until = 2027", "until = 2027")], AssignmentEnded,
        "channel smokehouse/coldroom/air: measures nothing of ours from 2027-01-01 00:00Z on",
    ),
    (
        "a time on the bench",
        [
            ("until = 2026-11-22T09:00", "until = 2026-11-22T08:30"),
            ("from = 2026-11-22T09:0", "from = 2026-11-22T08:3"),
        ],
        PlacementCorrected,
        "batch BRISKET-14: tub 1 stood otherwise: coldroom from 2026-11-20 10:30Z; "
        "the bench (22 °C) from 2026-11-22 08:30Z; coldroom from 2026-11-22 09:40Z",
    ),
    (
        "a stage", [('stage = "cure"', 'stage = "rest"')], StageBegun,
        "batch BRISKET-14: stage cure becomes rest from now on",
    ),
    (
        "an end",
        [("# ended = 2026-11-25T10:30", "ended = 2026-11-23T07:30"), ("# ended_reason", "ended_reason")], BatchEnded,
        "batch BRISKET-14: ended 2026-11-23 07:30Z, cooked",
    ),
    (
        "a second hand reading",
        [("[[batch.hand_reading]]\nat = 2026-11-22T09:05", "[[batch.hand_reading]]\nat = 2026-11-22T11:05")],
        HandReadingEntered,
        "batch BRISKET-14: tomas measured temperature 3.4 in the brine at 2026-11-22 11:05Z",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("edits", "kind", "line"), [edit[1:] for edit in EDITS], ids=[edit[0] for edit in EDITS])
def test_one_edit_is_one_event_with_a_line_for_people_and_then_nothing_more(
    kitchen: Kitchen, edits: Sequence[Edit], kind: type[Event], line: str
) -> None:
    found = changes(kitchen, edited(*edits), NOW)
    assert found.lines == (line,)
    assert isinstance(the_event(found), kind)
    assert changes(after(kitchen, found.drafts), edited(*edits), NOW) == Changes((), ())


def test_a_correction_carries_the_file_as_its_reason(kitchen: Kitchen) -> None:
    event = the_event(changes(kitchen, edited(("meat_c = 3.1", "meat_c = 4.1")), NOW))
    assert isinstance(event, AsMadeCorrected)
    assert event.reason == "as described in kitchen.toml"


def test_what_happened_is_dated_when_it_did() -> None:
    ended = [("# ended = 2026-11-25T10:30", "ended = 2026-11-23T07:30"), ("# ended_reason", "ended_reason")]
    dated = {type(d.event): d.at for d in changes(Kitchen(), edited(*ended), NOW).drafts}
    assert dated[BatchStarted] == at("11-20T10:30")
    assert dated[HandReadingEntered] == at("11-22T09:05")
    assert dated[BatchEnded] == at("11-23T07:30")
    assert dated[ChannelAssigned] == at("11-01T00:00")
    assert dated[UnitDescribed] == NOW


FRIDGE = UnitDescribed(replace(edited().units[0], id="fridge", name="Fridge"))
CARRIED = TubMoved("BRISKET-14", Placement("1", "fridge", at("11-22T20:00")))


def test_an_older_file_does_not_carry_a_tub_back(kitchen: Kitchen) -> None:
    assert changes(done(kitchen, FRIDGE, CARRIED), edited(), NOW) == Changes((), ())


def test_an_older_file_does_not_take_back_what_was_entered_since() -> None:
    file = edited(("brine_c = 3.8 ", "# "))
    kitchen = after(Kitchen(), changes(Kitchen(), file, NOW).drafts)
    assert kitchen.batches["BRISKET-14"].as_made.brine_c is None
    completed = replace(kitchen.batches["BRISKET-14"].as_made, brine_c=3.9)
    kitchen = done(kitchen, AsMadeCorrected("BRISKET-14", completed, "found the note"))
    assert changes(kitchen, file, NOW) == Changes((), ())


def test_an_older_file_does_not_begin_a_stage_again(kitchen: Kitchen) -> None:
    assert changes(done(kitchen, StageBegun("BRISKET-14", Stage.REST, NOW)), edited(), NOW) == Changes((), ())


def test_an_older_file_does_not_open_a_batch_or_a_channel_that_has_ended(kitchen: Kitchen) -> None:
    kitchen = done(
        kitchen,
        BatchEnded("BRISKET-14", NOW, "cooked"),
        AssignmentEnded("smokehouse/coldroom/air", NOW, "moved to the chamber"),
    )
    assert changes(kitchen, edited(), NOW) == Changes((), ())


def test_nothing_is_removed_by_leaving_it_out(kitchen: Kitchen) -> None:
    cut = EXAMPLE[: EXAMPLE.index("[[unit]]")]
    described = read_kitchen(cut)
    assert isinstance(described, KitchenFile)
    assert changes(kitchen, described, NOW) == Changes((), ())


MOVES = """
[[batch.placement]]
tub = "1"
bench_c = 20.0
from = 2026-11-22T20:00:00+00:00
until = 2026-11-22T20:30:00+00:00

[[batch.placement]]
tub = "1"
unit = "coldroom"
from = 2026-11-22T20:30:00+00:00

[[batch.hand_reading]]"""


def test_a_tub_carried_on_is_a_move_and_no_correction(kitchen: Kitchen) -> None:
    carried = edited(
        ("from = 2026-11-22T09:40:00+00:00", "from = 2026-11-22T09:40:00+00:00\nuntil = 2026-11-22T20:00:00+00:00"),
        ("\n[[batch.hand_reading]]", MOVES),
    )
    found = changes(kitchen, carried, NOW)
    assert [type(draft.event) for draft in found.drafts] == [TubMoved, TubMoved]
    assert [draft.at for draft in found.drafts] == [at("11-22T20:00"), at("11-22T20:30")]
    kitchen = after(kitchen, found.drafts)
    assert kitchen.batches["BRISKET-14"].placements == carried.batches[0].placements
    assert changes(kitchen, carried, NOW) == Changes((), ())


def test_a_second_tub_is_added_beside_the_first(kitchen: Kitchen) -> None:
    tub = '\n[[batch.placement]]\ntub = "2"\nunit = "coldroom"\nfrom = 2026-11-22T20:30:00Z\n\n[[batch.hand_reading]]'
    found = changes(kitchen, edited(("\n[[batch.hand_reading]]", tub)), NOW)
    assert found.lines == ("batch BRISKET-14: tub 2 is new: coldroom from 2026-11-22 20:30Z",)
    assert after(kitchen, found.drafts).batches["BRISKET-14"].tubs == ("1", "2")


Faulty = tuple[str, Sequence[Edit], str]
FAULTS: list[Faulty] = [
    (
        "the plan of a running batch", [("cure_days = 5.0", "cure_days = 6.0")],
        "batch 1 plan: the plan of BRISKET-14 was written when it was started (cure_s 432000 becomes 518400); "
        "put the plan back; for other meat, end this batch and start a new lot",
    ),
    (
        "its start",
        [("started = 2026-11-20T10:30", "started = 2026-11-20T10:00")],
        "batch 1 started: BRISKET-14 was started 2026-11-20 10:30Z; "
        "put the time back; correct where it stood under [[batch.placement]]",
    ),
    (
        "a hand reading", [("value = 3.4", "value = 2.4")],
        "batch 1 hand_reading 1 value: this hand reading was entered as 3.4; "
        "put the figure back; a new measurement is a table of its own, with its own time",
    ),
    (
        "a lot by its capitals", [('lot = "BRISKET-14"               # lot', 'lot = "Brisket-14" # lot')],
        "batch 1 lot: Brisket-14 differs from BRISKET-14 by capitals alone; write BRISKET-14",
    ),
    (
        "the site", [('id = "harrow-lane"', 'id = "harrow-road"')],
        "site id: this journal is the one of harrow-lane; name another data folder, or mend the id",
    ),
    (
        "an unknown unit", [('unit = "coldroom" ', 'unit = "coolroom" ')],
        "channel 1 unit: no unit is called coolroom; use one of: coldroom; or describe it under [[unit]]",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("edits", "said"), [row[1:] for row in FAULTS], ids=[row[0] for row in FAULTS])
def test_what_must_not_change_is_a_fault_that_says_what_to_do(
    kitchen: Kitchen, edits: Sequence[Edit], said: str
) -> None:
    found = changes(kitchen, edited(*edits), NOW)
    assert (found.drafts, found.lines) == ((), ())
    (fault,) = found.faults
    assert fault.line is not None
    assert str(fault).split(": ", 1)[1] == said


def test_what_has_not_happened_yet_is_a_fault_for_a_living_kitchen() -> None:
    early = at("11-20T00:00")
    assert [fault.key for fault in future_faults(edited(), early)] == ["batch 1 started", "batch 1 hand_reading 1 at"]
    assert future_faults(edited(), NOW) == ()


def assignment(start: int, end: int | None, offset: float) -> Assignment:
    until = None if end is None else float(end)
    return Assignment("c", Quantity.AIR_TEMPERATURE, "u", "wall", float(start), until, offset)


@st.composite
def timelines(draw: Callable[..., object]) -> list[Assignment]:
    edges = sorted(draw(st.sets(st.integers(0, 12), max_size=5)))  # type: ignore[call-overload]
    made = []
    for here, beyond in zip(edges, [*edges[1:], *([None] if edges else [])], strict=True):
        end = beyond
        if draw(st.booleans()):
            end = here + 1 if beyond is None else min(here + 1, beyond)
        made.append(assignment(here, end, float(draw(st.integers(0, 2)))))  # type: ignore[arg-type]
    return made


@given(timelines(), timelines())
def test_assignments_told_hold_afterwards_those_not_told_stay_and_a_second_time_is_silent(
    known: list[Assignment], told: list[Assignment]
) -> None:
    kitchen = done(Kitchen(), *(ChannelAssigned(one) for one in known))
    known = list(kitchen.assignments)
    kitchen = done(kitchen, *merged(known, told, "told"))
    now = sorted(kitchen.assignments, key=lambda a: a.from_at)
    assert {a.from_at for a in now} == {a.from_at for a in [*known, *told]}
    assert all(a.until_at is not None and a.until_at <= b.from_at for a, b in zip(now, now[1:], strict=False))
    for one in told:
        (held,) = [a for a in now if a.from_at == one.from_at]
        assert replace(held, until_at=None) == replace(one, until_at=None)
    assert merged(now, told, "again") == []

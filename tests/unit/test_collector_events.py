"""Bytes of every event kind, as released and for ever; what does not fit is refused with its position."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

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
    StageWindow,
    Strand,
    Where,
)
from collector.events import KINDS, UP_CASTERS, VERSIONS, Draft, Entry, UnreadableEntry, decode, encode, named_fields
from collector.findings import Condition, Disposition, Evidence, Finding, Outcome, Proposal, SignOff, Tier
from collector.logs import Calibration, Composition, CoreLog, Disposal, LabelApplied, SoakLog, TaskDone
from collector.readings import Assignment, Quantity, Site, Unit
from collector.rota import RotaStep

GOLDEN = sorted((Path(__file__).parent / "golden").glob("*.json"))
AT, RECORDED_AT = 1_767_268_800.125, 1_767_268_801.5

PLAN = Plan(
    "Loin, 5 days", "pork", "loin", Method.INJECTED, Packing.UNDER_BRINE, Route.COOKED, 432_000.0, 65.0, 12.5,
    "tub", True, True, 20.0, 1.6, 0.4, 0.25, 6.25, 14_400.0, "weighed down",
    "cured_pork", "method one", 10.5, 8.0, 1.0, "brick", 250.0, 150.0, "stainless", 900.0, 160.0, 2.5, 7200.0,
    "P-17", 0.91, "freezing", "tested culture", (StageWindow(Stage.REST, 10.0, 15.6, 1e6, "9 CFR 319.106"),), False,
)  # fmt: skip
PLAN_1 = Plan(
    "Loin, 5 days", "pork", "loin", Method.INJECTED, Packing.UNDER_BRINE, Route.COOKED, 432_000.0, 65.0, 12.5,
    "tub", True, True, 20.0, 1.6, 0.4, 0.25, 6.25, 14_400.0, "weighed down",
)  # fmt: skip
AS_MADE = AsMade(
    12.4, 20.0, 1.6, 0.4, 0.25, "CS-0417", 6.25, 2.5, 3.0, "bench scale", ("P-881", "P-882"),
    1.0, 13.6, "topped up", AT - 7200, 5.0, 2.5, AT + 864_000,
)  # fmt: skip
AS_MADE_1 = AsMade(12.4, 20.0, 1.6, 0.4, 0.25, "CS-0417", 6.25, 2.5, 3.0, "bench scale", ("P-881", "P-882"))
PLACED = (Placement("1", "walk-in", AT, AT + 3600.5), Placement("1", None, AT + 3600.5, None, 18.0))
CONDITION = Condition(
    "walk-in", "product warm", "temperature", True, AT, ("L-0107",), AT + 600, AT + 900.5, None,
    "product_over_limit", {"limit_c": 5, "estimate_c": 5.3, "unit": "Walk-in – north", "since": None},
)  # fmt: skip
FINDING = Finding(
    "e-2", Outcome.OUTSIDE, Tier.HOLD, "above_limit", {"hours": 3.5},
    Evidence(AT - 86_400, AT, ("urn:dev:mac:0024befffe804ff1/air",), 1440, 0.0, "time above limit", 3.5, "h", 2.0),
    ("us-cold-1",), 0.0,
)  # fmt: skip
PROPOSAL = Proposal(
    "L-0107", Disposition.EXTEND, (FINDING,), AT, "US 2026.1", "0.1.0", 43_200.0, AT + 500_000, AT + 86_400, True
)

SAMPLES: dict[str, e.Event] = {
    type(event).__name__: event
    for event in (
        e.SiteDescribed(Site("home", "Älgen smokehouse", "America/New_York", "US", "M-1234", ("06:30", "18:00"))),
        e.UnitDescribed(
            Unit("walk-in", "home", "Walk-in", "cold room", 4.0, 30.5, 0.5, 10.0, 1800.0, 5400.25, True, 6)
        ),
        e.ChannelAssigned(
            Assignment("c1", Quantity.AIR_TEMPERATURE, "walk-in", "by the fan", AT, AT + 1, -0.2, 30.0, 0.3, "L", "1")
        ),
        e.AssignmentEnded("c1", AT + 5.75, "taken out"),
        e.PersonDescribed("kim", "Kim Doe", ("operator", "approver")),
        e.RotaDescribed((RotaStep("kim", 0.0), RotaStep("sam", 600.5, "21:00", "07:00", ("fri", "sat")))),
        e.RowConfirmed("US 2026.1", "us-cold-1", "9 CFR 318.9", "kim"),
        e.BatchStarted("L-0107", PLAN, AS_MADE, PLACED, Stage.REST),
        e.AsMadeCorrected("L-0107", AS_MADE, "the scale was read again"),
        e.StageBegun("L-0107", Stage.SOAK, AT + 1),
        e.TubMoved("L-0107", PLACED[1]),
        e.PlacementCorrected("L-0107", "1", PLACED, "it stood on the bench"),
        e.HandReadingEntered(
            HandReading(AT, "temperature", 4.2, Where.BRINE, "probe 2", "L-0107", "walk-in", "1", "thermocouple")
        ),
        m.PlanChanged("L-0107", PLAN, "it will be cooked"),
        m.CoreLogged("L-0107", CoreLog("cook", "probe 2", ((AT, 10.0), (AT + 3600, 71.5)), "kim", "thickest piece")),
        m.SoakLogged("L-0107", SoakLog(AT, AT + 3600, 4.0, "kim")),
        m.TaskReported("L-0107", TaskDone("turn 1", AT, "kim", "brine clear")),
        m.LabelReported("L-0107", LabelApplied("celery; cook before eating", True, AT, "kim")),
        m.FoodDisposed("L-0107", Disposal(12.4, "dyed and binned", "Sam Roe", AT, "kim")),
        m.BatchSplit("L-0107", "L-0107b", ("1",)),
        m.BatchesMerged("L-0200", PLAN, 20.5, (Strand("L-0107", "1", "A"), Strand("L-0108", "2", "A")), PLACED),
        m.CompositionConfirmed(Composition("CS-0417", 6.25, 1.0, "kim", AT)),
        m.CalibrationEntered(Calibration("c1", "channel", AT, "melting ice", 0.25, 0.0, AT + 1e7, "kim", 0.5)),
        m.SensorUnderTest("c1", AT),
        m.SensorBack("c1", AT + 600),
        m.NotePinned("tub 1 is on hold"),
        m.NoteSeen(41),
        m.SiteLimitSet("excursion.hold", 2.5, "our own plan says so", "kim"),
        e.CorrectiveActionEntered("L-0107", CorrectiveAction(AT, "door left open", "closed", "a spring", "none")),
        e.BatchEnded("L-0107", AT + 9, "sold"),
        e.AlarmRaised(CONDITION),
        e.AlarmChanged("A17", CONDITION),
        e.AlarmAcknowledged("A17", "going", AT + 900, "ten minutes"),
        e.AlarmReturned("A17", "returned", {"estimate_c": 4.5, "n": 2, "who": None}),
        e.AlarmTold("A17", "again 2", "kim", "webhook", "failed", "connection refused"),
        w.AlarmExplained("A17", {"cause": "door", "cause_at": AT - 600, "cause_k": 2.5}),
        w.AlarmShelved("A17", AT + 3600, "the coil is being thawed"),
        w.AlarmUnshelved("A17", "time"),
        w.UnitOutOfService("walk-in", "its compressor is being changed"),
        w.UnitInService("walk-in", "the compressor runs", "L-0107"),
        w.WorkPlanned("walk-in", "cleaning", AT + 600, AT + 7200, "floor and shelves"),
        w.WorkEnded("W53", "hand"),
        d.DrillStarted("calls", ("kim", "sam"), "walk-in"),
        d.DrillTold("D60", "kim", "webhook", "failed", "HTTP 500", "missing"),
        d.DrillAnswered("D60", "kim", "link"),
        d.DrillEnded("D60", "two hours are over", ("sam",)),
        e.ProposalMade(PROPOSAL),
        e.DispositionSigned(SignOff("L-0107", Disposition.HOLD, "wait for the lab", "kim", 31, "bottom shelf")),
        e.GapSuspected(AT, AT + 300, "the broker forgot the session"),
        e.ItemSetAside("unit walk-in", "its readings could not be judged"),
    )
}  # fmt: skip


OLDER: dict[str, e.Event] = {
    "UnitDescribed.1": e.UnitDescribed(
        Unit("walk-in", "home", "Walk-in", "cold room", 4.0, 30.5, 0.5, 10.0, 1800.0, 5400.25)
    ),
    "RotaDescribed.1": e.RotaDescribed((RotaStep("kim", 0.0), RotaStep("sam", 600.5))),
    "BatchStarted.1": e.BatchStarted("L-0107", PLAN_1, AS_MADE_1, PLACED, Stage.REST),
    "AsMadeCorrected.1": e.AsMadeCorrected("L-0107", AS_MADE_1, "the scale was read again"),
    "HandReadingEntered.1": e.HandReadingEntered(
        HandReading(AT, "temperature", 4.2, Where.BRINE, "probe 2", "L-0107", "walk-in", "1")
    ),
}
"""What bytes of an older version say, where the present one says more."""


def golden(path: Path) -> bytes:
    """Return the bytes of the entry; the file ends in a newline that the entry has not."""
    return path.read_bytes().removesuffix(b"\n")


def test_every_version_of_every_kind_has_its_golden_bytes() -> None:
    named = [f"{kind}.{version}" for kind in KINDS for version in range(1, VERSIONS[kind] + 1)]
    assert sorted(path.stem for path in GOLDEN) == sorted(named)


@pytest.mark.parametrize("path", GOLDEN, ids=lambda path: path.stem)
def test_golden_bytes_are_read_as_the_event_they_were_written_for(path: Path) -> None:
    kind = path.stem.partition(".")[0]
    assert decode(7, golden(path)) == Entry(7, AT, RECORDED_AT, "kim", OLDER.get(path.stem, SAMPLES[kind]))


@pytest.mark.parametrize("path", GOLDEN, ids=lambda path: path.stem)
def test_golden_bytes_of_the_present_version_are_written_again_to_the_same_bytes(path: Path) -> None:
    kind, _, version = path.stem.partition(".")
    if int(version) < VERSIONS[kind]:
        return
    entry = decode(7, golden(path))
    assert encode(Draft(entry.at, entry.by, entry.event), entry.recorded_at) == golden(path)


@pytest.mark.parametrize("kind", KINDS)
def test_every_field_of_a_sample_stands_in_its_golden_bytes(kind: str) -> None:
    path = Path(__file__).parent / "golden" / f"{kind}.{VERSIONS[kind]}.json"
    assert sorted(json.loads(golden(path))["body"]) == sorted(named_fields(SAMPLES[kind]))


def test_an_event_that_changes_needs_a_step_from_each_older_version() -> None:
    steps = {(kind, version) for kind in KINDS for version in range(1, VERSIONS[kind])}
    assert set(UP_CASTERS) == steps


def test_the_bytes_do_not_depend_on_how_a_whole_number_was_written() -> None:
    as_float = Draft(100.0, "kim", e.BatchEnded("L", 5.0, "sold"))
    as_int = Draft(100, "kim", e.BatchEnded("L", 5, "sold"))
    assert encode(as_float, 7.0) == encode(as_int, 7)
    assert encode(as_int, 7) == (
        b'{"at":100,"body":{"ended_at":5,"lot":"L","reason":"sold"},"by":"kim","kind":"BatchEnded","recorded_at":7,"v":1}'
    )


def test_instants_of_an_entry_are_rounded_to_the_millisecond() -> None:
    line = encode(Draft(1.23456789, "kim", e.ItemSetAside("x", "y")), 2.99999999)
    entry = decode(1, line)
    assert (entry.at, entry.recorded_at) == (1.235, 3.0)


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), float("-inf")])
def test_a_figure_that_is_not_finite_is_never_written(bad: float) -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        encode(Draft(1.0, "kim", e.BatchEnded("L", bad, "sold")), 2.0)


def changed(change: Callable[[dict[str, Any]], object]) -> bytes:
    line = json.loads(encode(Draft(1.0, "kim", e.BatchEnded("L", 5.0, "sold")), 2.0))
    change(line)
    return json.dumps(line).encode()


@pytest.mark.parametrize(
    ("line", "why"),
    [
        (b"", "these bytes are no entry"),
        (b"\xff\xfe", "these bytes are no entry"),
        (b"[]", "these bytes are no entry"),
        (b"7", "these bytes are no entry"),
        (changed(lambda line: line.pop("body")), "these bytes are no entry"),
        (changed(lambda line: line.pop("at")), "these bytes are no entry"),
        (changed(lambda line: line.update(recorded_at=None)), "these bytes are no entry"),
        (changed(lambda line: line.update(v="first")), "these bytes are no entry"),
        (changed(lambda line: line.update(v=0)), "these bytes are no entry"),
        (changed(lambda line: line.update(body=[])), "BatchEnded does not fit its version: 1 fields"),
        (changed(lambda line: line.update(kind=[])), "was written by a newer program"),
        (changed(lambda line: line.update(kind="Eaten")), "Eaten version 1 was written by a newer program"),
        (changed(lambda line: line.update(v=2)), "BatchEnded version 2 was written by a newer program"),
        (changed(lambda line: line["body"].pop("lot")), "BatchEnded does not fit its version: 1 fields"),
        (changed(lambda line: line["body"].update(extra=1)), "BatchEnded does not fit its version: 1 fields"),
        (changed(lambda line: line["body"].update(ended_at="soon", lot=3)), "does not fit its version: 2 fields"),
    ],
)
def test_bytes_that_are_no_entry_are_refused_with_their_position(line: bytes, why: str) -> None:
    with pytest.raises(UnreadableEntry, match=why) as caught:
        decode(41, line)
    assert caught.value.position == 41
    assert "entry 41" in str(caught.value)

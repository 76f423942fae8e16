"""What tests of the rules share: a batch told in the words of a kitchen, and the history that follows from it."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from alerts.history import Array, BatchHistory, TubHistory, UnknownTime
from alerts.science.heat import backward_bound, product_temperature
from alerts.science.warmest import mixed_temperature
from collector.batches import (
    AsMade,
    Batch,
    HandReading,
    Method,
    Packing,
    Placement,
    Plan,
    Route,
    Stage,
    StageSpan,
    StageWindow,
    Where,
)
from collector.logs import CoreLog, LabelApplied, SoakLog
from collector.readings import Site

ZONE = "America/New_York"
SPAN_S = {"min": 60.0, "h": 3600.0, "d": 86400.0}
STRETCH = re.compile(r"(?P<long>[\d.]+) (?P<unit>min|h|d) (at (?P<air>-?[\d.]+)|unknown)")
HAND = re.compile(r"probe reads (-?[\d.]+)")
WINDOW = re.compile(
    r"(?P<stage>\w+) (?P<low>-?[\d.]+) to (?P<high>-?[\d.]+) for (?P<long>[\d.]+ (min|h|d)), (?P<by>.+)"
)
MEASURED = re.compile(r"(?P<what>\w+) (?P<value>[\d.]+)( by (?P<method>.+))? after (?P<after>[\d.]+ (min|h|d))")
AMBIENT_C, COLDEST_C = 25.0, 1.0
"""What an unwatched unit is taken to warm towards, and the coldest air it makes."""


def span_s(text: str) -> float:
    """Return the seconds of `2 h`, `15 min` or `5 d`."""
    amount, unit = text.split()
    return float(amount) * SPAN_S[unit]


@dataclass
class Path:
    """The three copies of one tub's estimate, as a story unfolds in steps of 60 s."""

    tau_s: float
    at: float
    likely: float
    lower: float
    upper: float
    air: float
    parts: list[tuple[Array, Array, Array, Array]] = field(default_factory=list)
    gaps: list[UnknownTime] = field(default_factory=list)

    def go(self, long_s: float, air: tuple[float, float, float], *, unknown: bool) -> None:
        """Let the air (likely, lowest, highest) act for a while."""
        times = np.linspace(self.at, self.at + long_s, round(long_s / 60) + 1)
        starts = self.likely, self.lower, self.upper
        likely, lower, upper = (
            product_temperature(times, np.full(times.size, air_c), self.tau_s, start)
            for air_c, start in zip(air, starts, strict=True)
        )
        self.parts.append((times, likely, np.minimum(lower, likely), np.maximum(upper, likely)))
        if unknown:
            self.gaps.append(UnknownTime(self.at, self.at + long_s, "no trusted reading"))
        self.at, self.air = float(times[-1]), air[0]
        self.likely, self.lower, self.upper = (float(copy[-1]) for copy in self.parts[-1][1:])

    def probe(self, read_c: float) -> None:
        """Start the copies from a probe in the warmest part, and bound the gap that has just ended."""
        times, likely, lower, upper = self.parts.pop()
        bound = backward_bound(read_c, min(COLDEST_C, read_c), self.at - times, self.tau_s)
        self.parts.append((times, likely, lower, np.maximum(np.minimum(upper, bound), likely)))
        self.likely = self.lower = self.upper = read_c

    def tub(self, name: str, uncertainty_c: float, start_known: bool) -> TubHistory:
        """Return the history that the story has made."""
        times, likely, lower, upper = (np.concatenate(column) for column in zip(*self.parts, strict=True))
        unknown = np.maximum(upper - likely, likely - lower) > uncertainty_c
        for gap in self.gaps:
            unknown |= (times >= gap.from_at) & (times <= gap.until_at)
        known = int((~unknown).sum())
        return TubHistory(
            name, times, likely, lower, upper, unknown, tuple(self.gaps), ("air",), known, self.tau_s, uncertainty_c,
            start_known,
        )  # fmt: skip


def told(path: Path, story: Sequence[str]) -> None:
    """Play `12 h at 3.0`, `6 h unknown` and `probe reads 3.4` in order."""
    for line in story:
        if hand := HAND.fullmatch(line):
            path.probe(float(hand[1]))
            continue
        found = STRETCH.fullmatch(line)
        assert found, f"nobody understands {line!r}"
        long_s = float(found["long"]) * SPAN_S[found["unit"]]
        if found["air"] is None:
            path.go(long_s, (path.air, COLDEST_C, AMBIENT_C), unknown=True)
        else:
            air = float(found["air"])
            path.go(long_s, (air, air, air), unknown=False)


def core_log(told_log: Mapping[str, Any], begun: float) -> CoreLog:
    """Return a core log: `begins` after filling, and points of a time since then and a temperature: `90 min 54.4`."""
    at = begun + span_s(told_log["begins"])
    points = []
    for point in told_log["points"]:
        long, _, core_c = point.rpartition(" ")
        points.append((at + span_s(long), float(core_c)))
    return CoreLog(told_log["stage"], told_log.get("probe", "P1"), tuple(points), "kim")


def logged(story: Mapping[str, Any], batch: Batch, until: float) -> Batch:
    """Return the batch with what people logged: core logs, measurements, a label at the end, a soak at the end."""
    begun = batch.started_at
    hand = []
    for line in story.get("hand", []):
        found = MEASURED.fullmatch(line)
        assert found, f"nobody understands {line!r}"
        at = begun + span_s(found["after"])
        hand.append(
            HandReading(at, found["what"], float(found["value"]), Where.CORE, "m1", "B14", method=found["method"] or "")
        )
    words = story.get("label")
    labels = () if words is None else (LabelApplied(words, "cook before eating" in words, until, "kim"),)
    soaked = () if "soak" not in story else (SoakLog(until - span_s(story["soak"]), until, 4.0, "kim"),)
    cores = tuple(core_log(one, begun) for one in story.get("core", []))
    return replace(batch, core_logs=cores, hand_readings=(*batch.hand_readings, *hand), labels=labels, soaks=soaked)


def asked(story: Mapping[str, Any], plan: Plan) -> Plan:
    """Return the plan with what a release asks of it: process, parasites, windows, and whether it was opened."""
    return replace(
        plan, cut=story.get("cut", plan.cut), process=story.get("process", ""), process_aw=story.get("process_aw"),
        parasite_control=story.get("parasites", ""), windows=windows_from(story), opened=story.get("opened"),
    )  # fmt: skip


def windows_from(story: Mapping[str, Any]) -> tuple[StageWindow, ...]:
    """Return windows told as `smoke 10 to 35 for 3 d, house`."""
    windows = []
    for line in story.get("windows", []):
        found = WINDOW.fullmatch(line)
        assert found, f"nobody understands {line!r}"
        bounds = float(found["low"]), float(found["high"])
        windows.append(StageWindow(Stage(found["stage"]), *bounds, span_s(found["long"]), found["by"]))
    return tuple(windows)


WEIGHED = ("meat", "water", "salt", "sugar", "curing_salt", "pumped")
PER_CENT = ("nitrite", "nitrate", "pump", "pickup")


def masses_from(told: Mapping[str, Any]) -> dict[str, Any]:
    """Return `{ salt = 0.2, nitrite = 6.25 }` by the names of plan and sheet: masses in kg, shares in per cent."""
    named = {name: f"{name}_kg" for name in WEIGHED} | {name: f"{name}_percent" for name in PER_CENT}
    return {named[key]: None if value == "not entered" else value for key, value in told.items()}


def making_from(story: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return what a story says of plan and sheet beyond their temperatures; the sheet says what the plan does."""
    recipe = story.get("plan")
    if recipe is None:
        return {"meat_kg": 3.0}, {"meat_kg": 3.0, "water_kg": 3.0}
    plan = masses_from(recipe)
    weighed = {key: value for key, value in plan.items() if key not in ("pump_percent", "pickup_percent")}
    if "pump_percent" in plan:
        weighed["pumped_kg"] = plan["meat_kg"] * (1 + plan["pump_percent"] / 100)
    weighed |= masses_from(story.get("made", {}))
    named = {"class": "product_class", "basis": "nitrite_basis", "factor": "controlling_factor", "vessel": "vessel"}
    return plan | {field: story[key] for key, field in named.items() if key in story}, weighed


def measured_from(story: Mapping[str, Any], at: float) -> tuple[HandReading, ...]:
    """Return `measured = { nitrite = 40 }` as hand readings, made at the end of the story."""
    return tuple(
        HandReading(at, measure, value, Where.CORE, "invented laboratory", "B14")
        for measure, value in story.get("measured", {}).items()
    )


def history_from(story: Mapping[str, Any]) -> BatchHistory:
    """Return the history of a batch told in the words of a case file (see tests/unit/cases/)."""
    begun = datetime.fromisoformat(story.get("begun", "2026-03-02T07:00")).replace(tzinfo=ZoneInfo(ZONE)).timestamp()
    packing = Packing(story.get("packing", "under brine"))
    start_c = float(story.get("start_c", 3.0))
    brine_c = story.get("brine_c", start_c if packing is Packing.UNDER_BRINE else None)
    meat_c = story.get("meat_c", start_c)
    brine_c, meat_c = (None if entered == "not entered" else entered for entered in (brine_c, meat_c))
    recipe, weighed = making_from(story)
    plan = Plan(
        "plan", story.get("meat", "beef"), "cut", Method(story.get("method", "immersion")), packing,
        Route(story.get("route", "cooked")), span_s(story.get("cure", "5 d")), story.get("thickness_mm", 55.0),
        bone_in=story.get("bone_in", False), published_days=story.get("published_days", False), **recipe,
    )  # fmt: skip
    mixed = start_c
    if brine_c is not None and meat_c is not None:
        mixed = mixed_temperature(3.0, brine_c, 3.0, meat_c)
    elif meat_c is not None:
        mixed = meat_c
    tubs = []
    for name, lines in story.get("tubs", {"1": story.get("air", [])}).items():
        start_known = meat_c is not None and (packing is not Packing.UNDER_BRINE or brine_c is not None)
        lowest, highest = (mixed, mixed) if start_known else (min(mixed, 0.0), max(mixed, 10.0))
        path = Path(span_s(story.get("tau", "6 h")), begun, mixed, lowest, highest, 3.0)
        told(path, lines)
        if path.parts:
            tubs.append(path.tub(name, story.get("uncertainty_c", 0.5), start_known))
    ends = [float(tub.times_at[-1]) for tub in tubs]
    until = begun + span_s(story["judged_after"]) if "judged_after" in story else max(ends, default=begun + 3600.0)
    spans, at = [], begun
    for line in story.get("stages", ["cure"]):
        stage, _, long = line.partition(" for ")
        end = at + span_s(long) if long else None
        spans.append(StageSpan(Stage(stage), at, end))
        at = end if end is not None else at
    placed = tuple(Placement(name, "room", begun) for name in story.get("placed", [tub.tub for tub in tubs] or ["1"]))
    made = AsMade(**weighed, brine_c=brine_c, meat_c=meat_c)
    batch = Batch("B14", plan, made, begun, placed, tuple(spans), measured_from(story, until))
    batch = logged(story, replace(batch, plan=asked(story, batch.plan)), until)
    cure_end = batch.planned_end_at + span_s(story.get("extended", "0 h"))
    site = Site("site", "Smokehouse", ZONE, story.get("authority", "US"))
    return BatchHistory(batch, site, tuple(tubs), story.get("limit_c"), cure_end, until)


@pytest.fixture(scope="session")
def history_of() -> Callable[[Mapping[str, Any]], BatchHistory]:
    """`history_of({"air": ["72 h at 3.0", "2 h at 9.0"]})`: a batch's history, told as in a case file."""
    return history_from

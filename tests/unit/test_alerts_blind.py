"""A sensor that stands still hides nothing: the next one leads, and without one the unit is unwatched."""

import math
from collections.abc import Callable

import numpy as np
import pytest

from alerts.blind import FAHRENHEIT, STUCK, blind_spans, stuck_since
from alerts.heard import Taken
from alerts.learned import folded
from alerts.rebuild import rebuilt
from alerts.unit_watch import UnitWatch, take
from alerts.watch import conditions
from collector.batches import AsMade, Batch, Method, Packing, Placement, Plan, Route, Stage, StageSpan
from collector.kitchen import Kitchen
from collector.readings import Assignment, Quantity, Reading, Site, Unit
from collector.sample import Message
from collector.storage import Arrival, MemoryReadings

HOUR, START = 3600.0, 1_760_000_400.0
UNIT = Unit("room", "s", "Room", "cold room")
PLAN = Plan(
    "x", "beef", "brisket", Method.IMMERSION, Packing.UNDER_BRINE, Route.COOKED, 432_000.0, 55.0, 3.0, tau_s=21_600.0
)
BATCH = Batch(
    "B1", PLAN, AsMade(3.0, 3.0, brine_c=3.0, meat_c=3.0), START, (Placement("1", "room", START),),
    (StageSpan(Stage.CURE, START),),
)  # fmt: skip
Row = tuple[float, str, float]


def air(name: str) -> Assignment:
    return Assignment(name, Quantity.AIR_TEMPERATURE, "room", "wall", START, interval_s=300.0)


def kitchen(*names: str) -> Kitchen:
    assignments = tuple(air(name) for name in names)
    return Kitchen(
        sites={"s": Site("s", "S", "Europe/London", "US")}, units={"room": UNIT}, assignments=assignments,
        said=assignments, batches={"B1": BATCH},
    )  # fmt: skip


def moving(at: float) -> float:
    return round(3.0 + math.sin(at / 400.0), 3)


def rows(name: str, hours: float, stuck_from_h: float = math.inf, until_h: float = math.inf) -> list[Row]:
    found: list[Row] = []
    for i in range(round(hours * 12)):
        at = START + 300.0 * i
        still = stuck_from_h <= i / 12.0 < until_h
        found.append((at, name, found[-1][2] if still else moving(at)))
    return found


def stored(record: list[Row]) -> MemoryReadings:
    readings = MemoryReadings()
    for at, name, value in sorted(record):
        readings.append([Arrival(Message(name, b"", at), (Reading(name, at, value, "Cel", at, at),))])
    return readings


def made(record: list[Row], *names: str) -> tuple[UnitWatch, float]:
    """Return the watch as it is rebuilt from a record, and the instant of it."""
    readings, now = stored(record), max(at for at, _, _ in record) + 1.0
    return rebuilt(UNIT, 5.0, kitchen(*names), readings.series, readings.before, now, START), now


def lived(record: list[Row], *names: str) -> tuple[UnitWatch, float]:
    """Return the watch as it takes a record reading by reading, made anew whenever it asks for that, as the service."""
    readings = MemoryReadings()
    watch = rebuilt(UNIT, 5.0, kitchen(*names), readings.series, readings.before, START, START)
    now = START
    for now, name, value in sorted(record):
        readings.append([Arrival(Message(name, b"", now), (Reading(name, now, value, "Cel", now, now),))])
        take(watch, air(name), Taken(name, now, now, value))
        if watch.late:
            watch = rebuilt(UNIT, 5.0, kitchen(*names), readings.series, readings.before, now, START)
    return watch, now + 1.0


@pytest.mark.parametrize("way", [made, lived])
def test_a_stuck_sensor_alone_leaves_its_unit_unwatched_and_that_wakes(way: object) -> None:
    watch, now = way(rows("air", 31, 24), "air")  # type: ignore[operator]
    found = {c.kind: c for c in conditions(watch, now, ())}
    assert set(found) == {"unwatched", "sensor_stuck"}
    assert found["unwatched"].wakes and found["unwatched"].sentence == "unwatched_stuck"
    assert (found["unwatched"].parameters["cause"], found["unwatched"].parameters["channels"]) == ("stuck", "air")
    assert watch.tubs[0].copies.likely_c == pytest.approx(3.0, abs=0.6)


@pytest.mark.parametrize("way", [made, lived])
def test_a_second_sensor_leads_from_when_the_first_stopped_moving(way: object) -> None:
    warming = [(at, "b", value + max(at - START - 24 * HOUR, 0.0) / HOUR) for at, _, value in rows("b", 31)]
    watch, now = way(rows("a", 31, 24) + warming, "a", "b")  # type: ignore[operator]
    found = {c.kind: c for c in conditions(watch, now, ())}
    assert found["sensor_stuck"].parameters["channels"] == "a"
    assert "unwatched" not in found and "channel_silent" not in found
    assert watch.air_c == pytest.approx(warming[-1][2])
    assert "product_warm" in found


def test_both_stuck_is_unwatched_too() -> None:
    watch, now = made(rows("a", 32, 24) + rows("b", 32, 25), "a", "b")
    found = {c.kind: c for c in conditions(watch, now, ())}
    assert found["unwatched"].parameters["channels"] == "a, b"


def test_what_moves_is_neither_stuck_nor_unwatched() -> None:
    watch, now = lived(rows("air", 29.5, 24), "air")
    assert conditions(watch, now, ()) == []
    assert watch.blind == {}


def test_a_sensor_that_moves_again_leads_again_and_what_it_hid_stays_unknown() -> None:
    record = rows("air", 33, 24, 32)
    live, now = lived(record, "air")
    anew, _ = made(record, "air")
    assert live.blind == anew.blind == {}
    assert live.air_c == anew.air_c == record[-1][2]
    assert [c.kind for c in conditions(live, now, ("unwatched", "sensor_stuck"))] == []
    for watch in (live, anew):
        assert watch.tubs[0].copies.upper_c > 8.0
    assert live.tubs[0].copies.upper_c == pytest.approx(anew.tubs[0].copies.upper_c, abs=0.3)


def test_a_stuck_sensor_that_falls_silent_is_silent() -> None:
    watch, now = made(rows("air", 31, 24), "air")
    kinds = {c.kind for c in conditions(watch, now + 2 * HOUR, ("sensor_stuck", "unwatched"))}
    assert kinds == {"unwatched", "channel_silent"}


def test_spans_are_found_in_a_record_as_they_are_while_it_comes() -> None:
    record = rows("air", 60, 24, 32)
    times, values = np.array([at for at, _, _ in record]), np.array([value for _, _, value in record])
    ((begin, end, why),) = blind_spans(times, values)
    assert (begin, end, why) == (START + 24 * HOUR - 300.0, START + 32 * HOUR, STUCK)
    early = folded([(at, value) for at, _, value in record if at <= begin + 6 * HOUR - 300.0])
    late = folded([(at, value) for at, _, value in record if at <= begin + 6 * HOUR])
    assert stuck_since(early) is None
    assert stuck_since(late) == begin
    ((_, still, _),) = blind_spans(times[:370], values[:370])
    assert still == math.inf


def test_a_coarse_sensor_that_rests_by_night_may_be_told_as_stuck_but_wakes_nobody() -> None:
    # Half a degree by day and nothing for seven hours of the night, as its steps are wide and the room is quiet.
    coarse = [(at, name, 3.0 + 0.5 * ((at - START) % 86_400.0 < 17 * HOUR and at // 1800.0 % 2)) for at, name, _ in
              rows("air", 47.9)]  # fmt: skip
    watch, now = lived(coarse, "air")
    assert {c.kind for c in conditions(watch, now, ())} == {"sensor_stuck"}
    assert watch.blind == {}
    times, values = np.array([at for at, _, _ in coarse]), np.array([value for _, _, value in coarse])
    assert blind_spans(times, values) == []


def fahrenheit(hours: float, from_h: float, until_h: float = math.inf) -> list[Row]:
    return [
        (at, name, value * 1.8 + 32.0 if from_h <= (at - START) / HOUR < until_h else value)
        for at, name, value in rows("air", hours)
    ]


@pytest.mark.parametrize("way", [made, lived])
def test_a_sensor_that_turns_to_fahrenheit_warms_no_meat_and_leaves_its_unit_unwatched(way: object) -> None:
    watch, now = way(fahrenheit(26, 24), "air")  # type: ignore[operator]
    found = {c.kind: c for c in conditions(watch, now, ())}
    assert set(found) == {"unwatched", "sensor_unit"}
    assert (found["unwatched"].sentence, found["unwatched"].parameters["cause"]) == ("unwatched_unit", FAHRENHEIT)
    assert watch.tubs[0].copies.likely_c == pytest.approx(3.0, abs=0.6)
    assert watch.air_c < 5.0


def test_its_neighbour_leads_meanwhile_and_it_leads_again_once_mended() -> None:
    second = [(at, "b", value) for at, _, value in rows("b", 30)]
    turned = [(at, "a", value) for at, _, value in fahrenheit(30, 24, 28)]
    for way in (made, lived):
        watch, now = way([r for r in (*turned, *second) if r[0] < START + 27 * HOUR], "a", "b")
        assert [c.kind for c in conditions(watch, now, ())] == ["sensor_unit"]
        watch, now = way([*turned, *second], "a", "b")
        assert watch.blind == {}
        assert watch.tubs[0].copies.upper_c == pytest.approx(watch.tubs[0].copies.likely_c, abs=0.01)


def test_a_room_that_is_truly_hot_is_not_blind() -> None:
    warming = [(at, name, v if at < START + 24 * HOUR else 3.0 + 12.0 * (at - START - 24 * HOUR) / HOUR)
               for at, name, v in rows("air", 27)]  # fmt: skip
    leapt = [(at, name, v if at < START + 24 * HOUR else 24.0 + v) for at, name, v in rows("air", 27)]
    for record in (warming, leapt):
        watch, now = lived(record, "air")
        assert watch.blind == {}
        assert "product_warm" in {c.kind for c in conditions(watch, now, ())}


def changed(hours: float, by: Callable[[float], float]) -> list[Row]:
    return [(at, name, value + by((at - START) / HOUR)) for at, name, value in rows("air", hours)]


@pytest.mark.parametrize(
    ("record", "kind"),
    [
        (changed(24 * 8.6, lambda h: -0.5 * max(h / 24 - 5.0, 0.0)), "sensor_drift"),
        (changed(24 * 8.6, lambda h: 0.5 * max(h / 24 - 5.0, 0.0)), "level_creeps"),
        (changed(40, lambda h: 12.0 if h >= 38 else 0.0), "sensor_elsewhere"),
        (changed(60, lambda h: -3.5 if h >= 48 else 0.0), "too_cold"),
        (changed(40, lambda h: 9.0 if round(h * 12) % 60 == 0 else 0.0), "sensor_jumps"),
    ],
)
def test_a_watch_begun_anew_says_of_the_past_days_what_the_running_one_says(record: list[Row], kind: str) -> None:
    live, now = lived(record, "air")
    anew, _ = made(record, "air")
    said = [{c.kind: c.since_at for c in conditions(watch, now, ())} for watch in (live, anew)]
    assert kind in said[0]
    assert said[0].keys() == said[1].keys()
    assert said[0][kind] == pytest.approx(said[1][kind], abs=600.0)
    again = [{c.kind for c in conditions(watch, now, tuple(said[0]))} for watch in (live, anew)]
    assert again[0] == again[1]

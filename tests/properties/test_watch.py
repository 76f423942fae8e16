"""The watch, one reading at a time, against the whole record judged at once."""

from hypothesis import given
from hypothesis import strategies as st

from alerts.heard import Taken
from alerts.rebuild import rebuilt
from alerts.trace import tub_history
from alerts.unit_watch import take
from alerts.watch import conditions
from collector.batches import AsMade, Batch, Method, Packing, Placement, Plan, Route, Stage, StageSpan
from collector.kitchen import Kitchen
from collector.readings import Assignment, Quantity, Reading, Site, Unit
from collector.sample import Message
from collector.storage import Arrival, MemoryReadings

START = 1_760_000_000.0
AIR = Assignment("air", Quantity.AIR_TEMPERATURE, "room", "wall", START - 1e6)
UNIT = Unit("room", "s", "Room", "cold room")
PLAN = Plan(
    "x", "beef", "brisket", Method.IMMERSION, Packing.UNDER_BRINE, Route.COOKED, 432_000.0, 55.0, 3.0, tau_s=21_600.0
)
BATCH = Batch(
    "B1", PLAN, AsMade(3.0, 3.0, brine_c=3.0, meat_c=3.0), START, (Placement("1", "room", START),),
    (StageSpan(Stage.CURE, START),),
)  # fmt: skip
KITCHEN = Kitchen(
    sites={"s": Site("s", "S", "Europe/London", "US")}, units={"room": UNIT}, assignments=(AIR,), batches={"B1": BATCH}
)
STEPS = st.lists(
    st.tuples(st.floats(30, 5000).map(lambda s: round(s, 3)), st.floats(-5, 20).map(lambda v: round(v, 2))),
    min_size=2,
    max_size=40,
)


def record(steps: list[tuple[float, float]]) -> list[tuple[float, float]]:
    at, made = START, [(START, 3.0)]
    for dt, value in steps:
        at = round(at + dt, 3)
        made.append((at, value))
    return made


def stored(rows: list[tuple[float, float]]) -> MemoryReadings:
    readings = MemoryReadings()
    for at, value in rows:
        readings.append([Arrival(Message("air", b"", at), (Reading("air", at, value, "Cel", at, at),))])
    return readings


@given(STEPS)
def test_readings_taken_one_by_one_give_the_estimate_of_the_whole_record(steps: list[tuple[float, float]]) -> None:
    rows = record(steps)
    readings = stored(rows)
    one_by_one = rebuilt(UNIT, 5.0, KITCHEN, MemoryReadings().series, MemoryReadings().before, START, START)
    for at, value in rows:
        take(one_by_one, AIR, Taken("air", at, at, value))
    whole = tub_history(BATCH, "1", KITCHEN, readings.series, rows[-1][0] + 0.001)
    assert whole is not None
    copies = one_by_one.tubs[0].copies
    assert abs(copies.likely_c - whole.likely_c[-1]) < 0.01
    # Through a gap the whole record is bounded on a grid of a minute: the copies agree to the grid's error.
    assert abs(copies.upper_c - whole.upper_c[-1]) < 0.05
    assert abs(copies.lower_c - whole.lower_c[-1]) < 0.05


@given(STEPS)
def test_a_rebuilt_watch_says_what_the_running_one_says(steps: list[tuple[float, float]]) -> None:
    rows = record(steps)
    readings = stored(rows)
    running = rebuilt(UNIT, 5.0, KITCHEN, MemoryReadings().series, MemoryReadings().before, START, START)
    for at, value in rows:
        take(running, AIR, Taken("air", at, at, value))
    now = rows[-1][0] + 5.0
    anew = rebuilt(UNIT, 5.0, KITCHEN, readings.series, readings.before, now, START)
    # Since when a limit has been passed may differ by what lies before the six time constants; what is told may not.
    assert [c.key for c in conditions(running, now, ())] == [c.key for c in conditions(anew, now, ())]
    # Nor may the claimed interval, but for what lies before them and for the grid of a gap.
    before, after = running.tubs[0], anew.tubs[0]
    assert abs(before.lagged_c - after.lagged_c) < 0.5
    assert abs(before.start_sd_c - after.start_sd_c) < 0.01


@given(STEPS, st.floats(0.1, 5))
def test_warmer_air_never_gives_a_cooler_product(steps: list[tuple[float, float]], warmer: float) -> None:
    last = []
    for shift in (0.0, warmer):
        readings = stored([(at, value + shift) for at, value in record(steps)])
        history = tub_history(BATCH, "1", KITCHEN, readings.series, readings.channels()[0].last_at)
        assert history is not None
        last.append(history)
    assert (last[1].likely_c >= last[0].likely_c - 1e-9).all()
    assert (last[1].upper_c >= last[0].upper_c - 1e-9).all()

"""The likely cause of a warm room, for any record at all."""

from hypothesis import given
from hypothesis import strategies as st

from alerts.causes import likely_cause
from alerts.conditions_cause import heaters_and_doors, with_causes
from alerts.heard import Taken
from alerts.learned import folded
from alerts.unit_watch import UnitWatch, take
from collector.findings import Condition
from collector.readings import Assignment, Quantity, Unit

T = 1_780_000_000.0
UNIT = Unit("room", "s", "Room", "cold room")
AIR = Assignment("air", Quantity.AIR_TEMPERATURE, "room", "wall", T, interval_s=300.0)
WARM = Condition(
    "room", "product_warm", "temperature", True, T, ("B1",), T + 60, T + 90, T + 120, "product_may_pass", {"air_c": 8.0}
)
STEPS = st.lists(
    st.tuples(
        st.sampled_from([0.001, 59.0, 240.0, 300.0, 301.5, 900.0, 20_000.0]),
        st.one_of(st.floats(-40, 60).map(lambda v: round(v, 2)), st.sampled_from([2.0, 2.6, 3.4, 4.1, 9.0])),
    ),
    max_size=300,
)
"""Spans and temperatures, as wild as a broken sensor sends them. [s], [°C]"""


def rows(steps: list[tuple[float, float]]) -> list[tuple[float, float]]:
    at, made = T, []
    for span, value in steps:
        at = round(at + span, 3)
        made.append((at, value))
    return made


@given(STEPS, st.lists(st.sampled_from([0.0, 1.0]), max_size=300))
def test_any_record_is_looked_at_without_an_error(steps: list[tuple[float, float]], contact: list[float]) -> None:
    record = folded(rows(steps))
    door = folded((at, open_) for (at, _), open_ in zip(rows(steps), contact, strict=False))
    found = likely_cause(record, door, record)
    assert not (found.cause and found.doubted)
    assert found.since_at is None or record.times[0] <= found.since_at <= record.times[-1]


@given(STEPS)
def test_naming_a_cause_changes_nothing_in_what_is_told(steps: list[tuple[float, float]]) -> None:
    watch = UnitWatch(UNIT, 5.0, T)
    for at, value in rows(steps):
        take(watch, AIR, Taken("air", at, at, value))
    (named,) = with_causes(watch, [WARM])
    told = (named.key, named.category, named.wakes, named.since_at, named.lots, named.sentence, named.early_at)
    assert told == (WARM.key, WARM.category, True, WARM.since_at, WARM.lots, WARM.sentence, WARM.early_at)
    assert named.parameters.items() >= WARM.parameters.items()
    assert not any(c.wakes for c in heaters_and_doors(watch, ("door_open", "defrost_stays")))

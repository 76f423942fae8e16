"""What holds for the simulator whatever its figures are."""

from collections import Counter
from dataclasses import replace
from random import Random

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from simulators.faults import Sent, Where, delay, drift, lose, reorder, repeat, silence, skew, spike, stick
from simulators.room import Room, Tub, quiet_inputs, settled, stack, step

WALLLESS = Room(wall_w_k=0.0, fan_w=0.0, defrosts_per_day=0)
temperatures_c = st.floats(-20.0, 40.0)


@given(
    st.lists(st.tuples(st.floats(600.0, 1e5), st.floats(1e3, 1e6), temperatures_c), min_size=1, max_size=4),
    temperatures_c,
    st.floats(1.0, 1e5),
)
def test_without_walls_and_work_no_heat_is_made_or_lost(
    tubs: list[tuple[float, float, float]], air_c: float, dt_s: float
) -> None:
    room = replace(WALLLESS, tubs=tuple(Tub(f"tub {i}", *figures) for i, figures in enumerate(tubs)))
    rooms = stack([room])
    state = settled(rooms, np.array([air_c]))
    inputs = replace(quiet_inputs(rooms, 0.0), cooling_share=np.zeros(1))
    after = step(rooms, state, inputs, dt_s, np.random.default_rng(0))

    def heat_j(air: float, nodes: np.ndarray) -> float:
        return float(room.air_j_k * air + (rooms.node_j_k[0] * nodes).sum())

    scale = room.air_j_k + float(rooms.node_j_k[0].sum())
    before_j, after_j = heat_j(state.air_c[0], state.node_c[0]), heat_j(after.air_c[0], after.node_c[0])
    assert abs(after_j - before_j) < 1e-8 * scale * 60.0


@given(temperatures_c, temperatures_c, st.floats(0.0, 1.0), st.floats(1.0, 60.0))
def test_a_warmer_kitchen_never_makes_a_colder_room(a_c: float, b_c: float, door: float, dt_s: float) -> None:
    rooms = stack([replace(Room(), ambient_c=max(a_c, b_c)), replace(Room(), ambient_c=min(a_c, b_c))])
    inputs = replace(quiet_inputs(rooms, 0.0), cooling_share=np.zeros(2), open_share=np.full(2, door))
    state = settled(rooms, np.full(2, min(a_c, b_c)))
    for _ in range(20):
        state = step(rooms, state, inputs, dt_s, np.random.default_rng(0))
        # The flow through the door is that of the step's beginning, which can cost some microkelvins.
        assert state.air_c[0] >= state.air_c[1] - 1e-3
        assert (state.node_c[0] >= state.node_c[1] - 1e-3).all()


streams = st.lists(
    st.tuples(st.sampled_from("abc"), st.floats(-30.0, 60.0), st.integers(0, 40), st.integers(0, 3)), max_size=40
).map(
    lambda rows: sorted(
        (Sent(c, v, 60.0 * minute, 60.0 * minute + late) for c, v, minute, late in rows), key=lambda s: s.received_at
    )
)
wheres = st.builds(
    lambda channels, from_min, length: Where(frozenset(channels), 60.0 * from_min, 60.0 * (from_min + length)),
    st.sets(st.sampled_from("abc")),
    st.integers(0, 40),
    st.integers(0, 40),
)
shares = st.floats(0.0, 1.0)
seeds = st.integers(0, 2**32)


def said(stream: list[Sent]) -> Counter[tuple[str, float, float]]:
    return Counter((s.channel, s.value, s.measured_at) for s in stream)


def in_order_of_receipt(stream: list[Sent]) -> bool:
    return [s.received_at for s in stream] == sorted(s.received_at for s in stream)


@given(streams, wheres, shares, seeds)
def test_losing_only_takes_away_and_only_where_it_says(
    stream: list[Sent], where: Where, share: float, seed: int
) -> None:
    kept = list(lose(stream, Random(seed), share, where))
    assert said(kept) <= said(stream)
    assert [s for s in kept if not where.covers(s)] == [s for s in stream if not where.covers(s)]
    assert list(lose(stream, Random(seed), 1.0, where)) == list(silence(stream, where))


@given(streams, wheres, shares, st.floats(0.0, 600.0), seeds)
def test_repeating_adds_nothing_new_and_keeps_every_first_arrival(
    stream: list[Sent], where: Where, share: float, within_s: float, seed: int
) -> None:
    out = list(repeat(stream, Random(seed), share, within_s, where))
    assert Counter(stream) <= Counter(out)
    assert set(said(out)) == set(said(stream))
    assert all(count <= 2 * said(stream)[key] for key, count in said(out).items())
    assert in_order_of_receipt(out)


@given(streams, wheres, shares, st.floats(0.0, 600.0), seeds)
def test_reordering_and_delaying_change_only_when_something_arrives_and_never_to_earlier(
    stream: list[Sent], where: Where, share: float, within_s: float, seed: int
) -> None:
    for out in (list(reorder(stream, Random(seed), share, within_s, where)), list(delay(stream, Random(seed), where))):
        assert said(out) == said(stream)
        assert in_order_of_receipt(out)
        # Sorted by receipt, the n-th arrival is never sooner than the n-th was: no single one became earlier.
        assert all(o.received_at >= s.received_at for o, s in zip(out, stream, strict=True))


@given(streams, wheres, seeds)
def test_faults_of_the_sensor_change_values_or_stamps_where_they_say_and_nothing_else(
    stream: list[Sent], where: Where, seed: int
) -> None:
    for out in (stick(stream, where), spike(stream, Random(seed), 0.5, 40.0, where), drift(stream, where, 3.0)):
        for was, now in zip(stream, out, strict=True):
            assert now._replace(value=was.value) == was
            assert where.covers(was) or now == was
    for was, now in zip(stream, skew(stream, where, -3600.0), strict=True):
        assert now._replace(measured_at=was.measured_at) == was
        assert now.measured_at == was.measured_at - (3600.0 if where.covers(was) else 0.0)

"""Numbers packed for the disk come back as they were."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.packing import (
    MS_MAX,
    SCALE,
    first_millisecond,
    join_sequence,
    milliseconds,
    pack,
    scaled,
    split_sequence,
    unpack,
)

FINITE = st.floats(allow_nan=False, allow_infinity=False)
SENSORLIKE = st.integers(-2_000_000, 9_000_000).map(lambda n: n / SCALE)


@given(st.one_of(FINITE, SENSORLIKE))
def test_a_value_is_itself_again_whichever_way_it_is_stored(value: float) -> None:
    stored = scaled(value)
    assert (stored / SCALE if isinstance(stored, int) else stored) == value
    assert isinstance(stored, float) or abs(stored) < 2**53


@given(SENSORLIKE)
def test_four_decimals_are_stored_as_a_whole_number(value: float) -> None:
    assert isinstance(scaled(value), int)


@given(st.lists(st.integers(-(2**70), 2**70)))
def test_packed_numbers_come_back(numbers: list[int]) -> None:
    assert unpack(pack(numbers)) == numbers


@pytest.mark.parametrize(("number", "size"), [(0, 1), (63, 1), (-64, 1), (64, 2), (-65, 2), (8191, 2), (8192, 3)])
def test_a_small_number_takes_few_bytes(number: int, size: int) -> None:
    assert len(pack([number])) == size


@given(st.text())
def test_a_sequence_is_joined_to_the_text_it_was(sequence: str) -> None:
    assert join_sequence(*split_sequence(sequence)) == sequence


@given(st.text(max_size=3), st.one_of(st.integers(0, 10**20), st.sampled_from(["007", "٣", "²", "-1", "+1", " 1", ""])))
def test_a_numbered_sequence_is_joined_to_the_text_it_was(boot: str, number: int | str) -> None:
    assert join_sequence(*split_sequence(f"{boot}:{number}")) == f"{boot}:{number}"


@given(st.integers(0, 4_102_444_800_000))
def test_a_whole_millisecond_is_its_own_first(ms: int) -> None:
    assert first_millisecond(ms / 1000) == ms == milliseconds(ms / 1000)


@given(st.floats(-1e10, 1e10))
def test_the_first_millisecond_is_not_before_the_instant_and_the_one_before_it_is(at: float) -> None:
    first = first_millisecond(at)
    assert first / 1000 >= at
    assert (first - 1) / 1000 < at


def test_endless_instants_are_further_than_any_other() -> None:
    assert first_millisecond(math.inf) == MS_MAX > first_millisecond(1e12)
    assert first_millisecond(-math.inf) == -MS_MAX < first_millisecond(-1e12)
    assert MS_MAX < 2**63

"""What every `Readings` promises: the arrival log and the archive."""

import math
import random
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pytest

from collector.readings import Reading
from collector.sample import Message, Quality, Refusal
from collector.storage import Arrival, MemoryReadings, Readings

NOON = 1_767_268_800.0
"""2026-01-01T12:00:00Z."""


def reading(
    value: float = 4.0,
    measured_at: float = NOON,
    *,
    channel: str = "probe",
    received_at: float = NOON + 1.25,
    device: bool = True,
    sequence: str | None = None,
    unit: str = "Cel",
) -> Reading:
    return Reading(channel, measured_at, value, unit, received_at, measured_at if device else None, sequence)


def arrival(*readings: Reading, topic: str = "kitchen/room", received_at: float = NOON + 1.25) -> Arrival:
    return Arrival(Message(topic, b"payload", received_at), readings)


def kept(readings: Readings, channel: str = "probe") -> list[tuple[float, float]]:
    series = readings.series(channel, -math.inf, math.inf)
    return list(zip(series.measured_at.tolist(), series.values.tolist(), strict=True))


def outcomes(readings: Readings) -> list[tuple[Reading, ...] | Refusal]:
    return [a.outcome for a in readings.arrivals(0, 1000)]


def test_an_empty_store_stands_at_zero_and_answers_with_nothing(readings: Readings) -> None:
    assert readings.head() == 0
    assert readings.arrivals(0, 10) == []
    assert readings.refused(0, 10) == []
    assert readings.channels() == []
    assert readings.before("probe", NOON) is None
    assert readings.trim(NOON, 10) == 0


def test_the_series_of_an_unknown_channel_is_four_empty_arrays(readings: Readings) -> None:
    series = readings.series("nobody", 0.0, NOON)
    for array, kind in (
        (series.measured_at, "f"),
        (series.values, "f"),
        (series.quality, "i"),
        (series.received_at, "f"),
    ):
        assert array.shape == (0,)
        assert array.dtype.kind == kind


def test_positions_are_given_without_gaps_in_order_of_arrival(readings: Readings) -> None:
    assert readings.append([arrival(reading(1.0)), arrival(reading(2.0))]) == 2
    assert readings.append([arrival(reading(3.0))]) == 3
    assert readings.head() == 3
    assert [a.position for a in readings.arrivals(0, 10)] == [1, 2, 3]


def test_appending_nothing_keeps_nothing_and_returns_the_head(readings: Readings) -> None:
    readings.append([arrival(reading())])
    assert readings.append([]) == 1
    assert readings.head() == 1


def test_what_was_kept_is_there_when_the_store_is_opened_again(open_readings: Callable[[], Readings]) -> None:
    first = arrival(reading(4.0625, sequence="a7:1"))
    open_readings().append([first, Arrival(Message("x", b"?", NOON), Refusal("not_json", "send JSON"))])
    again = open_readings()
    assert again.head() == 2
    assert outcomes(again) == [first.outcome, Refusal("not_json", "send JSON")]
    assert again.append([arrival(reading(5.0, sequence="a7:1"))]) == 3
    assert kept(again) == [(NOON, 4.0625)]


def test_an_arrival_comes_back_as_it_was_given(readings: Readings) -> None:
    payload = bytes(range(256))
    message = Message("küche/✓", payload, NOON + 1.234, retained=True)
    read = reading(-127.0, NOON - 3600.5, received_at=NOON + 1.234)
    read = replace(read, quality=Quality.PROBE_FAULT | Quality.OUT_OF_RANGE)
    readings.append([Arrival(message, (read,))])
    assert readings.arrivals(0, 1) == [Arrival(message, (read,), 1)]


@pytest.mark.parametrize("value", [0.0, 4.25, 4.0625, -18.7, 1 / 3, 85.0, 1e-9, 1e13, 6.02e23, -1e300, 0.1 + 0.2])
def test_a_value_comes_back_to_the_last_bit(readings: Readings, value: float) -> None:
    readings.append([arrival(reading(value))])
    assert kept(readings) == [(NOON, value)]
    (outcome,) = outcomes(readings)
    assert isinstance(outcome, tuple)
    assert outcome[0].value.hex() == value.hex()


@pytest.mark.parametrize("device_at", [None, NOON, 0.0, 946_684_800.0, 2_085_978_496.0, 1e12, -5.0])
def test_the_time_that_the_device_gave_is_kept_beside_the_time_of_receipt(
    readings: Readings, device_at: float | None
) -> None:
    doubted = replace(reading(measured_at=NOON, received_at=NOON), device_at=device_at, quality=Quality.CLOCK_DOUBT)
    readings.append([arrival(doubted)])
    assert outcomes(readings) == [(doubted,)]
    assert readings.before("probe", NOON + 1) == doubted


def test_a_message_with_many_readings_keeps_their_order(readings: Readings) -> None:
    many = tuple(reading(float(i), NOON - i, channel=f"c{i % 3}") for i in range(7))
    readings.append([arrival(*many), arrival(), arrival(reading(channel="c9"))])
    assert outcomes(readings) == [many, (), (reading(channel="c9"),)]


def test_a_second_delivery_is_logged_and_adds_no_reading(readings: Readings) -> None:
    again = reading(received_at=NOON + 99)
    readings.append([arrival(reading()), arrival(again, received_at=NOON + 99)])
    assert readings.head() == 2
    assert outcomes(readings) == [(reading(),), ()]
    assert kept(readings) == [(NOON, 4.0)]


def test_a_known_sequence_adds_no_reading_whatever_its_time_and_value(readings: Readings) -> None:
    readings.append([arrival(reading(4.0, sequence="b:7"))])
    readings.append([arrival(reading(5.0, NOON + 60, sequence="b:7"))])
    assert kept(readings) == [(NOON, 4.0)]
    readings.append([arrival(reading(5.0, NOON + 60, sequence="c:7"))])
    readings.append([arrival(reading(5.0, NOON + 90, sequence="b:7", channel="other"))])
    assert kept(readings) == [(NOON, 4.0), (NOON + 60, 5.0)]
    assert kept(readings, "other") == [(NOON + 90, 5.0)]


@pytest.mark.parametrize(
    "sequence", ["", ":", "12", "a:007", "a:b:3", "ü:1", "x" * 300, "a:99999999999999999999", ":5"]
)
def test_a_sequence_comes_back_as_the_text_it_was(readings: Readings, sequence: str) -> None:
    read = reading(sequence=sequence)
    readings.append([arrival(read), arrival(reading(9.0, NOON + 9, sequence=sequence))])
    assert outcomes(readings) == [(read,), ()]


def test_a_repeated_value_under_a_new_sequence_does_not_use_that_sequence_up(readings: Readings) -> None:
    readings.append([arrival(reading(4.0)), arrival(reading(4.0, sequence="b:8"))])
    readings.append([arrival(reading(5.0, NOON + 60, sequence="b:8"))])
    assert kept(readings) == [(NOON, 4.0), (NOON + 60, 5.0)]


def test_another_value_at_the_same_instant_is_kept_beside_the_first_and_marked(readings: Readings) -> None:
    readings.append([arrival(reading(4.0))])
    readings.append([arrival(reading(9.0)), arrival(reading(4.0)), arrival(reading(9.0)), arrival(reading(7.0))])
    series = readings.series("probe", NOON, NOON + 1)
    assert series.values.tolist() == [4.0, 9.0, 7.0]
    assert series.quality.tolist() == [Quality.GOOD, Quality.CONFLICT, Quality.CONFLICT]
    conflict = replace(reading(9.0), quality=Quality.CONFLICT)
    assert outcomes(readings) == [(reading(4.0),), (conflict,), (), (), (replace(conflict, value=7.0),)]


def test_conflicting_values_stand_in_order_of_receipt(readings: Readings) -> None:
    for value, received_at in ((1.0, NOON + 9), (2.0, NOON + 3), (3.0, NOON + 5)):
        readings.append([arrival(reading(value, received_at=received_at))])
    assert readings.series("probe", NOON, NOON + 1).values.tolist() == [2.0, 3.0, 1.0]
    last = readings.before("probe", NOON + 1)
    assert last is not None
    assert last.value == 1.0


def test_a_reading_dated_by_its_receipt_is_kept_each_time_it_comes(readings: Readings) -> None:
    first = reading(measured_at=NOON, received_at=NOON, device=False)
    again = reading(measured_at=NOON + 30, received_at=NOON + 30, device=False)
    readings.append([arrival(first), arrival(again)])
    assert kept(readings) == [(NOON, 4.0), (NOON + 30, 4.0)]
    assert outcomes(readings) == [(first,), (again,)]


def test_late_readings_stand_where_they_were_measured(readings: Readings) -> None:
    instants = [NOON + 60 * i for i in (5, 1, 4, 2, 3)]
    readings.append([arrival(reading(at - NOON, at)) for at in instants])
    series = readings.series("probe", 0.0, NOON + 9999)
    assert series.measured_at.tolist() == sorted(instants)
    assert series.values.tolist() == [60.0, 120.0, 180.0, 240.0, 300.0]
    assert series.received_at.tolist() == [NOON + 1.25] * 5


def test_an_interval_takes_its_first_instant_and_not_its_last(readings: Readings) -> None:
    readings.append([arrival(reading(float(i), NOON + i / 1000)) for i in range(5)])
    assert readings.series("probe", NOON + 0.001, NOON + 0.003).values.tolist() == [1.0, 2.0]
    assert readings.series("probe", NOON + 0.0005, NOON + 0.0035).values.tolist() == [1.0, 2.0, 3.0]
    assert readings.series("probe", NOON + 1, NOON).values.tolist() == []


def test_channels_do_not_mix(readings: Readings) -> None:
    readings.append([arrival(reading(1.0, channel="a"), reading(2.0, channel="b"))])
    assert kept(readings, "a") == [(NOON, 1.0)]
    assert kept(readings, "b") == [(NOON, 2.0)]


def test_before_is_the_last_one_measured_strictly_earlier(readings: Readings) -> None:
    readings.append([arrival(reading(float(i), NOON + i)) for i in range(3)])
    assert readings.before("probe", NOON) is None
    assert readings.before("probe", NOON + 1) == reading(0.0, NOON)
    assert readings.before("probe", NOON + 1.5) == reading(1.0, NOON + 1)
    assert readings.before("probe", math.inf) == reading(2.0, NOON + 2)


def test_of_two_values_measured_and_received_at_once_the_one_kept_later_is_the_last(readings: Readings) -> None:
    readings.append([arrival(reading(9.0), reading(4.0))])
    last = readings.before("probe", NOON + 1)
    assert last is not None
    assert last.value == readings.series("probe", NOON, NOON + 1).values[-1] == 4.0
    assert readings.channels()[0].last_value == 4.0


def test_every_channel_ever_seen_is_listed_by_name_with_its_latest_value(readings: Readings) -> None:
    readings.append([arrival(reading(1.0, NOON, channel="b"), topic="old")])
    readings.append([arrival(reading(2.0, NOON + 60, channel="b"), topic="new")])
    readings.append([arrival(reading(50.0, NOON - 60, channel="a", unit="%RH"), topic="t")])
    readings.append([arrival(reading(9.0, NOON + 30, channel="b"), topic="late")])
    seen = [(c.channel, c.unit, c.first_at, c.last_at, c.last_value, c.topic) for c in readings.channels()]
    assert seen == [
        ("a", "%RH", NOON - 60, NOON - 60, 50.0, "t"),
        ("b", "Cel", NOON, NOON + 60, 2.0, "late"),
    ]


def test_a_channel_that_changes_its_unit_keeps_each_reading_in_its_own(readings: Readings) -> None:
    celsius, kelvin = reading(4.0), reading(277.15, NOON + 60, unit="K")
    readings.append([arrival(celsius), arrival(kelvin), arrival(reading(5.0, NOON + 120))])
    assert outcomes(readings)[:2] == [(celsius,), (kelvin,)]
    assert readings.before("probe", NOON + 61) == kelvin
    assert readings.channels()[0].unit == "Cel"


def test_refused_messages_are_kept_whole_with_their_reason(readings: Readings) -> None:
    bad = [Arrival(Message("t", bytes([i]), NOON + i), Refusal("not_json", f"byte {i}")) for i in range(4)]
    readings.append([bad[0], arrival(reading()), bad[1], bad[2]])
    readings.append([bad[3]])
    assert readings.refused(0, 2) == [replace(bad[0], position=1), replace(bad[1], position=3)]
    assert readings.refused(3, 10) == [replace(bad[2], position=4), replace(bad[3], position=5)]


def test_a_log_is_read_in_pages(readings: Readings) -> None:
    readings.append([arrival(reading(float(i), NOON + i)) for i in range(25)])
    read: list[int] = []
    while page := readings.arrivals(read[-1] if read else 0, 10):
        assert len(page) <= 10
        read += [a.position for a in page]
    assert read == list(range(1, 26))
    assert readings.arrivals(0, 0) == []


def test_trimming_removes_only_what_is_old_and_passed_and_no_reading(readings: Readings) -> None:
    readings.append([arrival(reading(float(i), NOON + i), received_at=NOON + i) for i in range(10)])
    assert readings.trim(NOON + 5, 3) == 3
    assert [a.position for a in readings.arrivals(0, 100)] == [4, 5, 6, 7, 8, 9, 10]
    assert readings.trim(NOON + 5, 10) == 2
    assert readings.trim(NOON + 5, 10) == 0
    assert [a.position for a in readings.arrivals(0, 100)] == [6, 7, 8, 9, 10]
    assert len(kept(readings)) == 10


def test_positions_are_never_used_again_after_everything_was_trimmed(open_readings: Callable[[], Readings]) -> None:
    readings = open_readings()
    readings.append([arrival(reading(float(i), NOON + i)) for i in range(3)])
    assert readings.trim(NOON + 100, 3) == 3
    assert readings.head() == 3
    readings = open_readings()
    assert readings.head() == 3
    assert readings.append([arrival(reading(9.0, NOON + 9))]) == 4
    assert [a.position for a in readings.arrivals(0, 10)] == [4]


def test_what_was_received_while_the_clock_stood_wrong_is_trimmed_by_its_own_time(readings: Readings) -> None:
    times = [100.0, 10.0, 1e9, 20.0, 100.0]
    readings.append([arrival(reading(float(i), NOON + i), received_at=at) for i, at in enumerate(times)])
    assert readings.trim(50.0, 5) == 2
    assert [a.position for a in readings.arrivals(0, 10)] == [1, 3, 5]


def test_refused_messages_are_trimmed_like_others(readings: Readings) -> None:
    readings.append([Arrival(Message("t", b"", NOON), Refusal("empty", "send something")), arrival(reading())])
    assert readings.trim(NOON + 1, 2) == 1
    assert readings.refused(0, 10) == []
    assert readings.trim(NOON + 9, 2) == 1


def test_closing_twice_does_nothing(readings: Readings) -> None:
    readings.append([arrival(reading())])
    readings.close()
    readings.close()


def drawn(dice: random.Random) -> Arrival:
    """Return a message of few channels, instants, values and sequences, so that repeats and conflicts abound."""
    received_at = NOON + dice.randrange(50) / 1000
    if dice.random() < 0.1:
        return Arrival(Message("bad", b"x", received_at), Refusal("code", f"reason {dice.randrange(3)}"))
    found = []
    for _ in range(dice.choice([0, 1, 1, 1, 2, 5])):
        measured_at = NOON + dice.randrange(6)
        found.append(
            Reading(
                f"c{dice.randrange(3)}",
                measured_at,
                dice.choice([4.0, 4.25, 1 / 3]),
                dice.choice(["Cel", "Cel", "K"]),
                received_at,
                dice.choice([None, measured_at, 7.5]),
                dice.choice([None, None, f"boot:{dice.randrange(20)}"]),
                Quality(dice.choice([0, 0, 1, 2])),
            )
        )
    topic = f"t{dice.randrange(2)}"
    return Arrival(Message(topic, dice.randbytes(3), received_at, dice.random() < 0.1), tuple(found))


def without_sequence(read: Reading | None) -> Reading | None:
    """A store may know the sequence only as long as it has the raw message."""
    return replace(read, sequence=None) if read is not None else None


def answers(readings: Readings) -> Sequence[object]:
    series = [readings.series(f"c{i}", NOON + 0.5, NOON + 4.5) for i in range(3)]
    return [
        readings.head(),
        readings.arrivals(3, 1000),
        readings.refused(0, 1000),
        readings.channels(),
        [[a.tolist() for a in (s.measured_at, s.values, s.quality, s.received_at)] for s in series],
        [without_sequence(readings.before(f"c{i}", NOON + 3)) for i in range(3)],
    ]


@pytest.mark.parametrize("run", range(4))
def test_every_store_answers_as_the_fake_does(open_readings: Callable[[], Readings], seed: int, run: int) -> None:
    dice, fake, readings = random.Random(seed + run), MemoryReadings(), open_readings()
    for turn in range(40):
        arrivals = [drawn(dice) for _ in range(dice.randrange(6))]
        assert readings.append(arrivals) == fake.append(arrivals)
        if turn % 5 == 4:
            readings = open_readings()
            assert answers(readings) == answers(fake)
    # Sequences may be forgotten together with the raw messages, so nothing is appended after this.
    assert readings.trim(NOON + 0.02, 100) == fake.trim(NOON + 0.02, 100)
    assert answers(readings) == answers(fake)


def test_arrays_belong_to_the_caller(readings: Readings) -> None:
    readings.append([arrival(reading())])
    series = readings.series("probe", NOON, NOON + 1)
    series.values[0] = 99.0
    assert np.array_equal(readings.series("probe", NOON, NOON + 1).values, [4.0])

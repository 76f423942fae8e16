"""Payloads that are one number."""

import pytest

from collector.formats import plain
from collector.formats.plain import PlainNumber
from collector.sample import Quality, Refusal, Sample

GAUGE = PlainNumber("Cel", "{device}/temperature")


def outcome(payload: bytes, described: PlainNumber = GAUGE) -> tuple[Sample, ...] | Refusal:
    return plain.read(payload, described, "gauges/seven/temperature", {"device": "seven"})


@pytest.mark.parametrize(
    ("payload", "value"),
    [
        (b"4.1", 4.1),
        (b'"4.1"', 4.1),
        (b" 4.1\r\n", 4.1),
        (b"-0.5", -0.5),
        (b"+3", 3.0),
        (b"4.", 4.0),
        (b".5", 0.5),
        (b"1e1", 10.0),
        (b"007", 7.0),
    ],
)
def test_a_number_is_read_as_it_stands(payload: bytes, value: float) -> None:
    assert outcome(payload) == (Sample("seven/temperature", value, "Cel"),)


@pytest.mark.parametrize(
    ("payload", "code"),
    [
        (b"", "empty"),
        (b"  ", "empty"),
        (b'""', "empty"),
        (b"4,1", "decimal_comma"),
        (b'"4,1"', "decimal_comma"),
        (b"nan", "not_finite"),
        (b"NaN", "not_finite"),
        (b"-inf", "not_finite"),
        (b"Infinity", "not_finite"),
        (b"1e400", "not_finite"),
        (b"1e309", "not_finite"),
        (b"9" * 64 + b"e300", "too_large"),
        (b"4.1 C", "not_a_number"),
        (b"4.1 4.2", "not_a_number"),
        (b"1,234.5", "not_a_number"),
        (b"1_000", "not_a_number"),
        (b"0x10", "not_a_number"),
        (b"true", "not_a_number"),
        (b"open", "not_a_number"),
        (b"--5", "not_a_number"),
        (b"1" * 65, "too_large"),
        (b"\xff", "not_utf8"),
        ("٤".encode(), "not_a_number"),
        (b"4.1\x00", "not_a_number"),
    ],
)
def test_what_is_no_single_number_is_refused(payload: bytes, code: str) -> None:
    refusal = outcome(payload)
    assert isinstance(refusal, Refusal)
    assert refusal.code == code
    assert refusal.reason.isprintable()


def test_a_comma_marks_decimals_where_the_source_says_so() -> None:
    comma = PlainNumber("Cel", decimal_comma=True)
    assert outcome(b"4,1", comma) == (Sample("gauges/seven/temperature", 4.1, "Cel"),)
    assert outcome(b"4.1", comma) == (Sample("gauges/seven/temperature", 4.1, "Cel"),)
    assert isinstance(outcome(b"1,234,5", comma), Refusal)


def test_a_contact_may_be_a_word() -> None:
    door = PlainNumber("1", "door")
    found = [outcome(payload, door) for payload in (b"open", b"CLOSED", b"true", b"false", b"1", b'"open"')]
    assert found == [(Sample("door", value, "1"),) for value in (1.0, 0.0, 1.0, 0.0, 1.0, 1.0)]
    assert isinstance(outcome(b"ajar", door), Refusal)


def test_units_are_converted_and_the_sign_of_a_broken_probe_is_marked() -> None:
    assert outcome(b"41", PlainNumber("degF", "a")) == (Sample("a", 5.0, "Cel"),)
    assert outcome(b"-127.00", PlainNumber("Cel", "a")) == (Sample("a", -127.0, "Cel", quality=Quality.PROBE_FAULT),)
    assert outcome(b"185.0", PlainNumber("F", "a")) == (Sample("a", 85.0, "Cel", quality=Quality.PROBE_FAULT),)


def test_a_topic_too_long_for_a_channel_is_refused() -> None:
    refusal = plain.read(b"4", PlainNumber("Cel"), "x" * 201, {})
    assert isinstance(refusal, Refusal)
    assert refusal.code == "bad_channel"


@pytest.mark.parametrize(
    ("described", "words"),
    [
        (PlainNumber("C"), "unit 'C' is not known"),
        (PlainNumber("Cel", "{room}"), "the topic captures no room"),
        (PlainNumber("Cel", "{/id}"), "use captures of the topic"),
        (PlainNumber("Cel", "{device"), "a brace without its partner"),
    ],
)
def test_a_fault_says_how_to_mend_it(described: PlainNumber, words: str) -> None:
    found = plain.faults(described, ("device",))
    assert len(found) == 1
    assert words in found[0]
    assert plain.faults(GAUGE, ("device",)) == ()

"""The instant a device gives, in each way of writing it."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from collector.formats.times import DeviceTime, epoch_ms, epoch_s, read, rfc3339, zone_named
from collector.sample import Refusal

ROME = ZoneInfo("Europe/Rome")
LORD_HOWE = ZoneInfo("Australia/Lord_Howe")


def at(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


@pytest.mark.parametrize(
    ("text", "instant"),
    [
        ("1970-01-01T00:00:00Z", 0.0),
        ("2000-01-01T00:00:00Z", at("2000-01-01T00:00:00")),
        ("2036-02-07T06:28:16Z", 2**32 - 2_208_988_800),
        ("2038-01-19T03:14:07Z", 2**31 - 1),
        ("1978-07-04T21:24:16Z", 2**28),
        ("2020-01-15T16:02:10.668892406Z", 1_579_104_130.668892),
        ("2020-01-15T16:02:10.999999999Z", 1_579_104_130.999999),
        ("2020-01-15T16:02:10.5Z", 1_579_104_130.5),
        ("2020-01-15t16:02:10z", 1_579_104_130.0),
        ("2020-01-15 16:02:10Z", 1_579_104_130.0),
        ("2020-01-15T16:02:10+00:00", 1_579_104_130.0),
        ("2020-01-15T16:02:10-00:00", 1_579_104_130.0),
        ("2020-01-15T18:02:10.000001+02:00", 1_579_104_130.000001),
        ("2020-01-15T10:32:10-05:30", 1_579_104_130.0),
        ("1969-12-31T23:59:59.25Z", -0.75),
        ("0001-01-01T00:00:00Z", -62_135_596_800.0),
    ],
)
def test_an_rfc_3339_time_is_its_instant(text: str, instant: float) -> None:
    assert rfc3339(text) == DeviceTime(instant)


@pytest.mark.parametrize("text", ["2016-12-31T23:59:60Z", "2017-01-01T05:29:60+05:30"])
def test_a_leap_second_is_the_next_second_and_in_doubt(text: str) -> None:
    assert rfc3339(text) == DeviceTime(at("2017-01-01T00:00:00"), doubt=True)


@pytest.mark.parametrize(
    "text",
    [
        "2026-01-01T00:00:00",
        "2026-01-01T12:30:60Z",
        "2026-13-01T00:00:00Z",
        "2026-02-29T00:00:00Z",
        "2026-01-01T24:00:00Z",
        "2026-01-01T00:00Z",
        "2026-01-01",
        "2026-01-01T00:00:00+24:00",
        "2026-01-01T00:00:00+0100",
        "0000-01-01T00:00:00Z",
        "٢٠٢٦-01-01T00:00:00Z",
        "yesterday",
        "",
        "2026-01-01T00:00:00." + "1" * 100 + "Z",
    ],
)
def test_a_time_that_is_none_is_refused(text: str) -> None:
    refusal = rfc3339(text)
    assert isinstance(refusal, Refusal)
    assert refusal.code == "bad_time"


def test_a_time_without_offset_is_local_to_the_zone_and_never_utc_by_guess() -> None:
    assert rfc3339("2026-01-01T00:00:00", ROME) == DeviceTime(at("2025-12-31T23:00:00"))
    assert rfc3339("2026-07-01T00:00:00.25", ROME) == DeviceTime(at("2026-06-30T22:00:00") + 0.25)


def test_an_offset_in_the_text_goes_before_the_zone() -> None:
    assert rfc3339("2026-01-01T00:00:00Z", ROME) == DeviceTime(at("2026-01-01T00:00:00"))


@pytest.mark.parametrize(
    ("text", "zone", "first", "second"),
    [
        ("2026-10-25T02:30:00", ROME, "2026-10-25T00:30:00", "2026-10-25T01:30:00"),
        ("2026-04-05T01:45:00", LORD_HOWE, "2026-04-04T14:45:00", "2026-04-04T15:15:00"),
    ],
)
def test_a_time_in_the_repeated_hour_is_the_first_unless_receipt_is_nearer_the_second(
    text: str, zone: ZoneInfo, first: str, second: str
) -> None:
    assert rfc3339(text, zone) == DeviceTime(at(first), doubt=True)
    assert rfc3339(text, zone, near=at(first) + 5) == DeviceTime(at(first), doubt=True)
    assert rfc3339(text, zone, near=at(second) + 5) == DeviceTime(at(second), doubt=True)


def test_a_time_in_the_hour_that_clocks_skip_is_read_as_if_they_had_not_moved() -> None:
    assert rfc3339("2026-03-29T02:30:00", ROME, near=at("2026-03-29T00:30:00")) == DeviceTime(
        at("2026-03-29T01:30:00"), doubt=True
    )


def test_the_hours_around_a_change_of_clocks_are_in_no_doubt() -> None:
    assert rfc3339("2026-10-25T01:59:59", ROME) == DeviceTime(at("2026-10-24T23:59:59"))
    assert rfc3339("2026-10-25T03:00:00", ROME) == DeviceTime(at("2026-10-25T02:00:00"))


def test_epochs_count_seconds_or_milliseconds() -> None:
    assert epoch_s(1_800_000_000) == DeviceTime(1_800_000_000.0)
    assert epoch_s(1_800_000_000.123456) == DeviceTime(1_800_000_000.123456)
    assert epoch_ms(1_800_000_000_123) == DeviceTime(1_800_000_000.123)
    assert epoch_s(0) == DeviceTime(0.0)


@pytest.mark.parametrize("value", [True, None, "1800000000", [1], 10**20, -(10**15), float("nan"), 1e300])
def test_an_epoch_that_is_no_date_is_refused(value: object) -> None:
    for refusal in (epoch_s(value), epoch_ms(value if value != 10**20 else 10**21)):
        assert isinstance(refusal, Refusal)
        assert refusal.code == "bad_time"


def test_milliseconds_taken_for_seconds_are_refused_with_the_mend() -> None:
    refusal = epoch_s(1_800_000_000_000)
    assert isinstance(refusal, Refusal)
    assert "epoch_ms" in refusal.reason


def test_each_format_reads_its_own_kind() -> None:
    assert read(5, "none") is None
    assert read(5, "epoch_s") == DeviceTime(5.0)
    assert read(5000, "epoch_ms") == DeviceTime(5.0)
    assert read("1970-01-01T00:00:05Z", "rfc3339") == DeviceTime(5.0)
    assert read("1970-01-01T01:00:05", "local", "Europe/Rome") == DeviceTime(5.0)


@pytest.mark.parametrize(
    ("value", "time_format", "zone", "code"),
    [
        (5, "rfc3339", "", "bad_time"),
        ("5", "epoch_s", "", "bad_time"),
        ("1970-01-01T01:00:05", "local", "Mars/Olympus", "bad_zone"),
        ("1970-01-01T01:00:05", "local", "../../etc/passwd", "bad_zone"),
    ],
)
def test_a_value_of_another_kind_is_refused(value: object, time_format: str, zone: str, code: str) -> None:
    refusal = read(value, time_format, zone)
    assert isinstance(refusal, Refusal)
    assert refusal.code == code


@pytest.mark.parametrize("key", ["", "Europe", "Rome", "a\0b", "Europe/Rome/", "x" * 5000])
def test_a_zone_that_does_not_exist_is_refused(key: str) -> None:
    assert isinstance(zone_named(key), Refusal)

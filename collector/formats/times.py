"""The instant a device gives for its reading, in each way that devices write it. Pure: no clock."""

import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import isfinite
from typing import Literal, TypeAlias, get_args
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from collector.formats.strict_json import quoted
from collector.sample import Instant, Refusal

TimeFormat: TypeAlias = Literal["none", "rfc3339", "epoch_s", "epoch_ms", "local"]
TIME_FORMATS: tuple[str, ...] = get_args(TimeFormat)

FIRST_AT: Instant = -62_135_596_800.0
"""0001-01-01T00:00:00Z, the first instant of a calendar date."""
LAST_AT: Instant = 253_402_300_800.0
"""10000-01-01T00:00:00Z, the end of four-digit years."""

_EPOCH = date(1970, 1, 1).toordinal()
_MICRO = 1_000_000
_RFC3339 = re.compile(
    r"(\d{4})-(\d\d)-(\d\d)[Tt ](\d\d):(\d\d):(\d\d)(?:\.(\d{1,18}))?(?:([Zz])|([+-])(\d\d):(\d\d))?", re.ASCII
)


@dataclass(frozen=True, slots=True)
class DeviceTime:
    """An instant as a device gave it, and whether its writing leaves doubt which instant is meant."""

    at: Instant
    doubt: bool = False


def read(
    value: object, time_format: str, zone: str = "", *, near: Instant | None = None
) -> DeviceTime | Refusal | None:
    """Return the instant a payload's value means, why it means none, or None where the format is `none`."""
    match time_format:
        case "none":
            return None
        case "epoch_s":
            return epoch_s(value)
        case "epoch_ms":
            return epoch_ms(value)
    if not isinstance(value, str):
        return Refusal("bad_time", f"the time must be a text for {time_format}; epoch_s or epoch_ms read numbers")
    rules = zone_named(zone) if zone else None
    if isinstance(rules, Refusal):
        return rules
    return rfc3339(value, rules, near=near)


def rfc3339(text: str, zone: ZoneInfo | None = None, *, near: Instant | None = None) -> DeviceTime | Refusal:
    """Return the instant of an RFC 3339 time; one without offset is local to `zone`, or refused where there is none.

    Digits past the microsecond are cut off, without passing through a float. A leap second (`:60`) becomes the next
    second, in doubt. A local time in the repeated hour is in doubt: the first of its two instants, unless `near` (the
    time of receipt) is closer to the second. One in the hour that clocks skip is in doubt too, and read as if they had
    not moved yet (fold 0 of PEP 495).

    >>> rfc3339("2020-01-15T16:02:10.668892406Z")
    DeviceTime(at=1579104130.668892, doubt=False)
    """
    found = _RFC3339.fullmatch(text.strip()) if len(text) <= 64 else None
    if found is None:
        return _unreadable(text, "write it as in RFC 3339, such as 2026-01-31T23:59:59Z")
    year, month, day, hour, minute, second = (int(digits) for digits in found.groups()[:6])
    leap = second == 60
    try:
        wall = datetime(year, month, day, hour, minute, second - leap)  # noqa: DTZ001 - the offset is resolved below
    except ValueError:
        return _unreadable(text, "there is no such day or hour")
    fraction = int((found[7] or "").ljust(6, "0")[:6])
    if found[8] or found[9]:
        offset = _offset(found[9], found[10], found[11])
        resolved: DeviceTime | Refusal = (
            _unreadable(text, "its offset is no offset") if offset is None else DeviceTime(_seconds(wall, offset))
        )
    elif zone is None:
        resolved = _unreadable(text, "it names no offset; send one, or set `zone` to where the device's clock stands")
    else:
        resolved = _local(wall, zone, near)
    if isinstance(resolved, Refusal):
        return resolved
    whole = int(resolved.at) + leap
    if leap and whole % 86_400:
        return _unreadable(text, "a leap second ends a day in UTC and no other minute")
    return DeviceTime((whole * _MICRO + fraction) / _MICRO, resolved.doubt or leap)


def epoch_s(value: object) -> DeviceTime | Refusal:
    """Return the instant of seconds since 1970-01-01T00:00:00Z, kept to the microsecond."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        return Refusal("bad_time", "the time must be a number of seconds since 1970; rfc3339 and local read texts")
    if not FIRST_AT <= value < LAST_AT:
        return Refusal("bad_time", f"{value:.6g} s since 1970 is no date; if it is milliseconds, set epoch_ms")
    return DeviceTime(round(float(value), 6))


def epoch_ms(value: object) -> DeviceTime | Refusal:
    """Return the instant of milliseconds since 1970-01-01T00:00:00Z, kept to the microsecond."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        return Refusal("bad_time", "the time must be a number of milliseconds since 1970; rfc3339 and local read texts")
    return epoch_s(value / 1000)


def zone_named(key: str) -> ZoneInfo | Refusal:
    """Return the rules of an IANA time zone, or that there is none of that name."""
    try:
        return ZoneInfo(key)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return Refusal("bad_zone", f"{quoted(key)} is no IANA time zone; write one such as Europe/London")


def _local(wall: datetime, zone: ZoneInfo, near: Instant | None) -> DeviceTime:
    offsets = [wall.replace(tzinfo=zone, fold=fold).utcoffset() or timedelta(0) for fold in (0, 1)]
    first, second = (_seconds(wall, offset) for offset in offsets)
    # The clocks went back: the offset grows smaller, and the same wall time comes twice, the second one later.
    if second > first and near is not None and abs(second - near) < abs(first - near):
        return DeviceTime(second, doubt=True)
    return DeviceTime(first, doubt=first != second)


def _seconds(wall: datetime, offset: timedelta) -> float:
    days = wall.toordinal() - _EPOCH
    of_day = wall.hour * 3600 + wall.minute * 60 + wall.second
    return float(days * 86_400 + of_day) - offset.total_seconds()


def _offset(sign: str | None, hours: str | None, minutes: str | None) -> timedelta | None:
    if sign is None or hours is None or minutes is None:
        return timedelta(0)
    if int(hours) > 23 or int(minutes) > 59:
        return None
    ahead = timedelta(hours=int(hours), minutes=int(minutes))
    return ahead if sign == "+" else -ahead


def _unreadable(text: str, mend: str) -> Refusal:
    return Refusal("bad_time", f"the time {quoted(text)} cannot be read: {mend}")

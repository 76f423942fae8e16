"""A core log as a person writes it, one line for each entry: `12:05 54.4`. Pure: no clock, no I/O."""

import re
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from api.actions.faults import AHEAD_S, Fault
from collector.sample import Instant

LINE = re.compile(
    r"(?P<hour>\d{1,2})[:.h](?P<minute>\d{2})(:(?P<second>\d{2}))?[\s;,]+(?P<core>[-−]?\d+([.,]\d+)?)\s*(°?\s*C)?"
)
Points = tuple[tuple[Instant, float], ...]


def points_of(text: str, day: str, zone: str, now: Instant) -> Points | tuple[Fault, ...]:
    """Return instants and core temperatures, or what cannot be read. [s since 1970 UTC], [°C]

    The first line is of `day` (2026-11-25). Without a day the last line is dated as late as it can be; a time that is
    earlier than the one before it is of the next day.
    """
    lines = [(number, line.strip()) for number, line in enumerate(text.splitlines(), 1) if line.strip()]
    if not lines:
        return (Fault("entries", "nothing is entered", "enter a line for each time the core was read: 12:05 54.4"),)
    read = [_line(number, line) for number, line in lines]
    faults = tuple(one for one in read if isinstance(one, Fault))
    if faults:
        return faults
    days, walls = 0, []
    before: time | None = None
    for one in read:
        assert not isinstance(one, Fault)
        at, core_c = one
        days += before is not None and at < before
        walls.append((days, at, core_c))
        before = at
    first = _first_day(day, walls, zone, now)
    if isinstance(first, Fault):
        return (first,)
    found = []
    for after, at, core_c in walls:
        instant = _instant(first + timedelta(days=after), at, zone)
        if instant is None:
            said = f"{at:%H:%M} is no time that the clock on the wall showed"
            return (Fault("entries", said, "the clocks went forward; enter the time that they showed"),)
        found.append((instant, core_c))
    return tuple(found)


def _line(number: int, line: str) -> tuple[time, float] | Fault:
    match = LINE.fullmatch(line)
    mend = "write time and core in °C, such as 12:05 54.4"
    if match is None:
        return Fault("entries", f"line {number}, “{line[:40]}”, cannot be read", mend)
    try:
        at = time(int(match["hour"]), int(match["minute"]), int(match["second"] or 0))
    except ValueError:
        return Fault("entries", f"line {number}, “{line[:40]}”, has no time of day", mend)
    return at, float(match["core"].replace(",", ".").replace("−", "-"))


def _first_day(day: str, walls: list[tuple[int, time, float]], zone: str, now: Instant) -> date | Fault:
    if day:
        try:
            return date.fromisoformat(day)
        except ValueError:
            return Fault("day", f"“{day[:40]}” is no day", "write it as 2026-11-25, or leave it empty")
    last_days, last_at, _ = walls[-1]
    today = datetime.fromtimestamp(now, UTC).astimezone(ZoneInfo(zone)).date()
    last = _instant(today, last_at, zone)
    late = last is None or last > now + AHEAD_S
    return today - timedelta(days=last_days + late)


def _instant(day: date, at: time, zone: str) -> Instant | None:
    """Return the instant at which the walls' clock showed a time; None where the clocks skipped it."""
    local = datetime.combine(day, at, ZoneInfo(zone))
    back = local.astimezone(UTC).astimezone(ZoneInfo(zone))
    return local.timestamp() if back.replace(tzinfo=None) == local.replace(tzinfo=None) else None

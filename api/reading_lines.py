"""Recorded readings, a JSON object a line, as `curevigil replay` takes them; or what is wrong with a line."""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

from collector.formats.names import channel_refusal
from collector.formats.strict_json import loads, quoted
from collector.formats.times import rfc3339
from collector.formats.units import PROBE_FAULT_VALUES_C, quality
from collector.kitchen_tables import FIRST_YEAR, LAST_YEAR
from collector.message import believed_time
from collector.readings import BASE_UNIT, Assignment, Reading
from collector.sample import Instant, Quality, Refusal

KEYS = ("channel", "value", "measured_at", "received_at")
LINE_BYTES = 4096
"""House: no line with one reading is longer."""
UNASSIGNED = "1"
"""The unit of a channel that nobody has assigned: its readings are kept, and judged by nobody."""
EARLIEST_AT, LATEST_AT = (datetime(year, 1, 1, tzinfo=UTC).timestamp() for year in (FIRST_YEAR, LAST_YEAR))


@dataclass(frozen=True, slots=True)
class BadLine:
    """One line that holds no reading."""

    number: int
    what: str


def units_of(assignments: Iterable[Assignment]) -> dict[str, str]:
    """Return the base unit in which each assigned channel sends."""
    return {assignment.channel: BASE_UNIT[assignment.quantity] for assignment in assignments}


def read_lines(lines: Iterable[bytes], units: Mapping[str, str]) -> Iterator[Reading | BadLine]:
    """Yield what each line holds, in order of the file; blank lines are passed over."""
    for number, raw in enumerate(lines, 1):
        line = raw.strip()
        if number == 1:
            line = line.removeprefix(b"\xef\xbb\xbf")
        if line:
            read = _read(line, units)
            yield BadLine(number, read) if isinstance(read, str) else read


def _reading(channel: str, value: float, measured: Instant, received: Instant, units: Mapping[str, str]) -> Reading:
    # As the intake would: the device's time is believed or doubted, and the value looked at for the signs of a fault.
    at, doubt = believed_time(measured, received)
    unit = units.get(channel, UNASSIGNED)
    found = quality(value, unit, fault_values_c=PROBE_FAULT_VALUES_C)
    return Reading(
        channel, at, value, unit, round(received, 3), measured, None, found | Quality.CLOCK_DOUBT if doubt else found
    )


def _read(line: bytes, units: Mapping[str, str]) -> Reading | str:
    said = loads(line, limit_bytes=LINE_BYTES)
    if isinstance(said, Refusal):
        # The reader of payloads speaks to a device; here a person mends a file.
        what, _, mend = said.reason.partition("; ")
        return f"{what}; {'leave the line out' if said.code == 'not_finite' else mend}"
    if not isinstance(said, dict):
        return "this is no JSON object; write {" + ", ".join(f'"{key}": ...' for key in KEYS) + "}"
    lacking, unknown = [key for key in KEYS if key not in said], [key for key in said if key not in KEYS]
    if lacking or unknown:
        parts = [f"it lacks {', '.join(lacking)}"] if lacking else []
        parts += [f"it holds {', '.join(quoted(key) for key in unknown)}, which is no key here"] if unknown else []
        return f"{' and '.join(parts)}; the keys are {', '.join(KEYS)}"
    channel, value = said["channel"], said["value"]
    if not isinstance(channel, str):
        return "channel is no text; write the channel's name in quotes"
    refused = None if channel in units else channel_refusal(channel)
    if refused is not None:
        return f"{refused.reason}; write it as the kitchen file does"
    if isinstance(value, bool) or not isinstance(value, int | float):
        return "value is no number; write a finite number without quotes, and leave out what was not measured"
    measured, received = _instant("measured_at", said["measured_at"]), _instant("received_at", said["received_at"])
    if isinstance(measured, str) or isinstance(received, str):
        return " and ".join(part for part in (measured, received) if isinstance(part, str))
    return _reading(channel, float(value), measured, received, units)


def _instant(key: str, value: object) -> Instant | str:
    how = "write seconds since 1970, or a text as 2026-11-22T03:00:00Z"
    if isinstance(value, str):
        read = rfc3339(value)
        if isinstance(read, Refusal):
            return f"{key}: {quoted(value)} is no time with an offset; {how}"
        at = read.at
    elif isinstance(value, bool) or not isinstance(value, int | float):
        return f"{key} is no time; {how}"
    else:
        at = float(value)
    if not EARLIEST_AT <= at < LATEST_AT:
        return f"{key} lies outside the years {FIRST_YEAR} to {LAST_YEAR}; write seconds, not milliseconds"
    return round(at, 6)


def instant_of(text: str) -> Instant | str:
    """Return the instant of an option: seconds since 1970 or RFC 3339; or what is wrong with it."""
    digits = re.fullmatch(r"\d{1,12}(?:\.\d{1,9})?", text.strip(), re.ASCII)
    return _instant("the time", float(text) if digits else text)

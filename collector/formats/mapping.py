"""How any JSON or CBOR is mapped to samples: the description of it, and what can be wrong with one. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Literal, TypeAlias, get_args

from collector.formats import names, pointer, times, units
from collector.formats.strict_json import quoted
from collector.sample import Quality, Refusal

Encoding: TypeAlias = Literal["json", "cbor"]
"""How a payload is written; pointers go through both alike, and a key that is a whole number stands as its digits."""
ENCODINGS: tuple[str, ...] = get_args(Encoding)

KEY = "key"
"""The capture that holds the name or index of the element under `each`."""
MOST_MEASUREMENTS = 200
"""Measurements of one mapping. House limit."""
MOST_KEY_PARTS = 8
"""Pointers whose values together are one key. House limit."""
QUALITIES = {
    "good": Quality.GOOD,
    "clock_doubt": Quality.CLOCK_DOUBT,
    "probe_fault": Quality.PROBE_FAULT,
    "out_of_range": Quality.OUT_OF_RANGE,
}
"""What a device's word about its own value may mean; a conflict is found by the store and told by nobody."""


@dataclass(frozen=True, slots=True)
class Measurement:
    """One channel, or one per element: where in the payload its value stands, and how it is meant.

    Pointers are RFC 6901. Under `each` they start from the element; in the fragment form, `#/Time`, always from the top
    of the payload.
    """

    channel: str
    """Name of the channel, with captures of the topic, `{key}` of the element and pointers: `{device}/{/Id}`."""
    value: str
    """Pointer to the value."""
    unit: str | None = None
    """The unit the value is sent in; or `unit_from`, never both."""
    unit_from: str | None = None
    """Pointer to the unit."""
    unit_names: tuple[tuple[str, str], ...] = ()
    """What the payload calls a unit, and which unit that is: `(("C", "Cel"), ("F", "degF"))`."""
    scale: float = 1.0
    offset: float = 0.0
    """Added after scaling, before the unit is converted; a contact the other way round is scale -1, offset 1."""
    time: str | None = None
    """Pointer to the device's time; where it is missing or null in a payload the device gave none."""
    time_format: times.TimeFormat = "none"
    zone: str = ""
    """IANA time zone of the device's clock, for times that name no offset."""
    sequence: str | None = None
    """Pointer to the number of the reading within a boot; needs `boot`."""
    boot: str | None = None
    """Pointer to what changes when the numbers start again: a session, a boot count."""
    dedupe: tuple[str, ...] = ()
    """Pointers to what every copy of a reading shares, and no other reading; in place of `sequence` and `boot`."""
    quality: str | None = None
    """Pointer to the device's own word about the value; needs `quality_names`."""
    quality_names: tuple[tuple[str, str], ...] = ()
    """What each word means: `(("ok", "good"), ("E1", "probe_fault"))`; `""` stands for a word that is not there."""
    valid_min: float | None = None
    """Below this the value is kept and marked out of range, in the base unit."""
    valid_max: float | None = None
    missing: Literal["skip", "error"] = "skip"
    """What a value that is missing or null does: leave the measurement out, or refuse the message."""
    numbers_as_text: bool = False
    """Whether a value may be a number written as text, such as `"4.1"`."""


@dataclass(frozen=True, slots=True)
class Mapping:
    """What the payloads of one source hold."""

    measurements: tuple[Measurement, ...]
    each: str | None = None
    """Pointer to an array or object; the measurements are looked for in each of its elements."""


def faults(mapping: Mapping, captured: Sequence[str] = ()) -> tuple[str, ...]:
    """Return what is wrong with a mapping, each with how to mend it; `captured` are the names the topic captures."""
    found: list[str] = []
    if not mapping.measurements:
        found.append("the mapping has no measurement: say at least where one value stands")
    if len(mapping.measurements) > MOST_MEASUREMENTS:
        found.append(
            f"{len(mapping.measurements)} measurements: at most {MOST_MEASUREMENTS}; use `each`, or more sources"
        )
    if mapping.each is not None:
        found += _pointer_faults("each", mapping.each)
    if KEY in captured:
        found.append(f"the topic captures {KEY}, which names the element under `each`: call the capture something else")
    channels = [measurement.channel for measurement in mapping.measurements]
    for channel in sorted({channel for channel in channels if channels.count(channel) > 1}):
        found.append(f"two measurements have the channel {quoted(channel)}: give each its own")
    for measurement in mapping.measurements:
        label = f"measurement {quoted(measurement.channel)}: "
        inner = (
            *_channel_faults(measurement, mapping, captured),
            *_unit_faults(measurement),
            *_time_faults(measurement),
            *_same_faults(measurement),
            *_quality_faults(measurement),
            *_number_faults(measurement),
        )
        found += [label + fault for fault in inner]
    return tuple(found)


def _channel_faults(measurement: Measurement, mapping: Mapping, captured: Sequence[str]) -> list[str]:
    parts = names.parts(measurement.channel)
    if isinstance(parts, Refusal):
        return [parts.reason]
    if not parts:
        return ["the channel is empty: give it a name"]
    found = []
    varies = False
    for kind, text in parts:
        if kind == "capture" and text == KEY:
            varies = True
            found += (
                []
                if mapping.each is not None
                else ["{key} has a meaning only under `each`: set it, or name the channel"]
            )
        elif kind == "capture" and text not in captured:
            found.append(
                f"the topic captures no {text}: write {{{text}}} into the topic, or take it out of the channel"
            )
        varies = varies or (kind == "pointer" and not pointer.is_from_root(text))
    # A backlog of one channel, each element with a time of its own, is the one case for one name.
    dated = measurement.time is not None and not pointer.is_from_root(measurement.time)
    if mapping.each is not None and not varies and not dated:
        found.append("every element would become the same channel: put {key} or a pointer such as {/id} into it")
    return found


def _unit_faults(measurement: Measurement) -> list[str]:
    known = f"use one of {', '.join(units.KNOWN)}"
    found = []
    if (measurement.unit is None) == (measurement.unit_from is None):
        found.append("give either `unit`, or `unit_from` as a pointer to it")
    if measurement.unit is not None and not units.is_known(measurement.unit):
        found.append(f"the unit {quoted(measurement.unit)} is not known: {known}")
    if measurement.unit_names and measurement.unit_from is None:
        found.append("`unit_names` translates what `unit_from` finds: set `unit_from` too")
    for name, unit in measurement.unit_names:
        if not units.is_known(unit):
            found.append(f"unit_names says {quoted(name)} is {quoted(unit)}, which is not known: {known}")
    return found


def _time_faults(measurement: Measurement) -> list[str]:
    found = []
    if measurement.time_format not in times.TIME_FORMATS:
        found.append(f"time_format {quoted(measurement.time_format)}: use one of {', '.join(times.TIME_FORMATS)}")
    elif (measurement.time is None) != (measurement.time_format == "none"):
        found.append("`time` and `time_format` belong together: set both, or neither")
    if measurement.time_format == "local" and not measurement.zone:
        found.append("a local time needs the zone its clock stands in: set `zone`, such as Europe/London")
    if measurement.zone:
        zone = times.zone_named(measurement.zone)
        found += [zone.reason] if isinstance(zone, Refusal) else []
    return found


def _same_faults(measurement: Measurement) -> list[str]:
    found = []
    if (measurement.sequence is None) != (measurement.boot is None):
        found.append("`sequence` starts again with each boot: set `boot` to what tells them apart, or set neither")
    if measurement.dedupe and (measurement.sequence is not None or measurement.boot is not None):
        found.append("`dedupe` and `sequence` both say which readings are the same: keep one of them")
    if len(measurement.dedupe) > MOST_KEY_PARTS:
        found.append(f"dedupe has {len(measurement.dedupe)} pointers: at most {MOST_KEY_PARTS} make one key")
    for place in measurement.dedupe:
        found += _pointer_faults("dedupe", place)
        if place == measurement.value:
            found.append("dedupe points at the value itself: two equal readings are two; point at what names a reading")
    return found


def _quality_faults(measurement: Measurement) -> list[str]:
    if measurement.quality is None:
        return (
            ["`quality_names` translates what `quality` finds: set `quality` too"] if measurement.quality_names else []
        )
    found = _pointer_faults("quality", measurement.quality)
    if not measurement.quality_names:
        found.append(
            'quality finds a word that means nothing by itself: set `quality_names`, such as { "ok" = "good" }'
        )
    for word, meant in measurement.quality_names:
        if meant not in QUALITIES:
            known = ", ".join(QUALITIES)
            found.append(
                f"quality_names says {quoted(word)} is {quoted(meant)}, which is not known: use one of {known}"
            )
    return found


def _number_faults(measurement: Measurement) -> list[str]:
    found = _pointer_faults("value", measurement.value)
    for field in ("unit_from", "time", "sequence", "boot"):
        place = getattr(measurement, field)
        found += _pointer_faults(field, place) if place is not None else []
    if not isfinite(measurement.scale) or measurement.scale == 0:
        found.append("scale must be a finite number other than 0: leave it out for 1")
    if not isfinite(measurement.offset):
        found.append("offset must be a finite number: leave it out for 0")
    lowest, highest = measurement.valid_min, measurement.valid_max
    if any(bound is not None and not isfinite(bound) for bound in (lowest, highest)):
        found.append("valid_min and valid_max must be finite numbers: leave out the one that does not bound")
    elif lowest is not None and highest is not None and lowest >= highest:
        found.append(f"valid_min {lowest} is not below valid_max {highest}: swap or mend them")
    if measurement.missing not in ("skip", "error"):
        found.append(f"missing {quoted(measurement.missing)}: use skip or error")
    return found


def _pointer_faults(field: str, place: str) -> list[str]:
    spelt = pointer.parse(place)
    return [f"{field}: {spelt.reason}"] if isinstance(spelt, Refusal) else []

"""JSON and CBOR payloads read by a mapping. Pure."""

from collections.abc import Mapping as Named
from collections.abc import Sequence
from dataclasses import dataclass

from collector.formats import names, plain, pointer, strict_cbor, strict_json, times, units
from collector.formats.mapping import KEY, QUALITIES, Encoding, Mapping, Measurement
from collector.formats.strict_json import quoted
from collector.sample import Instant, Quality, Refusal, Sample

MOST_LOOK_UPS = 2000
"""Elements times measurements of one payload. House limit."""
_LONGEST_SEQUENCE = 64


@dataclass(frozen=True, slots=True)
class _Place:
    """The element that pointers start from, in the payload that holds it."""

    payload: object
    element: object
    named: Named[str, str]

    def at(self, place: str) -> object | Refusal:
        return pointer.value_at(self.payload if pointer.is_from_root(place) else self.element, place)


def read(
    payload: bytes,
    mapping: Mapping,
    captured: Named[str, str],
    received_at: Instant,
    *,
    encoding: Encoding = "json",
    fault_values_c: Sequence[float] = units.PROBE_FAULT_VALUES_C,
) -> tuple[Sample, ...] | Refusal:
    """Return the samples a mapping finds, each in its base unit, or why the whole payload is refused.

    A value that is missing or null is left out where the mapping says `skip`. A payload in which not one of the values
    stands is refused; one in which a value is null (a probe unplugged) is not. `captured` comes from the topic. So is
    one in which two readings of a channel have one key: the key would let only the first of them be kept.
    """
    document = strict_cbor.loads(payload) if encoding == "cbor" else strict_json.loads(payload)
    if isinstance(document, Refusal):
        return document
    places = _places(document, mapping, captured)
    if isinstance(places, Refusal):
        return places
    samples: list[Sample] = []
    has_null = False
    for place in places:
        for measurement in mapping.measurements:
            value = place.at(measurement.value)
            if value is None or isinstance(value, Refusal):
                if measurement.missing == "error" or _is_misspelt(value):
                    return _missing(measurement, value)
                has_null = has_null or value is None
                continue
            sample = _sample(measurement, place, value, received_at, fault_values_c)
            if isinstance(sample, Refusal):
                return Refusal(sample.code, f"measurement {quoted(measurement.channel)}: {sample.reason}")
            samples.append(sample)
    alike = _alike(samples)
    if alike is not None:
        return alike
    if not samples and not has_null:
        return Refusal(
            "nothing_found", "none of the mapping's values stands in the payload; compare its pointers with it"
        )
    return tuple(samples)


def _places(document: object, mapping: Mapping, captured: Named[str, str]) -> list[_Place] | Refusal:
    if mapping.each is None:
        return [_Place(document, document, captured)]
    match pointer.value_at(document, mapping.each):
        case Refusal() as refusal:
            return Refusal("nothing_found", f"each: {refusal.reason}; compare the pointer with the payload")
        case list(items):
            elements = [(str(index), item) for index, item in enumerate(items)]
        case dict(members):
            elements = list(members.items())
        case _:
            return Refusal("bad_each", f"each: {quoted(mapping.each)} is neither array nor object; point at one")
    if len(elements) * len(mapping.measurements) > MOST_LOOK_UPS:
        return Refusal("too_many", f"{len(elements)} elements under each; send fewer in one message")
    return [_Place(document, element, {**captured, KEY: key}) for key, element in elements]


def _sample(
    measurement: Measurement, place: _Place, value: object, received_at: Instant, fault_values_c: Sequence[float]
) -> Sample | Refusal:
    unit = _unit(measurement, place)
    if isinstance(unit, Refusal):
        return unit
    raw = _number(value, unit, measurement)
    if isinstance(raw, Refusal):
        return raw
    channel = names.filled(measurement.channel, place.named, place.at)
    if isinstance(channel, Refusal):
        return channel
    measured = units.measured(
        raw,
        unit,
        scale=measurement.scale,
        offset=measurement.offset,
        fault_values_c=fault_values_c,
        valid_min=measurement.valid_min,
        valid_max=measurement.valid_max,
    )
    if isinstance(measured, Refusal):
        return measured
    when = _time(measurement, place, received_at)
    if isinstance(when, Refusal):
        return when
    sequence = _key(measurement, place) if measurement.dedupe else _sequence(measurement, place)
    if isinstance(sequence, Refusal):
        return sequence
    said = _quality(measurement, place)
    if isinstance(said, Refusal):
        return said
    doubt = Quality.CLOCK_DOUBT if when is not None and when.doubt else Quality.GOOD
    # A device that doubts its own clock gives no instant: the time of receipt stands in its place.
    at = None if when is None or Quality.CLOCK_DOUBT in said else when.at
    return Sample(channel, measured.value, measured.unit, at, sequence, quality=measured.quality | doubt | said)


def _unit(measurement: Measurement, place: _Place) -> str | Refusal:
    if measurement.unit_from is None:
        return measurement.unit or ""
    found = place.at(measurement.unit_from)
    if isinstance(found, Refusal):
        return Refusal("bad_unit", f"the payload names no unit: {found.reason}")
    if not isinstance(found, str):
        return Refusal("bad_unit", f"what stands at {quoted(measurement.unit_from)} is no text, so no unit")
    if not measurement.unit_names:
        unit: str | None = found if units.is_known(found) else None
    else:
        unit = dict(measurement.unit_names).get(found)
    return unit or Refusal("bad_unit", f"the unit {quoted(found)} is not known; add it to unit_names")


def _number(value: object, unit: str, measurement: Measurement) -> float | Refusal:
    if unit in units.CONTACT:
        state = units.contact(value)
        if state is None:
            return Refusal("bad_value", f"{_kind(value)} is no state; send open, closed, true, false, 1 or 0")
        return state
    if isinstance(value, str) and measurement.numbers_as_text:
        return plain.number(value)
    if isinstance(value, bool) or not isinstance(value, int | float):
        mend = "; set numbers_as_text if it is a number in quotes" if isinstance(value, str) else "; point at a number"
        return Refusal("bad_value", f"{_kind(value)} stands at {quoted(measurement.value)}{mend}")
    return float(value)


def _time(measurement: Measurement, place: _Place, received_at: Instant) -> times.DeviceTime | Refusal | None:
    if measurement.time is None:
        return None
    value = place.at(measurement.time)
    if value is None or isinstance(value, Refusal):
        return None
    return times.read(value, measurement.time_format, measurement.zone, near=received_at)


def _sequence(measurement: Measurement, place: _Place) -> str | Refusal | None:
    if measurement.sequence is None or measurement.boot is None:
        return None
    pieces = [place.at(measurement.boot), place.at(measurement.sequence)]
    if any(piece is None or isinstance(piece, Refusal) for piece in pieces):
        return None
    texts = [str(piece) for piece in pieces if isinstance(piece, str | int) and not isinstance(piece, bool)]
    if len(texts) < 2 or any(not t or len(t) > _LONGEST_SEQUENCE or names.has_control(t) for t in texts):
        return Refusal(
            "bad_sequence", f"boot and sequence must be integers or texts of up to {_LONGEST_SEQUENCE} characters"
        )
    return ":".join(texts)


def _key(measurement: Measurement, place: _Place) -> str | Refusal | None:
    """Return the values at the pointers as one text, the stroke between them escaped within; None where one is not."""
    pieces = [place.at(part) for part in measurement.dedupe]
    if any(piece is None or isinstance(piece, Refusal) for piece in pieces):
        return None
    texts = [str(piece) for piece in pieces if isinstance(piece, str | int) and not isinstance(piece, bool)]
    if len(texts) < len(pieces) or any(not t or len(t) > _LONGEST_SEQUENCE or names.has_control(t) for t in texts):
        return Refusal(
            "bad_key", f"what dedupe points at must be integers or texts of up to {_LONGEST_SEQUENCE} characters"
        )
    return "/".join(text.replace("~", "~0").replace("/", "~1") for text in texts)


def _alike(samples: Sequence[Sample]) -> Refusal | None:
    """Return why readings of one message cannot all be kept: the same channel and key for different ones."""
    seen: dict[tuple[str, str], tuple[float, Instant | None]] = {}
    for sample in samples:
        if sample.sequence is None:
            continue
        held = seen.setdefault((sample.channel, sample.sequence), (sample.value, sample.device_at))
        if held != (sample.value, sample.device_at):
            what = f"two readings of {quoted(sample.channel)} have the key {quoted(sample.sequence)}"
            return Refusal("same_key", f"{what}; add a pointer to dedupe or to sequence that tells them apart")
    return None


def _quality(measurement: Measurement, place: _Place) -> Quality | Refusal:
    if measurement.quality is None:
        return Quality.GOOD
    found = place.at(measurement.quality)
    words = dict(measurement.quality_names)
    if found is None or isinstance(found, Refusal):
        word, what = "", f"nothing stands at {quoted(measurement.quality)}"
    elif isinstance(found, bool):
        word = what = "true" if found else "false"
    elif isinstance(found, str | int):
        word, what = str(found), quoted(str(found))
    else:
        return Refusal(
            "bad_quality", f"{_kind(found)} stands at {quoted(measurement.quality)}; point at a word or code"
        )
    meant = QUALITIES.get(words.get(word, ""))
    if meant is None:
        mend = f"say in quality_names what {quoted(word)} means"
        return Refusal("bad_quality", f"what the device says of its value is not known ({what}); {mend}")
    return meant


def _is_misspelt(value: object) -> bool:
    return isinstance(value, Refusal) and value.code == "pointer_syntax"


def _missing(measurement: Measurement, value: object) -> Refusal:
    reason = value.reason if isinstance(value, Refusal) else f"{quoted(measurement.value)} is null"
    return Refusal(
        "value_missing", f"measurement {quoted(measurement.channel)}: {reason}; set missing to skip to leave it out"
    )


def _kind(value: object) -> str:
    names_of = {str: "a text", bytes: "a byte string", bool: "true or false", list: "an array", dict: "an object"}
    return names_of.get(type(value), "null" if value is None else "something else")

"""SenML packs in JSON and CBOR (RFC 8428, updated by RFC 9100) read into samples, and JSON ones written. Pure."""

import json
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import isfinite

from collector.formats import strict_cbor, strict_json, units
from collector.formats.mapping import Encoding
from collector.formats.names import channel_refusal, has_control
from collector.formats.strict_json import PACK_LIMIT_BYTES, quoted
from collector.formats.times import FIRST_AT, LAST_AT
from collector.sample import Instant, Refusal, Sample

ABSOLUTE_FROM_S = 2**28
"""Times from here on are seconds since 1970, smaller ones are relative to now (RFC 8428, section 4.5.3). [s]"""
VERSION = 10
"""The version of RFC 8428, and the default; a pack that asks for more is refused."""

LABELS = {
    **{-1: "bver", -2: "bn", -3: "bt", -4: "bu", -5: "bv", -6: "bs"},
    **{0: "n", 1: "u", 2: "v", 3: "vs", 4: "vb", 5: "s", 6: "t", 7: "ut", 8: "vd"},
}
"""What the fields are called in CBOR (RFC 8428, table 4)."""

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")
_BASE64URL = re.compile(r"[A-Za-z0-9_-]*")
_LONGEST_UNIT = 32
_VALUES = ("v", "vs", "vb", "vd")
_REGULAR = frozenset((*_VALUES, "n", "u", "s", "t", "ut"))


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _is_text(value: object) -> bool:
    return isinstance(value, str)


def _is_version(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and value == int(value) and value > 0


def _is_data(value: object) -> bool:
    if isinstance(value, bytes):  # CBOR has bytes of its own
        return True
    return isinstance(value, str) and _BASE64URL.fullmatch(value) is not None and len(value) % 4 != 1


def _is_span(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and value >= 0


_KINDS: dict[str, tuple[Callable[[object], bool], str]] = {
    **{label: (_is_text, "a text") for label in ("bn", "bu", "n", "u", "vs")},
    **{label: (_is_number, "a number") for label in ("bt", "bv", "bs", "v", "s", "t")},
    "bver": (_is_version, "a positive integer"),
    "vb": (lambda value: isinstance(value, bool), "true or false"),
    "vd": (_is_data, "base64url text without padding"),
    "ut": (_is_span, "a number of seconds from 0"),
}


@dataclass(slots=True)
class _Base:
    """The base fields in force, each from the last record that set it."""

    name: str = ""
    time_s: float = 0.0
    unit: str = ""
    value: float | None = None
    has_sum: bool = False
    version: int | None = None

    def take(self, record: dict[str, object]) -> None:
        """Let the base fields of one record, whose types have been checked, hold from here on."""
        self.name = str(record.get("bn", self.name))
        self.unit = str(record.get("bu", self.unit))
        self.time_s = _number(record, "bt", self.time_s)
        if "bv" in record:
            self.value = _number(record, "bv", 0.0)
        self.has_sum = self.has_sum or "bs" in record


def read(
    payload: bytes,
    received_at: Instant,
    *,
    encoding: Encoding = "json",
    fault_values_c: Sequence[float] = units.PROBE_FAULT_VALUES_C,
    limit_bytes: int = PACK_LIMIT_BYTES,
) -> tuple[Sample, ...] | Refusal:
    """Return the numbers and booleans of a pack as samples in order of time, or why the whole pack is refused.

    Relative times count from `received_at`; a record that says "now" (no time, or 0) has no device time. A boolean is
    1.0 or 0.0 of unit 1. Texts, data and sums yield nothing: a pack of nothing else is an empty tuple. K becomes Cel, g
    becomes kg, `/` becomes 1, other units come back as sent, and a record without unit has the unit "".

    >>> read(b'[{"n":"tub1","u":"Cel","v":3.5}]', 1.8e9)[0].value
    3.5
    """
    if encoding == "cbor":
        pack = strict_cbor.loads(payload, labels=LABELS)
    else:
        pack = strict_json.loads(payload, limit_bytes=limit_bytes)
    if isinstance(pack, Refusal):
        return pack
    if not isinstance(pack, list) or not pack:
        return Refusal("senml_shape", "a SenML pack is an array of at least one record")
    base = _Base()
    samples: list[Sample] = []
    for place, record in enumerate(pack, 1):
        outcome = _checked(record, base) or _sample(record, base, received_at, fault_values_c)
        if isinstance(outcome, Refusal):
            return Refusal(outcome.code, f"record {place}: {outcome.reason}")
        if outcome is not None:
            samples.append(outcome)
    return tuple(sorted(samples, key=lambda s: received_at if s.device_at is None else s.device_at))


def payload_of(
    base_name: str, records: Sequence[tuple[str, str, float, Instant | None]], *, update_s: float | None = None
) -> bytes:
    """Return a SenML pack of (name, unit, value, at); `at` None means now, unit 1 is sent as `/`.

    `update_s` is the longest time until the next message, sent with every record. Raises ValueError for what no pack
    can hold: no record, a value that is not finite, an instant that would be read as relative.
    """
    if not records:
        raise ValueError("a pack holds at least one record")
    written: list[dict[str, object]] = []
    for name, unit, value, at in records:
        if not isfinite(value):
            raise ValueError(f"{name}: {value} cannot be sent")
        if at is not None and not ABSOLUTE_FROM_S <= at < LAST_AT:
            raise ValueError(f"{name}: the instant {at} would not be read as one")
        record: dict[str, object] = {"n": name, "u": "/" if unit == "1" else unit, "v": value}
        if not unit:
            del record["u"]
        if at is not None:
            record["t"] = round(at, 6)
        if update_s is not None:
            record["ut"] = update_s
        written.append(record)
    if base_name:
        written[0] = {"bn": base_name, **written[0]}
    return json.dumps(written, separators=(",", ":"), allow_nan=False).encode()


def _checked(record: object, base: _Base) -> Refusal | None:
    """Return what is wrong with the fields of a record; where nothing is, let its base fields hold from here on."""
    if not isinstance(record, dict):
        return Refusal("senml_shape", "a record is an object")
    for label, value in record.items():
        if label in _KINDS:
            fits, kind = _KINDS[label]
            if not fits(value):
                return Refusal("senml_type", f"{label} must be {kind}")
        elif label.endswith("_"):
            return Refusal("senml_label", f"the field {quoted(label)} must be understood and is not; send it without")
    version = int(_number(record, "bver", base.version or VERSION))
    if version > VERSION:
        return Refusal("senml_version", f"bver {version}; packs up to version {VERSION} are read")
    if base.version is not None and version != base.version:
        return Refusal("senml_version", "all records of a pack must have the same bver")
    base.version = version
    base.take(record)
    return None


def _sample(
    record: dict[str, object], base: _Base, received_at: Instant, fault_values_c: Sequence[float]
) -> Sample | Refusal | None:
    """Return what one record measured, None where it holds no number, or why the pack is refused."""
    values = [label for label in _VALUES if label in record]
    if len(values) > 1:
        return Refusal("senml_value", f"{' and '.join(values)} in one record; send one value in each")
    only_base_fields = _REGULAR.isdisjoint(record)
    only_a_sum = not values and ("s" in record or base.has_sum)
    if only_base_fields or only_a_sum:
        return None
    if not values and base.value is None:
        return Refusal("senml_value", "no value; send v, vs, vb or vd")
    name = base.name + str(record.get("n", ""))
    if not _NAME.fullmatch(name):
        return Refusal(
            "senml_name",
            f"the name {quoted(name)} must begin with a letter or digit and hold only A-Z a-z 0-9 - : . / _",
        )
    too_long = channel_refusal(name)
    at = too_long or _resolved(base.time_s + _number(record, "t", 0.0), received_at)
    if isinstance(at, Refusal):
        return at
    silence_s = _number(record, "ut", 0.0) or None
    if values == ["vb"]:
        return Sample(name, float(bool(record["vb"])), "1", at, None, silence_s)
    if values in (["vs"], ["vd"]):
        return None
    value = _number(record, "v", 0.0)
    value = value if base.value is None else units.tidy(base.value + value)
    unit = str(record.get("u", base.unit))
    if not isfinite(value):
        return Refusal("not_finite", "bv and v add up to more than any number that can be kept")
    if len(unit) > _LONGEST_UNIT or has_control(unit):
        return Refusal("senml_unit", f"the unit {quoted(unit)} is none; send a symbol of the SenML units registry")
    value, unit = units.to_base(value, unit)
    quality = units.quality(value, unit, fault_values_c=fault_values_c)
    return Sample(name, value, unit, at, None, silence_s, quality)


def _resolved(total_s: float, received_at: Instant) -> Instant | Refusal | None:
    if total_s == 0:
        return None
    at = total_s if total_s >= ABSOLUTE_FROM_S else received_at + total_s
    if not FIRST_AT <= at < LAST_AT:
        return Refusal(
            "bad_time", f"the time {total_s:.6g} s is no date; send seconds since 1970, or seconds before now"
        )
    return round(at, 6)


def _number(record: dict[str, object], label: str, default: float) -> float:
    value = record.get(label, default)
    return float(value) if isinstance(value, int | float) else default

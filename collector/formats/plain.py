"""Payloads that are one number written as text. Pure."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from collector.formats import names, units
from collector.formats.strict_json import quoted
from collector.sample import Refusal, Sample

LIMIT_BYTES = 64
"""The longest payload that is one number. House limit."""

_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+")


@dataclass(frozen=True, slots=True)
class PlainNumber:
    """How one number is meant: its unit, and the channel it belongs to (empty: the topic names it)."""

    unit: str
    channel: str = ""
    """A template with captures of the topic, such as `{device}/temperature`."""
    decimal_comma: bool = False


def faults(plain: PlainNumber, captured: Sequence[str] = ()) -> tuple[str, ...]:
    """Return what is wrong with a description of plain numbers, each with how to mend it."""
    found = []
    if not units.is_known(plain.unit):
        found.append(f"unit {quoted(plain.unit)} is not known: use one of {', '.join(units.KNOWN)}")
    parts = names.parts(plain.channel)
    if isinstance(parts, Refusal):
        found.append(parts.reason)
    else:
        for kind, text in parts:
            if kind == "pointer":
                found.append(
                    f"channel {quoted(plain.channel)}: a plain number has no {text}: use captures of the topic"
                )
            elif kind == "capture" and text not in captured:
                found.append(f"channel {quoted(plain.channel)}: the topic captures no {text}: add it to the topic")
    return tuple(found)


def read(
    payload: bytes,
    plain: PlainNumber,
    topic: str,
    captured: Mapping[str, str],
    *,
    fault_values_c: Sequence[float] = units.PROBE_FAULT_VALUES_C,
) -> tuple[Sample, ...] | Refusal:
    """Return the one sample of a payload such as `4.1` or `"4.1"`, in its base unit, or why there is none.

    Where the unit is 1, `open`, `closed`, `true` and `false` are read as well.
    """
    channel: str | Refusal
    if plain.channel:
        channel = names.filled(plain.channel, captured, _nothing)
    else:
        channel = names.channel_refusal(topic) or topic
    if isinstance(channel, Refusal):
        return channel
    raw = _value(payload, plain)
    if isinstance(raw, Refusal):
        return raw
    measured = units.measured(raw, plain.unit, fault_values_c=fault_values_c)
    if isinstance(measured, Refusal):
        return measured
    return (Sample(channel, measured.value, measured.unit, quality=measured.quality),)


def number(text: str, *, decimal_comma: bool = False) -> float | Refusal:
    """Return the finite number that a text is, or why it is none.

    >>> number("4,1", decimal_comma=True)
    4.1
    >>> number("4,1").code
    'decimal_comma'
    """
    trimmed = text.strip()
    if not trimmed:
        return Refusal("empty", "the text is empty; nothing was measured")
    if _COMMA.fullmatch(trimmed):
        if not decimal_comma:
            return Refusal(
                "decimal_comma", f"{quoted(trimmed)} has a comma; set decimal_comma where it marks the decimals"
            )
        trimmed = trimmed.replace(",", ".")
    if trimmed.lstrip("+-").lower() in ("nan", "inf", "infinity"):
        return Refusal("not_finite", f"{quoted(trimmed)} is no measurement; send nothing instead")
    if not _NUMBER.fullmatch(trimmed):
        return Refusal("not_a_number", f"{quoted(trimmed)} is no single number; send digits with a point, and no unit")
    value = float(trimmed)
    if value in (float("inf"), float("-inf")):
        return Refusal(
            "not_finite", f"{quoted(trimmed)} is larger than any number that can be kept; send a measurement"
        )
    return value


def _value(payload: bytes, plain: PlainNumber) -> float | Refusal:
    if len(payload) > LIMIT_BYTES:
        return Refusal("too_large", f"{len(payload)} bytes where one number has at most {LIMIT_BYTES}; send it alone")
    try:
        text = payload.decode("utf-8").strip()
    except UnicodeDecodeError as error:
        return Refusal("not_utf8", f"byte {error.start} is not UTF-8; send plain digits")
    if len(text) >= 2 and text[0] == text[-1] == '"':
        text = text[1:-1]
    if plain.unit in units.CONTACT:
        words = {"true": True, "false": False}
        state = units.contact(words.get(text.strip().lower(), text))
        if state is not None:
            return state
    return number(text, decimal_comma=plain.decimal_comma)


def _nothing(place: str) -> Refusal:
    return Refusal("pointer_missing", f"a plain number has no {quoted(place)}")

"""Units a channel is kept in, and the few conversions into them. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isclose, isfinite

from collector.sample import Quality, Refusal

BASE_UNITS = ("Cel", "%RH", "kg", "V", "%EL", "1")
"""What channels are kept in: symbols of the IANA SenML units registry, and 1 for a contact (1 open, 0 closed)."""

CONVERTED = ("K", "g", "/")
"""Registered symbols that are turned into a base unit wherever they come from."""

FAHRENHEIT = ("F", "degF", "°F")
"""Not in the registry, where F is the farad: only a mapping, where a person has said what is meant, may use them."""

KNOWN = (*BASE_UNITS, *CONVERTED, *FAHRENHEIT)
"""Every unit that a mapping may name."""

CONTACT = ("1", "/")
"""Units whose value may be a state: open or closed, true or false."""

PROBE_FAULT_VALUES_C = (85.0, -127.0)
"""What common 1-wire probes send at power-on and when disconnected. [°C]; from memory, not checked."""

_DIGITS = 9
"""Decimals kept of a computed value, so that 277.25 K is 4.1 °C and not 4.100000000000023."""

_BOUNDS = {
    "Cel": (-273.15, float("inf")),  # absolute zero: SI Brochure, 9th edition, section 2.3.1
    "%RH": (0.0, 110.0),  # the upper bound leaves room for a drifting sensor in a wet room: house limit
    "%EL": (0.0, 100.0),
}


@dataclass(frozen=True, slots=True)
class Measured:
    """A value in its base unit, and what is doubtful about it."""

    value: float
    unit: str
    quality: Quality


def is_known(unit: str) -> bool:
    """Return whether a mapping may name this unit."""
    return unit in KNOWN


def to_base(value: float, unit: str) -> tuple[float, str]:
    """Return the value in its base unit, and that unit; a registered unit without conversion comes back as it is.

    T/K - 273.15 (SI Brochure, 9th edition, section 2.3.1). `/` is the registry's sign for the value of a switch.
    No Fahrenheit here: see `from_mapping`.

    >>> to_base(277.25, "K")
    (4.1, 'Cel')
    """
    match unit:
        case "K":
            return tidy(value - 273.15), "Cel"
        case "g":
            return tidy(value / 1000.0), "kg"
        case "/":
            return value, "1"
        case _:
            return value, unit


def from_mapping(value: float, unit: str) -> tuple[float, str]:
    """Return the value in its base unit, and that unit, where a person has chosen the unit's name.

    (t/°F - 32) / 1.8: NIST SP 811 (2008), appendix B.8.

    >>> from_mapping(39.38, "degF")
    (4.1, 'Cel')
    """
    if unit in FAHRENHEIT:
        return tidy((value - 32.0) / 1.8), "Cel"
    return to_base(value, unit)


def contact(value: object) -> float | None:
    """Return 1.0 for open or true, 0.0 for closed or false, a number as it is, None for anything else.

    >>> contact("Open"), contact(False), contact("ajar")
    (1.0, 0.0, None)
    """
    if isinstance(value, str):
        return {"open": 1.0, "closed": 0.0}.get(value.strip().lower())
    return float(value) if isinstance(value, bool | int | float) else None


def tidy(value: float) -> float:
    """Return a computed value without the noise of binary arithmetic (nine decimals)."""
    return round(value, _DIGITS) if isfinite(value) else value


def quality(
    value: float,
    unit: str,
    *,
    fault_values_c: Sequence[float] = (),
    valid_min: float | None = None,
    valid_max: float | None = None,
) -> Quality:
    """Return what is doubtful about a value in its base unit; the bounds are in that unit and belong to the range."""
    found = Quality.GOOD
    if unit == "Cel" and any(isclose(value, fault, abs_tol=1e-6) for fault in fault_values_c):
        found |= Quality.PROBE_FAULT
    lowest, highest = _BOUNDS.get(unit, (float("-inf"), float("inf")))
    lowest = lowest if valid_min is None else max(lowest, valid_min)
    highest = highest if valid_max is None else min(highest, valid_max)
    return found if lowest <= value <= highest else found | Quality.OUT_OF_RANGE


def measured(
    raw: float,
    unit: str,
    *,
    scale: float = 1.0,
    offset: float = 0.0,
    fault_values_c: Sequence[float] = (),
    valid_min: float | None = None,
    valid_max: float | None = None,
) -> Measured | Refusal:
    """Return raw * scale + offset, both in the unit as sent, turned into the base unit and looked at for doubt.

    A fault value is recognised before the offset as well as after it: a correction must not turn a sensor's sign of
    failure into a temperature. The range is in the base unit.

    >>> measured(8500.0, "Cel", scale=0.01, offset=-0.3, fault_values_c=(85.0,)).quality.name
    'PROBE_FAULT'
    """
    scaled = raw if scale == 1.0 else tidy(raw * scale)
    value, base = from_mapping(scaled if offset == 0.0 else tidy(scaled + offset), unit)
    if not isfinite(value):
        return Refusal("not_finite", "scaled, the value is larger than any number that can be kept; send a measurement")
    found = quality(value, base, fault_values_c=fault_values_c, valid_min=valid_min, valid_max=valid_max)
    before, _ = from_mapping(scaled, unit)
    return Measured(value, base, found | quality(before, base, fault_values_c=fault_values_c) & Quality.PROBE_FAULT)

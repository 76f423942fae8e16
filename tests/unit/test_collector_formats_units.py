"""Units: into the base unit, and what is doubtful about a value there."""

import pytest

from collector.formats import units
from collector.sample import Quality, Refusal


@pytest.mark.parametrize(
    ("value", "unit", "base"),
    [
        (4.1, "Cel", (4.1, "Cel")),
        (273.15, "K", (0.0, "Cel")),
        (277.25, "K", (4.1, "Cel")),
        (0.0, "K", (-273.15, "Cel")),
        (1250.0, "g", (1.25, "kg")),
        (81.0, "%RH", (81.0, "%RH")),
        (1.0, "/", (1.0, "1")),
        (1.2, "A", (1.2, "A")),
        (1e-12, "F", (1e-12, "F")),
    ],
)
def test_a_registered_unit_becomes_its_base_unit(value: float, unit: str, base: tuple[float, str]) -> None:
    assert units.to_base(value, unit) == base


@pytest.mark.parametrize("unit", ["F", "degF", "°F"])
@pytest.mark.parametrize(("fahrenheit", "celsius"), [(32.0, 0.0), (212.0, 100.0), (-40.0, -40.0), (40.0, 4.444444444)])
def test_fahrenheit_is_converted_in_a_mapping(unit: str, fahrenheit: float, celsius: float) -> None:
    assert units.from_mapping(fahrenheit, unit) == (celsius, "Cel")


def test_f_is_the_farad_outside_a_mapping() -> None:
    assert units.to_base(32.0, "F") == (32.0, "F")


@pytest.mark.parametrize(
    ("value", "state"),
    [(True, 1.0), (False, 0.0), ("open", 1.0), (" CLOSED ", 0.0), (1, 1.0), (0, 0.0), ("on", None), (None, None)],
)
def test_a_contact_is_open_or_closed_and_nothing_by_guess(value: object, state: float | None) -> None:
    assert units.contact(value) == state


@pytest.mark.parametrize(
    ("value", "unit", "quality"),
    [
        (4.1, "Cel", Quality.GOOD),
        (85.0, "Cel", Quality.PROBE_FAULT),
        (-127.0, "Cel", Quality.PROBE_FAULT),
        (85.06, "Cel", Quality.GOOD),
        (84.94, "Cel", Quality.GOOD),
        (85.0, "%RH", Quality.GOOD),
        (-273.2, "Cel", Quality.OUT_OF_RANGE),
        (-1.0, "%RH", Quality.OUT_OF_RANGE),
        (130.0, "%RH", Quality.OUT_OF_RANGE),
        (100.4, "%RH", Quality.GOOD),
        (101.0, "%EL", Quality.OUT_OF_RANGE),
    ],
)
def test_what_is_no_measurement_is_marked(value: float, unit: str, quality: Quality) -> None:
    assert units.quality(value, unit, fault_values_c=units.PROBE_FAULT_VALUES_C) == quality


def test_fault_values_can_be_left_out_where_they_may_be_measured() -> None:
    assert units.quality(85.0, "Cel", fault_values_c=()) == Quality.GOOD


def test_a_range_narrows_and_its_ends_belong_to_it() -> None:
    ranged = [units.quality(v, "Cel", valid_min=-30.0, valid_max=60.0) for v in (-30.1, -30.0, 60.0, 60.1)]
    assert ranged == [Quality.OUT_OF_RANGE, Quality.GOOD, Quality.GOOD, Quality.OUT_OF_RANGE]
    assert units.quality(-300.0, "Cel", valid_min=-1000.0) == Quality.OUT_OF_RANGE


@pytest.mark.parametrize(
    ("raw", "unit", "scale", "offset"),
    [
        (85.0, "Cel", 1.0, -0.4),
        (8500.0, "Cel", 0.01, 0.0),
        (185.0, "F", 1.0, 0.0),
        (-196.6, "F", 1.0, 0.0),
        (358.15, "K", 1.0, 0.0),
    ],
)
def test_a_fault_value_is_seen_through_scale_offset_and_unit(
    raw: float, unit: str, scale: float, offset: float
) -> None:
    found = units.measured(raw, unit, scale=scale, offset=offset, fault_values_c=units.PROBE_FAULT_VALUES_C)
    assert isinstance(found, units.Measured)
    assert found.quality == Quality.PROBE_FAULT


def test_scale_comes_before_offset_and_both_before_the_unit() -> None:
    assert units.measured(400.0, "F", scale=0.1, offset=-8.0) == units.Measured(0.0, "Cel", Quality.GOOD)
    assert units.measured(410.0, "Cel", scale=0.01) == units.Measured(4.1, "Cel", Quality.GOOD)


def test_a_value_that_scales_past_every_number_is_refused() -> None:
    refusal = units.measured(1e300, "Cel", scale=1e300)
    assert isinstance(refusal, Refusal)
    assert refusal.code == "not_finite"

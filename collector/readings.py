"""What was measured, by what, and where it stands. Pure: no clock, no I/O."""

from dataclasses import dataclass
from enum import StrEnum

from collector.sample import Instant, Quality, Sample


class Quantity(StrEnum):
    """What a channel measures."""

    AIR_TEMPERATURE = "air_temperature"
    PRODUCT_TEMPERATURE = "product_temperature"
    """Brine or surface, not the core, unless the place says so."""
    BRINE_TEMPERATURE = "brine_temperature"
    HUMIDITY = "humidity"
    DOOR = "door"
    """1 while the door is open."""
    BATTERY = "battery"
    MASS = "mass"


BASE_UNIT = {
    Quantity.AIR_TEMPERATURE: "Cel",
    Quantity.PRODUCT_TEMPERATURE: "Cel",
    Quantity.BRINE_TEMPERATURE: "Cel",
    Quantity.HUMIDITY: "%RH",
    Quantity.DOOR: "1",
    Quantity.BATTERY: "%EL",
    Quantity.MASS: "kg",
}
"""The SenML unit (IANA registry) in which a quantity must arrive."""


@dataclass(frozen=True, slots=True)
class Site:
    """One kitchen or works."""

    id: str
    name: str
    zone: str
    """IANA time zone of the walls; people read times in it."""
    authority: str
    """Whose rules bind: `US`, `GB` or `EU`."""
    approval: str = ""
    """Variance, establishment or approval number, as the inspector knows it."""
    checks: tuple[str, ...] = ("07:00", "15:00")
    """The working checks of a day, local `HH:MM`: a cure is extended to one of them, never to an odd hour."""


@dataclass(frozen=True, slots=True)
class Unit:
    """One refrigerated space."""

    id: str
    site: str
    name: str
    kind: str
    """`cold room`, `fridge` or `chamber`."""
    limit_c: float | None = None
    """A stricter limit than the rulebook's for what stands here; None for the rulebook's own. [°C]"""
    ambient_c: float = 25.0
    """The warmest the air around the unit can be: what an unwatched unit is assumed to warm towards. [°C]"""
    coldest_air_c: float = 1.0
    """The coldest air the unit makes; bounds a gap from below and backwards. [°C]"""
    air_limit_c: float = 12.0
    """Air above this for the dwell is told even while the product estimate is low (house). [°C]"""
    air_dwell_s: float = 2700.0
    """How long the air may stay above `air_limit_c`, so that a defrost or a delivery wakes nobody (house). [s]"""
    warm_up_s: float | None = None
    """Learned time constant of the air with cooling off; None while unlearned. [s]"""
    raw_meat: bool = False
    """Whether somebody has said that raw meat may stand in it; nobody is sent to any other with their tubs."""
    room_for_tubs: int | None = None
    """How many tubs have room in it in all; None where nobody has said."""


@dataclass(frozen=True, slots=True)
class Assignment:
    """What a channel measures, and where, from one instant until another (half-open)."""

    channel: str
    quantity: Quantity
    unit: str
    place: str
    """In words: `by the evaporator`, `in the brine of tub 1`."""
    from_at: Instant
    until_at: Instant | None = None
    offset_c: float = 0.0
    """Added when judged; readings are stored as sent. [K]"""
    interval_s: float = 60.0
    """How often a reading is expected. [s]"""
    uncertainty_c: float = 0.5
    """Stated uncertainty; 0.5 K is a house default. [K]"""
    lot: str | None = None
    """For a probe that stands in one batch: its lot code."""
    tub: str | None = None

    def holds_at(self, at: Instant) -> bool:
        """Return whether the assignment is in force at the instant."""
        return self.from_at <= at and (self.until_at is None or at < self.until_at)


@dataclass(frozen=True, slots=True)
class Reading:
    """One value of one channel at one instant, as sent."""

    channel: str
    measured_at: Instant
    value: float
    unit: str
    received_at: Instant
    device_at: Instant | None = None
    sequence: str | None = None
    quality: Quality = Quality.GOOD


def reading_from(sample: Sample, measured_at: Instant, received_at: Instant, *, clock_doubt: bool) -> Reading:
    """Return the reading a sample becomes once its time has been believed or doubted."""
    quality = sample.quality | (Quality.CLOCK_DOUBT if clock_doubt else Quality.GOOD)
    return Reading(
        sample.channel,
        round(measured_at, 3),
        sample.value,
        sample.unit,
        round(received_at, 3),
        sample.device_at,
        sample.sequence,
        quality,
    )

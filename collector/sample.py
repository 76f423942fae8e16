"""What one message holds before anybody has said what a channel measures. Pure: no clock, no I/O."""

from dataclasses import dataclass
from enum import IntFlag
from typing import TypeAlias

Instant: TypeAlias = float
"""Seconds since 1970-01-01T00:00:00Z, rounded to the millisecond where it is stored."""


class Quality(IntFlag):
    """What is doubtful about one value; 0 is a value nobody has reason to doubt."""

    GOOD = 0
    CLOCK_DOUBT = 1
    """The device's time could not be believed; the time of receipt stands in its place."""
    PROBE_FAULT = 2
    """A value that the sensor sends instead of a measurement (power-on, disconnected)."""
    OUT_OF_RANGE = 4
    """Outside what the mapping or the physical quantity allows."""
    CONFLICT = 8
    """The same channel and instant already holds another value; both are kept."""


@dataclass(frozen=True, slots=True)
class Message:
    """One message as it came from the broker."""

    topic: str
    payload: bytes
    received_at: Instant
    retained: bool = False


@dataclass(frozen=True, slots=True)
class Sample:
    """One value of one channel, in the channel's own base unit (Cel, %RH, kg, V, %EL, or 1 for a contact)."""

    channel: str
    value: float
    unit: str
    device_at: Instant | None = None
    """The instant the device itself gave, exactly as resolved from the payload; None where it gave none."""
    sequence: str | None = None
    """`boot:number` where the device numbers its readings within a boot; else None."""
    silence_s: float | None = None
    """The longest time until the next message, where the sender states one (SenML `ut`). [s]"""
    quality: Quality = Quality.GOOD


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a message could not be read: a short code for counting, and a sentence that says what and how to mend it."""

    code: str
    reason: str

"""What this program says of itself on the broker, and how it knows its own words when they come back. Pure.

A canary is a SenML pack like a sensor's: it goes through the broker, our subscription, the decoder and the arrival log
as a reading does, and ends there. It names no channel, so it is no reading, and nobody can be asked to claim it.
"""

from dataclasses import dataclass

from collector.formats import senml
from collector.sample import Instant, Refusal, Sample

STATUS_TOPIC, CANARY_TOPIC = "curevigil/status", "curevigil/canary"
RUNS, GONE = "watching", "gone"
NAME = "curevigil-canary"
_NOT_OURS = Refusal(
    "not_ours",
    "only this program itself writes on this topic; let the sensor publish elsewhere, or name another one in [status]",
)


@dataclass(frozen=True, slots=True)
class OwnTopics:
    """Where this program writes of itself."""

    status: str = STATUS_TOPIC
    """Retained: RUNS, or GONE, which the broker says itself when the connection has broken."""
    canary: str | None = CANARY_TOPIC
    """None where no canary is sent."""


def canary(sender: str, number: int, at: Instant) -> bytes:
    """Return the payload of one canary; no two of one sender are the same.

    >>> canary("cellar-7f", 3, 1_800_000_000.0)
    b'[{"bn":"curevigil-canary/cellar-7f","n":"","u":"/","v":3.0,"t":1800000000.0}]'
    """
    return senml.payload_of(f"{NAME}/{sender}", [("", "1", float(number), at)])


def canary_refusal(outcome: tuple[Sample, ...] | Refusal) -> Refusal | None:
    """Return what is wrong with what was decoded on the canary's topic; None for a canary, whoever sent it."""
    if isinstance(outcome, Refusal):
        return outcome
    return None if outcome and all(s.channel.startswith(f"{NAME}/") for s in outcome) else _NOT_OURS


def status_refusal(payload: bytes) -> Refusal | None:
    """Return what is wrong with a word on the status topic; None for one of ours."""
    return None if payload in (RUNS.encode(), GONE.encode()) else _NOT_OURS

"""What a message would become, in words: for the page and the command that try a mapping. Nothing is kept."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from collector.message import Source, believed_time, read_message
from collector.sample import Message, Quality, Refusal, Sample

DOUBTS = {
    Quality.CLOCK_DOUBT: "the device's clock cannot be believed",
    Quality.PROBE_FAULT: "a value that the sensor sends instead of a measurement",
    Quality.OUT_OF_RANGE: "outside what can be",
}


@dataclass(frozen=True, slots=True)
class Preview:
    """What became of a message."""

    lines: tuple[str, ...]
    """One for each reading."""
    refused: str = ""
    """Why it cannot be read; the message is then kept as it came."""


def previewed(message: Message, sources: Sequence[Source]) -> Preview:
    """Return what the sources make of a message."""
    outcome = read_message(message, sources)
    if isinstance(outcome, Refusal):
        return Preview((), f"{outcome.reason} ({outcome.code})")
    return Preview(tuple(_line(sample, message.received_at) for sample in outcome))


def _line(sample: Sample, received_at: float) -> str:
    at, _ = believed_time(sample.device_at, received_at)
    instant = datetime.fromtimestamp(at, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    given = "by the device" if sample.device_at == at else "by receipt"
    sequence = f"; number {sample.sequence}" if sample.sequence is not None else ""
    doubts = "".join(f"; doubtful: {words}" for quality, words in DOUBTS.items() if quality in sample.quality)
    return f"{sample.channel} = {sample.value!r} {sample.unit} at {instant} ({given}){sequence}{doubts}"

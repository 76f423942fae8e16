"""What a message would become, in words: for the page and the command that try a mapping. Nothing is kept."""

import re
from base64 import b64decode
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from collector.formats.strict_json import quoted
from collector.message import Source, believed_time, kept_of, source_of
from collector.sample import Message, Quality, Refusal, Sample

DOUBTS = {
    Quality.CLOCK_DOUBT: "the device's clock cannot be believed",
    Quality.PROBE_FAULT: "a value that the sensor sends instead of a measurement",
    Quality.OUT_OF_RANGE: "outside what can be",
}

_HEX = re.compile(r"(?:0x)?(?:[0-9A-Fa-f]{2})+")
_URL_SAFE = str.maketrans("-_", "+/")
_STATE = "state: kept as it came, from nobody knows when, and no reading"
_READING = "a reading where the device's own time is believed, and no sign that the sensor lives"
_IGNORED = "acknowledged and not kept"
_MEANT = {"state": _STATE, "reading": _READING, "ignore": _IGNORED}
RETAINED = (
    {word: f"Retained by the broker and sent again, it would be {meant}." for word, meant in _MEANT.items()},
    {word: f"Retained by the broker and sent again, it is {meant}." for word, meant in _MEANT.items()},
)


@dataclass(frozen=True, slots=True)
class Preview:
    """What became of a message."""

    lines: tuple[str, ...]
    """One for each reading."""
    refused: str = ""
    """Why it cannot be read; the message is then kept as it came."""
    note: str = ""
    """What it is, or would be, as a message that the broker kept and sends again."""


def payload_of(text: str, topic: str, sources: Sequence[Source]) -> bytes | Refusal:
    """Return the bytes that a pasted message stands for: as typed, or where CBOR is expected from hex or Base64."""
    source = source_of(topic, sources)
    if source is None or source.encoding == "json":
        return text.encode("utf-8", "replace")
    digits = "".join(text.split())
    try:
        if _HEX.fullmatch(digits):
            return bytes.fromhex(digits.removeprefix("0x"))
        return b64decode(digits.translate(_URL_SAFE) + "=" * (-len(digits) % 4), validate=True)
    except ValueError:
        return Refusal("not_bytes", "the messages of this source are CBOR: paste it as hex or as Base64")


def previewed(message: Message, sources: Sequence[Source]) -> Preview:
    """Return what the sources make of a message."""
    outcome = kept_of(message, sources)
    source = source_of(message.topic, sources)
    note = RETAINED[message.retained][source.retained] if source is not None else ""
    if outcome is None:
        return Preview((), "", note)
    if isinstance(outcome, Refusal):
        return Preview((), f"{outcome.reason} ({outcome.code})", note)
    return Preview(tuple(_line(sample, message.received_at) for sample in outcome), "", note)


def _line(sample: Sample, received_at: float) -> str:
    at, _ = believed_time(sample.device_at, received_at)
    instant = datetime.fromtimestamp(at, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    given = "by the device" if sample.device_at == at else "by receipt"
    sequence = (
        f"; the same reading whenever its key is {quoted(sample.sequence, 120)}" if sample.sequence is not None else ""
    )
    doubts = "".join(f"; doubtful: {words}" for quality, words in DOUBTS.items() if quality in sample.quality)
    return f"{sample.channel} = {sample.value!r} {sample.unit} at {instant} ({given}){sequence}{doubts}"

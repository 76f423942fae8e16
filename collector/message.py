"""One MQTT message in, samples or a reasoned refusal out. Pure: no clock, no I/O.

This is also all that a sender needs to know of us: `senml_payload` writes what `read_message` reads.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias, TypedDict, get_args

from collector.canary import OwnTopics, canary_refusal, status_refusal
from collector.formats import mapped, mapping, names, plain, senml, units
from collector.formats.mapping import ENCODINGS, Encoding, Mapping, Measurement
from collector.formats.plain import PlainNumber
from collector.sample import Instant, Message, Quality, Refusal, Sample

__all__ = [
    "Mapping",
    "Measurement",
    "Message",
    "PlainNumber",
    "Quality",
    "Refusal",
    "Retained",
    "Sample",
    "Source",
    "believed_time",
    "kept_of",
    "own_sources",
    "read_message",
    "senml_payload",
    "source_faults",
    "subscription",
]

FUTURE_MOST_S = 120.0
"""How far a device's clock may be ahead of ours and still be believed. House limit. [s]"""
PAST_MOST_S = 30 * 86_400.0
"""How late a queued reading may arrive and still be believed. House limit. [s]"""
BELIEVED_FROM_AT: Instant = 1_577_836_800.0
"""2020-01-01T00:00:00Z; earlier times come from clocks that were never set. House limit."""

Retained: TypeAlias = Literal["state", "reading", "ignore"]
"""What a message is that the broker kept and sends again to whoever subscribes; nothing in it says since when."""
RETAINED: tuple[str, ...] = get_args(Retained)

senml_payload = senml.payload_of


class _Given(TypedDict):
    encoding: Encoding
    fault_values_c: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Source:
    """Messages of one kind: the topics they come on, and how their payloads are read."""

    topic_filter: str
    """MQTT topic filter; a level may be a named capture, as in `kitchen/{device}/status`."""
    format: Literal["senml", "mapped", "plain", "status", "canary"]
    """The last two are this program's own words, which no settings file can name; they are read and give no sample."""
    mapping: Mapping | None = None
    """For `mapped`, and only there."""
    plain: PlainNumber | None = None
    """For `plain`, and only there."""
    fault_values_c: tuple[float, ...] = units.PROBE_FAULT_VALUES_C
    """Temperatures that its sensors send when they have none; empty where each of them may be measured. [°C]"""
    retained: Retained = "state"
    encoding: Encoding = "json"
    """How `senml` and `mapped` payloads are written; a plain number is text."""
    """`state`: kept, and no reading. `reading`: one, where the device's own time is believed. `ignore`: not kept."""


def subscription(source: Source) -> str:
    """Return the MQTT topic filter to subscribe with for a source."""
    return names.filter_of(source.topic_filter)


def own_sources(own: OwnTopics) -> tuple[Source, ...]:
    """Return the sources of this program's own words; they are asked before any other."""
    status = Source(own.status, "status", retained="ignore")
    return (status,) if own.canary is None else (Source(own.canary, "canary"), status)


def source_faults(source: Source) -> tuple[str, ...]:
    """Return what is wrong with a source, each with how to mend it; empty where nothing is."""
    found = list(names.pattern_faults(source.topic_filter))
    captured = names.capture_names(source.topic_filter)
    if source.format not in ("senml", "mapped", "plain"):
        found.append(f"format {source.format!a}: use senml, mapped or plain")
    for kind, given in (("mapped", source.mapping), ("plain", source.plain)):
        if source.format == kind and given is None:
            found.append(f"format {kind} needs its description: say where the values stand and in which unit")
        if source.format != kind and given is not None:
            found.append(f"a description for {kind} with format {source.format!a}: take one of them away")
    if source.mapping is not None:
        found += mapping.faults(source.mapping, captured)
    if source.plain is not None:
        found += plain.faults(source.plain, captured)
    if source.encoding not in ENCODINGS:
        found.append(f"encoding {source.encoding!a}: use one of {', '.join(ENCODINGS)}")
    if source.encoding != "json" and source.format == "plain":
        found.append('encoding: a plain number is text; leave it out, or use mapped with the pointer "" to the value')
    if source.retained not in RETAINED:
        found.append(f"retained {source.retained!a}: use one of {', '.join(RETAINED)}")
    if source.retained == "reading" and not _gives_times(source):
        found.append(
            "retained: the broker says not since when it keeps a message, so a reading needs the device's own time: "
            "set `time` in every measurement, or use state or ignore"
        )
    return tuple(found)


def _gives_times(source: Source) -> bool:
    if source.mapping is not None:
        return all(measurement.time is not None for measurement in source.mapping.measurements)
    return source.format == "senml"


def read_message(message: Message, sources: Sequence[Source]) -> tuple[Sample, ...] | Refusal:
    """Return what a message measured, or why it cannot be read; never raises, whatever the payload.

    The first source whose topic filter takes the topic decides. A sample whose device time cannot be believed is marked
    so, and keeps that time; `believed_time` gives the instant to use. Retained messages are read like any other:
    `kept_of` minds what they are.
    """
    refusal = names.topic_refusal(message.topic)
    if refusal is not None:
        return refusal
    source = source_of(message.topic, sources)
    if source is not None:
        outcome = _read(message, source, names.captures(source.topic_filter, message.topic) or {})
        if isinstance(outcome, Refusal):
            return outcome
        return tuple(_with_clock_doubt(sample, message.received_at) for sample in outcome)
    return Refusal("no_source", "no source takes this topic; add one to the settings, or stop publishing to it")


def source_of(topic: str, sources: Sequence[Source]) -> Source | None:
    """Return the first source whose topic filter takes the topic; it decides, whatever the later ones would say."""
    return next((source for source in sources if names.captures(source.topic_filter, topic) is not None), None)


def kept_of(message: Message, sources: Sequence[Source]) -> tuple[Sample, ...] | Refusal | None:
    """Return the samples to keep of a message, or why it cannot be read; None where the message itself is not kept.

    What the broker retained is state from nobody knows when, and gives no sample, unless its source says `reading`:
    then those samples stand whose device time is believed. A retained message is never refused for what it holds where
    it is state; where it is ignored, it is not kept at all.
    """
    if not message.retained:
        return read_message(message, sources)
    source = source_of(message.topic, sources)
    if source is None or source.retained == "state":
        return ()
    if source.retained == "ignore":
        return None
    outcome = read_message(message, sources)
    if isinstance(outcome, Refusal):
        return outcome
    return tuple(
        s for s in outcome if s.device_at is not None and not believed_time(s.device_at, message.received_at)[1]
    )


def believed_time(device_at: Instant | None, received_at: Instant) -> tuple[Instant, bool]:
    """Return when a value was measured, to the millisecond, and whether the device's clock is in doubt.

    A device time is believed from 30 days before receipt (queued through an outage, it is honest data) to 120 s after
    it, and never before 2020. Where there is none, or it is not believed, the time of receipt stands.

    >>> believed_time(1_800_000_000.0, 1_800_000_060.25)
    (1800000000.0, False)
    >>> believed_time(0.0, 1_800_000_060.25)
    (1800000060.25, True)
    """
    if device_at is None:
        return round(received_at, 3), False
    earliest = max(received_at - PAST_MOST_S, BELIEVED_FROM_AT)
    if earliest <= device_at <= received_at + FUTURE_MOST_S:
        return round(device_at, 3), False
    return round(received_at, 3), True


def _read(message: Message, source: Source, captured: dict[str, str]) -> tuple[Sample, ...] | Refusal:
    given: _Given = {"encoding": source.encoding, "fault_values_c": source.fault_values_c}
    match source:
        case Source(format="status"):
            return status_refusal(message.payload) or ()
        case Source(format="canary"):
            return canary_refusal(senml.read(message.payload, message.received_at, **given)) or ()
        case Source(format="senml"):
            return senml.read(message.payload, message.received_at, **given)
        case Source(format="mapped", mapping=Mapping() as described):
            return mapped.read(message.payload, described, captured, message.received_at, **given)
        case Source(format="plain", plain=PlainNumber() as described_number):
            return plain.read(
                message.payload, described_number, message.topic, captured, fault_values_c=source.fault_values_c
            )
    return Refusal("bad_source", "the source that takes this topic has no description; mend the settings")


def _with_clock_doubt(sample: Sample, received_at: Instant) -> Sample:
    _, doubt = believed_time(sample.device_at, received_at)
    return replace(sample, quality=sample.quality | Quality.CLOCK_DOUBT) if doubt else sample

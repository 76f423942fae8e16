"""What is read from which topics, as a settings file or a mapping file tells it. Pure."""

import re
from typing import Annotated, Literal

from pydantic import Field, ValidationError

from collector import message
from collector.formats.mapping import Encoding, Measurement
from collector.formats.mapping import Mapping as Described
from collector.formats.plain import PlainNumber
from collector.formats.strict_json import quoted
from collector.formats.times import TimeFormat
from collector.formats.units import PROBE_FAULT_VALUES_C
from collector.message import Retained
from collector.toml_faults import Fault, Sheet, Table, in_order, model_faults, read_sheet
from collector.toml_lines import Place


class MeasurementSettings(Table):
    """One channel of a mapped payload; the words are those of `collector.formats.mapping.Measurement`."""

    channel: str = Field(description='the name of the channel, such as "{device}/temperature"')
    value: str = Field(description='a pointer to the value, such as "/celsius"')
    unit: str | None = None
    unit_from: str | None = None
    unit_names: dict[str, str] = {}
    scale: float = 1.0
    offset: float = 0.0
    time: str | None = None
    time_format: TimeFormat = "none"
    zone: str = ""
    sequence: str | None = None
    boot: str | None = None
    dedupe: Annotated[tuple[str, ...], Field(strict=False, description='pointers, such as ["/id"]')] = ()
    quality: str | None = None
    quality_names: dict[str, str] = {}
    valid_min: float | None = None
    valid_max: float | None = None
    missing: Literal["skip", "error"] = "skip"
    numbers_as_text: bool = False

    def made(self) -> Measurement:
        """Return the measurement as the reader of payloads takes it."""
        tables = {"unit_names": tuple(self.unit_names.items()), "quality_names": tuple(self.quality_names.items())}
        return Measurement(**{**dict(self), **tables})


class SourceSettings(Table):
    """Messages of one kind: their topics, and how their payloads are read."""

    topic: str = Field(description='the MQTT topic filter, such as "kitchen/{device}/status"')
    format: Literal["senml", "plain", "mapped"] = Field(description="senml, plain or mapped")
    unit: str | None = None
    channel: str | None = None
    decimal_comma: bool | None = None
    each: str | None = None
    fault_values_c: Annotated[tuple[float, ...], Field(strict=False)] = PROBE_FAULT_VALUES_C
    encoding: Encoding = "json"
    retained: Retained = "state"
    measurements: Annotated[tuple[MeasurementSettings, ...], Field(strict=False)] = Field(
        default=(), alias="measurement"
    )

    def made(self) -> message.Source:
        """Return the source as the reader of payloads takes it."""
        described = Described(tuple(m.made() for m in self.measurements), self.each)
        number = PlainNumber(self.unit or "", self.channel or "", self.decimal_comma or False)
        return message.Source(
            self.topic,
            self.format,
            described if self.format == "mapped" else None,
            number if self.format == "plain" else None,
            self.fault_values_c,
            self.retained,
            self.encoding,
        )


_ONLY_FOR = {"unit": "plain", "channel": "plain", "decimal_comma": "plain", "each": "mapped"}


def source_faults(source: SourceSettings, place: Place, sheet: Sheet) -> list[Fault]:
    """Return what is wrong with one source, each with its place in the file."""
    faults = []
    for key, kind in _ONLY_FOR.items():
        if getattr(source, key) is not None and source.format != kind:
            mend = f"leave it out, or set format = {quoted(kind)}"
            faults.append(sheet.fault((*place, key), f"it has no meaning with the format {source.format}", mend))
    if source.measurements and source.format != "mapped":
        what = f"measurements have no meaning with the format {source.format}"
        faults.append(sheet.fault((*place, "measurement"), what, 'leave them out, or set format = "mapped"'))
    if source.format == "plain" and source.unit is None:
        mend = 'say which unit the numbers are in, such as "Cel"'
        return [*faults, sheet.fault((*place, "unit"), "a plain number has no unit of its own", mend)]
    return [*faults, *(_of_source(said, source, place, sheet) for said in message.source_faults(source.made()))]


def _of_source(said: str, source: SourceSettings, place: Place, sheet: Sheet) -> Fault:
    # What the reader says is one sentence with its mend; the place it speaks of is found by its first words.
    for index, measurement in enumerate(source.measurements):
        label = f"measurement {quoted(measurement.channel)}: "
        if said.startswith(label):
            what = said.removeprefix(label)
            named = _key_in(what, MeasurementSettings)
            return sheet.fault((*place, "measurement", index, named or "channel"), what.removeprefix(f"{named}: "), "")
    named = _key_in(said, SourceSettings)
    return sheet.fault((*place, named) if named else place, said.removeprefix(f"{named}: "), "")


def _key_in(said: str, table: type[Table]) -> str | None:
    """Return the key that a sentence speaks of: the word it begins with, or else the first one in `such` quotes."""
    first = re.match(r"(?:the )?(\w+)", said)
    words = [first[1] if first else "", *re.findall(r"`(\w+)`", said)]
    return next((word for word in words if word in table.model_fields), None)


def topic_faults(sources: tuple[SourceSettings, ...], sheet: Sheet) -> list[Fault]:
    """Return the sources that could never take a message, because an earlier one has their topics."""
    faults = []
    filters = [message.subscription(source.made()) for source in sources]
    for index, topic in enumerate(filters):
        if topic in filters[:index]:
            what = f"source {filters.index(topic) + 1} takes these topics already, and the first one decides"
            faults.append(sheet.fault(("source", index, "topic"), what, "join the two, or make one topic narrower"))
    return faults


class BecomesSettings(Table):
    """One reading that an example is to become."""

    channel: str
    value: float
    unit: str
    device_at: float | None = None
    sequence: str | None = None
    quality: Annotated[tuple[str, ...], Field(strict=False)] = ()


class ExampleSettings(Table):
    """A message, and what it is to become: readings, or a refusal by its code."""

    topic: str
    message: str
    retained: bool = False
    becomes: Annotated[tuple[BecomesSettings, ...], Field(strict=False)] = ()
    refused: str = ""


class MappingFile(Table):
    """Sources on their own, with examples of what they read."""

    sources: Annotated[tuple[SourceSettings, ...], Field(strict=False)] = Field(
        alias="source", description="a table [[source]] for each kind of message, as in the settings"
    )
    examples: Annotated[tuple[ExampleSettings, ...], Field(strict=False)] = Field(default=(), alias="example")

    def message_sources(self) -> tuple[message.Source, ...]:
        """Return the sources in the order in which they are asked."""
        return tuple(source.made() for source in self.sources)


def read_mapping(text: str, file: str = "") -> MappingFile | tuple[Fault, ...]:
    """Return the sources and examples that a text holds, or every fault found in it, in the order of its lines."""
    sheet = read_sheet(text, file)
    if isinstance(sheet, Fault):
        return (sheet,)
    try:
        found = MappingFile.model_validate(sheet.values)
    except ValidationError as error:
        return model_faults(error, sheet, MappingFile)
    faults = [fault for i, one in enumerate(found.sources) for fault in source_faults(one, ("source", i), sheet)]
    faults += topic_faults(found.sources, sheet)
    return in_order(faults) if faults else found

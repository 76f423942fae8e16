"""The settings of an installation, from the text of `curevigil.toml`, or everything that is wrong with it.

Nothing here looks into the environment or opens a file: both are passed in. A secret is a reference in the text
(`env:NAME`, `file:PATH`), is resolved at once, and stands in no repr.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from ipaddress import ip_address
from pathlib import Path
from typing import Annotated, Literal
from urllib.parse import urlsplit

from pydantic import AfterValidator, BeforeValidator, Field, SecretStr, ValidationError, ValidationInfo

from collector import message
from collector.formats.mapping import Mapping as Described
from collector.formats.mapping import Measurement
from collector.formats.plain import PlainNumber
from collector.formats.strict_json import quoted
from collector.formats.times import TimeFormat
from collector.formats.units import PROBE_FAULT_VALUES_C
from collector.toml_faults import Fault, Sheet, Table, in_order, model_faults, read_sheet, refuse, shown
from collector.toml_lines import Place

FILE = "curevigil.toml"
MOST_BALLAST_MIB = 65_536

ReadSecret = Callable[[str], str]
"""A path to the text of the file; raises OSError or UnicodeDecodeError."""


@dataclass(frozen=True, slots=True)
class _Outside:
    """What a reference to a secret is resolved with."""

    environ: Mapping[str, str]
    read_secret: ReadSecret


def _secret(value: object, info: ValidationInfo) -> SecretStr:
    """Return what a reference means. The value itself is in no fault: it may be a secret written by mistake."""
    kind, _, name = value.partition(":") if isinstance(value, str) else ("", "", "")
    if kind not in ("env", "file") or not name:
        refuse("a secret is never written here", 'write "env:NAME" or "file:PATH", where it is to be found')
    outside: _Outside = info.context  # type: ignore[assignment]
    if kind == "env":
        found = outside.environ.get(name)
        if found is None:
            refuse(f"the environment has no {name}", f"set {name} for the service, or name another one")
    else:
        try:
            found = outside.read_secret(name)
        except (OSError, UnicodeDecodeError) as error:
            why = (error.strerror if isinstance(error, OSError) else None) or "it is no UTF-8 text"
            refuse(f"the file {name} cannot be read: {why}", "name a file with the secret alone in it")
        found = found.rstrip("\r\n")
    if not found:
        refuse(f"{name} is empty", "put the secret there")
    return SecretStr(found)


def _web_address(value: SecretStr) -> SecretStr:
    if not _is_web_address(value.get_secret_value()):
        refuse("what stands there is no web address", "put one there that begins with https:// or http://")
    return value


def _token(value: SecretStr) -> SecretStr:
    if re.search(r"\s", value.get_secret_value()):
        refuse("a token holds no space", "for InfluxDB 1.8, whose token is user:password, take a password without one")
    return value


def _is_web_address(text: str) -> bool:
    try:
        parts = urlsplit(text)
        return parts.scheme in ("http", "https") and bool(parts.hostname) and (parts.port or 1) > 0
    except ValueError:
        return False


def _host(value: object) -> object:
    if isinstance(value, str) and ("/" in value or ":" in value.strip("[]") and not _is_ip(value) or " " in value):
        refuse(f"{shown(value)} is no host name", "write the name or address alone; port and tls are keys of their own")
    return value


def _is_ip(value: str) -> bool:
    try:
        ip_address(value.strip("[]"))
    except ValueError:
        return False
    return True


def _whole_path(value: object) -> object:
    if isinstance(value, str) and not value.startswith("/"):
        refuse(f"{shown(value)} depends on where the program is started", "write the whole path, from / on")
    return value


def _listen(value: object) -> object:
    if isinstance(value, str):
        host, colon, port = value.rpartition(":")
        known = host == "localhost" or _is_ip(host)
        if not (colon and known and re.fullmatch(r"[0-9]{1,5}", port) and 0 < int(port) < 65_536):
            refuse(f"{shown(value)} is no address to listen at", 'write it as "127.0.0.1:8443": an address and a port')
    return value


def _public(value: object) -> object:
    if isinstance(value, str) and not _is_web_address(value):
        refuse(f"{shown(value)} is no web address", 'write what people type, such as "https://curevigil.example"')
    if isinstance(value, str) and (urlsplit(value).query or urlsplit(value).fragment):
        refuse(f"{shown(value)} holds more than an address", "leave out what begins with ? or #")
    return value.rstrip("/") if isinstance(value, str) else value


Secret = Annotated[SecretStr, BeforeValidator(_secret)]
WebAddress = Annotated[SecretStr, BeforeValidator(lambda value, info: _web_address(_secret(value, info)))]
Text = Annotated[str, Field(min_length=1, max_length=1000)]
WholePathText = Annotated[Text, BeforeValidator(_whole_path)]
WholePath = Annotated[Path, BeforeValidator(_whole_path), Field(strict=False)]


class BrokerSettings(Table):
    """Where the broker is, and as whom we come."""

    address: Annotated[Text, BeforeValidator(_host)] = Field(description="the host name or address of the MQTT broker")
    port: int = Field(default=1883, gt=0, lt=65_536)
    protocol: Literal["auto", "5", "3.1.1"] = "auto"
    client_id: Text = "curevigil"
    username: Text | None = None
    password: Secret | None = None
    tls: bool = False
    authority_file: WholePathText | None = None


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
    valid_min: float | None = None
    valid_max: float | None = None
    missing: Literal["skip", "error"] = "skip"
    numbers_as_text: bool = False

    def made(self) -> Measurement:
        """Return the measurement as the reader of payloads takes it."""
        return Measurement(**{**dict(self), "unit_names": tuple(self.unit_names.items())})


class SourceSettings(Table):
    """Messages of one kind: their topics, and how their payloads are read."""

    topic: str = Field(description='the MQTT topic filter, such as "kitchen/{device}/status"')
    format: Literal["senml", "plain", "mapped"] = Field(description="senml, plain or mapped")
    unit: str | None = None
    channel: str | None = None
    decimal_comma: bool | None = None
    each: str | None = None
    fault_values_c: Annotated[tuple[float, ...], Field(strict=False)] = PROBE_FAULT_VALUES_C
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
        )


class StoreSettings(Table):
    """Where everything is kept."""

    folder: WholePath = Field(description="the data folder, from / on")
    ballast_mib: int = Field(default=64, ge=0, le=MOST_BALLAST_MIB)


class WebSettings(Table):
    """Where the pages are served, and under which address people find them."""

    listen: Annotated[Text, BeforeValidator(_listen)] = "127.0.0.1:8443"
    public_address: Annotated[Text, BeforeValidator(_public)] = Field(
        description="the address as people type it; links in messages begin with it"
    )
    plain_http: bool = False

    @property
    def host(self) -> str:
        """Return the address that is listened at."""
        return self.listen.rpartition(":")[0].strip("[]")

    @property
    def port(self) -> int:
        """Return the port that is listened at."""
        return int(self.listen.rpartition(":")[2])


class ReachSettings(Table):
    """One way to reach one person."""

    person: Text = Field(description="the person's id in the kitchen")
    channel: Literal["webhook"] = Field(description="webhook")
    address: WebAddress = Field(description='where the web address is to be found: "env:NAME" or "file:PATH"')


class InfluxSettings(Table):
    """Where readings are copied to, and as whom."""

    url: Annotated[Text, BeforeValidator(_public)] = Field(description="the web address of InfluxDB")
    bucket: Annotated[Text, Field(pattern=r"^[A-Za-z0-9_-]+/[A-Za-z0-9_-]+$")] = Field(
        description='the bucket, such as "curevigil/readings"'
    )
    token: Annotated[Secret, AfterValidator(_token)] = Field(
        description='where the token is to be found: "env:NAME" or "file:PATH"'
    )
    org: str = ""
    keep_days: int = Field(default=0, ge=0, le=36_500)
    pages_from: Literal["local", "influx"] = "local"
    authority_file: WholePathText | None = None


class Settings(Table):
    """Everything that is set for one installation."""

    broker: BrokerSettings = Field(description="a table [broker] with the address of the MQTT broker")
    sources: Annotated[tuple[SourceSettings, ...], Field(strict=False)] = Field(
        alias="source", description="a table [[source]] for each kind of message"
    )
    stores: StoreSettings = Field(description="a table [stores] with the data folder")
    web: WebSettings = Field(description="a table [web] with the public address")
    reach: Annotated[tuple[ReachSettings, ...], Field(strict=False)] = ()
    influx: InfluxSettings | None = None

    def message_sources(self) -> tuple[message.Source, ...]:
        """Return the sources in the order in which they are asked."""
        return tuple(source.made() for source in self.sources)

    def reach_order(self) -> dict[str, tuple[str, ...]]:
        """Return each person's channels in the order in which that person wants to be reached."""
        people = dict.fromkeys(entry.person for entry in self.reach)
        return {who: tuple(entry.channel for entry in self.reach if entry.person == who) for who in people}

    def addresses(self, channel: str) -> dict[str, str]:
        """Return each person's address on one channel. They are secrets: never to be logged."""
        return {entry.person: entry.address.get_secret_value() for entry in self.reach if entry.channel == channel}


def parse(
    text: str, environ: Mapping[str, str], read_secret: ReadSecret, file: str = FILE
) -> Settings | tuple[Fault, ...]:
    """Return the settings that a text holds, or every fault found in it, in the order of its lines."""
    sheet = read_sheet(text, file)
    if isinstance(sheet, Fault):
        return (sheet,)
    try:
        settings = Settings.model_validate(sheet.values, context=_Outside(environ, read_secret))
    except ValidationError as error:
        return model_faults(error, sheet, Settings)
    faults = [*_broker_faults(settings.broker, sheet), *_web_faults(settings.web, sheet)]
    faults += _reach_faults(settings.reach, sheet)
    if not settings.sources:
        faults.append(sheet.fault(("source",), "nothing is listened to", "describe at least one [[source]]"))
    for index, source in enumerate(settings.sources):
        faults += _source_faults(source, ("source", index), sheet)
    faults += _topic_faults(settings.sources, sheet)
    return in_order(faults) if faults else settings


def _broker_faults(broker: BrokerSettings, sheet: Sheet) -> list[Fault]:
    faults = []
    if broker.password is not None and broker.username is None:
        mend = "add username, or leave the password out"
        faults.append(sheet.fault(("broker", "password"), "a password goes with a name", mend))
    if broker.authority_file is not None and not broker.tls:
        mend = "set tls = true, or leave authority_file out"
        faults.append(sheet.fault(("broker", "authority_file"), "it has a meaning only with tls", mend))
    return faults


def _web_faults(web: WebSettings, sheet: Sheet) -> list[Fault]:
    if web.plain_http or web.public_address.startswith("https://"):
        return []
    what = "people would sign in over an unencrypted line"
    return [
        sheet.fault(("web", "public_address"), what, "write https://, or set plain_http = true on a closed network")
    ]


def _reach_faults(reach: tuple[ReachSettings, ...], sheet: Sheet) -> list[Fault]:
    faults = []
    for index, entry in enumerate(reach):
        if any((e.person, e.channel) == (entry.person, entry.channel) for e in reach[:index]):
            what = f"{entry.person} is reached by {entry.channel} already"
            faults.append(sheet.fault(("reach", index, "channel"), what, "keep one of the two"))
    return faults


_ONLY_FOR = {"unit": "plain", "channel": "plain", "decimal_comma": "plain", "each": "mapped"}


def _source_faults(source: SourceSettings, place: Place, sheet: Sheet) -> list[Fault]:
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
            return sheet.fault((*place, "measurement", index), said.removeprefix(label), "")
    for key in ("topic", "unit", "channel", "each"):
        if said.startswith((f"{key} ", f"{key}:", f"the {key} ")):
            return sheet.fault((*place, key), said, "")
    return sheet.fault(place, said, "")


def _topic_faults(sources: tuple[SourceSettings, ...], sheet: Sheet) -> list[Fault]:
    faults = []
    filters = [message.subscription(source.made()) for source in sources]
    for index, topic in enumerate(filters):
        if topic in filters[:index]:
            what = f"source {filters.index(topic) + 1} takes these topics already, and the first one decides"
            faults.append(sheet.fault(("source", index, "topic"), what, "join the two, or make one topic narrower"))
    return faults

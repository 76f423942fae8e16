"""The settings of an installation, from the text of `curevigil.toml`, or everything that is wrong with it.

Nothing here looks into the environment or opens a file: both are passed in. A secret is a reference in the text
(`env:NAME`, `file:PATH`), is resolved at once, and stands in no repr.
"""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, Field, SecretStr, ValidationError

from collector import message
from collector.settings_mind import MindSettings, mind_faults
from collector.settings_own import HeartbeatSettings, StatusSettings, heartbeat_faults, status_faults
from collector.settings_reach import DrillSettings, LampSettings, WaysSettings, lamp_faults, reach_faults, smtp_faults
from collector.settings_sources import SourceSettings, source_faults, topic_faults
from collector.settings_values import (
    Outside,
    ReadSecret,
    Secret,
    Text,
    WholePathText,
    host_name,
    is_ip,
    web_address,
    whole_path,
)
from collector.toml_faults import Fault, Sheet, Table, in_order, model_faults, read_sheet, refuse, shown

FILE = "curevigil.toml"
MOST_BALLAST_MIB = 65_536


def _token(value: SecretStr) -> SecretStr:
    if re.search(r"\s", value.get_secret_value()):
        refuse("a token holds no space", "for InfluxDB 1.8, whose token is user:password, take a password without one")
    return value


def _listen(value: object) -> object:
    if isinstance(value, str):
        host, colon, port = value.rpartition(":")
        known = host == "localhost" or is_ip(host)
        if not (colon and known and re.fullmatch(r"[0-9]{1,5}", port) and 0 < int(port) < 65_536):
            refuse(f"{shown(value)} is no address to listen at", 'write it as "127.0.0.1:8443": an address and a port')
    return value


WholePath = Annotated[Path, BeforeValidator(whole_path), Field(strict=False)]


class BrokerSettings(Table):
    """Where the broker is, and as whom we come."""

    address: Annotated[Text, BeforeValidator(host_name)] = Field(
        description="the host name or address of the MQTT broker"
    )
    port: int = Field(default=1883, gt=0, lt=65_536)
    protocol: Literal["auto", "5", "3.1.1"] = "auto"
    client_id: Text = "curevigil"
    username: Text | None = None
    password: Secret | None = None
    tls: bool = False
    authority_file: WholePathText | None = None


class StoreSettings(Table):
    """Where everything is kept."""

    folder: WholePath = Field(description="the data folder, from / on")
    ballast_mib: int = Field(default=64, ge=0, le=MOST_BALLAST_MIB)


class WebSettings(Table):
    """Where the pages are served, and under which address people find them."""

    listen: Annotated[Text, BeforeValidator(_listen)] = "127.0.0.1:8443"
    public_address: Annotated[Text, BeforeValidator(web_address)] = Field(
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


class InfluxSettings(Table):
    """Where readings are copied to, and as whom."""

    url: Annotated[Text, BeforeValidator(web_address)] = Field(description="the web address of InfluxDB")
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


class Settings(WaysSettings):
    """Everything that is set for one installation."""

    broker: BrokerSettings = Field(description="a table [broker] with the address of the MQTT broker")
    sources: Annotated[tuple[SourceSettings, ...], Field(strict=False)] = Field(
        alias="source", description="a table [[source]] for each kind of message"
    )
    stores: StoreSettings = Field(description="a table [stores] with the data folder")
    web: WebSettings = Field(description="a table [web] with the public address")
    status: StatusSettings = StatusSettings()
    heartbeat: HeartbeatSettings | None = None
    lamp: LampSettings | None = None
    influx: InfluxSettings | None = None
    drill: DrillSettings | None = None
    mind: Annotated[tuple[MindSettings, ...], Field(strict=False)] = ()

    @property
    def sender_name(self) -> str:
        """Return the address under which people find the pages: webhooks come from there."""
        return self.web.public_address

    def message_sources(self) -> tuple[message.Source, ...]:
        """Return the sources in the order in which they are asked."""
        return tuple(source.made() for source in self.sources)


def parse(
    text: str, environ: Mapping[str, str], read_secret: ReadSecret, file: str = FILE
) -> Settings | tuple[Fault, ...]:
    """Return the settings that a text holds, or every fault found in it, in the order of its lines."""
    sheet = read_sheet(text, file)
    if isinstance(sheet, Fault):
        return (sheet,)
    try:
        settings = Settings.model_validate(sheet.values, context=Outside(environ, read_secret))
    except ValidationError as error:
        return model_faults(error, sheet, Settings)
    faults = [*_broker_faults(settings.broker, sheet), *_web_faults(settings.web, sheet)]
    faults += [*reach_faults(settings.reach, settings.smtp, sheet), *smtp_faults(settings.smtp, sheet)]
    faults += mind_faults(settings.mind, sheet)
    faults += lamp_faults(settings.lamp, [source.topic for source in settings.sources], sheet)
    faults += [*status_faults(settings.status, sheet), *heartbeat_faults(settings.heartbeat, settings.status, sheet)]
    if not settings.sources:
        faults.append(sheet.fault(("source",), "nothing is listened to", "describe at least one [[source]]"))
    for index, source in enumerate(settings.sources):
        faults += source_faults(source, ("source", index), sheet)
    faults += topic_faults(settings.sources, sheet)
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

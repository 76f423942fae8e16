"""What this program says of itself, as the settings tell it: on the broker, and to an address outside. Pure."""

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from collector.canary import CANARY_TOPIC, STATUS_TOPIC, OwnTopics
from collector.formats.names import topic_refusal
from collector.settings_values import Secret, Text, is_web_address
from collector.toml_faults import Fault, Sheet, Table, refuse, shown


def _topic(value: object) -> object:
    if isinstance(value, str) and (topic_refusal(value) is not None or "{" in value or value.startswith("$")):
        refuse(f"{shown(value)} is no topic to write on", 'write it as "curevigil/status"')
    return value


class StatusSettings(Table):
    """Where this program writes of itself on the broker."""

    topic: Annotated[Text, BeforeValidator(_topic)] = STATUS_TOPIC
    canary_topic: Annotated[Text, BeforeValidator(_topic)] = CANARY_TOPIC
    canary: bool = True

    def made(self) -> OwnTopics:
        """Return the topics as the rest of the program takes them."""
        return OwnTopics(self.topic, self.canary_topic if self.canary else None)


class HeartbeatSettings(Table):
    """An address outside that is called while all goes on, and tells somebody when the calls stop."""

    url: Secret = Field(description='where the address is to be found: "env:NAME" or "file:PATH"')
    every_s: int = Field(default=60, ge=10, le=3600)
    method: Literal["GET", "POST"] = "GET"
    private_address: bool = False


def heartbeat_faults(heartbeat: HeartbeatSettings | None, status: StatusSettings, sheet: Sheet) -> list[Fault]:
    """Return what is wrong with the heartbeat; no fault shows its address."""
    if heartbeat is None:
        return []
    faults = []
    if not is_web_address(heartbeat.url.get_secret_value()):
        mend = "put one there that begins with https:// or http://"
        faults.append(sheet.fault(("heartbeat", "url"), "what stands there is no web address", mend))
    if not status.canary:
        what = "without a canary nothing shows that readings arrive, and it would never beat"
        faults.append(sheet.fault(("status", "canary"), what, "set canary = true, or leave [heartbeat] out"))
    return faults


def status_faults(status: StatusSettings, sheet: Sheet) -> list[Fault]:
    """Return what is wrong with the table as a whole."""
    if status.canary and status.topic == status.canary_topic:
        mend = "give each a topic of its own"
        return [sheet.fault(("status", "canary_topic"), "the status would overwrite itself there", mend)]
    return []

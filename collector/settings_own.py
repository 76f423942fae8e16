"""What this program says of itself, as the settings tell it: on the broker, and to an address outside. Pure."""

from typing import Annotated

from pydantic import BeforeValidator

from collector.canary import CANARY_TOPIC, STATUS_TOPIC, OwnTopics
from collector.formats.names import topic_refusal
from collector.settings_values import Text
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


def status_faults(status: StatusSettings, sheet: Sheet) -> list[Fault]:
    """Return what is wrong with the table as a whole."""
    if status.canary and status.topic == status.canary_topic:
        mend = "give each a topic of its own"
        return [sheet.fault(("status", "canary_topic"), "the status would overwrite itself there", mend)]
    return []

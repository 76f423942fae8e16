"""What a way to reach a person promises."""

from dataclasses import dataclass
from typing import Protocol

from alerts.escalation import Telling
from collector.kitchen import Alarm


@dataclass(frozen=True, slots=True)
class Sent:
    """How one attempt ended: accepted by the provider is not yet seen by a person."""

    accepted: bool
    detail: str = ""


class Channel(Protocol):
    """One way to reach a person."""

    def send(self, telling: Telling, alarm: Alarm, first_line: str, body: str) -> Sent:
        """Try once, within a few seconds; a refusal or a dead line is a `Sent`, not an exception."""
        ...

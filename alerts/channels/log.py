"""Tells by the service's own log: always there, and never enough by itself."""

import logging

from alerts.channels.base import Sent
from alerts.escalation import Telling
from collector.kitchen import Alarm

log = logging.getLogger("curevigil.alarm")


class LogChannel:
    """Writes the first line at the level of a warning."""

    def send(self, telling: Telling, alarm: Alarm, first_line: str, body: str) -> Sent:
        """Write the first line; this cannot be refused."""
        log.warning("alarm=%s occasion=%r person=%s text=%r", alarm.id, telling.occasion, telling.person, first_line)
        return Sent(True)

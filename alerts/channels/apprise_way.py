"""Tells by whatever apprise reaches: gateways for text messages, push services, chat. The one import of apprise."""

import logging
import threading
from collections.abc import Mapping

import apprise

from alerts.channels.base import Sent
from alerts.escalation import Telling
from collector.kitchen import Alarm

CONNECT_S, READ_S = 2.0, 2.0
"""House: so long one target may take; the next way waits behind it. [s]"""

# They write addresses into the log, and an address holds the token of the service that it names.
logging.getLogger("apprise").setLevel(logging.CRITICAL + 1)
for _name in ("urllib3", "requests"):
    logging.getLogger(_name).setLevel(logging.WARNING)


def is_target(address: str) -> bool:
    """Return whether apprise knows what to do with an address; nothing is sent."""
    return _target(address) is not None


def _target(address: str) -> apprise.NotifyBase | None:
    # Several addresses in one text would be told as one, and the failure of one would not be seen.
    made = apprise.Apprise.instantiate(address, suppress_exceptions=True)
    if not isinstance(made, apprise.NotifyBase):
        return None
    made.socket_connect_timeout, made.socket_read_timeout = CONNECT_S, READ_S
    return made


class AppriseChannel:
    """Tells one target at a time: one result for several would hide the one that failed."""

    def __init__(self, addresses: Mapping[str, str]) -> None:
        # Made now: apprise takes a second to find its parts, which must not be the second in which an alarm is told.
        self._targets = {person: _target(address) for person, address in addresses.items()}
        # What they are made of was not written for several threads.
        self._locks = {person: threading.Lock() for person in addresses}

    def send(self, telling: Telling, alarm: Alarm, first_line: str, body: str) -> Sent:
        """Send once. The address is never part of what is returned or logged: it holds a secret."""
        if telling.person not in self._targets:
            return Sent(False, "no address for this person")
        target = self._targets[telling.person]
        if target is None:
            return Sent(False, "apprise knows no such kind of address")
        one = apprise.Apprise()
        if not one.add(target):
            return Sent(False, "apprise did not take the address")
        with self._locks[telling.person]:
            result = one.notify(body=body, title=first_line, body_format=apprise.NotifyFormat.TEXT)
        # What comes back is falsy on failure, and yet neither is False nor equals it.
        if not result:
            return Sent(False, "the target did not take it")
        return Sent(True, "the target has taken it")

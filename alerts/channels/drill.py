"""A rehearsal: each way to reach one person is tried with a text that says so, and nothing else happens."""

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from alerts.channels.base import Channel, Sent
from alerts.escalation import Telling
from alerts.sentences import drill_message
from collector.findings import Condition
from collector.kitchen import Alarm, Kitchen
from collector.sample import Instant

log = logging.getLogger(__name__)

OCCASION = "drill"


@dataclass(frozen=True, slots=True)
class Tried:
    """What happened on one way."""

    channel: str
    accepted: bool
    detail: str


def refusal(kitchen: Kitchen, person: str, ways: Sequence[str]) -> str:
    """Return why no drill is held now, "" where one may be (rules 4.7)."""
    if any(alarm.condition.wakes for alarm in kitchen.active_alarms()):
        return "an alarm stands: no drill until it is over"
    if kitchen.people and person not in kitchen.people:
        return f"nobody in the kitchen has the id {person}"
    if not ways:
        return f"nothing in the settings says how {person} is reached: describe [[reach]] for them"
    return ""


def hold_drill(person: str, ways: Sequence[str], channels: Mapping[str, Channel], now: Instant) -> list[Tried]:
    """Try every way of a person, one after the other, whatever became of the one before."""
    first_line, body = drill_message()
    alarm = Alarm(f"DRILL-{round(now)}", Condition("*", OCCASION, "info", False, now), now)
    found = []
    for name in ways:
        sent = _try(channels.get(name), Telling(alarm.id, OCCASION, person, name), alarm, first_line, body)
        found.append(Tried(name, sent.accepted, sent.detail))
        log.info("event=drill person=%s channel=%s accepted=%s detail=%r", person, name, sent.accepted, sent.detail)
    return found


def _try(channel: Channel | None, telling: Telling, alarm: Alarm, first_line: str, body: str) -> Sent:
    if channel is None:
        return Sent(False, f"no channel {telling.channel} is configured")
    try:
        return channel.send(telling, alarm, first_line, body)
    except Exception as fault:  # noqa: BLE001 - as in the service: a channel that breaks is a failed telling
        log.exception("channel broke channel=%s", telling.channel)
        return Sent(False, type(fault).__name__)


def tried_text(tried: Tried) -> str:
    """Return what happened on one way, in words: that it was taken does not say that anybody saw it."""
    outcome = "taken; ask them whether it arrived" if tried.accepted else "FAILED"
    return f"{tried.channel}: {outcome}" + (f" ({tried.detail})" if tried.detail else "")

"""What a page that is left open rings for: alarms that wake somebody, and which of them nobody has answered."""

from dataclasses import dataclass

from alerts.suspended import shelved
from collector.kitchen import Alarm, Kitchen
from collector.sample import Instant

FIRST = "raised"


@dataclass(frozen=True, slots=True)
class Ringing:
    """Names that change whenever there is something to ring for, parted by spaces."""

    told: str
    """Every waking alarm that stands, each with how often something new was told of it."""
    unanswered: str
    """Those of them that ring again until somebody answers."""


def ringing(kitchen: Kitchen, now: Instant) -> Ringing:
    """Return what an open page rings for now; shelved alarms are silent here as everywhere."""
    standing = [a for a in kitchen.active_alarms() if a.condition.wakes and shelved(a, now) is None]
    return Ringing(
        " ".join(_name(alarm) for alarm in standing),
        " ".join(_name(alarm) for alarm in standing if _unanswered(alarm)),
    )


def _name(alarm: Alarm) -> str:
    occasions = {told.occasion for told in alarm.told} - {FIRST}
    return f"{alarm.id}.{len(occasions)}"


def _unanswered(alarm: Alarm) -> bool:
    # An answer that was not kept is told again (rules 4.1), and is none from then on.
    answered_at = alarm.acknowledged_at
    return answered_at is None or any(t.occasion.startswith("again") and t.at > answered_at for t in alarm.told)

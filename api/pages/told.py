"""Who was told of an alarm, step by step: what is queued, under way, accepted, failed, seen and answered."""

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from alerts.escalation import due
from api.actions.answering import alarm_seen
from api.office import Office
from api.pages.wording import ANSWERS, person_name, second_text, short_text
from api.tonight import zone_of
from collector.kitchen import Alarm, Kitchen, Told
from collector.sample import Instant
from collector.storage import StoreFailed

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class ToldLine:
    """One attempt to tell somebody, or what they did with it."""

    at: str
    words: str
    failed: bool = False


@dataclass(frozen=True, slots=True)
class ToldStep:
    """One occasion, with everybody who was to hear of it."""

    title: str
    lines: tuple[ToldLine, ...]


def occasion_title(occasion: str) -> str:
    """Return what an occasion is called."""
    first = occasion.split()[0].split("-")[0]
    titles = {
        "raised": "When it began",
        "returned": "When it was over",
        "again": "Told again",
        "unshelved": "Told again, no longer shelved",
    }
    return titles.get(first, "It changed")


def told_steps(
    kitchen: Kitchen, alarm: Alarm, reach: Mapping[str, Sequence[str]], now: Instant
) -> tuple[ToldStep, ...]:
    """Return the steps of telling, oldest first."""
    zone = zone_of(kitchen, alarm.condition.unit)
    steps: dict[str, list[tuple[Instant, ToldLine]]] = {}
    for n, t in enumerate(alarm.told):
        line = _attempt(kitchen, t, alarm.told[n + 1 :], zone)
        steps.setdefault(t.occasion, []).append((t.began_at or t.at, line))
    for s in alarm.seen:
        opened = "opened the page" if s.by == "page" else "link opened (a mail program may open it too)"
        line = ToldLine(short_text(s.at, zone), f"{person_name(kitchen, s.person)}: {opened}")
        steps.setdefault(s.occasion, []).append((s.at, line))
    if alarm.acknowledged_at is not None:
        told_before = [t.occasion for t in alarm.told if (t.began_at or t.at) <= alarm.acknowledged_at]
        said = ANSWERS.get(alarm.answer, alarm.answer)
        answered = ToldLine(
            short_text(alarm.acknowledged_at, zone), f"{person_name(kitchen, alarm.acknowledged_by)} answered: {said}"
        )
        steps.setdefault(told_before[-1] if told_before else "raised", []).append((alarm.acknowledged_at, answered))
    for occasion, person, channel in _queued(kitchen, alarm, reach, now):
        line = ToldLine(short_text(now, zone), f"{person_name(kitchen, person)} by {channel}: queued")
        steps.setdefault(occasion, []).append((now, line))
    return tuple(ToldStep(occasion_title(name), tuple(line for _, line in found)) for name, found in steps.items())


def _attempt(kitchen: Kitchen, told: Told, later: Sequence[Told], zone: str) -> ToldLine:
    who = f"{person_name(kitchen, told.person)} by {told.channel}"
    at = short_text(told.began_at or told.at, zone)
    if told.state == "attempting":
        key = (told.occasion, told.person, told.channel)
        again = any((t.occasion, t.person, t.channel) == key for t in later)
        words = "cut off, how it ended is unknown; tried again" if again else "attempting, no answer yet"
        return ToldLine(at, f"{who}: {words}")
    ended = f", at {second_text(told.at, zone)}" if told.began_at is not None else ""
    if told.accepted:
        return ToldLine(at, f"{who}: accepted{ended}")
    return ToldLine(at, f"{who}: failed{ended}" + (f" ({told.detail})" if told.detail else ""), failed=True)


def _queued(
    kitchen: Kitchen, alarm: Alarm, reach: Mapping[str, Sequence[str]], now: Instant
) -> list[tuple[str, str, str]]:
    under_way = {(t.occasion, t.person) for t in alarm.told if t.state == "attempting"}
    alone = replace(kitchen, alarms={alarm.id: alarm}, past_alarms={})
    found = due(alone, reach, now)
    return [(t.occasion, t.person, t.channel) for t in found if (t.occasion, t.person) not in under_way]


def note_seen(office: Office, alarm: str, person: str, by: str) -> None:
    """Write down that a person opened what they were told of, once for each step; no page waits for the store."""
    try:
        office.present.decide(lambda kitchen: alarm_seen(kitchen, alarm, person, by, office.clock()))
    except StoreFailed:
        log.exception("what was seen was not recorded alarm=%s", alarm)

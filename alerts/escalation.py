"""Who is told what, next. Pure: no clock, no I/O.

A telling is due once for each occasion of an alarm and each person the rota has reached; it stays due until one of
the person's channels has accepted it, and it is tried again on the next channel at the first failure.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

from collector.kitchen import Alarm, Kitchen
from collector.sample import Instant

REPEAT_S = 600.0
"""House: with everybody told and nobody answering, all are told again this often. [s]"""
AFTER_ARRIVAL_S = 900.0
AT_MOST_S = 2700.0
"""Rules 4.1: told again at the stated arrival plus 15 min, 45 min at most; then at this pace while the alarm stands."""
RETRY_S = (0.0, 5.0, 15.0, 30.0, 60.0)
"""Reliability 4.2: seconds after the n-th failure before the next attempt; then every 60 s."""
DAY_BEGINS, DAY_ENDS = time(7), time(21)
"""House: what wakes nobody is told between these local hours."""


@dataclass(frozen=True, slots=True)
class Telling:
    """One person to be told of one occasion by one channel."""

    alarm: str
    occasion: str
    person: str
    channel: str


def occasions(alarm: Alarm, now: Instant) -> list[tuple[str, Instant]]:
    """Return what there is to tell about an alarm so far, with the instant from which it is due, oldest first."""
    if not alarm.active:
        # What ended before anybody could be told is on the page; nobody is woken to hear that it is over.
        heard = any(t.accepted for t in alarm.told)
        return [("returned", alarm.returned_at or now)] if heard else []
    found = [("raised", alarm.raised_at)]
    if alarm.changes:
        found.append((f"changed {alarm.changes}", alarm.raised_at))
    again = _again_at(alarm)
    if again is not None and again <= now:
        # A change since then is a new occasion, and so is every further 45 minutes: acknowledged is not handled.
        turn = int((now - again) // AT_MOST_S) if alarm.answer == "going" else 0
        name = "-".join(map(str, (int(alarm.acknowledged_at or 0), alarm.changes, turn)))
        found.append((f"again {name}", again))
    return found


def _again_at(alarm: Alarm) -> Instant | None:
    if alarm.acknowledged_at is None or not alarm.condition.wakes:
        return None
    if alarm.answer != "going":
        return alarm.acknowledged_at
    stated = alarm.arriving_at if alarm.arriving_at is not None else alarm.acknowledged_at
    return min(stated + AFTER_ARRIVAL_S, alarm.acknowledged_at + AT_MOST_S)


def _rota(kitchen: Kitchen) -> Sequence[tuple[str, float]]:
    """Return the rota; where nobody has said who is called, everybody of the site is, at once."""
    return kitchen.rota or tuple((person, 0.0) for person in sorted(kitchen.people))


def _reached(rota: Sequence[tuple[str, float]], since: Instant, now: Instant) -> list[str]:
    """Return the people whose step of the rota has come; one at least, all of them when nobody answers."""
    elapsed = now - since
    people = [person for person, after_s in rota if after_s <= elapsed]
    return people or [person for person, _ in rota[:1]]


def _daytime(zone: str, now: Instant) -> bool:
    local = datetime.fromtimestamp(now, UTC).astimezone(ZoneInfo(zone)).time()
    return DAY_BEGINS <= local < DAY_ENDS


def due(kitchen: Kitchen, channels: Mapping[str, Sequence[str]], now: Instant) -> list[Telling]:
    """Return every telling that is due now, in the order in which it should go out.

    `channels` gives each person's channels in the order in which that person wants to be reached.
    """
    tellings = []
    for alarm in (*kitchen.alarms.values(), *kitchen.past_alarms.values()):
        if not alarm.active and alarm.returned_at is not None and now - alarm.returned_at > 86_400.0:
            continue
        for occasion, since in _latest(occasions(alarm, now)):
            for person in _people(kitchen, alarm, occasion, since, now):
                telling = _next_attempt(alarm, occasion, person, channels.get(person) or ("log",), now)
                if telling is not None:
                    tellings.append(telling)
    return tellings


def _latest(found: list[tuple[str, Instant]]) -> list[tuple[str, Instant]]:
    # A person told late is told how it stands, not how it once stood.
    return found[-1:]


def _people(kitchen: Kitchen, alarm: Alarm, occasion: str, since: Instant, now: Instant) -> list[str]:
    if occasion == "returned":
        return list(dict.fromkeys(t.person for t in alarm.told if t.accepted))
    if not alarm.condition.wakes:
        site = kitchen.site_of(alarm.condition.unit)
        awake = site is None or _daytime(site.zone, now)
        return [person for person, _ in _rota(kitchen)[:1]] if awake and alarm.acknowledged_at is None else []
    if alarm.acknowledged_at is not None and not occasion.startswith("again"):
        # Whoever is on the way hears of a change; nobody further is woken.
        return list(dict.fromkeys(t.person for t in alarm.told if t.accepted)) if "changed" in occasion else []
    rota = _rota(kitchen)
    if occasion.startswith("again") and alarm.answer == "going":
        return list(dict.fromkeys([*(person for person, _ in rota[:2]), *_reached(rota, since, now)]))
    if occasion.startswith("again"):
        # Whoever cannot, or passes it on, has done their part where there is somebody else.
        others = [step for step in rota if step[0] != alarm.acknowledged_by]
        return _reached(others or rota, since, now)
    return _reached(rota, since, now)


def _next_attempt(alarm: Alarm, occasion: str, person: str, channels: Sequence[str], now: Instant) -> Telling | None:
    mine = [t for t in alarm.told if t.person == person and t.occasion == occasion]
    accepted = [t.at for t in mine if t.accepted]
    if accepted and (not _repeats(alarm, occasion) or now - accepted[-1] < REPEAT_S):
        return None
    failed = [t.at for t in mine if not t.accepted and (not accepted or t.at > accepted[-1])]
    rounds, tried = divmod(len(failed), len(channels))
    # The next channel is tried at once; only when every channel has failed does the next round wait.
    if failed and not tried and now - failed[-1] < RETRY_S[min(rounds, len(RETRY_S) - 1)]:
        return None
    return Telling(alarm.id, occasion, person, channels[tried])


def _repeats(alarm: Alarm, occasion: str) -> bool:
    taken = alarm.acknowledged_at is not None and alarm.answer == "going"
    answered = alarm.acknowledged_at is not None and not occasion.startswith("again")
    return alarm.active and not taken and not answered and alarm.condition.wakes and occasion != "returned"

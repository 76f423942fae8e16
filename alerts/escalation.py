"""Who is told what, next. Pure: no clock, no I/O.

A telling is due once for each occasion of an alarm and each person the rota has reached; it stays due until one of
the person's channels has accepted it, and it is tried on the next channel at the first failure, or while the one before
gives no answer.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time
from enum import Enum
from itertools import pairwise
from zoneinfo import ZoneInfo

from collector.kitchen import Alarm, Kitchen, Told
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


class Walk(Enum):
    """How an attempt that is under way in this process stands; one that nobody knows of was cut off."""

    WAITED = "waited for"
    SILENT = "no answer in time"


Walks = Mapping[Telling, Walk]
NOTHING_UNDER_WAY: Walks = {}


def occasions(alarm: Alarm, now: Instant) -> list[tuple[str, Instant]]:
    """Return what there is to tell about an alarm so far, with the instant from which it is due, oldest first."""
    if not alarm.active:
        # What ended before anybody could be told is on the page; nobody is woken to hear that it is over.
        return [("returned", alarm.returned_at or now)] if _may_have_heard(alarm) else []
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


def _may_have_heard(alarm: Alarm) -> list[str]:
    # An attempt whose end nobody saw may have arrived: better told twice than on the way for nothing.
    return list(dict.fromkeys(t.person for t in alarm.told if t.state != "failed"))


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


def _elapsed_s(alarm: Alarm, occasion: str, since: Instant, now: Instant) -> float:
    """Return how long an occasion has lasted at least; a clock that was put back takes nothing of it away."""
    begun = [(t.began_at if t.began_at is not None else t.at, t.occasion) for t in alarm.told]
    first = next((n for n, (at, name) in enumerate(begun) if name == occasion or at >= since), len(begun))
    instants = [since, *(at for at, _ in begun[first:]), now]
    return sum(max(0.0, after - before) for before, after in pairwise(instants))


def _reached(rota: Sequence[tuple[str, float]], elapsed: float) -> list[str]:
    """Return the people whose step of the rota has come; one at least, all of them when nobody answers."""
    people = [person for person, after_s in rota if after_s <= elapsed]
    return people or [person for person, _ in rota[:1]]


def _daytime(zone: str, now: Instant) -> bool:
    local = datetime.fromtimestamp(now, UTC).astimezone(ZoneInfo(zone)).time()
    return DAY_BEGINS <= local < DAY_ENDS


def due(
    kitchen: Kitchen, channels: Mapping[str, Sequence[str]], now: Instant, walks: Walks = NOTHING_UNDER_WAY
) -> list[Telling]:
    """Return every telling that is due now, in the order in which it should go out: first what wakes people.

    `channels` gives each person's channels in the order in which that person wants to be reached; `walks` says of
    attempts under way how they stand.
    """
    waited = {(t.alarm, t.person) for t, walk in walks.items() if walk is Walk.WAITED}
    tellings: dict[bool, list[Telling]] = {True: [], False: []}
    for alarm in (*kitchen.alarms.values(), *kitchen.past_alarms.values()):
        if not alarm.active and alarm.returned_at is not None and now - alarm.returned_at > 86_400.0:
            continue
        for occasion, since in _latest(occasions(alarm, now)):
            for person in _people(kitchen, alarm, occasion, since, now):
                mine = channels.get(person) or ("log",)
                telling = _next_attempt(alarm, occasion, person, mine, now, walks)
                if telling is not None and (alarm.id, person) not in waited:
                    tellings[alarm.condition.wakes and alarm.active].append(telling)
    return [*tellings[True], *tellings[False]]


def _latest(found: list[tuple[str, Instant]]) -> list[tuple[str, Instant]]:
    # A person told late is told how it stands, not how it once stood.
    return found[-1:]


def _people(kitchen: Kitchen, alarm: Alarm, occasion: str, since: Instant, now: Instant) -> list[str]:
    if occasion == "returned":
        return _may_have_heard(alarm)
    if not alarm.condition.wakes:
        site = kitchen.site_of(alarm.condition.unit)
        awake = site is None or _daytime(site.zone, now)
        return [person for person, _ in _rota(kitchen)[:1]] if awake and alarm.acknowledged_at is None else []
    if alarm.acknowledged_at is not None and not occasion.startswith("again"):
        # Whoever is on the way hears of a change; nobody further is woken.
        return _may_have_heard(alarm) if "changed" in occasion else []
    rota, elapsed = _rota(kitchen), _elapsed_s(alarm, occasion, since, now)
    if occasion.startswith("again") and alarm.answer == "going":
        return list(dict.fromkeys([*(person for person, _ in rota[:2]), *_reached(rota, elapsed)]))
    if occasion.startswith("again"):
        # Whoever cannot, or passes it on, has done their part where there is somebody else.
        others = [step for step in rota if step[0] != alarm.acknowledged_by]
        return _reached(others or rota, elapsed)
    return _reached(rota, elapsed)


def _next_attempt(
    alarm: Alarm, occasion: str, person: str, channels: Sequence[str], now: Instant, walks: Walks
) -> Telling | None:
    mine = [t for t in alarm.told if t.person == person and t.occasion == occasion]
    last = max((n for n, t in enumerate(mine) if t.accepted), default=None)
    # An instant still to come is of a clock that was put back since: nothing waits for it.
    if last is not None and (not _repeats(alarm, occasion) or 0.0 <= now - mine[last].at < REPEAT_S):
        return None
    since = mine if last is None else mine[last + 1 :]
    possible = [Telling(alarm.id, occasion, person, channel) for channel in channels]
    tried = {t: _tries(since, t, walks) for t in possible}
    rounds = min(tried.values())
    failed = [t.at for t in since if t.state == "failed"]
    # The next channel is tried at once; only when every channel has failed does the next round wait.
    if rounds and rounds == max(tried.values()) and failed:
        if 0.0 <= now - failed[-1] < RETRY_S[min(rounds, len(RETRY_S) - 1)]:
            return None
    first = next(t for t in possible if tried[t] == rounds)
    return None if first in walks else first


def _tries(since: Sequence[Told], telling: Telling, walks: Walks) -> int:
    """Return how often a channel was tried without success; one attempt that was cut off is made again."""
    mine = [t for t in since if t.channel == telling.channel]
    return sum(t.state == "failed" for t in mine) + (walks.get(telling) is Walk.SILENT)


def _repeats(alarm: Alarm, occasion: str) -> bool:
    taken = alarm.acknowledged_at is not None and alarm.answer == "going"
    answered = alarm.acknowledged_at is not None and not occasion.startswith("again")
    return alarm.active and not taken and not answered and alarm.condition.wakes and occasion != "returned"

"""Who is told what, next. Pure: no clock, no I/O.

A telling is due once for each occasion of an alarm and each person the rota has reached; it stays due until one of
the person's channels has accepted it, and it is tried on the next channel at the first failure, or while the one before
gives no answer.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

from alerts.occasions import elapsed_s, going, may_have_heard, occasion_of, waits_for_morning
from alerts.suspended import held_back
from collector.kitchen import Alarm, Kitchen, Told
from collector.rota import RotaStep, on_call
from collector.sample import Instant

REPEAT_S = 600.0
"""House: with everybody told and nobody answering, all are told again this often. [s]"""
RETRY_S = (0.0, 5.0, 15.0, 30.0, 60.0)
"""Reliability 4.2: seconds after the n-th failure before the next attempt; then every 60 s."""
SELDOM_S = 3600.0
"""House: what wakes nobody may stand for months; by a way that stays broken it is tried ever more seldom, up to this
long apart. [s]"""
OVER_FOR_S = 86_400.0
"""House: a return that could not be told for so long is seen on the page. [s]"""
AHEAD_S = 1.0
"""House: so little ahead an instant was rounded, or read by another thread; more, and the clock was put back. [s]"""
LOG = "log"

Channels = Mapping[str, Sequence[str]]
"""Each person's channels, in the order in which that person wants to be reached."""


@dataclass(frozen=True, slots=True)
class Telling:
    """One person to be told of one occasion by one channel."""

    alarm: str
    occasion: str
    person: str
    channel: str
    others: tuple[str, ...] = ()
    """On its way as the head of a list: the other alarms in it."""


class Walk(Enum):
    """How an attempt that is under way in this process stands; one that nobody knows of was cut off."""

    WAITED = "waited for"
    SILENT = "no answer in time"


Walks = Mapping[Telling, Walk]
NOTHING_UNDER_WAY: Walks = {}


@dataclass(frozen=True, slots=True)
class _Case:
    """One occasion of one alarm, now."""

    alarm: Alarm
    occasion: str
    elapsed_s: float
    rota: tuple[RotaStep, ...]
    """Who is on call now, in order."""
    channels: Channels


def due(
    kitchen: Kitchen, channels: Channels, now: Instant, walks: Walks = NOTHING_UNDER_WAY, falling: Collection[str] = ()
) -> list[Telling]:
    """Return every telling that is due now, in the order in which it should go out: first what wakes people.

    `walks` says of attempts under way how they stand; `falling` names the alarms whose product is known not to rise.
    """
    waited = {(t.alarm, t.person) for t, walk in walks.items() if walk is Walk.WAITED}
    tellings: dict[bool, list[Telling]] = {True: [], False: []}
    alarms = (*kitchen.alarms.values(), *kitchen.past_alarms.values())
    for alarm in alarms:
        case = _case(kitchen, alarm, channels, now, falling)
        if case is None:
            continue
        overtaken = _overtaken(case, alarms)
        for person in _people(case):
            if person in overtaken:
                continue
            telling = _next_attempt(alarm, case.occasion, person, _ways(case, person), now, walks)
            if telling is not None and (alarm.id, person) not in waited:
                tellings[alarm.condition.wakes and alarm.active].append(telling)
    return [*tellings[True], *tellings[False]]


def _overtaken(case: _Case, alarms: Iterable[Alarm]) -> Collection[str]:
    """Return who is no longer told that it is over: it stands anew, or they have heard of the newer one."""
    if case.occasion != "returned":
        return ()
    mine = case.alarm
    heard = may_have_heard(mine)
    told = {t.person for t in mine.told if t.occasion == "returned" and t.accepted}
    if told.issuperset(heard):
        return ()
    later = [a for a in alarms if a.condition.key == mine.condition.key and _order(a) > _order(mine)]
    if any(alarm.active for alarm in later):
        return heard
    return {person for alarm in later for person in may_have_heard(alarm)}


def _order(alarm: Alarm) -> tuple[bool, Instant, int, str]:
    return alarm.active, alarm.raised_at, len(alarm.id), alarm.id


def _case(
    kitchen: Kitchen, alarm: Alarm, channels: Channels, now: Instant, falling: Collection[str]
) -> _Case | None:  # fmt: skip
    if alarm.returned_at is not None and now - alarm.returned_at > OVER_FOR_S:
        return None
    found = occasion_of(alarm, now, falling)
    if found is None or waits_for_morning(kitchen, alarm, now) is not None:
        return None
    if alarm.active and held_back(kitchen, alarm.condition, now) is not None:
        return None
    occasion, since = found
    elapsed = elapsed_s(alarm, occasion, since, now)
    return _Case(alarm, occasion, elapsed, called(kitchen, alarm.condition.unit, now), channels)


def untold_s(kitchen: Kitchen, now: Instant) -> float:
    """Return for how long it has been tried in vain to tell anybody of something that wakes people. [s]

    The log of the service is nobody. 0 where somebody's way has taken it, or where none has failed.
    """
    longest_s = 0.0
    for alarm in kitchen.active_alarms():
        found = occasion_of(alarm, now) if alarm.condition.wakes else None
        mine = [t for t in alarm.told if found is not None and t.occasion == found[0]]
        vain = any(t.state == "failed" for t in mine)
        if vain and not any(t.accepted and t.channel != LOG for t in mine):
            begun_at = mine[0].began_at if mine[0].began_at is not None else mine[0].at
            longest_s = max(longest_s, elapsed_s(alarm, mine[0].occasion, begun_at, now))
    return longest_s


def called(kitchen: Kitchen, unit: str, now: Instant) -> tuple[RotaStep, ...]:
    """Return who is on call for a unit, in order; everybody at once where nobody is, or no rota is described."""
    site = kitchen.site_of(unit)
    found = on_call(kitchen.rota, site.zone if site is not None else "UTC", now)
    if found:
        return found
    everybody = dict.fromkeys(step.person for step in kitchen.rota) or sorted(kitchen.people)
    return tuple(RotaStep(person, 0.0) for person in everybody)


def _people(case: _Case) -> list[str]:
    alarm, occasion, rota = case.alarm, case.occasion, case.rota
    if occasion == "returned":
        return may_have_heard(alarm)
    again = occasion.startswith("again")
    if alarm.acknowledged_at is not None and not again:
        # Whoever is on the way hears of a change; nobody further is woken.
        return may_have_heard(alarm) if alarm.condition.wakes and "changed" in occasion else []
    if occasion.startswith("unshelved"):
        # Everybody concerned: whoever heard of it before, once, and whoever is on call.
        mine = [t for t in alarm.told if t.occasion == occasion and t.accepted]
        before = [person for person in may_have_heard(alarm) if all(t.person != person for t in mine)]
        elapsed = case.elapsed_s if alarm.condition.wakes else 0.0
        return list(dict.fromkeys([*before, *_reached(case, rota, elapsed)]))
    if not alarm.condition.wakes:
        return _reached(case, rota, 0.0)
    if again and going(alarm):
        # Whoever said that they go, and the next person too (rules 4.1).
        others = [step for step in rota if step.person != alarm.acknowledged_by]
        next_one = [step.person for step in others[:1]]
        return list(dict.fromkeys([alarm.acknowledged_by, *next_one, *_reached(case, rota, case.elapsed_s)]))
    if again:
        # Whoever cannot, or passes it on, has done their part where there is somebody else.
        others = [step for step in rota if step.person != alarm.acknowledged_by]
        return _reached(case, others or rota, case.elapsed_s)
    return _reached(case, rota, case.elapsed_s)


def _reached(case: _Case, rota: Sequence[RotaStep], elapsed: float) -> list[str]:
    """Return the people whose step has come, one at least; and the next at once where no way leads to those before."""
    people = [step.person for step in rota if step.after_s <= elapsed] or [step.person for step in rota[:1]]
    for step in rota[len(people) :]:
        if not all(_unreachable(case, person) for person in people):
            break
        people.append(step.person)
    return people


def _unreachable(case: _Case, person: str) -> bool:
    mine = [t for t in case.alarm.told if (t.person, t.occasion) == (person, case.occasion)]
    failed = {t.channel for t in mine if t.state == "failed"}
    return not any(t.accepted for t in mine) and failed >= set(case.channels.get(person) or (LOG,))


def _ways(case: _Case, person: str) -> Sequence[str]:
    """Return a person's channels; for a later step of the rota, those last by which nobody answered so far."""
    mine = case.channels.get(person) or (LOG,)
    before = [t for t in case.alarm.told if t.occasion == case.occasion and t.accepted]
    if not before or before[0].person == person or case.occasion == "returned":
        return mine
    used = {_kind(t.channel) for t in before if t.person != person}
    return sorted(mine, key=lambda way: (way == LOG, _kind(way) in used))


def _kind(channel: str) -> str:
    return channel.split()[0]


def _next_attempt(
    alarm: Alarm, occasion: str, person: str, channels: Sequence[str], now: Instant, walks: Walks
) -> Telling | None:
    mine = [t for t in alarm.told if t.person == person and t.occasion == occasion]
    last = max((n for n, t in enumerate(mine) if t.accepted), default=None)
    # An instant still to come is of a clock that was put back since: nothing waits for it.
    if last is not None and (not _repeats(alarm, occasion) or -AHEAD_S <= now - mine[last].at < REPEAT_S):
        return None
    since = mine if last is None else mine[last + 1 :]
    possible = [Telling(alarm.id, occasion, person, channel) for channel in channels]
    tried = {t: _tries(since, t, walks) for t in possible}
    rounds = min(tried.values())
    failed = [t.at for t in since if t.state == "failed"]
    # The next channel is tried at once; only when every channel has failed does the next round wait.
    if rounds and rounds == max(tried.values()) and failed:
        if -AHEAD_S <= now - failed[-1] < _pause_s(alarm, rounds):
            return None
    first = next(t for t in possible if tried[t] == rounds)
    return None if first in walks else first


def _pause_s(alarm: Alarm, rounds: int) -> float:
    last = len(RETRY_S) - 1
    if rounds <= last or alarm.condition.wakes:
        return RETRY_S[min(rounds, last)]
    return min(RETRY_S[last] * 2.0 ** min(rounds - last, 10), SELDOM_S)


def _tries(since: Sequence[Told], telling: Telling, walks: Walks) -> int:
    """Return how often a channel was tried without success; one attempt that was cut off is made again."""
    mine = [t for t in since if t.channel == telling.channel]
    return sum(t.state == "failed" for t in mine) + (walks.get(telling) is Walk.SILENT)


def _repeats(alarm: Alarm, occasion: str) -> bool:
    # An answer that is being kept ends the telling; one that is not, or *cannot*, leaves it to whoever goes.
    kept = alarm.acknowledged_at is not None and not occasion.startswith("again")
    return alarm.active and not kept and alarm.condition.wakes

"""The watcher's own troubles as a condition: what somebody must mend although it still watches, or cannot. Pure.

One that is in trouble itself tells it as long as it can write it down. Where it cannot, it falls silent outside: the
heartbeat is withheld, its health fails, and a second watcher tells.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from alerts.sentences_watcher import CANARY, CLOCK, DISK, STORE, TROUBLE, TROUBLES, WAYS, codes
from collector.findings import Condition
from collector.kitchen import Alarm, Kitchen, Told
from collector.sample import Instant

STORE_S = 60.0
"""House: a store that refuses for so long is told; before that it is busy. [s]"""
CANARY_S = 300.0
"""House: told after so long without a message of our own that came round, with the broker there. [s]"""
DISK_BELOW, DISK_AGAIN = 0.05, 0.07
"""Reliability 4.3: told below this share of the disk; house: over from that."""
CLOCK_FOR_S = 43_200.0
"""House: so long after its last step the clock is a trouble, so that whoever is told in the morning hears of it. [s]"""
FAILED_TIMES = 3
FAILED_FOR_S = 7 * 86_400.0
"""House: a way is broken after so many failures in a row, until it has worked, or was not tried for so long. [s]"""

Way = tuple[str, str]
"""Person and channel."""


@dataclass(frozen=True, slots=True)
class Facts:
    """What the program knows of itself at one instant."""

    refused_s: float = 0.0
    """For how long readings could not be kept. [s]"""
    disk_free: float | None = None
    """Share of the disk that is free, 0 to 1; None where that is unknown."""
    canary_missing_s: float = 0.0
    """For how long, with the broker there, no message of our own has come round in time. [s]"""
    canary_good: bool = True
    """Whether the last one has; true where none is sent."""
    stepped_s: float | None = None
    """How long ago the host's clock was seen to step; None where it never was. [s]"""


def trouble(facts: Facts, broken: Sequence[Way], standing: Alarm | None, now: Instant) -> list[Condition]:
    """Return the one condition of the watcher itself, or none; `standing` is the alarm of it that stands."""
    before = codes(standing.condition.parameters) if standing is not None else ()
    found = [code for code in TROUBLES if _stands(code, facts, broken, before)]
    if not found:
        return []
    since_at = standing.condition.since_at if standing is not None and STORE in before else now
    figures: dict[str, float | int | str | None] = {"troubles": " ".join(found), "since_at": round(since_at)}
    if STORE in found and STORE not in before:
        figures["since_at"] = round(now - facts.refused_s)
    if DISK in found:
        figures["free_percent"] = None if facts.disk_free is None else round(100.0 * facts.disk_free, 1)
    if WAYS in found:
        figures["ways"] = ", ".join(f"{channel} for {person}" for person, channel in broken)
    # Rules 4.5: by night only what leaves every room unwatched.
    wakes = STORE in found
    return [
        Condition(
            "*", "watcher_trouble", "equipment", wakes, float(figures["since_at"] or 0.0), sentence=TROUBLE,
            parameters=figures,
        )
    ]  # fmt: skip


def _stands(code: str, facts: Facts, broken: Sequence[Way], before: Collection[str]) -> bool:
    free = facts.disk_free
    holds = {
        STORE: facts.refused_s >= STORE_S or (code in before and facts.refused_s > 0.0),
        CANARY: facts.canary_missing_s > CANARY_S or (code in before and not facts.canary_good),
        WAYS: bool(broken),
        DISK: code in before if free is None else free <= DISK_BELOW or (code in before and free < DISK_AGAIN),
        CLOCK: facts.stepped_s is not None and facts.stepped_s <= CLOCK_FOR_S,
    }
    return holds[code]


def standing_trouble(kitchen: Kitchen) -> Alarm | None:
    """Return the alarm of the watcher's own troubles that stands, if one does."""
    return next((a for a in kitchen.active_alarms() if a.condition.kind == TROUBLE), None)


def broken_ways(kitchen: Kitchen, reach: Mapping[str, Sequence[str]], now: Instant) -> list[Way]:
    """Return the ways in use that have failed each time lately, by person and channel in the order of the settings."""
    tries: dict[Way, list[Told]] = {}
    for alarm in (*kitchen.alarms.values(), *kitchen.past_alarms.values()):
        for told in alarm.told:
            if told.state in ("accepted", "failed") and now - told.at <= FAILED_FOR_S:
                tries.setdefault((told.person, told.channel), []).append(told)
    ways = [(person, channel) for person, channels in reach.items() for channel in channels]
    return [way for way in ways if _broken(tries.get(way, []))]


def named(kitchen: Kitchen, ways: Sequence[Way]) -> list[Way]:
    """Return the same ways, each with the name of its person in place of the id."""
    return [(kitchen.people[who].name if who in kitchen.people else who, channel) for who, channel in ways]


def _broken(tries: Sequence[Told]) -> bool:
    last = sorted(tries, key=lambda told: told.at)[-FAILED_TIMES:]
    return len(last) == FAILED_TIMES and all(told.state == "failed" for told in last)

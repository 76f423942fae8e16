"""What has to be said so that a channel's assignments become those that a file tells. Pure: no clock, no I/O."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import zip_longest
from typing import TypeAlias

from collector.events import AssignmentEnded, ChannelAssigned
from collector.readings import Assignment

Said: TypeAlias = ChannelAssigned | AssignmentEnded


def merged(known: Sequence[Assignment], told: Sequence[Assignment], reason: str) -> list[Said]:
    """Return the events that bring what is told of one channel into what is known of it, both in order of time.

    An assignment is known by its beginning: told otherwise, it is said anew. What is known and not told stays, and
    ends where another begins. An assignment said anew takes those after it away (`collector.fold`), so they follow.
    """
    wanted = _wanted(known, told)
    first = next((i for i, one in enumerate(wanted) if not _stands(known, wanted, i)), len(wanted))
    rest = wanted[first:]
    if not rest:
        return []
    if len(rest) == 1 and first < len(known) and _only_ends(known[first], rest[0]):
        return [AssignmentEnded(rest[0].channel, rest[0].until_at or 0.0, reason)]
    return [ChannelAssigned(one) for one in rest]


def _wanted(known: Sequence[Assignment], told: Sequence[Assignment]) -> list[Assignment]:
    by_start = {one.from_at: one for one in known}
    for one in told:
        before = by_start.get(one.from_at)
        # One that has ended since, without a word in the file, stays ended.
        ended = before is not None and one.until_at is None and replace(before, until_at=None) == one
        by_start[one.from_at] = before if before is not None and ended else one
    ordered = [by_start[at] for at in sorted(by_start)]
    return [_until(one, following) for one, following in zip_longest(ordered, ordered[1:])]


def _until(one: Assignment, following: Assignment | None) -> Assignment:
    if following is None or (one.until_at is not None and one.until_at <= following.from_at):
        return one
    return replace(one, until_at=following.from_at)


def _stands(known: Sequence[Assignment], wanted: Sequence[Assignment], index: int) -> bool:
    """Return whether one need not be said: it is known so, or the next one, said anew, will end it where it should."""
    if index >= len(known):
        return False
    if known[index] == wanted[index]:
        return True
    next_ends_it = index + 1 < len(wanted) and wanted[index].until_at == wanted[index + 1].from_at
    known_until = known[index].until_at
    reaches_over = known_until is None or known_until > (wanted[index].until_at or 0.0)
    same_else = replace(known[index], until_at=wanted[index].until_at) == wanted[index]
    return next_ends_it and reaches_over and same_else


def _only_ends(known: Assignment, wanted: Assignment) -> bool:
    ends_earlier = wanted.until_at is not None and (known.until_at is None or wanted.until_at < known.until_at)
    return ends_earlier and replace(known, until_at=wanted.until_at) == wanted

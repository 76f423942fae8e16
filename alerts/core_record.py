"""What the core logs of cooking and cooling say: runs, times held, times between two temperatures. Pure.

Between two entries of a log the core is taken to go in a straight line (house). What a log does not show is not
known: a fall that it begins too late to show lies between two instants, and both are looked at.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from alerts.case import NOISE_C
from alerts.rulebook.book import Limit
from collector.findings import Outcome
from collector.logs import CoreLog
from collector.sample import Instant

Points = tuple[tuple[Instant, float], ...]
"""Instants and core temperatures in order of time. [s since 1970 UTC], [°C]"""


@dataclass(frozen=True, slots=True)
class Run:
    """What one probe showed in one go."""

    probe: str
    points: Points

    @property
    def from_at(self) -> Instant:
        """Return when its first entry was made. [s since 1970 UTC]"""
        return self.points[0][0]

    @property
    def until_at(self) -> Instant:
        """Return when its last entry was made. [s since 1970 UTC]"""
        return self.points[-1][0]

    @property
    def highest_c(self) -> float:
        """Return the warmest it shows. [°C]"""
        return max(c for _, c in self.points)


def runs(logs: Iterable[CoreLog], stage: str, until_at: Instant, join_s: float) -> tuple[Run, ...]:
    """Return the runs of a stage by their beginning: logs of one probe that follow each other closely are one."""
    found: list[Run] = []
    for log in sorted((log for log in logs if log.stage == stage), key=lambda log: min(log.points)):
        points = tuple(sorted(point for point in log.points if point[0] <= until_at))
        if not points:
            continue
        near = [run for run in found if run.probe == log.probe and 0 <= points[0][0] - run.until_at <= join_s]
        if near:
            found[found.index(near[-1])] = Run(log.probe, near[-1].points + points)
        else:
            found.append(Run(log.probe, points))
    return tuple(found)


def sessions(found: Sequence[Run], join_s: float) -> tuple[tuple[Run, ...], ...]:
    """Return the runs in groups: those that overlap, or follow each other closely, were one cooking."""
    groups: list[list[Run]] = []
    for run in found:
        if groups and run.from_at - max(one.until_at for one in groups[-1]) <= join_s:
            groups[-1].append(run)
        else:
            groups.append([run])
    return tuple(tuple(group) for group in groups)


def held_s(points: Points, at_c: float) -> float | None:
    """Return the longest unbroken time at or above a temperature; None where it was never reached. [s]"""
    line = at_c - NOISE_C
    if all(c < line for _, c in points):
        return None
    longest = running = 0.0
    for (t0, c0), (t1, c1) in zip(points, points[1:], strict=False):
        span = t1 - t0
        share = 1.0 if c0 == c1 else min(max((line - c0) / (c1 - c0), 0.0), 1.0)
        if c0 >= line and c1 >= line:
            running += span
        elif c0 >= line:
            longest, running = max(longest, running + span * share), 0.0
        elif c1 >= line:
            running = span * (1.0 - share)
        longest = max(longest, running)
    return longest


def held_enough(points: Points, row: Limit) -> bool:
    """Return whether a row of a table of temperatures and times was kept to, to the second."""
    held = None if row.at_c is None else held_s(points, row.at_c)
    return held is not None and round(held) >= round(row.scaled)


def first_at(points: Points, at_c: float) -> Instant | None:
    """Return when a core first was at or above a temperature; None where it never was. [s since 1970 UTC]"""
    line = at_c - NOISE_C
    before: tuple[Instant, float] | None = None
    for at, c in points:
        if c >= line:
            return at if before is None else before[0] + (at - before[0]) * (line - before[1]) / (c - before[1])
        before = at, c
    return None


def left_at(points: Points, at_c: float) -> Instant | None:
    """Return when a core that began at or above a temperature first was below it; None else. [s since 1970 UTC]"""
    line = at_c - NOISE_C
    if points[0][1] < line:
        return None
    for (t0, c0), (t1, c1) in zip(points, points[1:], strict=False):
        if c1 < line:
            return t0 + (t1 - t0) * (c0 - line) / (c0 - c1)
    return None


def down_at(points: Points, to_c: float) -> Instant | None:
    """Return from when on a core was at or below a temperature for good; None where it is not. [s since 1970 UTC]"""
    line = to_c + NOISE_C
    if points[-1][1] > line:
        return None
    down = points[-1][0]
    for (t0, c0), (t1, c1) in zip(reversed(points[:-1]), reversed(points[1:]), strict=True):
        if c0 > line:
            return t0 + (t1 - t0) * (c0 - line) / (c0 - c1)
        down = t0
    return down


@dataclass(frozen=True, slots=True)
class Fall:
    """How long a core took between two temperatures, and what follows from it."""

    row: Limit
    outcome: Outcome
    least_s: float
    """It took at least so long; up to its last entry where the core is still above. [s]"""
    most_s: float
    """... and at most so long; infinity where the log does not end below. [s]"""
    due_at: Instant
    """When the time that is allowed was over, at the latest. [s since 1970 UTC]"""

    @property
    def begun(self) -> bool:
        """Return whether it is known when the fall began."""
        return math.isfinite(self.due_at)


def fall(run: Run, row: Limit, last_hot_at: Instant | None) -> Fall:
    """Return whether a core fell from one temperature of a row to the other within its time, to the minute.

    `last_hot_at` is when it was last known to be hot before this log: where the log begins below the upper
    temperature, the fall began between then and the first entry.
    """
    assert row.from_c is not None and row.to_c is not None
    left = left_at(run.points, row.from_c)
    earliest = latest = left
    if left is None:
        still_hot = run.points[0][1] >= row.from_c - NOISE_C
        earliest = run.until_at if still_hot else last_hot_at
        latest = run.until_at if still_hot else run.from_at
    down = down_at(run.points, row.to_c)
    assert latest is not None
    least_s = max((run.until_at if down is None else down) - latest, 0.0)
    most_s = math.inf if down is None or earliest is None else max(down - earliest, 0.0)
    allowed = round(row.scaled / 60)
    outcome = Outcome.CANNOT_TELL
    if round(least_s / 60) > allowed:
        outcome = Outcome.OUTSIDE
    elif math.isfinite(most_s) and round(most_s / 60) <= allowed:
        outcome = Outcome.WITHIN
    return Fall(row, outcome, least_s, most_s, latest + row.scaled)

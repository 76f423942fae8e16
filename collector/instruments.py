"""What an assignment becomes by the checks of its sensor: its error corrected, its time under test left out. Pure."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from collector.logs import Calibration, UnderTest
from collector.readings import Assignment
from collector.sample import Instant


def by_checks(
    said: Sequence[Assignment], calibrations: Sequence[Calibration], under_test: Sequence[UnderTest]
) -> tuple[Assignment, ...]:
    """Return the assignments as readings are judged by them, in the order in which they were said.

    An error found beyond its tolerance is taken off every reading since the check before it, and what was left beyond
    it off every reading after. While a sensor is under test it measures nothing of ours: that time is a gap.
    """
    found: list[Assignment] = []
    for one in said:
        checks = [c for c in calibrations if c.kind == "channel" and c.instrument == one.channel]
        tests = [t for t in under_test if t.channel == one.channel]
        parts = _corrected(one, checks) if checks else (one,)
        found += [rest for part in parts for rest in _without(part, tests)]
    return tuple(found)


def _corrected(one: Assignment, checks: Iterable[Calibration]) -> tuple[Assignment, ...]:
    ordered = sorted(checks, key=lambda c: c.checked_at)
    parts, begin, left = [], one.from_at, 0.0
    for check in ordered:
        as_found = check.as_found if abs(check.as_found) > check.tolerance else left
        if check.checked_at > begin:
            end = check.checked_at if one.until_at is None else min(check.checked_at, one.until_at)
            parts.append(replace(one, from_at=begin, until_at=end, offset_c=_offset(one, as_found)))
            begin = end
        left = check.as_left if abs(check.as_left) > check.tolerance else 0.0
        if one.until_at is not None and begin >= one.until_at:
            return tuple(parts)
    return (*parts, replace(one, from_at=begin, offset_c=_offset(one, left)))


def _offset(one: Assignment, error_c: float) -> float:
    return round(one.offset_c - error_c, 6)


def _without(one: Assignment, tests: Iterable[UnderTest]) -> tuple[Assignment, ...]:
    parts, begin = [], one.from_at
    for test in sorted(tests, key=lambda t: t.from_at):
        if one.until_at is not None and test.from_at >= one.until_at:
            break
        if test.from_at > begin:
            parts.append(replace(one, from_at=begin, until_at=test.from_at))
        if test.until_at is None:
            return tuple(parts)
        begin = max(begin, test.until_at)
    if one.until_at is None or begin < one.until_at:
        parts.append(replace(one, from_at=begin))
    return tuple(parts)


def last_check(calibrations: Sequence[Calibration], instrument: str, until_at: Instant) -> Calibration | None:
    """Return the last check of an instrument up to an instant, or None."""
    found = [c for c in calibrations if c.instrument == instrument and c.checked_at <= until_at]
    return max(found, key=lambda c: c.checked_at, default=None)

"""Who is called, in which order, at which hours of the site's own time. Pure: no clock, no I/O.

The wall clock decides: `until 07:00` is 07:00 on the wall, whether the night had seven hours or nine. In the hour that
comes twice in autumn, what holds then holds twice.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from collector.sample import Instant

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
DAY_MINUTES, WEEK_MINUTES = 1440, 7 * 1440


@dataclass(frozen=True, slots=True)
class RotaStep:
    """One person of the rota: after how long without an answer, and when they can be called at all."""

    person: str
    after_s: float
    """Seconds since the alarm was raised, nobody having answered. [s]"""
    from_time: str = ""
    until_time: str = ""
    """Local `HH:MM`; both empty for the whole day. Hours that end before they begin go over midnight."""
    days: tuple[str, ...] = ()
    """The days on which the hours begin; empty for every day."""

    @property
    def limited(self) -> bool:
        """Return whether there are hours at which the person cannot be called."""
        return bool(self.from_time or self.days)


def minutes(wall: str) -> int:
    """Return the minutes since midnight of a time of day.

    >>> minutes("07:30")
    450
    """
    hours, _, rest = wall.partition(":")
    return int(hours) * 60 + int(rest)


def _weekly(step: RotaStep) -> list[tuple[int, int]]:
    """Return the stretches of a week in which a step holds, in minutes since Monday 00:00; an end may lie behind it."""
    begins, ends = (minutes(step.from_time), minutes(step.until_time)) if step.from_time else (0, DAY_MINUTES)
    length = ends - begins if ends > begins else ends - begins + DAY_MINUTES
    days = [n for n, name in enumerate(DAYS) if not step.days or name in step.days]
    return [(n * DAY_MINUTES + begins, n * DAY_MINUTES + begins + length) for n in days]


def holds(step: RotaStep, zone: str, at: Instant) -> bool:
    """Return whether the person of a step can be called at an instant.

    >>> night = RotaStep("kim", 0.0, "22:00", "07:00", ("sat",))
    >>> sunday = datetime(2026, 3, 29, 5, 30, tzinfo=UTC).timestamp()
    >>> holds(night, "Europe/London", sunday), holds(night, "Europe/London", sunday + 1800.0)
    (True, False)
    """
    local = datetime.fromtimestamp(at, UTC).astimezone(ZoneInfo(zone))
    minute = local.weekday() * DAY_MINUTES + local.hour * 60 + local.minute
    return any(a <= minute < b or a <= minute + WEEK_MINUTES < b for a, b in _weekly(step))


def on_call(steps: Sequence[RotaStep], zone: str, at: Instant) -> tuple[RotaStep, ...]:
    """Return the steps that hold at an instant, in the order in which they are called; each person once."""
    found: dict[str, RotaStep] = {}
    for step in sorted(steps, key=lambda step: step.after_s):
        if step.person not in found and holds(step, zone, at):
            found[step.person] = step
    return tuple(found.values())


def overlap(one: RotaStep, other: RotaStep) -> bool:
    """Return whether two steps hold at the same time in some week."""
    shifts = (-WEEK_MINUTES, 0, WEEK_MINUTES)
    return any(a < d + shift and c + shift < b for a, b in _weekly(one) for c, d in _weekly(other) for shift in shifts)


def uncovered(steps: Sequence[RotaStep]) -> list[tuple[str, str]]:
    """Return the stretches of the week in which nobody can be called, as `Sat 07:00` and `Mon 07:00`.

    >>> uncovered([RotaStep("kim", 0.0, "07:00", "21:00")])[0]
    ('Mon 21:00', 'Tue 07:00')
    >>> uncovered([RotaStep("kim", 0.0, "07:00", "21:00"), RotaStep("sam", 0.0, "21:00", "07:00")])
    []
    """
    shifts = (-WEEK_MINUTES, 0, WEEK_MINUTES)
    stretches = sorted((a + s, b + s) for step in steps for a, b in _weekly(step) for s in shifts)
    if not stretches:
        return [("Mon 00:00", "Mon 00:00")]
    begin = next(a for a, _ in stretches if a >= 0)
    # What began in the week before may reach over the first beginning of this one.
    found, reached = [], max(b for a, b in stretches if a <= begin)
    for a, b in stretches:
        if a > reached and reached < begin + WEEK_MINUTES:
            found.append((_named(reached), _named(a)))
        reached = max(reached, b)
    return found


def _named(minute: int) -> str:
    day, rest = divmod(minute % WEEK_MINUTES, DAY_MINUTES)
    return f"{DAYS[day].title()} {rest // 60:02d}:{rest % 60:02d}"


def hours_text(step: RotaStep) -> str:
    """Return when somebody can be called, in words.

    >>> hours_text(RotaStep("kim", 0.0, "21:00", "07:00", ("fri", "sat"))), hours_text(RotaStep("kim", 0.0))
    ('21:00 to 07:00, from Fri, Sat', 'at every hour')
    """
    if not step.from_time and not step.days:
        return "at every hour"
    hours = f"{step.from_time} to {step.until_time}" if step.from_time else "the whole day"
    return hours + (", from " + ", ".join(day.title() for day in step.days) if step.days else "")


def changes_at(steps: Iterable[RotaStep], zone: str, at: Instant) -> Instant | None:
    """Return when, after an instant, other people are on call; None where they never change. [s since 1970 UTC]"""
    known, here = tuple(steps), ZoneInfo(zone)
    now = on_call(known, zone, at)
    today = datetime.fromtimestamp(at, UTC).astimezone(here).date()
    walls = {wall for step in known for wall in (step.from_time, step.until_time) if wall} | {"00:00"}
    days = [today + timedelta(days=n) for n in range(-1, 10)]
    # A time of day that comes twice is one at each coming; over one that is left out, the clocks jump at their change.
    ahead = {
        datetime.combine(day, time.fromisoformat(wall), here).replace(fold=fold).timestamp()
        for day in days
        for wall in walls
        for fold in (0, 1)
    }
    ahead |= {put for one, next_one in pairwise(days) if (put := _clocks_put_at(one, next_one, here)) is not None}
    return next((one for one in sorted(ahead) if one > at and on_call(known, zone, one) != now), None)


def _clocks_put_at(day: date, until_day: date, here: ZoneInfo) -> Instant | None:
    """Return when the clocks are put between two midnights, to the minute; None where they are not."""
    first, last = (datetime.combine(one, time(), here).timestamp() for one in (day, until_day))
    before = _offset(first, here)
    if _offset(last, here) == before:
        return None
    while last - first > 60.0:
        middle = first + (last - first) // 120.0 * 60.0
        first, last = (middle, last) if _offset(middle, here) == before else (first, middle)
    return last


def _offset(at: Instant, here: ZoneInfo) -> timedelta | None:
    return datetime.fromtimestamp(at, UTC).astimezone(here).utcoffset()

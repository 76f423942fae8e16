"""When somebody next looks: the working checks of a site, in its own time. Pure: no clock, no I/O."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from collector.sample import Instant


def next_check(checks: Sequence[str], zone: str, at: Instant) -> Instant:
    """Return the first working check at or after an instant. [s since 1970 UTC]

    Parameters
    ----------
    checks : sequence of str, n >= 1
        The checks of every day, local `HH:MM`, in any order.
    zone : str
        IANA time zone of the site.
    at : float
        The instant not to come before. [s since 1970 UTC]

    Returns
    -------
    float
        At least `at`, and less than two days after it. [s since 1970 UTC]

    Raises
    ------
    ValueError
        If there are no checks, or one is no `HH:MM`.

    Notes
    -----
    The wall clock decides: a check at 07:00 is at 07:00 on both sides of a change of clocks. One that falls into the
    hour that is left out in spring is taken an hour later by the wall, as clocks do; one in the hour that comes twice
    in autumn, at its first coming.

    Examples
    --------
    >>> from datetime import datetime, timezone
    >>> friday = datetime(2026, 3, 27, 21, 0, tzinfo=timezone.utc).timestamp()
    >>> datetime.fromtimestamp(next_check(["07:00", "15:00"], "Europe/London", friday), timezone.utc).isoformat()
    '2026-03-28T07:00:00+00:00'
    >>> sunday = friday + 86400.0
    >>> datetime.fromtimestamp(next_check(["07:00", "15:00"], "Europe/London", sunday), timezone.utc).isoformat()
    '2026-03-29T06:00:00+00:00'
    """
    if not checks:
        raise ValueError("a site without working checks has no next one")
    walls = [time.fromisoformat(check) for check in checks]
    here = ZoneInfo(zone)
    day = datetime.fromtimestamp(at, UTC).astimezone(here).date()
    # A day later is enough for any hour, a day earlier for a wall clock that was put back over midnight.
    candidates = (_instant(day + timedelta(days=off), wall, here) for off in (-1, 0, 1, 2) for wall in walls)
    return min(candidate for candidate in candidates if candidate >= at)


def _instant(day: date, wall: time, zone: ZoneInfo) -> Instant:
    return datetime.combine(day, wall, zone).timestamp()

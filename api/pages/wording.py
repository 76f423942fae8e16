"""Small words that several pages share. No clock: now is an argument."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from alerts.sentences import span_text
from collector.findings import Disposition
from collector.kitchen import Kitchen
from collector.sample import Instant

DISPOSITIONS = {
    Disposition.CONTINUE: "carry on",
    Disposition.EXTEND: "cure longer",
    Disposition.HOLD: "hold",
    Disposition.REJECT: "reject",
    Disposition.RELEASE: "release",
}
ROLES = {"operator": "operator", "approver": "approver", "admin": "admin"}


def degrees(value_c: float | None) -> str:
    """Return a temperature as it is printed: `−1.5 °C`."""
    return "unknown" if value_c is None else f"{value_c:.1f} °C".replace("-", "−")


def short_text(at: Instant | None, zone: str) -> str:
    """Return day and time, short: `Wed 25 Nov, 07:10`."""
    if at is None:
        return "an unknown time"
    local = datetime.fromtimestamp(at, UTC).astimezone(ZoneInfo(zone))
    return f"{local:%a} {local.day} {local:%b}, {local:%H:%M}"


def date_text(at: Instant | None, zone: str) -> str:
    """Return the day alone, with its year: `Tue 16 Nov 2027`."""
    if at is None:
        return "an unknown day"
    local = datetime.fromtimestamp(at, UTC).astimezone(ZoneInfo(zone))
    return f"{local:%a} {local.day} {local:%b %Y}"


def ago_text(at: Instant, now: Instant) -> str:
    """Return how long ago, as people say it: `just now`, `8 min ago`, `3 days ago`."""
    span = max(0.0, now - at)
    if span < 90.0:
        return "just now"
    return f"{long_text(span)} ago"


def long_text(seconds: float) -> str:
    """Return a span as people say it, days where it is long: `25 min`, `2 h 10`, `3 days`."""
    days = round(seconds / 86_400.0)
    return f"{days} days" if seconds >= 2 * 86_400.0 else span_text(seconds)


def left_text(left_s: float, if_stays_s: float = float("inf")) -> str:
    """Return the time left before meat may pass its limit; an estimate, said as one."""
    if left_s == float("inf"):
        if if_stays_s < float("inf"):
            return f"If the air stays this warm, meat passes the limit in {long_text(if_stays_s)} (estimate)."
        return "No limit in sight (estimate)."
    if left_s <= 0.0:
        return "No time left: it may be above the limit now (estimate)."
    return f"Meat may pass the limit in {long_text(left_s)} (estimate)."


ANSWERS = {"going": "is going", "passing on": "passes it on", "cannot": "cannot go"}
"""What a person answered to an alarm."""


def person_name(kitchen: Kitchen, person: str) -> str:
    """Return a person's name, or the id of one who is not described."""
    known = kitchen.people.get(person)
    return known.name if known is not None else person


def second_text(at: Instant, zone: str) -> str:
    """Return an instant to the second: `07:10:05`."""
    return f"{datetime.fromtimestamp(at, UTC).astimezone(ZoneInfo(zone)):%H:%M:%S}"

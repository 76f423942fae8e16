"""When a drill may be held, who is to be told of it, and what is said of it afterwards. Pure: no clock, no I/O.

Rules 4.7: in opening hours, first word DRILL, never while a real alarm stands.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from alerts.escalation import called
from alerts.occasions import MORNING_WITHOUT_CHECK, QUIET_FROM, quiet_until
from alerts.sentences import CAUTION, clock_text
from collector.drills import CALLS, Drill
from collector.kitchen import Kitchen
from collector.readings import Site
from collector.rota import DAYS, minutes
from collector.sample import Instant

CONFIRM_S = 7200.0
"""House: who has not confirmed after so long is named to the others. [s]"""
LATE_S = 12 * 3600.0
"""House: a weekly drill that could not begin for so long waits for the next week. [s]"""
FIRST_WORD = "DRILL"


@dataclass(frozen=True, slots=True)
class Call:
    """One person to be told by one way."""

    person: str
    channel: str
    occasion: str = "call"


def opening_hours(site: Site) -> tuple[str, str]:
    """Return between which times of day a drill may ring: the first and the last working check.

    >>> opening_hours(Site("s", "S", "Europe/London", "GB", checks=("15:00", "07:00")))
    ('07:00', '15:00')

    With fewer than two checks, the hours that are not quiet (house).

    >>> opening_hours(Site("s", "S", "Europe/London", "GB", checks=("07:00",)))
    ('07:00', '21:00')
    """
    checks = sorted(site.checks)
    return (checks[0], checks[-1]) if len(checks) > 1 else (MORNING_WITHOUT_CHECK, QUIET_FROM)


def refusal(kitchen: Kitchen, site: Site | None, now: Instant) -> str:
    """Return why no drill may begin now, "" where one may."""
    if any(alarm.condition.wakes for alarm in kitchen.active_alarms()):
        return "an alarm stands: no drill until it is over"
    if any(drill.open and now - drill.started_at < CONFIRM_S for drill in kitchen.drills.values()):
        return "a drill goes on: it ends when everybody has confirmed, or two hours after its beginning"
    if site is None:
        return "no site is described, so nobody knows its opening hours"
    begins, ends = opening_hours(site)
    local = datetime.fromtimestamp(now, UTC).astimezone(ZoneInfo(site.zone))
    if not minutes(begins) <= local.hour * 60 + local.minute < minutes(ends):
        return f"it is outside opening hours ({begins} to {ends}): whoever doubts a call by night is not woken by one"
    return ""


def on_rota(kitchen: Kitchen) -> tuple[str, ...]:
    """Return everybody on the rota, in its order; without one, everybody of the kitchen."""
    people = dict.fromkeys(step.person for step in kitchen.rota) or sorted(kitchen.people)
    return tuple(people)


def weekly_begins(weekly: str, site: Site, kitchen: Kitchen, now: Instant) -> bool:
    """Return whether the weekly drill is due and may begin: once a week, hours late if it must, never at night.

    Parameters
    ----------
    weekly : str
        Day and time of day on the site's walls, such as `Tue 10:00`.
    site : Site
        Whose walls these are.
    kitchen : Kitchen
        What is known: alarms that stand, drills that were held.
    now : float
        The present instant. [s since 1970 UTC]

    Returns
    -------
    bool
        True from the stated time on, for twelve hours at most, until one has begun.
    """
    due_at = last_due(weekly, site.zone, now)
    held = any(drill.kind == CALLS and drill.started_at >= due_at for drill in kitchen.drills.values())
    return now - due_at < LATE_S and not held and not refusal(kitchen, site, now)


def last_due(weekly: str, zone: str, now: Instant) -> Instant:
    """Return when a weekly time was last, at an instant or before it. [s since 1970 UTC]

    >>> noon = datetime(2026, 11, 24, 12, 0, tzinfo=UTC).timestamp()
    >>> datetime.fromtimestamp(last_due("Tue 10:00", "Europe/Rome", noon), UTC).isoformat()
    '2026-11-24T09:00:00+00:00'
    >>> datetime.fromtimestamp(last_due("Wed 10:00", "Europe/Rome", noon), UTC).isoformat()
    '2026-11-18T09:00:00+00:00'
    """
    day, _, wall = weekly.partition(" ")
    here = ZoneInfo(zone)
    today = datetime.fromtimestamp(now, UTC).astimezone(here).date()
    hours, rest = divmod(minutes(wall), 60)
    # The day of the week may still lie ahead today, or be a week old.
    days = [today - timedelta(days=n) for n in range(8) if (today - timedelta(days=n)).weekday() == _number(day)]
    found = [datetime(one.year, one.month, one.day, hours, rest, tzinfo=here).timestamp() for one in days]
    return max((at for at in found if at <= now), default=min(found))


def _number(day: str) -> int:
    return DAYS.index(day.lower())


def calls_due(
    drill: Drill, reach: Mapping[str, Sequence[str]], people: Sequence[str], occasion: str = "call"
) -> list[Call]:
    """Return who is still to be told by which way: each by their first one, by the next at each failure."""
    found = []
    for person in people:
        left = [way for way in reach.get(person, ()) if way not in drill.tried(person, occasion)]
        if left and not drill.reached(person, occasion):
            found.append(Call(person, left[0], occasion))
    return found


def naming_due(drill: Drill, site: Site | None, now: Instant) -> bool:
    """Return whether it is time to name who has not confirmed: two hours later, and by day alone."""
    over = drill.kind == CALLS and drill.open and now - drill.started_at >= CONFIRM_S
    return over and (site is None or quiet_until(site, now) is None)


def others(kitchen: Kitchen, drill: Drill, now: Instant) -> list[str]:
    """Return who on the rota now is told who has not confirmed: everybody but those."""
    return [step.person for step in called(kitchen, "*", now) if step.person not in drill.missing]


def call_message(link: str) -> tuple[str, str]:
    """Return the first line and the body by which everybody is called."""
    first = f"{FIRST_WORD}: Curevigil tries whether it reaches you. This is no alarm; nobody need go."
    how = f"Say that it has reached you: {link}" if link else "Say that it has reached you: sign in, any page."
    return first, f"{how}\n{CAUTION}"


def naming_message(kitchen: Kitchen, drill: Drill, zone: str) -> tuple[str, str]:
    """Return the first line and the body by which the others hear who has not confirmed."""
    when = clock_text(drill.started_at, zone, day=True)
    names = listed(name_of(kitchen, person) for person in drill.missing)
    verb = "has" if len(drill.missing) == 1 else "have"
    first = f"{FIRST_WORD}: {names} {verb} not confirmed the drill of {when}. This is no alarm; nobody need go."
    return first, f"Ask whether it arrived, and look at the page How people are reached.\n{CAUTION}"


def drill_words(kitchen: Kitchen, drill: Drill, zone: str) -> str:
    """Return how the last drill went, in one sentence without its full stop.

    `Tue 24 Nov 10:00, 2 of 3 have confirmed; Mara has not`
    """
    when = clock_text(drill.started_at, zone, day=True)
    confirmed, missing = len(drill.answered), [name_of(kitchen, person) for person in drill.missing]
    said = f"{when}, {confirmed} of {len(drill.people)} {'has' if confirmed == 1 else 'have'} confirmed"
    if missing:
        said += f"; {listed(missing)} {'has' if len(missing) == 1 else 'have'} not"
    return f"{said}; it was ended because {drill.reason}" if drill.reason and not drill.open and missing else said


def name_of(kitchen: Kitchen, person: str) -> str:
    """Return a person's name, or the id of whoever is not described."""
    return kitchen.people[person].name if person in kitchen.people else person


def listed(names: Iterable[str]) -> str:
    """Return names as people say them.

    >>> listed(["Mara", "Sam", "Kim"]), listed(["Mara"])
    ('Mara, Sam and Kim', 'Mara')
    """
    found = list(names)
    return f"{', '.join(found[:-1])} and {found[-1]}" if len(found) > 1 else "".join(found)

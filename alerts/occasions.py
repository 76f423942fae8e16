"""What there is to tell of an alarm, and since when. Pure: no clock, no I/O."""

from collections.abc import Collection
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from alerts.suspended import PUT_BACK_S, Occasion, shelved, told_after
from collector.kitchen import Alarm, Kitchen
from collector.readings import Site
from collector.rota import minutes
from collector.sample import Instant

AFTER_ARRIVAL_S = 900.0
AT_MOST_S = 2700.0
"""Rules 4.1: an answer is kept until 15 min after the stated arrival, and for 45 min at most. [s]"""
BEFORE_CROSSING_S = 1800.0
"""Rules 4.1: told again so long before the product may pass its limit at the earliest. [s]"""
QUIET_FROM = "21:00"
"""House: from here until the first check of the morning, what needs nobody now is told to nobody."""
MORNING = ("05:00", "12:00")
"""House: the first working check between these ends the quiet hours; without one they end at 07:00."""
MORNING_WITHOUT_CHECK = "07:00"


def occasion_of(alarm: Alarm, now: Instant, falling: Collection[str] = ()) -> Occasion | None:
    """Return the latest thing there is to tell of an alarm, with the instant from which it is due.

    Whoever is told late is told how it stands, not how it once stood. `falling` names the alarms whose product is
    known not to rise; of every other one it is taken that it does.
    """
    if not alarm.active:
        # What ended before anybody could be told is on the page; nobody is woken to hear that it is over.
        return ("returned", alarm.returned_at or now) if may_have_heard(alarm) else None
    if shelved(alarm, now) is not None:
        return None
    again = _again(alarm, now, alarm.id in falling) or told_after(alarm, now)
    if again is not None:
        return again
    if alarm.changes:
        # What could wait until now calls people one after the other from now, not from when it was raised.
        return (f"changed {alarm.changes}", alarm.woke_at if alarm.woke_at is not None else alarm.raised_at)
    return ("raised", alarm.raised_at)


def may_have_heard(alarm: Alarm) -> list[str]:
    """Return whoever was told, or may have been: an attempt whose end nobody saw may have arrived."""
    return list(dict.fromkeys(t.person for t in alarm.told if t.state != "failed"))


def going(alarm: Alarm) -> bool:
    """Return whether somebody said that they are on the way."""
    return alarm.acknowledged_at is not None and alarm.answer == "going"


def _again(alarm: Alarm, now: Instant, falls: bool) -> Occasion | None:
    """Return why an answered alarm is told again: acknowledged is not handled (rules 4.1)."""
    at = alarm.acknowledged_at
    if at is None or not alarm.condition.wakes:
        return None
    ends = [] if falls else _ends_of_answer(alarm, at)
    if alarm.answer != "going":
        # Said an hour ahead of a clock that was put back: nobody waits until it is as late again.
        ends = [("passed", min(at, now))]
    elif at > now + PUT_BACK_S or any(t.occasion.startswith(f"again clock-{int(at)}-") for t in alarm.told):
        # How long ago the answer was given is unknown since the clock was put back, and will not be known again.
        ends = [("clock", min(at, now))]
    reached = [(since, why) for why, since in ends if since <= now]
    if not reached:
        return None
    since, why = max(reached)
    return (f"again {why}-{int(at)}-{alarm.changes}", since)


def _ends_of_answer(alarm: Alarm, at: Instant) -> list[Occasion]:
    stated = alarm.arriving_at if alarm.arriving_at is not None else at
    ends = [("arrival", min(stated + AFTER_ARRIVAL_S, at + AT_MOST_S))]
    early_at = alarm.condition.early_at
    if early_at is not None and early_at - BEFORE_CROSSING_S > at:
        ends.append(("early", early_at - BEFORE_CROSSING_S))
    if alarm.condition.sentence == "product_has_passed" and alarm.changed_at is not None and alarm.changed_at > at:
        ends.append(("crossing", alarm.changed_at))
    return ends


def elapsed_s(alarm: Alarm, occasion: str, since: Instant, now: Instant) -> float:
    """Return how long an occasion has lasted at least; a clock that was put back takes nothing of it away. [s]"""
    begun = [(t.began_at if t.began_at is not None else t.at, t.occasion) for t in alarm.told]
    first = next((n for n, (at, name) in enumerate(begun) if name == occasion or at >= since), len(begun))
    instants = [since, *(at for at, _ in begun[first:]), now]
    return sum(max(0.0, after - before) for before, after in pairwise(instants))


def quiet_until(site: Site, now: Instant) -> Instant | None:
    """Return when the quiet hours of a site end, at its first check of the morning; None where it is day. [s]"""
    here = ZoneInfo(site.zone)
    local = datetime.fromtimestamp(now, UTC).astimezone(here)
    early = [check for check in site.checks if MORNING[0] <= check <= MORNING[1]]
    begins, ends, at = minutes(QUIET_FROM), minutes(min(early, default=MORNING_WITHOUT_CHECK)), _minute(local)
    if ends <= at < begins:
        return None
    day = local.date() + timedelta(days=1 if at >= begins else 0)
    return datetime(day.year, day.month, day.day, ends // 60, ends % 60, tzinfo=here).timestamp()


def _minute(local: datetime) -> int:
    return local.hour * 60 + local.minute


def waits_for_morning(kitchen: Kitchen, alarm: Alarm, now: Instant) -> Instant | None:
    """Return until when an alarm that wakes nobody is kept for the morning list; None where it is told now."""
    if alarm.condition.wakes:
        return None
    site = kitchen.site_of(alarm.condition.unit)
    # What concerns every site waits until it is day at all of them.
    sites = [site] if site is not None else kitchen.sites.values() if alarm.condition.unit == "*" else ()
    return max((at for at in (quiet_until(one, now) for one in sites) if at is not None), default=None)

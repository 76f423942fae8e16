"""Shelving an alarm for a time, and ending that. Pure: no clock, no I/O."""

from alerts.sentences import clock_text, span_text
from alerts.suspended import PRODUCT_MOST_S, SHELVED_MOST_S, longest_s, shelved
from api.actions.faults import Check, Faults, Result, fault
from api.schemas_watching import ShelveAlarm, UnshelveAlarm
from collector.events_watching import AlarmShelved, AlarmUnshelved
from collector.kitchen import Alarm, Kitchen, Person
from collector.sample import Instant

LEAST_S = 60.0
"""House: less than a minute is no shelving. [s]"""


def _standing(kitchen: Kitchen, alarm: str) -> Alarm | Faults:
    known = kitchen.alarm(alarm)
    if known is None:
        return fault("alarm", f"there is no alarm {alarm}", "look at the list of standing alarms")
    if not known.active:
        return fault("alarm", "this alarm is over", "look at the list of standing alarms")
    return known


def shelve_alarm(kitchen: Kitchen, alarm: str, request: ShelveAlarm, person: Person, now: Instant) -> Result:
    """Return that a person puts one standing alarm aside for a time, and why."""
    standing = _standing(kitchen, alarm)
    if isinstance(standing, Faults):
        return standing
    check, until_at = Check(), now + request.minutes * 60.0
    already = shelved(standing, now)
    if already is not None:
        site = kitchen.site_of(standing.condition.unit)
        until = clock_text(already.until_at, site.zone if site is not None else "UTC")
        return fault("alarm", f"it is shelved until {until} already", "end that first, or let it end")
    most_s = longest_s(standing)
    if standing.condition.judges_product:
        in_all, left = span_text(PRODUCT_MOST_S), span_text(most_s)
        what = f"what judges the meat is shelved for {in_all} in all at most, and {left} of it are left"
        mend = f"shelve it for {left} at most" if most_s >= LEAST_S else "answer it: going, passing on or cannot"
    else:
        what = f"an alarm is shelved for {span_text(SHELVED_MOST_S)} at most"
        mend = "shelve it for less; it can be shelved again once it was told"
    check.that(request.minutes * 60.0 <= most_s, "minutes", what, mend)
    check.that(request.minutes * 60.0 >= LEAST_S, "minutes", "that is less than a minute", "enter whole minutes")
    return check.result(person, now, [AlarmShelved(alarm, round(until_at, 3), request.reason)])


def unshelve_alarm(kitchen: Kitchen, alarm: str, request: UnshelveAlarm, person: Person, now: Instant) -> Result:
    """Return that a shelved alarm is told again from now on."""
    standing = _standing(kitchen, alarm)
    if isinstance(standing, Faults):
        return standing
    if standing.shelving is None:
        return fault("alarm", "it is not shelved", "it is told as it stands; there is nothing to end")
    return Check().result(person, now, [AlarmUnshelved(alarm, "hand")])

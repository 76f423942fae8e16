"""Answering an alarm. Pure: no clock, no I/O."""

from api.actions.faults import Check, Result, fault
from api.schemas import AnswerAlarm
from collector.events import AlarmAcknowledged, AlarmTold, Draft
from collector.kitchen import Kitchen, Person
from collector.sample import Instant

LATEST_ARRIVAL_S = 4 * 3600.0
"""House: whoever arrives later than this cannot be said to be going. [s]"""


def alarm_seen(kitchen: Kitchen, alarm: str, person: str, by: str, now: Instant) -> list[Draft]:
    """Return that a person opened what they were told of, by the `link` or the `page`; once for each step."""
    known = kitchen.alarm(alarm)
    told = [t.occasion for t in known.told if t.person == person and t.state != "failed"] if known is not None else []
    if known is None or not told or any((s.occasion, s.person) == (told[-1], person) for s in known.seen):
        return []
    return [Draft(now, "system", AlarmTold(alarm, told[-1], person, by, "seen"))]


def answer_alarm(kitchen: Kitchen, alarm: str, request: AnswerAlarm, person: Person, now: Instant) -> Result:
    """Return that a person says what they will do: going, and there by when; passing on; or cannot."""
    standing = kitchen.alarms.get(alarm)
    if standing is None:
        over = kitchen.alarm(alarm) is not None
        what = "this alarm is over and was answered" if over else f"there is no alarm {alarm}"
        return fault("alarm", what, "look at the list of standing alarms")
    check = Check()
    if request.answer == "going":
        there_at = request.arriving_at
        # Nobody need hurry to what is normal again; that somebody has seen it is all that is asked.
        told = there_at is not None or not standing.active
        check.that(told, "arriving_at", "going, but there by when?", "say when you will be there")
        check.that(
            there_at is None or now - 60.0 <= there_at <= now + LATEST_ARRIVAL_S, "arriving_at",
            "that is not within the next four hours", "say when you will be there, or pass it on",
        )  # fmt: skip
    else:
        check.that(
            request.arriving_at is None, "arriving_at", "only who is going arrives", "leave the time of arrival out"
        )  # fmt: skip
    return check.result(person, now, [AlarmAcknowledged(alarm, request.answer, request.arriving_at, request.note)])

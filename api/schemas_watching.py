"""What may be sent about alarms that are shelved, units out of service and planned work."""

from typing import Literal

from api.schemas import Figure, Moment, Request, Short, Words

WORK = ("cleaning", "loading")


class ShelveAlarm(Request):
    """One standing alarm is put aside for a time, in minutes, with a reason."""

    reason: Words
    minutes: Figure = 60.0


class UnshelveAlarm(Request):
    """A shelved alarm is told again."""


class PutOutOfService(Request):
    """An empty unit is put out of service, with a reason."""

    reason: Words


class PutInService(Request):
    """A unit is in service again."""

    reason: Short = ""


class PlanWork(Request):
    """Cleaning or loading of a unit, from … (empty for now) until …."""

    what: Literal["cleaning", "loading"]
    until_at: Moment
    from_at: Moment | None = None
    note: Short = ""


class EndWork(Request):
    """Planned work is over before its time, or called off; named as it is listed."""

    work: str

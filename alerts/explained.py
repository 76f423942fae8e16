"""Which cause a standing alarm names as the record grows. Pure: no clock, no I/O.

A cause is found, never told: that it became clear wakes nobody anew. It stands on the page at once and goes out with
whatever is told next.
"""

from typing import TypeAlias

from alerts.causes import COOLING, SETTING
from collector.findings import Parameters
from collector.sample import Instant

Cause: TypeAlias = dict[str, float | int | str | None]
WARM = ("product_warm", "warm_level", "above_usual")
"""The kinds of alarm that name a likely cause found by `alerts.causes`."""
FIGURES = ("cause", "cause_at", "cause_k", "cause_doubted")
LOOKED_FOR_S, DOUBTED_S = 12 * 3600.0, 4 * 3600.0
"""House: later the record of a day no longer shows how it began, nor a sensor that fell out with its neighbour while
the room came back what was behind it. [s]"""


def named(parameters: Parameters) -> Cause:
    """Return what the parameters of a condition say of its cause."""
    return {name: parameters[name] for name in FIGURES if name in parameters}


def settled(before: Parameters, after: Parameters, raised_at: Instant, now: Instant) -> Cause:
    """Return the cause that an alarm names from now on, given what it named and what its condition would name now.

    The first clear cause stays, for what shows it is how the warm time began. Only cooling that seemed to fail gives
    way to a setting, once turns come back at a higher level; and whatever is behind the room gives way to a sensor in
    doubt.
    """
    old, new = named(before), named(after)
    if old.get("cause_doubted") or (not new.get("cause") and not new.get("cause_doubted")):
        return old
    if now - raised_at > LOOKED_FOR_S:
        return old
    if new.get("cause_doubted"):
        return old if old.get("cause") and now - raised_at > DOUBTED_S else new
    gives_way = not old.get("cause") or (old.get("cause") == COOLING and new.get("cause") == SETTING)
    return new if gives_way else old

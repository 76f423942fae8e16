"""Puts what is likely behind a warm room to the conditions that tell of it, and tells of heaters and doors. Pure.

What it puts to others changes nothing in whether, when or how they are told; what it tells itself wakes nobody.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

from alerts.causes import CREEP, DEFROST, DOOR, Likely, likely_cause
from alerts.conditions_astray import EITHER
from alerts.explained import WARM
from alerts.heard import Heard
from alerts.learned import Recent
from alerts.unit_watch import UnitWatch, about_of, lots_of
from alerts.weak_cooling import HOUR_S, LATE_S, is_weak, looked_at
from collector.findings import Condition
from collector.readings import Quantity

LONG_S = 4800.0
"""House, set on simulated nights: air above the limit for this long is no loading and no cleaning. [s]"""
NOT_OF_A_VALUE = ("channel_silent", "battery_low", "clock_wrong", "calibration_overdue")
"""Conditions of sensors that cast no doubt on what others say."""


def with_causes(watch: UnitWatch, found: Sequence[Condition]) -> list[Condition]:
    """Return the conditions, those of a warm room with its likely cause among their parameters."""
    if not any(c.kind in WARM for c in found):
        return list(found)
    likely = Likely(doubted=True) if doubtful(found) else cause_of(watch)
    creeps = next((str(c.parameters.get("cause") or "") for c in found if c.kind == "level_creeps"), "")
    if creeps and likely.cause in ("", CREEP) and not likely.doubted:
        # Days of it say more than the last one.
        likely = Likely(creeps)
    elif likely.cause == CREEP and sum(h.is_air for h in watch.channels.values()) < 2:
        # One sensor alone cannot tell a setting that creeps from its own drift.
        likely = replace(likely, cause=EITHER)
    figures: dict[str, float | int | str | None] = {}
    if likely.doubted:
        figures = {"cause": "", "cause_doubted": 1}
    elif likely.cause:
        figures = {"cause": likely.cause, "cause_at": likely.since_at, "cause_k": likely.shift_c}
        figures |= {name: round(value, 1) for name, value in figures.items() if isinstance(value, float)}
    return [replace(c, parameters={**c.parameters, **figures}) if c.kind in WARM else c for c in found]


def doubtful(found: Sequence[Condition]) -> bool:
    """Return whether a sensor of the unit may not say what the room does."""
    return any(c.category == "sensor" and c.kind not in NOT_OF_A_VALUE for c in found)


def heaters_and_doors(watch: UnitWatch, standing: Collection[str]) -> list[Condition]:
    """Return that a heater, or a door without a contact, has kept the air above the limit for long, by the air itself.

    Told already, it stands until the air has been below the limit.
    """
    if watch.at is None or watch.above_since is None:
        return []
    cause = cause_of(watch).cause if watch.at - watch.above_since >= LONG_S else ""
    has_contact = any(h.assignment.quantity is Quantity.DOOR for h in watch.channels.values())
    found = []
    if cause == DEFROST or "defrost_stays" in standing:
        found.append(_seen(watch, "defrost_stays", "equipment", "defrost_stays"))
    if (cause == DOOR or "door_open" in standing) and not has_contact:
        found.append(_seen(watch, "door_open", "door", "door_seems_open"))
    return found


def weak_cooling(watch: UnitWatch, *, stands: bool) -> Condition | None:
    """Return that a unit cools in fewer and slower turns than on the day before; for the day."""
    air = air_of(watch)
    if not air or not air[0].times:
        return None
    hour_at = air[0].times[-1] // HOUR_S * HOUR_S
    if watch.turning is None or watch.turning[0] != hour_at:
        watch.turning = (hour_at, looked_at(air[0]))
    if not is_weak(watch.turning[1], stands=stands):
        return None
    since = hour_at - LATE_S
    return Condition(
        watch.unit.id, "weak_cooling", "equipment", False, since, lots_of(watch), sentence="weak_cooling",
        parameters={**about_of(watch), "since_at": round(since)},
    )  # fmt: skip


def _seen(watch: UnitWatch, kind: str, category: str, sentence: str) -> Condition:
    since = cause_of(watch).since_at
    since = since if since is not None else watch.above_since or 0.0
    figures = {**about_of(watch), "since_at": round(since)}
    return Condition(watch.unit.id, kind, category, False, since, lots_of(watch), sentence=sentence, parameters=figures)


def air_of(watch: UnitWatch) -> list[Recent]:
    """Return what is kept of the air sensors that speak, the leading one first."""
    names = speaking(watch.channels, watch.recent, watch.blind)
    return [watch.recent[name] for name in names if watch.channels[name].is_air]


def cause_of(watch: UnitWatch) -> Likely:
    """Return what is likely behind the warmth of a unit, looked at anew with every reading that is kept."""
    names, air = speaking(watch.channels, watch.recent, watch.blind), air_of(watch)
    if not air or not air[0].times:
        return Likely()
    at = air[0].times[-1]
    if watch.likely is None or watch.likely[0] != at:
        doors = [watch.recent[name] for name in names if watch.channels[name].assignment.quantity is Quantity.DOOR]
        door, other = (doors[0] if doors else None), (air[1] if len(air) > 1 else None)
        watch.likely = (at, likely_cause(air[0], door, other))
    return watch.likely[1]


def speaking(channels: Mapping[str, Heard], recent: Mapping[str, Recent], blind: Collection[str] = ()) -> list[str]:
    """Return the channels that are not blind and not behind the latest, in the order in which they were assigned."""
    latest = max((h.measured_at for h in channels.values()), default=0.0)
    return [
        name
        for name, h in channels.items()
        if name in recent and name not in blind and latest - h.measured_at <= h.silent_after_s
    ]

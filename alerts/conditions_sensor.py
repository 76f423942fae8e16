"""Sensors that lie: stuck, jumping, in °F, at odds with their neighbour; and a door that stands open.

Pure: no clock, no I/O. None of this wakes anybody, and none of it silences anything: a blind sensor beside meat is told
as what it is, and what the air then seems to do is told as well.
"""

from collections.abc import Collection, Mapping
from itertools import combinations

from alerts.blind import FAHRENHEIT, STUCK, STUCK_S, in_fahrenheit, stuck_since
from alerts.conditions_astray import conditions_of_places
from alerts.heard import Heard
from alerts.learned import GRID_S, Recent, apart
from alerts.surroundings import TEMPERATURES
from collector.findings import Condition, Parameters
from collector.readings import Quantity
from collector.sample import Instant

JUMPS = 4
"""House: so many lone values in a day are a fault."""
APART_C, APART_S = 1.5, 7200.0
"""Rules e-12, house: neighbours this far apart for two hours. [K], [s]"""
DOOR_S = 3600.0
"""House: a door open this long is no loading and no cleaning. [s]"""


def conditions_of_sensors(
    about: Parameters, unit: str, channels: Mapping[str, Heard], recent: Mapping[str, Recent], now: Instant,
    standing: Collection[str], blind: Mapping[str, str] | None = None,
) -> list[Condition]:  # fmt: skip
    """Return what is wrong with the sensors of a unit, and whether its door has long stood open.

    `blind` says of sensors that tell nothing any more why: stuck, or in °F.
    """
    blind = blind or {}
    live = {
        name: recent[name] for name, h in channels.items()
        if name in recent and (still_sends(recent[name], h, now) if name in blind else not h.silent(now, stands=False))
    }  # fmt: skip
    thermometers = {name: r for name, r in live.items() if channels[name].assignment.quantity in TEMPERATURES}
    air = {name: r for name, r in thermometers.items() if channels[name].is_air}
    doors = {name: r for name, r in live.items() if channels[name].assignment.quantity is Quantity.DOOR}
    found = {
        "sensor_stuck": [
            n for n, r in thermometers.items() if blind.get(n) == STUCK or stuck(r, stands="sensor_stuck" in standing)
        ],
        # Over once it has not jumped for a day, as the words say that end it.
        "sensor_jumps": [
            n for n, r in thermometers.items() if len(r.jumps) >= (1 if "sensor_jumps" in standing else JUMPS)
        ],
        "sensor_unit": [
            n
            for n, r in thermometers.items()
            if blind.get(n) == FAHRENHEIT or in_fahrenheit(r, stands="sensor_unit" in standing)
        ],
        "sensors_disagree": disagreeing(
            {n: r for n, r in air.items() if n not in blind}, stands="sensors_disagree" in standing
        ),
        "door_open": [n for n, r in doors.items() if open_since(r) is not None],
    }
    found["sensor_jumps"] = [name for name in found["sensor_jumps"] if name not in found["sensor_unit"]]
    said = [_condition(kind, names, about, unit, live) for kind, names in found.items() if names]
    # What is stuck or in another unit of measure is told as that, and its level says nothing more.
    placed = {name: r for name, r in air.items() if name not in (*found["sensor_stuck"], *found["sensor_unit"])}
    return said + conditions_of_places(about, unit, placed, now, standing)


def still_sends(recent: Recent, heard: Heard, now: Instant) -> bool:
    """Return whether a sensor that tells nothing still sends."""
    return bool(recent.times) and now - recent.times[-1] <= heard.silent_after_s + GRID_S


def stuck(recent: Recent, *, stands: bool) -> bool:
    """Return whether a value has stood still for too long although it had moved before, and never rested so long."""
    since = recent.unchanged_since()
    if stands and since is not None and recent.times[-1] - since >= STUCK_S:
        return True
    return stuck_since(recent) is not None


def disagreeing(air: Mapping[str, Recent], *, stands: bool) -> list[str]:
    """Return the air sensors that are apart from one beside them; which of them is right, nobody can tell."""
    found: dict[str, None] = {}
    limit = APART_C - 0.3 if stands else APART_C
    for (name, one), (other_name, other) in combinations(air.items(), 2):
        since = min(one.times[-1], other.times[-1]) - APART_S if one.times and other.times else 0.0
        difference = apart(one, other, since)
        if difference is not None and abs(difference) > limit:
            found |= {name: None, other_name: None}
    return list(found)


def open_since(recent: Recent) -> Instant | None:
    """Return since when a contact has said that its door is open, where that is long; else None."""
    since = recent.unchanged_since()
    if since is None or recent.values[-1] < 0.5 or recent.times[-1] - since < DOOR_S:
        return None
    return since


def _condition(kind: str, names: list[str], about: Parameters, unit: str, recent: Mapping[str, Recent]) -> Condition:
    if kind in ("sensor_stuck", "door_open"):
        since = min(recent[name].unchanged_since() or recent[name].times[-1] for name in names)
    else:
        since = min(recent[name].times[0] for name in names)
    lots = str(about.get("lots") or "")
    figures = {**about, "since_at": round(since), "channels": ", ".join(sorted(names))}
    return Condition(
        unit, kind, "door" if kind == "door_open" else "sensor", False, since,
        tuple(lots.split(", ")) if lots else (), sentence=kind, parameters=figures,
    )  # fmt: skip

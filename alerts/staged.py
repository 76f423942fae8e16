"""A made-up warming of one unit, for a rehearsal: the kitchen it happens in, and what its sensor would say. Pure.

The people, the rota and the unit are those of the real kitchen; the batch and the sensor are not, so that nobody goes
and looks for a lot that stands there.
"""

import math
from collections.abc import Iterator

from collector.batches import AsMade, Method, Packing, Placement, Plan, Route
from collector.events import (
    BatchStarted,
    ChannelAssigned,
    Event,
    PersonDescribed,
    RotaDescribed,
    SiteDescribed,
    UnitDescribed,
)
from collector.kitchen import Kitchen
from collector.readings import Assignment, Quantity, Reading, Site, Unit
from collector.sample import Instant

LOT, CHANNEL = "DRILL", "drill/air"
QUIET_S = 6 * 3600.0
"""House: so long the made-up room is cold before it warms. [s]"""
EVERY_S = 60.0
BELOW_C = 2.0
"""House: so far below its limit the made-up air goes round before. [K]"""
CYCLE_C, CYCLE_S = 0.4, 1500.0
WARM_C, WARMING_S = 20.0, 3 * 3600.0
"""House: what the made-up air goes to once cooling has stopped, and with which time constant. [°C], [s]"""
TAU_S = 6 * 3600.0
"""As for a tub whose time constant nobody has measured. [s]"""


def staged(kitchen: Kitchen, site: Site, unit: Unit, begun_at: Instant) -> list[Event]:
    """Return what is described on the stage: the real site, unit, people and rota, a made-up sensor and batch."""
    plan = Plan(
        "drill", "beef", "brisket", Method.IMMERSION, Packing.UNDER_BRINE, Route.COOKED, 5 * 86_400.0, 55.0, 3.0,
        tau_s=TAU_S,
    )  # fmt: skip
    people = [PersonDescribed(one.id, one.name, one.roles) for one in kitchen.people.values()]
    placed = (Placement("1", unit.id, begun_at),)
    return [
        SiteDescribed(site),
        *people,
        RotaDescribed(kitchen.rota),
        UnitDescribed(unit),
        ChannelAssigned(Assignment(CHANNEL, Quantity.AIR_TEMPERATURE, unit.id, "drill", begun_at)),
        BatchStarted(LOT, plan, AsMade(3.0, brine_c=3.0, meat_c=3.0), placed),
    ]


def air_c(at: Instant, warms_at: Instant, limit_c: float) -> float:
    """Return what the made-up air says at an instant, to a hundredth. [°C]

    >>> round(air_c(0.0, 3600.0, 5.0), 1), air_c(3600.0 + 3 * 3600.0, 3600.0, 5.0) > 13.0
    (3.0, True)
    """
    base = limit_c - BELOW_C
    if at < warms_at:
        return round(base + CYCLE_C * math.sin(2.0 * math.pi * at / CYCLE_S), 2)
    return round(WARM_C + (base - WARM_C) * math.exp(-(at - warms_at) / WARMING_S), 2)


def readings(from_at: Instant, until_at: Instant, warms_at: Instant, limit_c: float) -> Iterator[Reading]:
    """Return what the made-up sensor sends from one instant until another, a reading a minute."""
    count = max(0, math.ceil((until_at - from_at) / EVERY_S))
    for n in range(count):
        at = from_at + n * EVERY_S
        yield Reading(CHANNEL, at, air_c(at, warms_at, limit_c), "Cel", at)

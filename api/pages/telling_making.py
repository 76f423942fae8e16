"""Entries about a batch's making and about instruments, in words."""

from collections.abc import Callable
from typing import Any

from alerts.sentences import clock_text
from api.pages.wording import degrees, short_text
from collector import events_making as m
from collector.kitchen import Kitchen

Words = Callable[[Any, Kitchen, str], str]
WHAT_COOKS = {"cook": "cooked", "cool": "cooled"}


def _core(event: m.CoreLogged, kitchen: Kitchen, zone: str) -> str:
    points = ", ".join(f"{degrees(value)} at {clock_text(at, zone)}" for at, value in event.log.points)
    how = WHAT_COOKS.get(event.log.stage, event.log.stage)
    return f"{event.lot}: core while it was {how}, by {event.log.probe}: {points}."


def _soaked(event: m.SoakLogged, kitchen: Kitchen, zone: str) -> str:
    s = event.soak
    span = f"from {clock_text(s.from_at, zone)} until {clock_text(s.until_at, zone)}"
    return f"{event.lot}: soaked {span} in water of {degrees(s.water_c)}."


def _merged(event: m.BatchesMerged, kitchen: Kitchen, zone: str) -> str:
    lots = " and ".join(dict.fromkeys(strand.lot for strand in event.strands))
    return f"{lots} became {event.child}; it carries the history of each."


def _calibrated(event: m.CalibrationEntered, kitchen: Kitchen, zone: str) -> str:
    c = event.calibration
    unit = "g" if c.kind == "scale" else "K"
    found, left = (f"{value:+g} {unit}".replace("-", "−") for value in (c.as_found, c.as_left))
    due = short_text(c.due_at, zone)
    return f"{c.instrument} was compared with {c.reference}: as found {found}, as left {left}; next due {due}."


WORDS: dict[type[Any], Words] = {
    m.PlanChanged: lambda v, k, z: f"{v.lot}: the plan was changed. Reason: {v.reason}",
    m.CoreLogged: _core,
    m.SoakLogged: _soaked,
    m.TaskReported: lambda v, k, z: (
        f"{v.lot}: {v.done.task} was done" + (f" ({v.done.note})" if v.done.note else "") + "."
    ),
    m.LabelReported: lambda v, k, z: f"{v.lot}: labelled: {v.label.words}",
    m.FoodDisposed: lambda v, k, z: (
        f"{v.lot}: {v.disposal.mass_kg:g} kg was destroyed: {v.disposal.how}. Seen by {v.disposal.witness}."
    ),
    m.BatchSplit: lambda v, k, z: f"{v.lot}: tubs {', '.join(v.tubs)} became {v.child}, with their whole history.",
    m.BatchesMerged: _merged,
    m.CompositionConfirmed: lambda v, k, z: (
        f"Curing salt {v.composition.curing_salt_lot}: the bag says {v.composition.nitrite_percent:g} % NaNO2 and "
        f"{v.composition.nitrate_percent:g} % NaNO3."
    ),
    m.CalibrationEntered: _calibrated,
    m.SensorUnderTest: lambda v, k, z: f"{v.channel} was taken out to be checked; its readings count for nothing now.",
    m.SensorBack: lambda v, k, z: f"{v.channel} stands in its place again.",
    m.SiteLimitSet: lambda v, k, z: (
        f"The site's own limit {v.limit} "
        + ("was taken back" if v.value is None else f"was set to {v.value:g}")
        + f". Reason: {v.reason}"
    ),
    m.NotePinned: lambda v, k, z: f"Note for the next shift: {v.text}",
    m.NoteSeen: lambda v, k, z: f"The note of entry {v.note} was read.",
}

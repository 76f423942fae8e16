"""The charts of a batch and of a unit, as specs that the browser draws."""

from collections.abc import Iterable

from fastapi import APIRouter
from fastapi.responses import JSONResponse, Response

from alerts.history import TubHistory
from api.auth.signed import OfficeHere, SignedIn
from api.charts import Array, Band, Line, Mark, Picture, Stretch, above, temperature_chart
from api.doing import NotThere
from api.office import Office
from api.pages.wording import degrees, long_text, short_text
from api.tonight import zone_of
from collector.batches import Batch
from collector.readings import Assignment, Quantity
from collector.sample import Instant

router = APIRouter()
UNIT_S = 2 * 86_400.0
SHORTEST_S = 60.0


def _air(office: Office, units: Iterable[str], from_at: Instant, until_at: Instant) -> Iterable[Line]:
    kitchen = office.present.kitchen
    for unit in units:
        for a in kitchen.assignments_of(unit):
            if a.quantity is Quantity.AIR_TEMPERATURE:
                yield _line(office, a, f"air, {kitchen.units[unit].name}", from_at, until_at)


def _line(office: Office, a: Assignment, name: str, from_at: Instant, until_at: Instant) -> Line:
    begin = max(from_at, a.from_at)
    series = office.readings.series(a.channel, begin, until_at if a.until_at is None else min(until_at, a.until_at))
    return Line(name, series.measured_at, series.values + a.offset_c)


def _stood(batch: Batch, unit: str, now: Instant) -> tuple[Instant, Instant]:
    spans = [(p.from_at, now if p.until_at is None else p.until_at) for p in batch.placements if p.unit == unit]
    return min(a for a, _ in spans), max(b for _, b in spans)


def _stretches(tubs: Iterable[TubHistory], limit_c: float, zone: str) -> Iterable[Stretch]:
    """Yield what is marked, once where tubs share it; what may have been in unknown time is in the band instead."""
    said: dict[tuple[Instant, Instant, str], str] = {}
    for tub in tubs:
        likely: Array = tub.likely_c
        for from_at, until_at in above(tub.times_at, likely, limit_c):
            if until_at - from_at < SHORTEST_S:
                continue
            most = float(likely[(tub.times_at >= from_at) & (tub.times_at < until_at)].max())
            words = f"{long_text(until_at - from_at)} from {short_text(from_at, zone)}, at most {degrees(most)}"
            said.setdefault((from_at, until_at, "above the limit"), words)
        for gap in tub.gaps:
            words = f"for {long_text(gap.until_at - gap.from_at)}: {gap.cause}"
            said.setdefault((gap.from_at, gap.until_at, "unknown"), words)
    return (Stretch(*span, words) for span, words in said.items())


@router.get("/batches/{lot}/chart.json")
def batch_chart(lot: str, office: OfficeHere, signed: SignedIn) -> Response:
    """Return the chart of a batch: estimate, air, limit, excursions and unknown time."""
    kitchen, now = office.present.kitchen, office.clock()
    batch = kitchen.batches.get(lot)
    history = office.history(lot) if batch is not None else None
    if batch is None or history is None:
        raise NotThere(f"nothing can be drawn of {lot}")
    zone = zone_of(kitchen)
    end = now if batch.ended_at is None else batch.ended_at
    units = [u for u in dict.fromkeys(p.unit for p in batch.placements) if u is not None and u in kitchen.units]
    limit_c = min((office.limit_of(kitchen, kitchen.units[u]) for u in units), default=5.0)
    air = [line for u in units for line in _air(office, [u], *_stood(batch, u, end))]
    meat = [Line(f"meat, tub {t.tub} (estimate)", t.times_at, t.likely_c, strong=True) for t in history.tubs]
    hands = (h for h in batch.hand_readings if h.measure == "temperature")
    marks = tuple(Mark(h.measured_at, h.value, f"{h.where}, {h.probe}") for h in hands)
    bands = tuple(Band(t.times_at, t.lower_c, t.upper_c) for t in history.tubs if bool(t.unknown.any()))
    picture = Picture(zone, limit_c, (*air, *meat), bands, tuple(_stretches(history.tubs, limit_c, zone)), marks)
    return JSONResponse(temperature_chart(picture))


@router.get("/units/{unit}/chart.json")
def unit_chart(unit: str, office: OfficeHere, signed: SignedIn) -> Response:
    """Return the chart of a unit's air over the last two days."""
    kitchen, now = office.present.kitchen, office.clock()
    if unit not in kitchen.units:
        raise NotThere(f"no unit is called {unit}")
    limit_c = office.limit_of(kitchen, kitchen.units[unit])
    lines = tuple(_air(office, [unit], now - UNIT_S, now + 60.0))
    return JSONResponse(temperature_chart(Picture(zone_of(kitchen, unit), limit_c, lines)))

"""*Tonight*: what stands, then every unit in order of the time left to act."""

import math
from collections.abc import Collection
from dataclasses import dataclass

from fastapi import APIRouter
from fastapi.responses import Response

from alerts.occasions import waits_for_morning
from alerts.sentences import clock_text
from api.actions.standing import BLOCKING, standing
from api.auth.signed import OfficeHere
from api.charts import Spark, spark
from api.office import Office
from api.pages.alarms import AlarmCard, card_of
from api.pages.aside import AsideLine, aside_now
from api.pages.forms import Form
from api.pages.frame import Framed
from api.pages.notes import NoteLine, note_form, notes_shown
from api.pages.rendering import Frame, show
from api.pages.ringing import Ringing, ringing
from api.pages.wording import DISPOSITIONS, left_text
from api.tonight import UnitNow, units_now, zone_of
from collector.batches import Batch
from collector.findings import Disposition
from collector.kitchen import Kitchen
from collector.readings import Quantity
from collector.sample import Instant

router = APIRouter()
SPARK_S = 12 * 3600.0
SPARKS_MOST = 24
"""House: with more units than this the small lines are left out; the sentences carry the page."""
DONE = {
    "answer": "Your answer is written down.",
    "note": "The note is pinned.",
    "seen": "It is written down that you read it.",
    "": "",
}


@dataclass(frozen=True, slots=True)
class Standing:
    """A batch in a unit, on one line."""

    lot: str
    words: str
    held: bool


@dataclass(frozen=True, slots=True)
class UnitRow:
    """One unit, one sentence."""

    id: str
    name: str
    sentence: str
    left: str
    urgent: bool
    stands: tuple[Standing, ...]
    spark: Spark | None


@dataclass(frozen=True, slots=True)
class Hold:
    """A batch that must not be used."""

    lot: str
    name: str
    word: str
    kind: str
    where: str
    signed: bool


@dataclass(frozen=True, slots=True)
class TonightContext:
    """Context of the page."""

    done: str
    alarms: tuple[AlarmCard, ...]
    morning: tuple[AlarmCard, ...]
    """What needs nobody before the first check of the morning."""
    morning_at: str
    aside: tuple[AsideLine, ...]
    """Units out of service, and planned work."""
    units: tuple[UnitRow, ...]
    holds: tuple[Hold, ...]
    waiting: tuple[Standing, ...]
    """Batches for which something else than to carry on is proposed, and nobody has signed."""
    notes: tuple[NoteLine, ...]
    note: Form | None
    ringing: Ringing


def morning_list(kitchen: Kitchen, now: Instant) -> dict[str, Instant]:
    """Return the alarms that are kept for the morning, each with the instant at which it is told."""
    found = {
        a.id: waits_for_morning(kitchen, a, now)
        for a in kitchen.active_alarms()
        if a.acknowledged_at is None and a.shelving is None
    }
    return {name: at for name, at in found.items() if at is not None}


def alarm_cards(
    kitchen: Kitchen, now: Instant, may_answer: bool, without: Collection[str] = ()
) -> tuple[AlarmCard, ...]:
    """Return the alarms: unanswered first, then answered ones, then shelved ones, then those that are over."""
    shown = [alarm for alarm in kitchen.alarms.values() if alarm.id not in without]
    cards = [card_of(kitchen, alarm, now, may_answer) for alarm in shown]
    order = ("stands", "answered", "shelved", "returned")
    return tuple(sorted(cards, key=lambda card: order.index(card.look)))


def standing_words(batch: Batch, kitchen: Kitchen, now: Instant) -> Standing:
    """Return a batch on one line: lot, what it is, its stage, and how it is decided."""
    stands = standing(kitchen, batch.lot)
    stage = batch.stage_at(now)
    parts = [batch.plan.name, f"stage {stage}" if stage is not None else ""]
    held = stands.disposition in BLOCKING
    if held and stands.disposition is not None:
        parts.append(f"{DISPOSITIONS[stands.disposition].upper()}: do not use")
    return Standing(batch.lot, ", ".join(part for part in parts if part), held)


def holds_of(kitchen: Kitchen) -> tuple[Hold, ...]:
    """Return the batches that must not be used, by lot."""
    found = []
    for lot, batch in sorted(kitchen.batches.items()):
        stands = standing(kitchen, lot)
        if batch.ended_at is not None or stands.disposition not in BLOCKING or stands.disposition is None:
            continue
        kept = stands.sign_off.sign_off.where_kept if stands.sign_off is not None else ""
        units = dict.fromkeys(p.unit for p in batch.placements if p.until_at is None and p.unit is not None)
        names = ", ".join(kitchen.units[u].name for u in units if u in kitchen.units)
        word = DISPOSITIONS[stands.disposition].upper()
        found.append(Hold(lot, batch.plan.name, word, str(stands.disposition), kept or names, stands.signed))
    return tuple(found)


def _spark(office: Office, row: UnitNow, now: Instant) -> Spark | None:
    kitchen = office.present.kitchen
    air = [a for a in kitchen.assignments_of(row.unit.id, now) if a.quantity is Quantity.AIR_TEMPERATURE]
    if not air:
        return None
    series = office.readings.series(air[0].channel, now - SPARK_S, now + 60.0)
    return spark(series.measured_at, series.values + air[0].offset_c, row.limit_c, (now - SPARK_S, now))


def _row(office: Office, row: UnitNow, now: Instant, sparks: bool) -> UnitRow:
    kitchen = office.present.kitchen
    return UnitRow(
        id=row.unit.id,
        name=row.unit.name,
        sentence=row.sentence,
        left=left_text(row.left_s, row.if_stays_s) if row.batches and row.estimates else "",
        urgent=math.isfinite(row.left_s),
        stands=tuple(standing_words(batch, kitchen, now) for batch in row.batches),
        spark=_spark(office, row, now) if sparks else None,
    )


def context(office: Office, frame: Frame, done: str = "", note: Form | None = None) -> TonightContext:
    """Return what *Tonight* shows."""
    kitchen, now = office.present.kitchen, office.clock()
    rows = units_now(kitchen, office.estimates(), office.limit_of, now)
    waits = (
        standing_words(batch, kitchen, now)
        for lot, batch in sorted(kitchen.batches.items())
        if batch.ended_at is None
        and standing(kitchen, lot).waits
        and standing(kitchen, lot).disposition is Disposition.EXTEND
    )
    morning = morning_list(kitchen, now)
    return TonightContext(
        done=DONE.get(done, ""),
        alarms=alarm_cards(kitchen, now, frame.operates, morning),
        morning=tuple(card_of(kitchen, kitchen.alarms[name], now, frame.operates) for name in morning),
        morning_at=clock_text(min(morning.values()), zone_of(kitchen)) if morning else "",
        aside=aside_now(kitchen, now),
        units=tuple(_row(office, row, now, len(rows) <= SPARKS_MOST) for row in rows),
        holds=holds_of(kitchen),
        waiting=tuple(waits),
        notes=notes_shown(kitchen, frame, now),
        note=(note or note_form()) if frame.operates else None,
        ringing=ringing(kitchen, now),
    )


@router.get("/")
def tonight(office: OfficeHere, frame: Framed, done: str = "") -> Response:
    """Return the page."""
    return show("tonight.html", context(office, frame, done), frame)

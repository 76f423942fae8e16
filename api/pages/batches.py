"""The list of batches, and the form that starts one."""

from dataclasses import dataclass, replace

from fastapi import APIRouter
from fastapi.responses import RedirectResponse, Response

from alerts.rulebook.book import Rulebook
from api.actions.faults import Result
from api.actions.making import start_batch
from api.actions.standing import BLOCKING, standing
from api.auth.signed import OfficeHere, Operator
from api.doing import book_of
from api.office import Office
from api.pages.batch_forms import SHEET_FIELDS, unit_options
from api.pages.forms import Field, Form, Kind, carry_out, compacted
from api.pages.frame import Framed, Typed
from api.pages.making_forms import PARASITES, WHOLE_OR_OPENED
from api.pages.rendering import show
from api.pages.wording import DISPOSITIONS, short_text
from api.schemas import StartBatch
from api.tonight import zone_of
from collector.batches import Batch, Method, Packing, Route, Stage
from collector.kitchen import Kitchen
from collector.sample import Instant

router = APIRouter()
MEATS = tuple((m, m) for m in ("pork", "beef", "lamb", "poultry", "game", "offal"))
TUB_ROWS = 4
CLASS_HINT = "It sets the limit of nitrite. Bacon must be said to be bacon."
BASES = (("method two", "as if brine and meat came to rest"), ("method one", "by the pick-up that was measured"))
ENDED_SHOWN, LIVING_SHOWN = 100, 150


@dataclass(frozen=True, slots=True)
class BatchRow:
    """A batch on the list."""

    lot: str
    name: str
    words: str
    kind: str
    disposition: str
    signed: bool
    held: bool


@dataclass(frozen=True, slots=True)
class BatchesContext:
    """Context of the list."""

    living: tuple[BatchRow, ...]
    ended: tuple[BatchRow, ...]
    left_out: int
    next: int | None
    """The next page of the living, where there is one."""


@dataclass(frozen=True, slots=True)
class StartContext:
    """Context of the page that starts a batch."""

    form: Form


def row_of(kitchen: Kitchen, batch: Batch, now: Instant) -> BatchRow:
    """Return a batch on one line."""
    stands, zone = standing(kitchen, batch.lot), zone_of(kitchen)
    units = dict.fromkeys(p.unit for p in batch.placements if p.until_at is None and p.unit is not None)
    where = ", ".join(kitchen.units[u].name for u in units if u in kitchen.units)
    stage = batch.stage_at(now)
    parts = [
        f"Stage {stage}" if stage is not None else "",
        f"in {where}" if where else "out of any unit",
        f"cure until {short_text(kitchen.cure_end_at(batch.lot), zone)}",
    ]
    words = "; ".join(part for part in parts if part)
    if batch.ended_at is not None:
        words = f"Ended {short_text(batch.ended_at, zone)}"
    kind = str(stands.disposition) if stands.disposition is not None else "none"
    said = DISPOSITIONS[stands.disposition] if stands.disposition is not None else "not judged yet"
    held = stands.disposition in BLOCKING and batch.ended_at is None
    signed = stands.signed or stands.disposition is None
    return BatchRow(batch.lot, batch.plan.name, words, kind, said, signed, held)


@router.get("/batches")
def batches(office: OfficeHere, frame: Framed, page: int = 0) -> Response:
    """Return the list: what must not be used first, then by lot; what has ended last."""
    kitchen, now = office.present.kitchen, office.clock()
    living = [b for b in kitchen.batches.values() if b.ended_at is None]
    ended = sorted((b for b in kitchen.batches.values() if b.ended_at is not None), key=lambda b: -(b.ended_at or 0.0))
    rows = sorted((row_of(kitchen, b, now) for b in living), key=lambda row: (not row.held, row.lot))
    first = max(0, page) * LIVING_SHOWN
    following = max(0, page) + 1 if first + LIVING_SHOWN < len(rows) else None
    shown = tuple(row_of(kitchen, b, now) for b in ended[:ENDED_SHOWN]) if following is None else ()
    left_out = max(0, len(ended) - ENDED_SHOWN)
    context = BatchesContext(tuple(rows[first : first + LIVING_SHOWN]), shown, left_out, following)
    return show("batches.html", context, frame)


METHODS, PACKINGS, ROUTES = (tuple((one.value, one.value) for one in kind) for kind in (Method, Packing, Route))


INSIDE = (("", "whole or opened: not said"), *WHOLE_OR_OPENED)
CONTROLS = (("", "nothing said"), *PARASITES)


def plan_fields(classes: tuple[tuple[str, str], ...]) -> tuple[Field, ...]:
    """Return the fields of a plan, with these classes of product to choose from."""
    return (
        Field("plan.name", "What it is called", needed=True, half=True),
        Field("plan.meat", "Meat", Kind.CHOICE, options=MEATS, needed=True, group="Plan", half=True),
        Field("plan.cut", "Cut", needed=True, half=True),
        Field("plan.method", "Method", Kind.CHOICE, options=METHODS, needed=True, half=True),
        Field("plan.packing", "Packing", Kind.CHOICE, options=PACKINGS, needed=True, half=True),
        Field("plan.route", "To be eaten", Kind.CHOICE, options=ROUTES, needed=True, half=True),
        Field("plan.cure_days", "Days in the cure", Kind.NUMBER, unit="days", needed=True, half=True),
        Field("plan.thickness_mm", "Thickest piece", Kind.NUMBER, unit="mm", needed=True, half=True),
        Field("plan.meat_kg", "Meat", Kind.NUMBER, unit="kg", needed=True, half=True),
        Field("plan.water_kg", "Water", Kind.NUMBER, unit="kg", half=True),
        Field("plan.salt_kg", "Salt", Kind.NUMBER, unit="kg", half=True),
        Field("plan.sugar_kg", "Sugar", Kind.NUMBER, unit="kg", half=True),
        Field("plan.curing_salt_kg", "Curing salt", Kind.NUMBER, unit="kg", half=True),
        Field("plan.nitrite_percent", "Nitrite in the curing salt", Kind.NUMBER, unit="%", half=True),
        Field("plan.nitrate_percent", "Nitrate in the curing salt", Kind.NUMBER, unit="%", half=True),
        Field("plan.product_class", "Class of product", Kind.CHOICE, CLASS_HINT, options=classes, half=True),
        Field("plan.pump_percent", "If injected: brine that goes in", Kind.NUMBER, unit="% of the meat", half=True),
        Field("plan.nitrite_basis", "Nitrite under brine", Kind.CHOICE, options=BASES, half=True),
        Field("plan.pickup_percent", "Brine taken up, measured", Kind.NUMBER, unit="% of the meat", half=True),
        Field("plan.vessel", "It stands in", hint="Plastic, glass, stainless: what the vessel is made of.", half=True),
        Field("plan.opened", "The meat is", Kind.CHOICE, options=INSIDE, half=True),
        Field("plan.process", "If eaten uncooked: its process, with its number", half=True),
        Field("plan.process_aw", "Water activity that it asks for", Kind.NUMBER, half=True),
        Field("plan.parasite_control", "Parasites are controlled by", Kind.CHOICE, options=CONTROLS, half=True),
        Field("plan.bone_in", "Bone in", Kind.TICK),
    )  # fmt: skip


def class_options(book: Rulebook | None) -> tuple[tuple[str, str], ...]:
    """Return the classes of product to choose from, those that nothing here judges left out."""
    judged = () if book is None else tuple((one.id, one.words) for one in book.classes.values() if one.judged)
    return (("", "by the method, or not chosen"), *judged)


def start_form(kitchen: Kitchen, book: Rulebook | None = None) -> Form:
    """Return the form that starts a batch."""
    units = unit_options(kitchen)
    tubs = tuple(
        field
        for row in range(TUB_ROWS)
        for field in (
            Field(
                f"tubs.{row}.tub",
                f"Tub {row + 1}: its name",
                needed=row == 0,
                half=True,
                optional="if any",
                group="" if row else "Tubs",
            ),
            Field(f"tubs.{row}.unit", "put into", Kind.CHOICE, options=units, needed=row == 0, half=True),
        )
    )
    first, *others = SHEET_FIELDS
    made = (replace(first, group="As made: what scale and thermometer said"), *others)
    stages = tuple((stage.value, stage.value) for stage in Stage)
    when = (
        Field("stage", "Stage", Kind.CHOICE, options=stages, needed=True, half=True, group="Since when"),
        Field("started_at", "Filled at", Kind.WHEN, "Leave it empty for now.", half=True),
    )
    values = {"tubs.0.tub": "1", "stage": Stage.CURE.value, "plan.packing": Packing.UNDER_BRINE.value}
    note = "Empty fields are “not entered”, never zero. A cold brine and cold meat are part of the record: enter both."
    lot = Field("lot", "Lot code", hint="As on the label: letters, digits, dot, dash.", needed=True, half=True)
    fields = (lot, *plan_fields(class_options(book)), *tubs, *made, *when)
    return Form("start", "Start a batch", "/batches/new", "Start the batch", fields, values, note=note)


def _form(office: Office) -> Form:
    kitchen = office.present.kitchen
    return start_form(kitchen, book_of(office, kitchen, next(iter(kitchen.units), None)))


@router.get("/batches/new")
def new_batch(office: OfficeHere, frame: Framed, signed: Operator) -> Response:
    """Return the page that starts a batch."""
    return show("start.html", StartContext(_form(office)), frame)


def _start(office: Office, typed: dict[str, str], signed: Operator) -> Form | None:
    kitchen = office.present.kitchen
    sent = compacted(typed, {"tubs": "tub"})

    def act(kitchen: Kitchen, asked: StartBatch) -> Result:
        book = book_of(office, kitchen, asked.tubs[0].unit if asked.tubs else None)
        return start_batch(kitchen, asked, signed.person, office.clock(), book)

    return carry_out(office, _form(office), sent, zone_of(kitchen), StartBatch, act)


@router.post("/batches/new")
def batch_started(office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    """Start a batch."""
    refused = _start(office, typed, signed)
    if refused is not None:
        return show("start.html", StartContext(refused), frame, 422)
    return RedirectResponse(f"/batches/{typed['lot'].strip()}?done=start", 303)

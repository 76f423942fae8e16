"""The forms of a batch's page: what each asks for, and what stands in it at first."""

from api.actions.signing import choices
from api.actions.standing import Standing
from api.pages.forms import Field, Form, Kind, local_field
from api.pages.wording import DISPOSITIONS
from collector.batches import Batch, Placement, Stage, Where
from collector.kitchen import Kitchen

NOW_HINT = "Leave it empty for now."
BENCH = ("", "out on the bench")
MEASURES = (
    ("temperature", "temperature, °C"),
    ("strength", "strength of the brine, % salt"),
    ("ph", "pH"),
    ("aw", "water activity"),
    ("mass", "weight, kg"),
    ("salt", "salt of the meat's water, %"),
    ("nitrite", "nitrite that remains, ppm in the unit of the class"),
)
WHERE_WORDS = {
    Where.BRINE: "in the brine",
    Where.CORE: "in the core of the meat",
    Where.SURFACE: "on the surface",
    Where.AIR: "in the air",
}
BRINES = (("", "not entered"), ("fresh", "fresh"), ("reused", "reused"), ("topped up", "topped up"))
SHEET_FIELDS = (
    Field("as_made.meat_kg", "Meat", Kind.NUMBER, unit="kg", needed=True, half=True),
    Field("as_made.water_kg", "Water", Kind.NUMBER, unit="kg", half=True),
    Field("as_made.salt_kg", "Salt", Kind.NUMBER, unit="kg", half=True),
    Field("as_made.sugar_kg", "Sugar", Kind.NUMBER, unit="kg", half=True),
    Field("as_made.curing_salt_kg", "Curing salt", Kind.NUMBER, unit="kg", half=True),
    Field("as_made.nitrite_percent", "Nitrite by its bag", Kind.NUMBER, unit="%", half=True),
    Field("as_made.nitrate_percent", "Nitrate by its bag", Kind.NUMBER, unit="%", half=True),
    Field("as_made.pumped_kg", "Meat after injection", Kind.NUMBER, unit="kg", half=True),
    Field("as_made.curing_salt_lot", "Lot of the curing salt", half=True),
    Field("as_made.scale", "Scale, and its division", half=True),
    Field("as_made.brine_c", "Brine at filling", Kind.NUMBER, unit="°C", half=True),
    Field("as_made.meat_c", "Core of the meat at filling", Kind.NUMBER, unit="°C", half=True),
    Field("as_made.brine_boiled_at", "Brine was boiled", Kind.WHEN, half=True),
    Field("as_made.brine_state", "The brine is", Kind.CHOICE, options=BRINES, half=True),
    Field("as_made.scale_division_g", "Smallest step of the scale", Kind.NUMBER, unit="g", half=True),
    Field("as_made.delivery_c", "Meat at delivery", Kind.NUMBER, unit="°C", half=True),
    Field("as_made.use_by_at", "Use by, of the meat", Kind.WHEN, half=True),
    Field("as_made.supplier_lots", "Supplier lots", Kind.LIST, "Several are parted by commas."),
)


def unit_options(kitchen: Kitchen, first: tuple[str, str] | None = None) -> tuple[tuple[str, str], ...]:
    """Return the units to choose from, by name."""
    units = sorted(kitchen.units.values(), key=lambda unit: unit.name)
    return (*((first,) if first is not None else ()), *((unit.id, unit.name) for unit in units))


def _tubs(batch: Batch, *, whole: bool = False) -> tuple[tuple[str, str], ...]:
    every = (("", "the whole batch"),) if whole else ()
    return (*every, *((tub, f"tub {tub}") for tub in batch.tubs))


def figure(value: float | None) -> str:
    """Return a figure as a field shows it; empty where there is none."""
    return "" if value is None else f"{value:g}"


def move_form(kitchen: Kitchen, batch: Batch) -> Form:
    """Return the form for carrying a tub to another unit, or out on the bench."""
    fields = (
        Field("tub", "Which tub", Kind.CHOICE, options=_tubs(batch), needed=True, half=True),
        Field("unit", "Carried to", Kind.CHOICE, options=unit_options(kitchen, BENCH), needed=False, half=True),
        Field("bench_c", "If out on the bench: air there, about", Kind.NUMBER, unit="°C", half=True),
        Field("at", "When", Kind.WHEN, NOW_HINT, optional="", half=True),
    )
    first = {"unit": next((u for u in sorted(kitchen.units) if not batch.stands_in(u, batch.started_at)), "")}
    return Form(
        "move", "Move a tub, or take it out on the bench", f"/batches/{batch.lot}/move", "Write it down", fields, first
    )


def hand_form(batch: Batch) -> Form:
    """Return the form for a hand reading."""
    fields = (
        Field("value", "It reads", Kind.NUMBER, needed=True, half=True),
        Field("measure", "What was measured", Kind.CHOICE, options=MEASURES, needed=True, half=True),
        Field(
            "where",
            "Where",
            Kind.CHOICE,
            options=tuple((w.value, t) for w, t in WHERE_WORDS.items()),
            needed=True,
            half=True,
        ),
        Field("tub", "In which tub", Kind.CHOICE, options=_tubs(batch, whole=True), half=True),
        Field("probe", "With which probe or instrument", needed=True, half=True),
        Field("measured_at", "When", Kind.WHEN, NOW_HINT, optional="", half=True),
        Field("lot", "Lot", Kind.HIDDEN),
    )
    where = Where.BRINE if batch.plan.packing == "under brine" else Where.CORE
    values = {"measure": "temperature", "where": where.value, "lot": batch.lot}
    return Form("hand", "Enter a hand reading", f"/batches/{batch.lot}/hand", "Write it down", fields, values)


def action_form(batch: Batch, zone: str, excursion_at: float | None) -> Form:
    """Return the form for a corrective action, in its four fields."""
    fields = (
        Field("excursion_at", "Which excursion: it began", Kind.WHEN, needed=True),
        Field("cause", "Cause", Kind.WORDS, needed=True),
        Field("control_regained", "Control regained how", Kind.WORDS, needed=True),
        Field("prevention", "What prevents it from coming back", Kind.WORDS, needed=True),
        Field("food_disposed", "What was done with the food", Kind.WORDS, needed=True),
    )
    values = {"excursion_at": local_field(excursion_at, zone)}
    return Form(
        "action", "Enter cause and corrective action", f"/batches/{batch.lot}/action", "Write it down", fields, values
    )


def as_made_form(batch: Batch, zone: str) -> Form:
    """Return the form that completes or corrects the as-made sheet."""
    made = batch.as_made
    numbers = {
        name: figure(getattr(made, name))
        for name in (
            "meat_kg",
            "water_kg",
            "salt_kg",
            "sugar_kg",
            "curing_salt_kg",
            "nitrite_percent",
            "nitrate_percent",
            "pumped_kg",
            "brine_c",
            "meat_c",
            "scale_division_g",
            "delivery_c",
        )
    }
    words = {
        "curing_salt_lot": made.curing_salt_lot,
        "scale": made.scale,
        "supplier_lots": ", ".join(made.supplier_lots),
        "brine_boiled_at": local_field(made.brine_boiled_at, zone),
        "brine_state": made.brine_state,
        "use_by_at": local_field(made.use_by_at, zone),
    }
    values = {f"as_made.{name}": value for name, value in {**numbers, **words}.items()}
    fields = (*SHEET_FIELDS, Field("reason", "Why it is completed or corrected", Kind.WORDS, needed=True))
    return Form(
        "sheet",
        "Complete or correct the as-made sheet",
        f"/batches/{batch.lot}/as-made",
        "Write it down",
        fields,
        values,
        note="An empty field is “not entered”, never zero. The first sheet stays in the journal.",
    )


def _place_fields(row: int, kitchen: Kitchen) -> tuple[Field, ...]:
    name = f"placements.{row}"
    return (
        Field(f"{name}.from_at", "From", Kind.WHEN, group=f"Place {row + 1}", half=True),
        Field(f"{name}.until_at", "Until", Kind.WHEN, half=True),
        Field(f"{name}.unit", "Stood in", Kind.CHOICE, options=unit_options(kitchen, BENCH), half=True),
        Field(f"{name}.bench_c", "If on the bench: air there, about", Kind.NUMBER, unit="°C", half=True),
    )


def places_form(kitchen: Kitchen, batch: Batch, tub: str, zone: str, rows: int | None = None) -> Form:
    """Return the form that puts right where a tub stood; one place more than there is can be entered."""
    placed: list[Placement] = [p for p in batch.placements if p.tub == tub]
    values = {"tub": tub}
    for row, p in enumerate(placed):
        name = f"placements.{row}"
        values |= {
            f"{name}.from_at": local_field(p.from_at, zone),
            f"{name}.until_at": local_field(p.until_at, zone),
            f"{name}.unit": p.unit or "",
            f"{name}.bench_c": figure(p.bench_c),
        }
    count = len(placed) + 1 if rows is None else max(rows, len(placed) + 1)
    fields = (
        Field("tub", "Tub", Kind.HIDDEN),
        *(one for row in range(count) for one in _place_fields(row, kitchen)),
        Field("reason", "Why the record was wrong", Kind.WORDS, needed=True, group="Reason"),
    )
    note = (
        "Each place ends exactly where the next begins; the last one has no end. "
        "Empty the “from” of a place to take it out."
    )
    return Form(
        f"places-{batch.tubs.index(tub)}",
        f"Correct where tub {tub} stood",
        f"/batches/{batch.lot}/places",
        "Put it right",
        fields,
        values,
        note=note,
    )


def stage_form(batch: Batch) -> Form:
    """Return the form for the next stage."""
    order = list(Stage)
    now = batch.stages[-1].stage
    after = order[min(order.index(now) + 1, len(order) - 1)]
    options = tuple((stage.value, stage.value) for stage in order if stage is not now)
    fields = (
        Field("stage", "Stage", Kind.CHOICE, options=options, needed=True, half=True),
        Field("from_at", "Since", Kind.WHEN, NOW_HINT, optional="", half=True),
    )
    return Form(
        "stage",
        "Go on to another stage",
        f"/batches/{batch.lot}/stage",
        "Write it down",
        fields,
        {"stage": after.value},
    )


def end_form(batch: Batch) -> Form:
    """Return the form that ends a batch."""
    fields = (
        Field("reason", "What became of it", Kind.WORDS, needed=True),
        Field("ended_at", "When", Kind.WHEN, NOW_HINT, optional=""),
    )
    return Form("end", "End the batch", f"/batches/{batch.lot}/end", "End it", fields)


def sign_form(batch: Batch, stands: Standing, where: str) -> Form:
    """Return the form in which an approver signs; it names the proposal that was looked at."""
    options = tuple((one.value, DISPOSITIONS[one]) for one in choices(stands))
    fields = (
        Field("disposition", "I decide", Kind.CHOICE, options=options, needed=True),
        Field("reason", "Because", Kind.WORDS, needed=True),
        Field("where_kept", "While it is held it stands in", hint="Needed for a hold. Mark the food there."),
        Field("proposal", "Proposal", Kind.POSITION),
    )
    values = {"where_kept": where}
    if stands.proposal is not None:
        values["proposal"] = str(stands.proposal.position)
    return Form("sign", "Decide and sign", f"/batches/{batch.lot}/sign", "Sign with my name", fields, values)

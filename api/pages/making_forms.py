"""The forms of a batch's page for its way out: cook and cooling, soak, label, change of plan, food destroyed."""

from alerts.stage_windows import MAY_BE_WARM
from api.actions.amending import route_locked
from api.pages.batch_forms import NOW_HINT, figure
from api.pages.forms import Field, Form, Kind
from collector.batches import Batch, Route, Stage
from collector.kitchen import Kitchen

CORES = (("cook", "cooking"), ("cool", "cooling"))
AS_IT_STANDS = ("", "as it stands")
PARASITES = (
    ("freezing", "freezing"),
    ("tested carcass", "a tested carcass"),
    ("published cure", "a published cure"),
    ("officially tested meat", "officially tested meat"),
)
WHOLE_OR_OPENED = (
    ("whole", "a whole piece, its inside never opened"),
    ("opened", "needled, jointed, or boned and rolled"),
)
BASES = (AS_IT_STANDS, ("method two", "Method Two"), ("method one", "Method One, measured pick-up"))
WROTE = "Write it down"


def core_form(batch: Batch) -> Form:
    """Return the form for a core log: lines of time and temperature, as they stand on the kitchen's own sheet."""
    hint = "One line for each time it was read: 12:05 54.4. A time earlier than the line above is of the next day."
    fields = (
        Field("stage", "While it was", Kind.CHOICE, options=CORES, needed=True, half=True),
        Field("probe", "With which probe", needed=True, half=True),
        Field("entries", "Time and core, in °C", Kind.LINES, hint, needed=True),
        Field(
            "day", "Day of the first line", hint="As 2026-11-25; empty where the last line was not long ago.", half=True
        ),
        Field("note", "Which piece, and anything else", half=True),
    )
    cooled = batch.core_logs and batch.core_logs[-1].stage == "cook"
    now_cools = batch.stages[-1].stage is Stage.COOL or cooled
    note = "The coldest point of the thickest piece. Log a cooling until the core is as cold as the room."
    values = {"stage": "cool" if now_cools else "cook"}
    return Form("core", "Log cooking or cooling", f"/batches/{batch.lot}/core", WROTE, fields, values, note=note)


def soak_form(batch: Batch) -> Form:
    """Return the form for a soak."""
    fields = (
        Field("from_at", "Into the water", Kind.WHEN, needed=True, half=True),
        Field("until_at", "Out of it", Kind.WHEN, needed=True, half=True),
        Field("water_c", "The water", Kind.NUMBER, unit="°C", needed=True, half=True),
    )
    return Form("soak", "Log a soak", f"/batches/{batch.lot}/soak", WROTE, fields)


def label_form(batch: Batch) -> Form:
    """Return the form for a label."""
    fields = (
        Field("words", "What is written on it", Kind.WORDS, "Allergens, and how it was cured.", needed=True),
        Field("cook_before_eating", "It says: cook before eating", Kind.TICK),
        Field("applied_at", "When", Kind.WHEN, NOW_HINT, optional=""),
    )
    return Form("label", "Say what is on the label", f"/batches/{batch.lot}/label", WROTE, fields)


def disposal_form(batch: Batch) -> Form:
    """Return the form for food that was destroyed."""
    fields = (
        Field("mass_kg", "How much", Kind.NUMBER, unit="kg", needed=True, half=True),
        Field("witness", "Who saw it", needed=True, half=True),
        Field("how", "How it was destroyed, so that nobody eats it", Kind.WORDS, needed=True),
        Field("disposed_at", "When", Kind.WHEN, NOW_HINT, optional=""),
    )
    return Form("disposal", "Say what was destroyed", f"/batches/{batch.lot}/disposal", WROTE, fields)


def route_form(kitchen: Kitchen, batch: Batch) -> Form:
    """Return the form by which an approver turns a batch to another route."""
    open_to = (Route.COOKED,) if route_locked(kitchen, batch.lot) else tuple(Route)
    routes = tuple((one.value, one.value) for one in open_to if one is not batch.plan.route)
    fields = (
        Field("route", f"It was to be {batch.plan.route}; now", Kind.CHOICE, options=routes, needed=True),
        Field("reason", "Because", Kind.WORDS, needed=True),
    )
    note = "What cooking kills need not be thrown away: before it is, it may be cooked. Toxins stay."
    first = routes[0][0] if routes else ""
    values = {"route": first}
    title = "Change its route" if routes else "Its route is cooked, or nothing"
    return Form("route", title, f"/batches/{batch.lot}/route", "Sign with my name", fields, values, note=note)


def plan_form(batch: Batch) -> Form:
    """Return the form by which an approver changes anything else in a plan; an empty field stays as it is."""
    p = batch.plan
    stages = tuple((stage.value, stage.value) for stage in MAY_BE_WARM)
    fields = (
        Field("process", "Process of the uncooked route, with its number", half=True),
        Field("process_aw", "Water activity that it asks for", Kind.NUMBER, half=True),
        Field(
            "parasite_control",
            "Parasites are controlled by",
            Kind.CHOICE,
            options=(AS_IT_STANDS, *PARASITES),
            half=True,
        ),
        Field("inside", "The meat is", Kind.CHOICE, options=(AS_IT_STANDS, *WHOLE_OR_OPENED), half=True),
        Field("windows.0.stage", "Stage", Kind.CHOICE, options=stages, group="Window of a warm stage", half=True),
        Field("windows.0.source", "Who says so: approved process and number, or house", half=True),
        Field("windows.0.lowest_c", "Coldest", Kind.NUMBER, unit="°C", half=True),
        Field("windows.0.highest_c", "Warmest", Kind.NUMBER, unit="°C", half=True),
        Field("windows.0.longest_days", "At most", Kind.NUMBER, unit="days", half=True),
        Field("product_class", "Class of the rulebook", group="Nitrite", half=True),
        Field("nitrite_basis", "Reckoned by", Kind.CHOICE, options=BASES, half=True),
        Field("pickup_percent", "Measured pick-up", Kind.NUMBER, unit="%", half=True),
        Field("nitrite_percent", "Nitrite in the curing salt", Kind.NUMBER, unit="%", half=True),
        Field("controlling_factor", "In a sealed pack, what holds botulinum back", half=True),
        Field("meat_kg", "Meat", Kind.NUMBER, unit="kg", group="Masses", half=True),
        Field("water_kg", "Water", Kind.NUMBER, unit="kg", half=True),
        Field("salt_kg", "Salt", Kind.NUMBER, unit="kg", half=True),
        Field("sugar_kg", "Sugar", Kind.NUMBER, unit="kg", half=True),
        Field("curing_salt_kg", "Curing salt", Kind.NUMBER, unit="kg", half=True),
        Field("reason", "Why the plan is changed", Kind.WORDS, needed=True, group="Reason"),
    )
    masses = ("meat_kg", "water_kg", "salt_kg", "sugar_kg", "curing_salt_kg", "nitrite_percent", "pickup_percent")
    values = {name: figure(getattr(p, name)) for name in (*masses, "process_aw")}
    values |= {"process": p.process, "product_class": p.product_class, "controlling_factor": p.controlling_factor}
    note = "An empty field stays as it is; a window takes the place of the one of its stage."
    return Form("plan", "Change the plan", f"/batches/{batch.lot}/plan", "Sign with my name", fields, values, note=note)


def making_forms(kitchen: Kitchen, batch: Batch) -> dict[str, Form]:
    """Return these forms of a batch by the last part of their address."""
    return {
        "core": core_form(batch),
        "soak": soak_form(batch),
        "label": label_form(batch),
        "disposal": disposal_form(batch),
        "route": route_form(kitchen, batch),
        "plan": plan_form(batch),
    }


DONE = {
    "task": "What was done is written down.",
    "split": "The tubs are a batch of their own now, with their whole history.",
    "merge": "The batches are one now; this one has ended, and its history goes on in the new lot.",
    "core": "The core log is written down; the batch is judged again with it.",
    "soak": "The soak is written down.",
    "label": "The label is written down; the batch is judged again with it.",
    "disposal": "What was destroyed is written down.",
    "route": "The route is changed under your name; the batch is judged again by it.",
    "plan": "The plan is changed under your name; the batch is judged again by it.",
}
LOGS, LOGS_OF_ENDED = ("task", "core", "soak", "label", "disposal", "split"), ("core", "label")
SIGNED = ("route", "plan", "merge")

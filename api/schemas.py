"""What a person or a program may send: every request as a strict model, the same for the JSON API and for forms.

Instants come as RFC 3339 with an offset or as seconds since 1970; inside they are seconds since 1970.
"""

import math
import re
import unicodedata
from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints, WithJsonSchema

from collector.batches import Method, Packing, Route, Stage, Where
from collector.findings import Disposition
from collector.readings import Quantity

EARLIEST_AT, LATEST_AT = 946_684_800.0, 4_102_444_800.0
"""2000 and 2100: seconds outside are milliseconds, or a slip."""


def read_instant(value: object) -> float:
    """Return seconds since 1970 from RFC 3339 text with an offset, or from a number of seconds.

    Raises
    ------
    ValueError
        If it is neither, has no offset, or is no time of this century.
    """
    if isinstance(value, str):
        try:
            local = datetime.fromisoformat(value)
        except ValueError as fault:
            raise ValueError("is no time; write it as 2026-11-25T14:30:00+00:00") from fault
        if local.tzinfo is None:
            raise ValueError("has no offset from UTC; write it as 2026-11-25T14:30:00+00:00")
        value = local.timestamp()
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise ValueError("is no time; write it as 2026-11-25T14:30:00+00:00")
    if not EARLIEST_AT <= value < LATEST_AT:
        raise ValueError("is no time of this century; write seconds since 1970, or 2026-11-25T14:30:00+00:00")
    return round(float(value), 3)


def read_instant_of_address(value: object) -> float:
    """Return the instant that stands in an address, where a number is text and an unescaped plus became a space.

    Raises
    ------
    ValueError
        If there is none.
    """
    if isinstance(value, str):
        if re.fullmatch(r"\d{1,12}(\.\d{1,6})?", value):
            return read_instant(float(value))
        value = re.sub(r" (?=\d\d:\d\d$)", "+", value)
    return read_instant(value)


def readable(text: str) -> str:
    """Return a text as it is, unless it holds characters that are not seen or that turn the line around.

    Raises
    ------
    ValueError
        If it does.
    """
    if any(unicodedata.category(c) in ("Cc", "Cf", "Cs", "Co", "Cn") and c not in "\n\u200d" for c in text):
        raise ValueError("holds characters that cannot be seen; type it again")
    return text


Moment = Annotated[
    float,
    BeforeValidator(read_instant),
    WithJsonSchema({"anyOf": [{"type": "string", "format": "date-time"}, {"type": "number"}]}),
]
AddressMoment = Annotated[
    float,
    BeforeValidator(read_instant_of_address),
    WithJsonSchema({"anyOf": [{"type": "string", "format": "date-time"}, {"type": "number"}]}),
]
Name = Annotated[
    str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80), AfterValidator(readable)
]  # fmt: skip
Short = Annotated[str, StringConstraints(strip_whitespace=True, max_length=80), AfterValidator(readable)]
Words = Annotated[
    str, StringConstraints(strip_whitespace=True, min_length=3, max_length=1000), AfterValidator(readable)
]  # fmt: skip
Code = Annotated[str, StringConstraints(strip_whitespace=True, pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,39}$")]
"""A lot code or an id: it stands in addresses and on labels."""
Figure = Annotated[float, Field(allow_inf_nan=False)]
Role = Literal["operator", "approver", "admin"]
Meat = Literal["pork", "beef", "lamb", "poultry", "game", "offal"]


def read_opened(value: object) -> object:
    """Return whether the inside was opened, from the words of a form; anything else as it is."""
    return {"whole": False, "opened": True}.get(value, value) if isinstance(value, str) else value


def loosely(kind: Any) -> Any:
    """Return a type that is taken from JSON's own kinds: an enumeration from its text, a tuple from a list."""
    return Annotated[kind, Field(strict=False)]


class Request(BaseModel):
    """Anything sent: nothing is guessed, nothing extra is let in."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class WindowRequest(Request):
    """Within which temperatures, and for how long, a stage is meant to stand, and who says so."""

    stage: loosely(Stage)  # type: ignore[valid-type]
    lowest_c: Figure
    highest_c: Figure
    longest_days: Figure
    source: Name


class PlanRequest(Request):
    """What the batch is meant to be."""

    name: Name
    meat: Meat
    cut: Name
    method: loosely(Method)  # type: ignore[valid-type]
    packing: loosely(Packing)  # type: ignore[valid-type]
    route: loosely(Route)  # type: ignore[valid-type]
    cure_days: Figure
    thickness_mm: Figure
    meat_kg: Figure
    arrangement: Literal["tub", "hung", "racked"] = "tub"
    bone_in: bool = False
    published_days: bool = False
    water_kg: Figure = 0.0
    salt_kg: Figure = 0.0
    sugar_kg: Figure = 0.0
    curing_salt_kg: Figure = 0.0
    nitrite_percent: Figure | None = None
    tau_hours: Figure | None = None
    note: Short = ""
    product_class: Short = ""
    nitrite_basis: Literal["method one", "method two"] = "method two"
    pickup_percent: Figure | None = None
    pump_percent: Figure | None = None
    nitrate_percent: Figure | None = None
    shape: Literal["slab", "cylinder", "sphere", "brick"] = "slab"
    length_mm: Figure | None = None
    width_mm: Figure | None = None
    vessel: Short = ""
    vessel_area_cm2: Figure | None = None
    stacked_mm: Figure | None = None
    brine_c: Figure | None = None
    soak_hours: Figure = 0.0
    process: Short = ""
    process_aw: Figure | None = None
    parasite_control: Literal["", "freezing", "tested carcass", "published cure", "officially tested meat"] = ""
    controlling_factor: Short = ""
    windows: Annotated[tuple[WindowRequest, ...], Field(strict=False, max_length=20)] = ()
    opened: Annotated[bool | None, BeforeValidator(read_opened)] = None


class AskPlan(Request):
    """A plan of which somebody wants to know what it comes to."""

    plan: PlanRequest


class AsMadeRequest(Request):
    """What scale and thermometer said; left out is *not entered*, never zero."""

    meat_kg: Figure
    water_kg: Figure | None = None
    salt_kg: Figure | None = None
    sugar_kg: Figure | None = None
    curing_salt_kg: Figure | None = None
    curing_salt_lot: Short = ""
    nitrite_percent: Figure | None = None
    brine_c: Figure | None = None
    meat_c: Figure | None = None
    scale: Short = ""
    supplier_lots: Annotated[tuple[Name, ...], Field(strict=False, max_length=20)] = ()
    nitrate_percent: Figure | None = None
    pumped_kg: Figure | None = None
    brine_state: Literal["", "fresh", "reused", "topped up"] = ""
    brine_boiled_at: Moment | None = None
    scale_division_g: Figure | None = None
    delivery_c: Figure | None = None
    use_by_at: Moment | None = None


class TubRequest(Request):
    """A tub and the unit that it is put into."""

    tub: Name
    unit: Name


class StartBatch(Request):
    """Meat went into its tubs."""

    lot: Code
    plan: PlanRequest
    as_made: AsMadeRequest
    tubs: Annotated[tuple[TubRequest, ...], Field(strict=False, max_length=40)]
    started_at: Moment | None = None
    stage: loosely(Stage) = Stage.CURE  # type: ignore[valid-type]


class CorrectAsMade(Request):
    """The whole as-made sheet as it now stands, and why it changed."""

    as_made: AsMadeRequest
    reason: Words


class ConfirmComposition(Request):
    """What a person read on the bag of a lot of curing salt."""

    curing_salt_lot: Name
    nitrite_percent: Figure
    nitrate_percent: Figure = 0.0


class MoveTub(Request):
    """A tub was carried to another unit; without a unit, out on the bench."""

    tub: Name
    unit: Name | None = None
    bench_c: Figure | None = None
    at: Moment | None = None


class PlacementRequest(Request):
    """Where a tub stood from one instant until another."""

    unit: Name | None = None
    from_at: Moment
    until_at: Moment | None = None
    bench_c: Figure | None = None


class CorrectPlacements(Request):
    """Where a tub really stood, from filling on, and why the record was wrong."""

    tub: Name
    placements: Annotated[tuple[PlacementRequest, ...], Field(strict=False, max_length=200)]
    reason: Words


class EnterHandReading(Request):
    """A person measured something."""

    measure: Literal["temperature", "strength", "ph", "aw", "mass", "salt", "nitrite"] = "temperature"
    value: Figure
    where: loosely(Where)  # type: ignore[valid-type]
    probe: Name
    measured_at: Moment | None = None
    lot: Code | None = None
    unit: Name | None = None
    tub: Name | None = None
    method: Short = ""


class EnterCorrectiveAction(Request):
    """What was done about an excursion."""

    excursion_at: Moment
    cause: Words
    control_regained: Words
    prevention: Words
    food_disposed: Words


class BeginStage(Request):
    """A batch went on to another stage."""

    stage: loosely(Stage)  # type: ignore[valid-type]
    from_at: Moment | None = None


class EndBatch(Request):
    """A batch left the cold rooms."""

    reason: Words
    ended_at: Moment | None = None


class AssignChannel(Request):
    """What a channel measures, and where."""

    channel: Annotated[str, StringConstraints(min_length=1, max_length=400)]
    quantity: loosely(Quantity)  # type: ignore[valid-type]
    unit: Name
    place: Name
    from_at: Moment | None = None
    interval_s: Figure = 60.0
    offset_c: Figure = 0.0
    uncertainty_c: Figure = 0.5
    lot: Code | None = None
    tub: Name | None = None


class EndAssignment(Request):
    """A channel measures nothing of ours any more."""

    channel: Annotated[str, StringConstraints(min_length=1, max_length=400)]
    reason: Words
    until_at: Moment | None = None


class AnswerAlarm(Request):
    """What a person will do about an alarm."""

    answer: Literal["going", "passing on", "cannot"]
    arriving_at: Moment | None = None
    note: Short = ""


class SignDisposition(Request):
    """A named person's decision about a batch, and the proposal that they looked at."""

    disposition: loosely(Disposition)  # type: ignore[valid-type]
    reason: Words
    proposal: int
    where_kept: Short = ""


class ConfirmRow(Request):
    """A person compared a rulebook row with its document."""

    rulebook: Name
    row: Name
    document: Words


class SetLimit(Request):
    """A limit of the site's own in place of the rulebook's; without a value the rulebook's stands again."""

    limit: Name
    value: Figure | None
    reason: Words


class DescribePerson(Request):
    """A person of the site, by the name that signs."""

    person: Code
    name: Name
    roles: Annotated[tuple[Role, ...], Field(strict=False)] = ()

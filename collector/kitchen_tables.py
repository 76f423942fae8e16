"""The tables of a kitchen file, each key with its kind and its bounds, and what they become. Pure: no clock, no I/O."""

from datetime import UTC, date, datetime, time
from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, Field

from collector.batches import AsMade, HandReading, Method, Packing, Placement, Plan, Route, Stage, StageWindow, Where
from collector.formats.names import channel_refusal
from collector.formats.times import zone_named
from collector.readings import Assignment, Quantity, Site, Unit
from collector.rota import DAYS, RotaStep
from collector.sample import Instant, Refusal
from collector.toml_faults import Table, refuse, shown

COLDEST_C, WARMEST_C = -30.0, 60.0
"""House: a temperature outside this is a slip of the pen. [°C]"""
HEAVIEST_KG = 2000.0
"""House: more is a slip of the decimal point. [kg]"""
FIRST_YEAR, LAST_YEAR = 2000, 2100
"""House: a year outside this is a slip of the pen."""
DAY_S, HOUR_S, MINUTE_S = 86_400.0, 3_600.0, 60.0


def _instant(value: object) -> Instant:
    if isinstance(value, str):
        refuse(f"{shown(value)} is a text", "write the time without quotes")
    if isinstance(value, datetime):
        if value.utcoffset() is None:
            refuse(f"{shown(value)} names no offset", "add Z for UTC, or an offset such as +01:00")
        if not FIRST_YEAR <= value.astimezone(UTC).year < LAST_YEAR:
            refuse(f"{shown(value)} is in no year of ours", "look at the year")
        return round(value.timestamp(), 3)
    if isinstance(value, date | time):
        refuse(f"{shown(value)} is only part of a time", "write date, time and offset: 2026-11-01T07:00:00Z")
    refuse(f"{shown(value)} is no time", "write date, time and offset: 2026-11-01T07:00:00Z")


def _zone(value: str) -> str:
    zone = zone_named(value)
    if isinstance(zone, Refusal):
        refuse(f"{shown(value)} is no IANA time zone", "write one such as Europe/London")
    return value


def _wall(one: str) -> str:
    hour, colon, minute = one.partition(":")
    figures = len(hour) == len(minute) == 2 and f"{hour}{minute}".isascii() and f"{hour}{minute}".isdigit()
    if not (colon and figures and hour < "24" and minute < "60"):
        refuse(f"{shown(one)} is no time of day", 'write it as "07:00"')
    return one


def _days(value: tuple[str, ...]) -> tuple[str, ...]:
    for one in value:
        if one not in DAYS:
            refuse(f"{shown(one)} is no day of the week", "write mon, tue, wed, thu, fri, sat or sun")
    if len(set(value)) < len(value):
        refuse("a day stands here twice", "name each once")
    return tuple(sorted(value, key=DAYS.index))


def _checks(value: tuple[str, ...]) -> tuple[str, ...]:
    for one in value:
        _wall(one)
    if not value or list(value) != sorted(set(value)):
        refuse("the checks of a day stand in no order", "name at least one, each once, the earliest first")
    return value


def _name(value: str) -> str:
    if value != value.strip() or not value.isprintable():
        refuse(f"{shown(value)} begins or ends with a space, or holds what cannot be printed", "write it plainly")
    return value


def _channel(value: str) -> str:
    refusal = channel_refusal(value)
    if refusal is not None:
        refuse(refusal.reason, "write it as it is sent")
    return value


def _roles(value: tuple[str, ...]) -> tuple[str, ...]:
    if not value or len(set(value)) != len(value):
        refuse("the roles are none, or one stands twice", "name at least one of operator, approver, admin, each once")
    return value


def _person(value: str) -> str:
    if value in ("watch", "rules", "system"):
        refuse(f"{value} is what the program signs as", "choose another id")
    return value


Moment = Annotated[float, BeforeValidator(_instant)]
Id = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]*$", max_length=60)]
Name = Annotated[str, Field(min_length=1, max_length=120), AfterValidator(_name)]
Words = Annotated[str, Field(max_length=1000)]
Temperature = Annotated[float, Field(ge=COLDEST_C, le=WARMEST_C)]
Mass = Annotated[float, Field(ge=0.0, le=HEAVIEST_KG)]
Percent = Annotated[float, Field(ge=0.0, le=100.0)]
Texts = Annotated[tuple[Name, ...], Field(strict=False)]
Millimetres = Annotated[float, Field(ge=1.0, le=5000.0)]
Shape = Literal["slab", "cylinder", "sphere", "brick"]
Parasites = Literal["", "freezing", "tested carcass", "published cure", "officially tested meat"]


class SiteTable(Table):
    """One kitchen or works."""

    id: Id = Field(description="a short name for the program, such as harrow-lane")
    name: Name = Field(description="its name for people")
    zone: Annotated[str, AfterValidator(_zone)] = Field(description="the IANA time zone of the walls")
    authority: Literal["US", "GB", "EU"] = Field(description="whose rules bind")
    approval: Words = ""
    checks: Annotated[tuple[str, ...], Field(strict=False), AfterValidator(_checks)] = ("07:00", "15:00")

    def made(self) -> Site:
        """Return the site."""
        return Site(**dict(self))


class UnitTable(Table):
    """One refrigerated space."""

    id: Id = Field(description="a short name for the program, such as coldroom")
    name: Name = Field(description="its name for people")
    kind: Literal["cold room", "fridge", "chamber"] = Field(description="cold room, fridge or chamber")
    limit_c: Annotated[float, Field(ge=COLDEST_C, le=WARMEST_C)] | None = None
    ambient_c: Temperature = 25.0
    coldest_air_c: Temperature = 1.0
    air_limit_c: Temperature = 12.0
    air_dwell_minutes: float = Field(default=45.0, gt=0.0, le=1440.0)
    warm_up_hours: float | None = Field(default=None, gt=0.0, le=240.0)
    raw_meat: bool = False
    room_for_tubs: int | None = Field(default=None, ge=0, le=1000)

    def made(self, site: str) -> Unit:
        """Return the unit of a site."""
        warm_up_s = None if self.warm_up_hours is None else self.warm_up_hours * HOUR_S
        figures = (self.limit_c, self.ambient_c, self.coldest_air_c, self.air_limit_c)
        times = (self.air_dwell_minutes * MINUTE_S, warm_up_s)
        return Unit(self.id, site, self.name, self.kind, *figures, *times, self.raw_meat, self.room_for_tubs)


class ChannelTable(Table):
    """What a channel measures, from an instant on."""

    channel: Annotated[str, AfterValidator(_channel)] = Field(description="the channel's name as it is sent")
    quantity: Annotated[Quantity, Field(strict=False)] = Field(description=", ".join(Quantity))
    unit: Id = Field(description="the id of the unit it stands in")
    place: Name = Field(description="where in the unit, in words")
    from_at: Moment = Field(alias="from", description="the time from which it measures this")
    until_at: Moment | None = Field(default=None, alias="until")
    interval_s: float = Field(default=60.0, ge=1.0, le=DAY_S)
    offset_c: float = Field(default=0.0, ge=-5.0, le=5.0)
    uncertainty_c: float = Field(default=0.5, gt=0.0, le=5.0)
    lot: Name | None = None
    tub: Name | None = None

    def made(self) -> Assignment:
        """Return the assignment."""
        return Assignment(**dict(self))


class PersonTable(Table):
    """Somebody of the site, by the id that signs."""

    id: Annotated[Id, AfterValidator(_person)] = Field(description="a short name that signs, such as ines")
    name: Name = Field(description="the name as it is printed")
    roles: Annotated[
        tuple[Literal["operator", "approver", "admin"], ...], Field(strict=False), AfterValidator(_roles)
    ] = Field(description="a list of operator, approver, admin")


class RotaTable(Table):
    """One step of the rota."""

    person: Id = Field(description="the id of a person")
    after_minutes: float = Field(ge=0.0, le=1440.0, description="minutes without an answer before this person is told")
    from_time: Annotated[str, AfterValidator(_wall)] | None = Field(default=None, alias="from")
    until_time: Annotated[str, AfterValidator(_wall)] | None = Field(default=None, alias="until")
    days: Annotated[tuple[str, ...], Field(strict=False), AfterValidator(_days)] = ()

    def made(self) -> RotaStep:
        """Return the step."""
        after_s = self.after_minutes * MINUTE_S
        return RotaStep(self.person, after_s, self.from_time or "", self.until_time or "", self.days)


class ConfirmedTable(Table):
    """Rulebook rows that a person compared with their document."""

    rulebook: Id = Field(description="the rulebook's id, such as US")
    rows: Texts = Field(description="a list of row ids, as `curevigil rulebook show` prints them")
    document: Name = Field(description="the document that was compared")
    person: Id = Field(description="the id of the person who compared it")


class WindowTable(Table):
    """Within which temperatures, and for how long, a stage is meant to stand."""

    stage: Annotated[Stage, Field(strict=False)] = Field(description=", ".join(Stage))
    lowest_c: Temperature = Field(description="the coldest it may be, in °C")
    highest_c: Temperature = Field(description="the warmest it may be, in °C")
    longest_days: float = Field(gt=0.0, le=720.0, description="the longest it may last, in days")
    source: Name = Field(description="the document or approved process with its number, or house")

    def made(self) -> StageWindow:
        """Return the window, its length in seconds."""
        longest_s = round(self.longest_days * DAY_S, 3)
        return StageWindow(self.stage, self.lowest_c, self.highest_c, longest_s, self.source)


class OwnLimitTable(Table):
    """A limit of the site's own, in place of the rulebook's."""

    limit: Name = Field(description="the id of a limit, as `curevigil rulebook show` prints it")
    value: float = Field(description="the figure, in the unit of that limit")
    reason: Name = Field(description="why, in a sentence")
    person: Id = Field(description="the id of the approver who set it")


class PlanTable(Table):
    """What a batch is meant to be."""

    name: Name = Field(description="the plan's name for people")
    meat: Literal["pork", "beef", "lamb", "poultry", "game", "offal"] = Field(description="which meat it is")
    cut: Name = Field(description="the cut")
    method: Annotated[Method, Field(strict=False)] = Field(description=", ".join(Method))
    packing: Annotated[Packing, Field(strict=False)] = Field(description=", ".join(Packing))
    route: Annotated[Route, Field(strict=False)] = Field(description=", ".join(Route))
    cure_days: float = Field(ge=0.05, le=180.0, description="the length of the cure in days")
    thickness_mm: float = Field(ge=1.0, le=400.0, description="the thickest piece, in mm")
    meat_kg: float = Field(gt=0.0, le=HEAVIEST_KG, description="the meat's mass in kg")
    arrangement: Literal["tub", "hung", "racked"] = "tub"
    bone_in: bool = False
    published_days: bool = False
    water_kg: Mass = 0.0
    salt_kg: Mass = 0.0
    sugar_kg: Mass = 0.0
    curing_salt_kg: Mass = 0.0
    nitrite_percent: Percent | None = None
    tau_hours: float | None = Field(default=None, ge=0.1, le=72.0)
    note: Words = ""
    product_class: Words = ""
    nitrite_basis: Literal["method one", "method two"] = "method two"
    pickup_percent: Percent | None = None
    pump_percent: Percent | None = None
    nitrate_percent: Percent | None = None
    shape: Shape = "slab"
    length_mm: Millimetres | None = None
    width_mm: Millimetres | None = None
    vessel: Words = ""
    vessel_area_cm2: float | None = Field(default=None, gt=0.0, le=100_000.0)
    stacked_mm: Millimetres | None = None
    brine_c: Temperature | None = None
    soak_hours: float = Field(default=0.0, ge=0.0, le=240.0)
    process: Words = ""
    process_aw: float | None = Field(default=None, gt=0.0, le=1.0)
    parasite_control: Parasites = ""
    controlling_factor: Words = ""
    windows: Annotated[tuple[WindowTable, ...], Field(strict=False)] = Field(default=(), alias="window")
    opened: bool | None = None

    def made(self) -> Plan:
        """Return the plan, spans in seconds."""
        spans = ("cure_days", "tau_hours", "soak_hours", "windows")
        said = {key: value for key, value in self if key not in spans}
        tau_s = None if self.tau_hours is None else self.tau_hours * HOUR_S
        cure_s, soak_s = round(self.cure_days * DAY_S, 3), round(self.soak_hours * HOUR_S, 3)
        windows = tuple(window.made() for window in self.windows)
        return Plan(**said, cure_s=cure_s, tau_s=tau_s, soak_s=soak_s, windows=windows)


class AsMadeTable(Table):
    """What the scale and the thermometer said; a key left out is *not entered*, never zero."""

    meat_kg: float = Field(gt=0.0, le=HEAVIEST_KG, description="the meat's mass by the scale, in kg")
    water_kg: Mass | None = None
    salt_kg: Mass | None = None
    sugar_kg: Mass | None = None
    curing_salt_kg: Mass | None = None
    curing_salt_lot: Words = ""
    nitrite_percent: Percent | None = None
    brine_c: Temperature | None = None
    meat_c: Temperature | None = None
    scale: Words = ""
    supplier_lots: Texts = ()
    nitrate_percent: Percent | None = None
    pumped_kg: Mass | None = None
    brine_state: Literal["", "fresh", "reused", "topped up"] = ""
    brine_boiled_at: Moment | None = Field(default=None, alias="brine_boiled")
    scale_division_g: float | None = Field(default=None, gt=0.0, le=10_000.0)
    delivery_c: Temperature | None = None
    use_by_at: Moment | None = Field(default=None, alias="use_by")

    def made(self) -> AsMade:
        """Return the sheet."""
        return AsMade(**dict(self))


class PlacementTable(Table):
    """A tub stood in a unit, or out on the bench, for a while."""

    tub: Name = Field(description="the tub's name")
    unit: Id | None = None
    from_at: Moment = Field(alias="from", description="the time from which it stood there")
    until_at: Moment | None = Field(default=None, alias="until")
    bench_c: Temperature | None = None

    def made(self) -> Placement:
        """Return the placement."""
        return Placement(**dict(self))


class HandReadingTable(Table):
    """What a person measured and entered."""

    at: Moment = Field(description="the time of measuring")
    measure: Literal["temperature", "strength", "ph", "aw", "mass", "salt", "nitrite"] = Field(
        description="what was measured"
    )
    value: float = Field(description="the figure that was read")
    where: Annotated[Where, Field(strict=False)] = Field(description=", ".join(Where))
    probe: Name = Field(description="the instrument")
    person: Id = Field(description="the id of the person who measured")
    tub: Name | None = None
    method: Words = ""

    def made(self, lot: str) -> HandReading:
        """Return the hand reading of a batch."""
        return HandReading(self.at, self.measure, self.value, self.where, self.probe, lot, None, self.tub, self.method)


class BatchTable(Table):
    """Meat cured together under one lot code."""

    lot: Name = Field(description="the lot code")
    started: Moment = Field(description="the time at which the meat went in")
    stage: Annotated[Stage, Field(strict=False)] = Stage.CURE
    ended: Moment | None = None
    ended_reason: Name | None = None
    plan: PlanTable = Field(description="a table [batch.plan]")
    as_made: AsMadeTable = Field(description="a table [batch.as_made] with what the scale said")
    placements: Annotated[tuple[PlacementTable, ...], Field(strict=False)] = Field(
        alias="placement", description="a table [[batch.placement]] for each place a tub stood in"
    )
    hand_readings: Annotated[tuple[HandReadingTable, ...], Field(strict=False)] = Field(
        default=(), alias="hand_reading"
    )


class KitchenTables(Table):
    """A whole kitchen file."""

    site: SiteTable = Field(description="a table [site]")
    units: Annotated[tuple[UnitTable, ...], Field(strict=False)] = Field(default=(), alias="unit")
    channels: Annotated[tuple[ChannelTable, ...], Field(strict=False)] = Field(default=(), alias="channel")
    people: Annotated[tuple[PersonTable, ...], Field(strict=False)] = Field(default=(), alias="person")
    rota: Annotated[tuple[RotaTable, ...], Field(strict=False)] = ()
    confirmed: Annotated[tuple[ConfirmedTable, ...], Field(strict=False)] = ()
    own_limits: Annotated[tuple[OwnLimitTable, ...], Field(strict=False)] = Field(default=(), alias="own_limit")
    batches: Annotated[tuple[BatchTable, ...], Field(strict=False)] = Field(default=(), alias="batch")

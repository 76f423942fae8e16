"""Meat cured together: what it is meant to be, what it was made of, and where it stood. Pure: no clock, no I/O."""

from dataclasses import dataclass
from enum import StrEnum

from collector.logs import CoreLog, Disposal, LabelApplied, SoakLog, TaskDone
from collector.sample import Instant


class Stage(StrEnum):
    """Where a batch is in its making."""

    RECEIVE = "receive"
    CURE = "cure"
    REST = "rest"
    SOAK = "soak"
    SMOKE = "smoke"
    DRY = "dry"
    COOK = "cook"
    COOL = "cool"
    STORE = "store"


class Route(StrEnum):
    """How the batch will be eaten."""

    COOKED = "cooked"
    UNCOOKED = "uncooked"
    SOLD_RAW = "sold raw"


class Method(StrEnum):
    """How the salt gets into the meat."""

    IMMERSION = "immersion"
    INJECTED = "injected then immersed"
    DRY_BY_WEIGHT = "dry by weight of meat"
    DRY_IN_EXCESS = "dry in excess"


class Packing(StrEnum):
    """What the meat stands in: decides how it warms and which organisms matter."""

    OPEN = "open"
    UNDER_BRINE = "under brine"
    SEALED = "sealed"


@dataclass(frozen=True, slots=True)
class StageWindow:
    """Within which temperatures, and for how long, a stage is meant to stand, and who says so."""

    stage: Stage
    lowest_c: float
    """[°C]"""
    highest_c: float
    """[°C]"""
    longest_s: float
    """[s]"""
    source: str
    """The document or approved process and its number; `house` where it is the site's own."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What the batch is meant to be."""

    name: str
    meat: str
    """`pork`, `beef`, `lamb`, `poultry`, `game` or `offal`."""
    cut: str
    method: Method
    packing: Packing
    route: Route
    cure_s: float
    """Planned length of the cure. [s]"""
    thickness_mm: float
    """Thickness of the thickest piece. [mm]"""
    meat_kg: float
    arrangement: str = "tub"
    """`tub`, `hung` or `racked`: how the piece meets the air."""
    bone_in: bool = False
    published_days: bool = False
    """Whether the length rests on published dry-cure days, which count only at 2.2 °C and above."""
    water_kg: float = 0.0
    salt_kg: float = 0.0
    sugar_kg: float = 0.0
    curing_salt_kg: float = 0.0
    nitrite_percent: float | None = None
    """NaNO2 in the curing salt by its lot. [% w/w]"""
    tau_s: float | None = None
    """Time constant of the product where one was measured; None for the prior. [s]"""
    note: str = ""
    product_class: str = ""
    """Class of the rulebook that sets the nitrite limit; empty where nobody has chosen one."""
    nitrite_basis: str = "method two"
    """`method one` (by measured pick-up) or `method two` (as if all of it went into meat and brine alike)."""
    pickup_percent: float | None = None
    """Measured pick-up under brine. [% of the meat's mass]"""
    pump_percent: float | None = None
    """Brine injected. [% of the meat's mass]"""
    nitrate_percent: float | None = None
    """NaNO3 in the curing salt by its lot. [% w/w]"""
    shape: str = "slab"
    """`slab`, `cylinder`, `sphere` or `brick`."""
    length_mm: float | None = None
    width_mm: float | None = None
    vessel: str = ""
    """What the vessel is made of: `plastic`, `glass`, `stainless`, `aluminium` and so on; empty for not said."""
    vessel_area_cm2: float | None = None
    """Floor of the vessel. [cm²]"""
    stacked_mm: float | None = None
    """How high the meat lies in the vessel. [mm]"""
    brine_c: float | None = None
    """Brine at filling, as planned. [°C]"""
    soak_s: float = 0.0
    """Planned soak after the cure. [s]"""
    process: str = ""
    """Approved or published process of the uncooked route, with its number."""
    process_aw: float | None = None
    """The water activity that this process asks for; None for the rulebook's."""
    parasite_control: str = ""
    """`freezing`, `tested carcass`, `published cure` or `officially tested meat`; empty for none stated."""
    controlling_factor: str = ""
    """What holds botulinum back in a sealed pack throughout, with its source; empty for nothing."""
    windows: tuple[StageWindow, ...] = ()
    opened: bool | None = None
    """Whether the inside was opened: needled, jointed, boned and rolled; None where nobody has said."""


@dataclass(frozen=True, slots=True)
class AsMade:
    """What the scale and the thermometer said when the batch was made; None is *not entered*, never zero."""

    meat_kg: float
    water_kg: float | None = None
    salt_kg: float | None = None
    sugar_kg: float | None = None
    curing_salt_kg: float | None = None
    curing_salt_lot: str = ""
    nitrite_percent: float | None = None
    """NaNO2 by the bag of this lot. [% w/w]"""
    brine_c: float | None = None
    """Brine at filling. [°C]"""
    meat_c: float | None = None
    """Core of the meat at filling. [°C]"""
    scale: str = ""
    supplier_lots: tuple[str, ...] = ()
    nitrate_percent: float | None = None
    """NaNO3 by the bag of this lot. [% w/w]"""
    pumped_kg: float | None = None
    """The meat after injection. [kg]"""
    brine_state: str = ""
    """`fresh`, `reused` or `topped up`; empty for not said."""
    brine_boiled_at: Instant | None = None
    """When the brine was boiled; it is judged by its age."""
    scale_division_g: float | None = None
    """The smallest step that the scale shows. [g]"""
    delivery_c: float | None = None
    """The meat at delivery. [°C]"""
    use_by_at: Instant | None = None


@dataclass(frozen=True, slots=True)
class Placement:
    """A tub stood in a unit (or out on the bench) from one instant until another (half-open)."""

    tub: str
    unit: str | None
    """None while the tub was out of any unit."""
    from_at: Instant
    until_at: Instant | None = None
    bench_c: float | None = None
    """Air temperature where it stood while out of a unit. [°C]"""


@dataclass(frozen=True, slots=True)
class StageSpan:
    """A batch was in one stage from one instant until another (half-open)."""

    stage: Stage
    from_at: Instant
    until_at: Instant | None = None


class Where(StrEnum):
    """Where a hand probe was held."""

    BRINE = "brine"
    CORE = "core"
    SURFACE = "surface"
    AIR = "air"


@dataclass(frozen=True, slots=True)
class HandReading:
    """A temperature, strength, pH, aw or weight that a person measured and entered."""

    measured_at: Instant
    measure: str
    """`temperature`, `strength`, `ph`, `aw`, `mass`, `salt` (% of the water phase) or `nitrite` (residual, ppm)."""
    value: float
    where: Where
    probe: str
    lot: str | None = None
    unit: str | None = None
    tub: str | None = None
    method: str = ""
    """How it was measured, and by which laboratory."""


@dataclass(frozen=True, slots=True)
class PlanChange:
    """The plan became another one: who signed it, why, and what it was before."""

    changed_at: Instant
    person: str
    reason: str
    before: Plan


@dataclass(frozen=True, slots=True)
class Strand:
    """Meat of another batch that went into this one: where it came from, and which tub it stands in now."""

    lot: str
    tub: str
    into: str


@dataclass(frozen=True, slots=True)
class CorrectiveAction:
    """What was done about an excursion, in the four fields of 9 CFR 417.3(a) (from memory, not checked)."""

    excursion_at: Instant
    cause: str
    control_regained: str
    prevention: str
    food_disposed: str


@dataclass(frozen=True, slots=True)
class Batch:
    """Meat cured together under one lot code; what is judged of it is worked out, never stored here."""

    lot: str
    plan: Plan
    as_made: AsMade
    started_at: Instant
    placements: tuple[Placement, ...]
    stages: tuple[StageSpan, ...]
    hand_readings: tuple[HandReading, ...] = ()
    actions: tuple[CorrectiveAction, ...] = ()
    ended_at: Instant | None = None
    planned_by: str = ""
    """Who entered the plan that now holds, and so chose its product class."""
    plan_changes: tuple[PlanChange, ...] = ()
    core_logs: tuple[CoreLog, ...] = ()
    soaks: tuple[SoakLog, ...] = ()
    tasks_done: tuple[TaskDone, ...] = ()
    labels: tuple[LabelApplied, ...] = ()
    disposals: tuple[Disposal, ...] = ()
    split_from: str = ""
    """The batch whose tubs these were; they brought their whole history with them."""
    merged_at: Instant | None = None
    strands: tuple[Strand, ...] = ()
    """Where the meat of a merged batch came from; every one of these histories counts."""

    @property
    def tubs(self) -> tuple[str, ...]:
        """Return the tubs in the order in which they were first placed."""
        return tuple(dict.fromkeys(p.tub for p in self.placements))

    @property
    def planned_end_at(self) -> Instant:
        """Return when the cure ends by plan alone."""
        return self.started_at + self.plan.cure_s

    def stage_at(self, at: Instant) -> Stage | None:
        """Return the stage at the instant, or None outside the batch's life."""
        for span in self.stages:
            if span.from_at <= at and (span.until_at is None or at < span.until_at):
                return span.stage
        return None

    def stands_in(self, unit: str, at: Instant) -> bool:
        """Return whether any tub stands in the unit at the instant."""
        return self.ended_at is None and any(
            p.unit == unit and p.from_at <= at and (p.until_at is None or at < p.until_at) for p in self.placements
        )


def moved(placements: tuple[Placement, ...], tub: str, to: Placement) -> tuple[Placement, ...]:
    """Return the placements with the tub's open one closed where the new one begins.

    Raises
    ------
    ValueError
        If the tub has no open placement, or the new one begins before the open one.
    """
    current = [p for p in placements if p.tub == tub and p.until_at is None]
    if not current:
        raise ValueError(f"tub {tub} stands nowhere that is still open")
    if to.from_at < current[0].from_at:
        raise ValueError(f"tub {tub} cannot move before it was put where it stands")
    closed = Placement(tub, current[0].unit, current[0].from_at, to.from_at, current[0].bench_c)
    return tuple(closed if p is current[0] else p for p in placements) + (to,)


def placement_faults(placements: tuple[Placement, ...]) -> tuple[str, ...]:
    """Return what is wrong with one tub's placements in time order: holes, overlaps, intervals that end too early."""
    faults = []
    for p in placements:
        if p.until_at is not None and p.until_at <= p.from_at:
            faults.append(f"tub {p.tub}: a placement ends before it begins; enter the later time as its end")
        if p.unit is None and p.bench_c is None:
            faults.append(f"tub {p.tub}: out of a unit without an air temperature; enter what the air was there")
    for before, after in zip(placements, placements[1:], strict=False):
        if before.until_at is None or before.until_at != after.from_at:
            faults.append(f"tub {before.tub}: one placement must end exactly where the next begins")
    return tuple(faults)

"""What a person or a program may send about a batch on its way out: cook, cooling, soak, label, plan, disposal."""

from typing import Annotated, Literal

from pydantic import AfterValidator, Field, StringConstraints

from api.schemas import Figure, Moment, Name, Request, Short, WindowRequest, Words, loosely, readable
from collector.batches import Route

MOST_POINTS = 500
CoreStage = Literal["cook", "cool"]
Lines = Annotated[str, StringConstraints(min_length=1, max_length=20_000), AfterValidator(readable)]
"""Several lines, one entry each."""
Kilograms = Figure | None
Percent = Figure | None


class PointRequest(Request):
    """The core at one instant."""

    at: Moment
    core_c: Figure


class LogCore(Request):
    """The core of the meat while it was cooked or cooled, as a probe showed it."""

    stage: CoreStage
    probe: Name
    points: Annotated[tuple[PointRequest, ...], Field(strict=False, max_length=MOST_POINTS)]
    note: Short = ""


class LogCoreLines(Request):
    """The same, as a person writes it: one line for each entry, `12:05 54.4`."""

    stage: CoreStage
    probe: Name
    entries: Lines
    day: Short = ""
    note: Short = ""


class LogSoak(Request):
    """The batch lay in fresh water."""

    from_at: Moment
    until_at: Moment
    water_c: Figure


class ReportLabel(Request):
    """What is written on the pack."""

    words: Words
    cook_before_eating: bool = False
    applied_at: Moment | None = None


class DisposeFood(Request):
    """Food was destroyed: how much, how, and who saw it."""

    mass_kg: Figure
    how: Words
    witness: Name
    disposed_at: Moment | None = None


class AmendPlan(Request):
    """What an approver changes in a plan, and why; what is left out stays as it is.

    Windows take the place of those of the same stage.
    """

    reason: Words
    name: Name | None = None
    cut: Name | None = None
    route: loosely(Route) | None = None  # type: ignore[valid-type]
    product_class: Short | None = None
    nitrite_basis: Literal["method one", "method two"] | None = None
    pickup_percent: Percent = None
    meat_kg: Kilograms = None
    water_kg: Kilograms = None
    salt_kg: Kilograms = None
    sugar_kg: Kilograms = None
    curing_salt_kg: Kilograms = None
    nitrite_percent: Percent = None
    nitrate_percent: Percent = None
    thickness_mm: Figure | None = None
    process: Short | None = None
    process_aw: Figure | None = None
    parasite_control: Literal["freezing", "tested carcass", "published cure", "officially tested meat"] | None = None
    controlling_factor: Short | None = None
    vessel: Short | None = None
    inside: Literal["opened", "whole"] | None = None
    windows: Annotated[tuple[WindowRequest, ...], Field(strict=False, max_length=20)] = ()

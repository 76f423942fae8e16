"""Starting a batch, its as-made sheet, its stages and its end. Pure: no clock, no I/O."""

from alerts.plan_limits import refusals
from alerts.rulebook.book import Rulebook
from alerts.stage_windows import MAY_BE_WARM
from api.actions.composing import check_scale
from api.actions.faults import Check, Faults, Result, fault, living
from api.actions.servicing import back_in_service
from api.actions.standing import standing
from api.schemas import AsMadeRequest, BeginStage, CorrectAsMade, EndBatch, PlanRequest, StartBatch
from collector.batches import AsMade, Packing, Placement, Plan, StageWindow
from collector.events import AsMadeCorrected, BatchEnded, BatchStarted, StageBegun
from collector.findings import Disposition
from collector.kitchen import Kitchen, Person
from collector.sample import Instant

OLDEST_START_S = 90 * 86_400.0
"""House: a batch entered later than this after filling is taken for a slip of the date. [s]"""
LONGEST_CURE_DAYS, THICKEST_MM = 180.0, 400.0
"""House: more is a slip. [d], [mm]"""


def as_made_of(sheet: AsMadeRequest) -> AsMade:
    """Return the sheet as it is recorded; what was not entered stays None."""
    return AsMade(**sheet.model_dump())


def plan_of(plan: PlanRequest) -> Plan:
    """Return the plan as it is recorded, spans in seconds."""
    said = plan.model_dump(exclude={"cure_days", "tau_hours", "soak_hours", "windows"})
    tau_s = None if plan.tau_hours is None else plan.tau_hours * 3600.0
    cure_s, soak_s = round(plan.cure_days * 86_400.0, 3), round(plan.soak_hours * 3600.0, 3)
    windows = tuple(
        StageWindow(w.stage, w.lowest_c, w.highest_c, round(w.longest_days * 86_400.0, 3), w.source)
        for w in plan.windows
    )  # fmt: skip
    return Plan(**said, cure_s=cure_s, tau_s=tau_s, soak_s=soak_s, windows=windows)


def check_plan(check: Check, plan: PlanRequest, prefix: str = "plan.") -> None:
    """Note what is wrong with a plan, each field named behind the prefix."""
    check.between(f"{prefix}cure_days", plan.cure_days, 0.05, LONGEST_CURE_DAYS, "days")
    check.between(f"{prefix}thickness_mm", plan.thickness_mm, 1.0, THICKEST_MM, "mm")
    check.weight(f"{prefix}meat_kg", plan.meat_kg, needed=True)
    for name in ("water_kg", "salt_kg", "sugar_kg", "curing_salt_kg"):
        check.weight(f"{prefix}{name}", getattr(plan, name))
    for name in ("nitrite_percent", "nitrate_percent", "pickup_percent", "pump_percent"):
        check.between(f"{prefix}{name}", getattr(plan, name), 0.0, 100.0, "%")
    for name in ("length_mm", "width_mm", "stacked_mm"):
        check.between(f"{prefix}{name}", getattr(plan, name), 1.0, 5000.0, "mm")
    check.between(f"{prefix}vessel_area_cm2", plan.vessel_area_cm2, 1.0, 100_000.0, "cm²")
    check.temperature(f"{prefix}brine_c", plan.brine_c)
    check.between(f"{prefix}soak_hours", plan.soak_hours, 0.0, 240.0, "h")
    check.between(f"{prefix}process_aw", plan.process_aw, 0.5, 1.0, "aw")
    for index, window in enumerate(plan.windows):
        check.temperature(f"{prefix}windows.{index}.lowest_c", window.lowest_c)
        check.temperature(f"{prefix}windows.{index}.highest_c", window.highest_c)
        check.between(f"{prefix}windows.{index}.longest_days", window.longest_days, 0.01, 720.0, "days")
        check.that(
            window.lowest_c < window.highest_c, f"{prefix}windows.{index}.highest_c",
            "the window is upside down", "enter the higher temperature here",
        )  # fmt: skip
        check.that(
            window.stage in MAY_BE_WARM, f"{prefix}windows.{index}.stage", f"the stage {window.stage} is a cold one",
            f"choose one of: {', '.join(MAY_BE_WARM)}",
        )  # fmt: skip
    check.between(f"{prefix}tau_hours", plan.tau_hours, 0.1, 72.0, "h")


def _check_sheet(check: Check, sheet: AsMadeRequest) -> None:
    check.weight("as_made.meat_kg", sheet.meat_kg, needed=True)
    for name in ("water_kg", "salt_kg", "sugar_kg", "curing_salt_kg"):
        check.weight(f"as_made.{name}", getattr(sheet, name))
    check.between("as_made.nitrite_percent", sheet.nitrite_percent, 0.0, 100.0, "%")
    check.between("as_made.nitrate_percent", sheet.nitrate_percent, 0.0, 100.0, "%")
    check.weight("as_made.pumped_kg", sheet.pumped_kg)
    check.between("as_made.scale_division_g", sheet.scale_division_g, 0.01, 10_000.0, "g")
    check.temperature("as_made.delivery_c", sheet.delivery_c)
    check.temperature("as_made.brine_c", sheet.brine_c)
    check.temperature("as_made.meat_c", sheet.meat_c)


def _check_packing(check: Check, packing: Packing, sheet: AsMadeRequest) -> None:
    dry_with_brine = packing is not Packing.UNDER_BRINE and sheet.brine_c is not None
    check.that(
        not dry_with_brine, "as_made.brine_c", "a batch that is not under brine has no brine",
        "leave it empty, or choose the packing under brine",
    )  # fmt: skip


def start_batch(
    kitchen: Kitchen, request: StartBatch, person: Person, now: Instant, book: Rulebook | None = None
) -> Result:
    """Return that meat went into its tubs, or what is wrong with the sheet.

    With the site's rulebook, a plan that cannot work is refused, and so is far more curing salt than was planned.
    """
    check = Check()
    at = now if request.started_at is None else request.started_at
    taken = {lot.casefold() for lot in kitchen.batches}
    check.that(
        request.lot.casefold() not in taken, "lot", f"lot code {request.lot} is taken",
        "a lot code is used once and never again; choose another",
    )  # fmt: skip
    check_plan(check, request.plan)
    _check_sheet(check, request.as_made)
    _check_packing(check, request.plan.packing, request.as_made)
    if book is not None and not check.found:
        for one in refusals(plan_of(request.plan), book):
            check.that(False, f"plan.{one.field}", one.what, one.mend)
        check_scale(check, kitchen, request.plan.curing_salt_kg, request.as_made, book)
    if check.past("started_at", at, now):
        old = now - at > OLDEST_START_S
        check.that(not old, "started_at", "that was more than 90 days ago", "look at the date and enter it again")
    names = [tub.tub.casefold() for tub in request.tubs]
    check.that(bool(names), "tubs", "no tub was named", "name at least one tub and the unit that it stands in")
    check.that(
        len(set(names)) == len(names), "tubs", "two tubs have the same name", "give each tub a name of its own"
    )  # fmt: skip
    for index, tub in enumerate(request.tubs):
        check.unit(f"tubs.{index}.unit", tub.unit, kitchen)
    placements = tuple(Placement(tub.tub, tub.unit, round(at, 3)) for tub in request.tubs)
    started = BatchStarted(
        request.lot, plan_of(request.plan), as_made_of(request.as_made), placements, request.stage
    )  # fmt: skip
    again = back_in_service(kitchen, (tub.unit for tub in request.tubs), request.lot)
    return check.result(person, at, [started, *again])


def correct_as_made(
    kitchen: Kitchen, lot: str, request: CorrectAsMade, person: Person, now: Instant, book: Rulebook | None = None
) -> Result:
    """Return that the as-made sheet was completed or corrected; the first sheet stays where it was written."""
    batch = kitchen.batches.get(lot)
    if batch is None:
        return fault("lot", f"no batch has lot code {lot}", "choose one from the list of batches")
    check = Check()
    _check_sheet(check, request.as_made)
    _check_packing(check, batch.plan.packing, request.as_made)
    check_scale(check, kitchen, batch.plan.curing_salt_kg, request.as_made, book)
    sheet = as_made_of(request.as_made)
    check.that(sheet != batch.as_made, "as_made", "this is the sheet as it stands", "change what is wrong or missing")
    return check.result(person, now, [AsMadeCorrected(lot, sheet, request.reason)])


def begin_stage(kitchen: Kitchen, lot: str, request: BeginStage, person: Person, now: Instant) -> Result:
    """Return that a batch went on to another stage."""
    batch = living(kitchen, lot)
    if isinstance(batch, Faults):
        return batch
    at = now if request.from_at is None else request.from_at
    check, current = Check(), batch.stages[-1]
    check.that(
        request.stage is not current.stage, "stage", f"{lot} is in this stage already", "choose the stage that follows"
    )  # fmt: skip
    if check.past("from_at", at, now):
        check.that(
            at > current.from_at, "from_at", f"the stage before ({current.stage}) began later than that",
            "enter when the new stage began",
        )  # fmt: skip
    return check.result(person, at, [StageBegun(lot, request.stage, round(at, 3))])


def end_batch(kitchen: Kitchen, lot: str, request: EndBatch, person: Person, now: Instant) -> Result:
    """Return that a batch left the cold rooms; a batch on hold stays until an approver has decided."""
    batch = living(kitchen, lot)
    if isinstance(batch, Faults):
        return batch
    at = now if request.ended_at is None else request.ended_at
    check, stands = Check(), standing(kitchen, lot)
    check.that(
        stands.disposition is not Disposition.HOLD, "reason", f"{lot} is on hold",
        "leave it cold; an approver decides before it leaves",
    )  # fmt: skip
    check.that(
        stands.disposition is not Disposition.REJECT or stands.signed, "reason", f"a reject is proposed for {lot}",
        "an approver signs before it is disposed of",
    )  # fmt: skip
    if check.past("ended_at", at, now):
        latest = max([p.from_at for p in batch.placements] + [s.from_at for s in batch.stages])
        check.that(
            at > latest, "ended_at", "it was moved, or began a stage, later than that", "enter when it left"
        )  # fmt: skip
    return check.result(person, at, [BatchEnded(lot, round(at, 3), request.reason)])

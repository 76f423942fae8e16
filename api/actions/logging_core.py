"""What people log of a batch on its way out: cook, cooling, soak, label, and food destroyed. Pure: no clock, no I/O."""

from api.actions.core_lines import points_of
from api.actions.faults import Check, Faults, Result, fault, living
from api.actions.standing import standing
from api.schemas_making import DisposeFood, LogCore, LogCoreLines, LogSoak, PointRequest, ReportLabel
from collector.batches import Batch
from collector.events_making import CoreLogged, FoodDisposed, LabelReported, SoakLogged
from collector.findings import Disposition
from collector.kitchen import Kitchen, Person
from collector.logs import CoreLog, Disposal, LabelApplied, SoakLog
from collector.sample import Instant

COLDEST_CORE_C, HOTTEST_CORE_C = -5.0, 110.0
"""House: no core of meat shows anything else. [°C]"""
WARMEST_SOAK_C = 60.0
LONGEST_SOAK_S = 10 * 86_400.0
"""House: a longer soak is a slip of the date. [s]"""


def _known(kitchen: Kitchen, lot: str) -> Batch | Faults:
    batch = kitchen.batches.get(lot)
    return batch if batch is not None else fault("lot", f"no batch has lot code {lot}", "choose one from the list")


def log_core(kitchen: Kitchen, lot: str, request: LogCore, person: Person, now: Instant) -> Result:
    """Return the core of a batch while it was cooked or cooled, or what is wrong with the log."""
    batch = _known(kitchen, lot)
    if isinstance(batch, Faults):
        return batch
    check, points = Check(), request.points
    if not check.that(
        bool(points), "points", "nothing is entered", "enter each time the core was read, and what it was"
    ):
        return check.result(person, now, [])
    times = [point.at for point in points]
    in_order = all(earlier < later for earlier, later in zip(times, times[1:], strict=False))
    check.that(
        in_order, "points", "the entries are not in order of time", "enter them from the first to the last, each once"
    )
    check.past("points", max(times), now)
    check.that(
        min(times) >= batch.started_at, "points", "that was before the batch began",
        "look at the day and enter it again",
    )  # fmt: skip
    for index, point in enumerate(points):
        check.between(f"points.{index}.core_c", point.core_c, COLDEST_CORE_C, HOTTEST_CORE_C, "°C")
    told = tuple((round(point.at, 3), point.core_c) for point in points)
    log = CoreLog(request.stage, request.probe, told, person.id, request.note)
    return check.result(person, max(times), [CoreLogged(lot, log)])


def log_core_lines(
    kitchen: Kitchen, lot: str, request: LogCoreLines, person: Person, now: Instant, zone: str
) -> Result:
    """Return the same from lines as a person writes them; what is wrong is told of `entries`."""
    points = points_of(request.entries, request.day.strip(), zone, now)
    read = [point for point in points if isinstance(point, tuple)]
    if len(read) < len(points):
        return Faults(tuple(point for point in points if not isinstance(point, tuple)))
    told = tuple(PointRequest(at=at, core_c=core_c) for at, core_c in read)
    asked = LogCore(stage=request.stage, probe=request.probe, points=told, note=request.note)
    result = log_core(kitchen, lot, asked, person, now)
    if not isinstance(result, Faults):
        return result
    check = Check()
    for one in result.found:
        named = one.field.split(".")
        line = f"entry {int(named[1]) + 1}: " if len(named) == 3 else ""
        check.that(False, "entries" if named[0] == "points" else one.field, line + one.what, one.mend)
    return Faults(tuple(check.found))


def log_soak(kitchen: Kitchen, lot: str, request: LogSoak, person: Person, now: Instant) -> Result:
    """Return that a batch lay in fresh water."""
    batch = _known(kitchen, lot)
    if isinstance(batch, Faults):
        return batch
    check = Check()
    if check.past("until_at", request.until_at, now):
        check.that(
            request.from_at < request.until_at, "until_at", "it ends before it begins", "enter the later time here"
        )
    check.that(
        request.from_at >= batch.started_at, "from_at", "that was before the batch began",
        "enter when it went into water",
    )  # fmt: skip
    long = request.until_at - request.from_at > LONGEST_SOAK_S
    check.that(not long, "from_at", "that is longer than ten days", "look at the dates and enter them again")
    check.between("water_c", request.water_c, 0.0, WARMEST_SOAK_C, "°C")
    soak = SoakLog(round(request.from_at, 3), round(request.until_at, 3), request.water_c, person.id)
    return check.result(person, request.until_at, [SoakLogged(lot, soak)])


def report_label(kitchen: Kitchen, lot: str, request: ReportLabel, person: Person, now: Instant) -> Result:
    """Return what is written on the pack."""
    batch = _known(kitchen, lot)
    if isinstance(batch, Faults):
        return batch
    check = Check()
    at = now if request.applied_at is None else request.applied_at
    if check.past("applied_at", at, now):
        check.that(
            at >= batch.started_at, "applied_at", "that was before the batch began", "enter when it was labelled"
        )
    label = LabelApplied(request.words, request.cook_before_eating, round(at, 3), person.id)
    return check.result(person, at, [LabelReported(lot, label)])


def dispose_food(kitchen: Kitchen, lot: str, request: DisposeFood, person: Person, now: Instant) -> Result:
    """Return that food was destroyed; held food stays where it is until an approver has decided."""
    batch = living(kitchen, lot)
    if isinstance(batch, Faults):
        return batch
    check, stands = Check(), standing(kitchen, lot)
    at = now if request.disposed_at is None else request.disposed_at
    check.that(
        stands.disposition is not Disposition.HOLD, "how", f"{lot} is on hold",
        "leave it cold; an approver decides before any of it is destroyed",
    )  # fmt: skip
    check.that(
        stands.disposition is not Disposition.REJECT or stands.signed, "how", f"a reject is proposed for {lot}",
        "an approver signs before it is disposed of",
    )  # fmt: skip
    check.weight("mass_kg", request.mass_kg, needed=True)
    if check.past("disposed_at", at, now):
        check.that(at >= batch.started_at, "disposed_at", "that was before the batch began", "enter when it was done")
    disposal = Disposal(request.mass_kg, request.how, request.witness, round(at, 3), person.id)
    return check.result(person, at, [FoodDisposed(lot, disposal)])

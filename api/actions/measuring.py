"""What people measure and what they did: hand readings and corrective actions. Pure: no clock, no I/O."""

from api.actions.faults import COLDEST_C, HEAVIEST_KG, WARMEST_C, Check, Result, check_tub, fault
from api.schemas import EnterCorrectiveAction, EnterHandReading
from collector.batches import Batch, CorrectiveAction, HandReading, Stage, Where
from collector.events import CorrectiveActionEntered, HandReadingEntered
from collector.kitchen import Kitchen, Person
from collector.sample import Instant

HOTTEST_C = 120.0
"""House: the most that a core or a brine shows while it is cooked, smoked or cooled. [°C]"""
HOT_STAGES = (Stage.COOK, Stage.COOL, Stage.SMOKE)
BOUNDS = {
    "strength": (0.0, 26.4, "%"),
    "ph": (0.0, 14.0, "pH"),
    "aw": (0.0, 1.0, "aw"),
    "mass": (0.001, HEAVIEST_KG, "kg"),
    "salt": (0.0, 26.4, "%"),
    "nitrite": (0.0, 5000.0, "ppm"),
}
"""What can be measured at all; 26.4 % is saturated brine (rules e-9)."""
OLDEST_S = 30 * 86_400.0
"""House: a reading of a unit older than this is taken for a slip of the date. [s]"""


def _check_value(check: Check, request: EnterHandReading, batch: Batch | None, at: Instant) -> None:
    if request.measure != "temperature":
        check.between("value", request.value, *BOUNDS[request.measure])
        return
    stage = batch.stage_at(at) if batch is not None else None
    hot = stage in HOT_STAGES and request.where is not Where.AIR
    check.between("value", request.value, COLDEST_C, HOTTEST_C if hot else WARMEST_C, "°C")


def enter_hand_reading(kitchen: Kitchen, request: EnterHandReading, person: Person, now: Instant) -> Result:
    """Return a measurement by hand, of a batch or of a unit's air."""
    check, batch = Check(), None
    at = now if request.measured_at is None else request.measured_at
    check.that(
        request.lot is not None or request.unit is not None, "lot", "neither a batch nor a unit was named",
        "say what was measured",
    )  # fmt: skip
    if request.unit is not None:
        check.unit("unit", request.unit, kitchen)
    if request.lot is not None:
        batch = kitchen.batches.get(request.lot)
        check.that(
            batch is not None, "lot", f"no batch has lot code {request.lot}", "choose one from the list of batches"
        )  # fmt: skip
    if request.tub is not None:
        named = check.that(batch is not None, "tub", "a tub needs its batch", "name the batch that the tub belongs to")
        if named and batch is not None:
            check_tub(check, batch, request.tub)
    if check.past("measured_at", at, now):
        begun_at = now - OLDEST_S if batch is None else batch.started_at
        check.that(
            at >= begun_at, "measured_at", "that was before the batch began" if batch else "that was over 30 days ago",
            "look at the date and enter it again",
        )  # fmt: skip
    _check_value(check, request, batch, at)
    reading = HandReading(
        round(at, 3), request.measure, request.value, request.where, request.probe,
        lot=request.lot, unit=request.unit, tub=request.tub, method=request.method,
    )  # fmt: skip
    return check.result(person, at, [HandReadingEntered(reading)])


def enter_corrective_action(
    kitchen: Kitchen, lot: str, request: EnterCorrectiveAction, person: Person, now: Instant
) -> Result:
    """Return what was done about an excursion, in its four fields."""
    batch = kitchen.batches.get(lot)
    if batch is None:
        return fault("lot", f"no batch has lot code {lot}", "choose one from the list of batches")
    check = Check()
    if check.past("excursion_at", request.excursion_at, now):
        check.that(
            request.excursion_at >= batch.started_at, "excursion_at", "that was before the batch began",
            "enter when the excursion began",
        )  # fmt: skip
    action = CorrectiveAction(**request.model_dump())
    return check.result(person, now, [CorrectiveActionEntered(lot, action)])

"""What the people of the demo kitchen did to one batch after its cure: cooked, cooled, labelled, released. Pure."""

from datetime import time

from collector.batches import Placement, Stage
from collector.events import DispositionSigned, Draft, Event, StageBegun, TubMoved
from collector.events_making import CoreLogged, LabelReported
from collector.findings import Disposition, SignOff
from collector.kitchen import Kitchen
from collector.logs import CoreLog, LabelApplied
from collector.sample import Instant
from simulators.smokehouse import Story

LOT, TUB = "PASTRAMI-28", "grey"
COOKED = ((0, 4.0), (60, 31.0), (120, 54.4), (150, 66.0), (165, 72.0), (175, 72.5))
COOLED = ((0, 57.0), (50, 35.0), (95, 21.0), (180, 10.0), (270, 4.6))
"""Minutes and core temperatures, as read from the probe. [min], [°C]"""
WORDS = "beef; mustard, celery; cured with nitrite; use within 7 days"
SIGNED_AFTER_S = 12 * 3600.0
KITCHEN_C = 21.0


def cooked_and_cooled(week: Story) -> list[Draft]:
    """Return what was done to the batch, each at its own time, up to its standing cold again."""
    hours = (time(9, 40), time(10), time(13), time(17, 40), time(18))
    out, oven, rack, cold, labelled = (week.local(3, at) for at in hours)

    def core(stage: Stage, begin_at: Instant, points: tuple[tuple[int, float], ...]) -> CoreLogged:
        read = tuple((begin_at + 60.0 * minute, value) for minute, value in points)
        log = CoreLog(stage, "hand probe 1", read, "tam")
        return CoreLogged(LOT, log)

    done: list[tuple[Instant, Event]] = [
        (out, TubMoved(LOT, Placement(TUB, None, out, None, KITCHEN_C))),
        (oven, StageBegun(LOT, Stage.COOK, oven)),
        (rack, StageBegun(LOT, Stage.COOL, rack)),
        (rack + 60.0, core(Stage.COOK, oven, COOKED)),
        (cold, core(Stage.COOL, rack + 600.0, COOLED)),
        (cold, StageBegun(LOT, Stage.STORE, cold)),
        (cold, TubMoved(LOT, Placement(TUB, "fridge", cold))),
        (labelled, LabelReported(LOT, LabelApplied(WORDS, False, labelled, "tam"))),
    ]
    return [Draft(at, "tam", event) for at, event in done]


def released(week: Story, kitchen: Kitchen) -> list[Draft]:
    """Return the approver's signature under the release that the rules propose; nothing where they propose another."""
    record = kitchen.proposal_of(LOT)
    if record is None or record.proposal.disposition is not Disposition.RELEASE or kitchen.sign_off_of(LOT) is not None:
        return []
    reason = "cook and cooling logs read with Tam, core 72 °C, cold by 17:40, label looked at"
    signed = SignOff(LOT, Disposition.RELEASE, reason, "odile", record.position)
    at = max(record.at + 600.0, week.local(3, time(18)) + SIGNED_AFTER_S)
    return [Draft(at, "odile", DispositionSigned(signed))]

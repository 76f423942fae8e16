"""Saying what a channel measures, and that it does so no more. Pure: no clock, no I/O."""

from api.actions.faults import Check, Result, check_tub
from api.schemas import AssignChannel, EndAssignment
from collector.events import AssignmentEnded, ChannelAssigned
from collector.kitchen import Kitchen, Person
from collector.readings import BASE_UNIT, Assignment
from collector.sample import Instant

LARGEST_OFFSET_C, LARGEST_UNCERTAINTY_C = 5.0, 5.0
"""House: a sensor that is further off is mended, not corrected. [K]"""
LONGEST_INTERVAL_S = 86_400.0


def assign_channel(
    kitchen: Kitchen, request: AssignChannel, person: Person, now: Instant, seen_unit: str | None
) -> Result:
    """Return what a channel measures from an instant on; `seen_unit` is the unit in which it sends, if it has sent."""
    check = Check()
    at = now if request.from_at is None else request.from_at
    check.unit("unit", request.unit, kitchen)
    check.past("from_at", at, now)
    needed = BASE_UNIT[request.quantity]
    check.that(
        seen_unit is not None, "channel", f"nothing has ever arrived on {request.channel}",
        "choose one from the list of channels",
    )  # fmt: skip
    check.that(
        seen_unit in (None, needed), "quantity", f"this channel sends {seen_unit}, not {needed}",
        "choose a quantity that fits the unit, or mend the mapping",
    )  # fmt: skip
    check.between("interval_s", request.interval_s, 1.0, LONGEST_INTERVAL_S, "s")
    check.between("offset_c", request.offset_c, -LARGEST_OFFSET_C, LARGEST_OFFSET_C, "K")
    check.between("uncertainty_c", request.uncertainty_c, 0.01, LARGEST_UNCERTAINTY_C, "K")
    if request.lot is not None:
        batch = kitchen.batches.get(request.lot)
        check.that(batch is not None, "lot", f"no batch has lot code {request.lot}", "leave it empty, or choose one")
        if batch is not None and check.that(
            request.tub is not None, "tub", "a probe in a batch stands in one tub", "name the tub"
        ):
            check_tub(check, batch, str(request.tub))
    else:
        check.that(request.tub is None, "tub", "a tub needs its batch", "name the batch, or leave the tub empty")
    said = request.model_dump(exclude={"from_at"})
    return check.result(person, at, [ChannelAssigned(Assignment(**said, from_at=round(at, 3)))])


def end_assignment(kitchen: Kitchen, request: EndAssignment, person: Person, now: Instant) -> Result:
    """Return that a channel measures nothing of ours from an instant on."""
    check = Check()
    at = now if request.until_at is None else request.until_at
    current = next((a for a in kitchen.said if a.channel == request.channel and a.until_at is None), None)
    if check.past("until_at", at, now) and check.that(
        current is not None, "channel", f"nobody has assigned {request.channel}", "choose one that is assigned"
    ):
        assert current is not None
        check.that(
            at > current.from_at, "until_at", "it was assigned later than that", "enter when it was taken away"
        )  # fmt: skip
    return check.result(person, at, [AssignmentEnded(request.channel, round(at, 3), request.reason)])

"""What curing salt is made of, read by two people, and the stop at the scale. Pure: no clock, no I/O."""

from alerts.rulebook.book import Rulebook
from api.actions.faults import Check, Result
from api.schemas import AsMadeRequest, ConfirmComposition
from collector.events_making import CompositionConfirmed
from collector.kitchen import Kitchen, Person
from collector.logs import Composition
from collector.sample import Instant

STOP = "scale.stop_factor"
NEEDED = 2
"""House (rules A7): so many different people read the bag before much more than planned goes in."""


def readings_of(kitchen: Kitchen, lot: str) -> dict[str, Composition]:
    """Return what each person last read on the bags of a lot of curing salt, by person."""
    return {one.person: one for one in kitchen.compositions if one.curing_salt_lot.casefold() == lot.casefold()}


def confirm_composition(kitchen: Kitchen, request: ConfirmComposition, person: Person, now: Instant) -> Result:
    """Return that a named person read the composition of a lot of curing salt on its bag."""
    check = Check()
    check.between("nitrite_percent", request.nitrite_percent, 0.0, 100.0, "%")
    check.between("nitrate_percent", request.nitrate_percent, 0.0, 100.0, "%")
    check.that(
        not request.nitrite_percent + request.nitrate_percent > 100.0, "nitrite_percent",
        "nitrite and nitrate together are more than all of it", "read the bag again",
    )  # fmt: skip
    before = readings_of(kitchen, request.curing_salt_lot).get(person.id)
    said = (request.nitrite_percent, request.nitrate_percent)
    again = before is not None and (before.nitrite_percent, before.nitrate_percent) == said
    check.that(
        not again, "curing_salt_lot", f"{person.name} has read the bag of this lot already",
        "the second look is another person's, signed in by their own name",
    )  # fmt: skip
    read = Composition(request.curing_salt_lot, *said, person.id, round(now, 3))
    return check.result(person, now, [CompositionConfirmed(read)])


def check_scale(check: Check, kitchen: Kitchen, planned_kg: float, sheet: AsMadeRequest, book: Rulebook | None) -> None:
    """Note a fault if far more curing salt was weighed than planned, and no two people have read its bag alike."""
    weighed = sheet.curing_salt_kg
    if book is None or weighed is None or not weighed > planned_kg * book.scaled(STOP):
        return
    field, factor = "as_made.curing_salt_kg", book.limits[STOP].printed
    what = f"{weighed:g} kg of curing salt is more than {factor} times the plan's {planned_kg:g} kg"
    if not sheet.curing_salt_lot:
        check.that(
            False, field, what, "weigh it again; if it is right, enter the lot, and have two people read its bag"
        )
        return
    read = readings_of(kitchen, sheet.curing_salt_lot)
    figures = {(one.nitrite_percent, one.nitrate_percent) for one in read.values()}
    lot = sheet.curing_salt_lot
    if len(figures) > 1:
        check.that(
            False, field, f"{what}, and the bag of {lot} was read as {_told(read)}",
            "read it again together, and enter it under “Curing salt”",
        )  # fmt: skip
    elif len(read) < NEEDED:
        names = " and ".join(sorted(read)) or "nobody"
        check.that(
            False, field, f"{what}; its bag ({lot}) was read by {names}",
            "weigh it again; if it is right, two different people read the bag and enter it under “Curing salt”",
        )  # fmt: skip
    elif sheet.nitrite_percent != next(iter(figures))[0]:
        check.that(
            False, "as_made.nitrite_percent", f"two people read {next(iter(figures))[0]:g} % on the bag of {lot}",
            "enter what the bag says",
        )  # fmt: skip


def _told(read: dict[str, Composition]) -> str:
    return ", ".join(f"{one.nitrite_percent:g} % by {name}" for name, one in sorted(read.items()))

"""What is wrong with what a person entered, and the checks that several acts share. Pure: no clock, no I/O."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from collector.batches import Batch
from collector.events import Draft, Event
from collector.kitchen import Kitchen, Person
from collector.sample import Instant

AHEAD_S = 60.0
"""House: how far a time that was entered may be ahead of our clock. [s]"""
COLDEST_C, WARMEST_C = -30.0, 60.0
"""House: no kitchen enters a temperature outside this by anything but a slip. [°C]"""
HEAVIEST_KG = 2000.0
"""House: more is a slip of the decimal point. [kg]"""
MEND_TIME = "enter when it happened, in the past"


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong: in which field, what, and how to mend it."""

    field: str
    what: str
    mend: str


@dataclass(frozen=True, slots=True)
class Faults:
    """Why nothing was done."""

    found: tuple[Fault, ...]


Result = tuple[Draft, ...] | Faults


@dataclass(slots=True)
class Check:
    """Gathers what is wrong, so that everything is said at once."""

    found: list[Fault] = field(default_factory=list)

    def that(self, true: bool, name: str, what: str, mend: str) -> bool:
        """Note a fault of a field unless something is true; return whether it is."""
        if not true:
            self.found.append(Fault(name, what, mend))
        return true

    def between(self, name: str, value: float | None, least: float, most: float, unit: str) -> None:
        """Note a fault if a figure was entered and lies outside."""
        if value is not None and not least <= value <= most:
            what = f"{value:g} {unit} is outside {least:g} to {most:g} {unit}".replace("-", "−")
            self.found.append(Fault(name, what, "look at the decimal point and the unit, and enter it again"))

    def temperature(self, name: str, value: float | None) -> None:
        """Note a fault if a temperature was entered that no cold room knows."""
        self.between(name, value, COLDEST_C, WARMEST_C, "°C")

    def weight(self, name: str, value: float | None, *, needed: bool = False) -> None:
        """Note a fault if a mass was entered that is negative or beyond any tub; a needed one must be more than 0."""
        if needed and value is not None and value <= 0:
            self.found.append(Fault(name, f"{value:g} kg is nothing", "enter what the scale says, in kg"))
        else:
            self.between(name, value, 0.0, HEAVIEST_KG, "kg")

    def past(self, name: str, at: Instant, now: Instant) -> bool:
        """Note a fault if an instant has not come yet; return whether it has."""
        return self.that(at <= now + AHEAD_S, name, "this time has not come yet", MEND_TIME)

    def unit(self, name: str, unit: str, kitchen: Kitchen) -> bool:
        """Note a fault if a unit is not known; return whether it is."""
        known = ", ".join(sorted(kitchen.units)) or "none"
        return self.that(unit in kitchen.units, name, f"no unit is called {unit}", f"choose one of: {known}")

    def result(self, person: Person, at: Instant, events: Sequence[Event]) -> Result:
        """Return the drafts of what happened, or the faults where there are any."""
        if self.found:
            return Faults(tuple(self.found))
        return tuple(Draft(round(at, 3), person.id, event) for event in events)


def fault(name: str, what: str, mend: str) -> Faults:
    """Return one fault as a result."""
    return Faults((Fault(name, what, mend),))


def living(kitchen: Kitchen, lot: str) -> Batch | Faults:
    """Return a batch that has not ended, or why there is none."""
    batch = kitchen.batches.get(lot)
    if batch is None:
        return fault("lot", f"no batch has lot code {lot}", "choose one from the list of batches")
    if batch.ended_at is not None:
        return fault("lot", f"batch {lot} has ended", "what belongs to it afterwards stands in its timeline")
    return batch


def check_tub(check: Check, batch: Batch, tub: str, name: str = "tub") -> bool:
    """Note a fault if a batch has no such tub; return whether it has."""
    known = ", ".join(batch.tubs)
    return check.that(tub in batch.tubs, name, f"{batch.lot} has no tub {tub}", f"choose one of: {known}")

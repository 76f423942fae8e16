"""Carrying out what a person asked for: decided by a pure act on the newest state, then appended to the journal."""

from collections.abc import Callable, Sequence

from alerts.rulebook.book import Rulebook
from api.actions.faults import Fault, Faults, Result
from api.office import Office
from collector.events import Draft, Entry
from collector.kitchen import Kitchen


class Refused(Exception):
    """What was asked for has faults; nothing was done."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        super().__init__("; ".join(f"{fault.field}: {fault.what}" for fault in faults))
        self.faults = tuple(faults)


class NotThere(LookupError):
    """What was asked for does not exist; the words say what."""


def book_of(office: Office, kitchen: Kitchen, unit: str | None) -> Rulebook | None:
    """Return the rulebook of the site that a unit stands at; None where there is none."""
    site = kitchen.site_of(unit)
    return None if site is None else office.rulebooks.get(site.authority)


def book_for(office: Office, kitchen: Kitchen, lot: str) -> Rulebook | None:
    """Return the rulebook of the site that a batch was started at; None where there is none."""
    units = [p.unit for p in kitchen.batches[lot].placements if p.unit is not None] if lot in kitchen.batches else []
    return book_of(office, kitchen, units[0] if units else None)


def do(office: Office, act: Callable[[Kitchen], Result]) -> list[Entry]:
    """Append what an act makes of the newest state, and return the entries. Raises Refused and StoreFailed."""

    def decide(kitchen: Kitchen) -> Sequence[Draft]:
        result = act(kitchen)
        if isinstance(result, Faults):
            raise Refused(result.found)
        return result

    return office.present.decide(decide)

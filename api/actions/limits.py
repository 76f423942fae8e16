"""Setting a limit of the site's own: stricter freely, looser with a reason, some never. Pure: no clock, no I/O."""

from alerts.rulebook.book import Rulebook
from alerts.rulebook.site_limits import limit_fault
from api.actions.faults import Check, Result, fault
from api.actions.signing import APPROVER
from api.schemas import SetLimit
from collector.events_making import SiteLimitSet
from collector.kitchen import Kitchen, Person
from collector.sample import Instant


def set_limit(kitchen: Kitchen, request: SetLimit, person: Person, now: Instant, book: Rulebook) -> Result:
    """Return that an approver set, or took back, a limit of the site's own; `book` is the shipped rulebook."""
    if APPROVER not in person.roles:
        return fault("limit", f"{person.name} is no approver", "ask an approver to set it")
    wrong = limit_fault(book, request.limit, request.value, request.reason)
    if wrong is not None:
        return fault(*wrong)
    check = Check()
    stands = kitchen.site_limits.get(request.limit)
    same = (None if stands is None else stands.value) == request.value
    check.that(not same, "value", "this is how it stands", "change the value, or leave it")
    return check.result(person, now, [SiteLimitSet(request.limit, request.value, request.reason, person.id)])

"""Describing the people of a site. Pure: no clock, no I/O."""

from api.actions.faults import Check, Result
from api.schemas import DescribePerson
from collector.events import PersonDescribed
from collector.kitchen import Kitchen, Person
from collector.sample import Instant

ADMIN = "admin"
RESERVED = ("watch", "rules", "system")
"""Names under which the program itself writes."""


def describe_person(kitchen: Kitchen, request: DescribePerson, person: Person, now: Instant) -> Result:
    """Return who a person is and what they may do; the site keeps at least one admin."""
    check = Check()
    check.that(
        request.person not in RESERVED, "person", f"{request.person} is what the program calls itself",
        "choose another short name",
    )  # fmt: skip
    admins = {p.id for p in kitchen.people.values() if ADMIN in p.roles} - {request.person}
    check.that(
        bool(admins) or ADMIN in request.roles, "roles", "nobody would be admin any more",
        "make somebody else admin first",
    )  # fmt: skip
    roles = tuple(role for role in ("operator", "approver", ADMIN) if role in request.roles)
    before = kitchen.people.get(request.person)
    check.that(
        before is None or (before.name, before.roles) != (request.name, roles), "person", "this is how it stands",
        "change the name or the roles",
    )  # fmt: skip
    return check.result(person, now, [PersonDescribed(request.person, request.name, roles)])

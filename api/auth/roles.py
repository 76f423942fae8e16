"""What each role may do: a person has a set of them, and approver and admin include operator."""

from enum import StrEnum

from collector.kitchen import Person


class Role(StrEnum):
    """Somebody without any role may look and do nothing."""

    OPERATOR = "operator"
    APPROVER = "approver"
    ADMIN = "admin"


def allowed(person: Person, role: Role) -> bool:
    """Return whether a person may do what a role is for."""
    if role is Role.OPERATOR:
        return any(one in person.roles for one in Role)
    return role in person.roles


def narrowed(person: Person, role: Role | None) -> Person:
    """Return the person with no more than one role, and never more than they have now."""
    kept = (role.value,) if role is not None and allowed(person, role) else ()
    return Person(person.id, person.name, kept)

"""Ways in: a code, then a password of one's own. Each ends in a new session; every attempt is logged and counted."""

import logging
from dataclasses import dataclass

from pydantic import ValidationError

from api.actions.faults import Fault, Faults, Result
from api.actions.people import describe_person
from api.auth import passwords
from api.auth.backoff import begin_attempt, forgive
from api.auth.codes import FIRST_RUN, issue_code, look_at_code, take_code
from api.auth.roles import Role
from api.auth.sessions import begin, end, end_all
from api.doing import Refused, do
from api.office import Office
from api.schemas import DescribePerson
from collector.kitchen import Kitchen, Person
from collector.storage import Working

log = logging.getLogger(__name__)

KIND = "account"
CODES = "codes"
"""Under which failed codes are counted: whose they were meant to be is not known."""


@dataclass(frozen=True, slots=True)
class Entered:
    """Somebody has come in."""

    person: Person
    token: str
    """For `sessions.put_cookie`."""
    needs_password: bool
    """They have none of their own yet."""


@dataclass(frozen=True, slots=True)
class From:
    """Where an attempt comes from, as far as we can see."""

    address: str
    browser: str = ""
    session: str = ""
    """The key of the session that the browser has now: it ends when another begins."""


def admins(kitchen: Kitchen) -> list[Person]:
    """Return who may describe people; nobody before the first run."""
    return [p for p in kitchen.people.values() if Role.ADMIN in p.roles]


def has_password(working: Working, person: str) -> bool:
    """Return whether somebody has a password of their own."""
    return working.get(KIND, person, 0.0) is not None


def anybody_has_account(working: Working) -> bool:
    """Return whether anybody can sign in without a code."""
    return bool(working.all(KIND, 0.0))


def by_password(office: Office, person: str, password: str, origin: From) -> Entered:
    """Let somebody in by password. Raises Refused, Wait and StoreFailed."""
    account = person.strip().casefold()[:100]
    begin_attempt(office.working, account, origin.address, office.security_clock())
    known = next((p for p in office.present.kitchen.people.values() if p.id.casefold() == account), None)
    kept = office.working.get(KIND, known.id, 0.0) if known is not None else None
    right = passwords.fits(str(kept["hash"]) if kept is not None else None, password)
    if known is None or not right:
        log.warning("sign-in failed account=%.100r address=%.100r", account, origin.address)
        raise Refused([Fault("password", "name and password do not belong together", "try again, or ask for a code")])
    forgive(office.working, account, origin.address)
    return _entered(office, known, origin)


def code_is_first_run(office: Office, code: str) -> bool:
    """Return whether a code lets whoever types it say who they are: nobody is admin yet."""
    found = look_at_code(office.working, code, office.security_clock())
    return found is not None and found.person == FIRST_RUN and not admins(office.present.kitchen)


def by_code(office: Office, code: str, origin: From, *, person: str = "", name: str = "") -> Entered:
    """Let somebody in by a code; the first-run code makes them an admin. Raises Refused, Wait and StoreFailed."""
    now = office.security_clock()
    begin_attempt(office.working, CODES, origin.address, now)
    found = look_at_code(office.working, code, now)
    if found is None:
        log.warning("sign-in code failed address=%.100r", origin.address)
        raise Refused([Fault("code", "this code is not known, used up or over", "type it again, or ask for another")])
    forgive(office.working, CODES, origin.address)
    known = office.present.catch_up().people.get(found.person)
    if found.person == FIRST_RUN:
        known = _first_admin(office, _read_first(person, name))
    if take_code(office.working, code, now) is None:
        raise Refused([Fault("code", "this code has just been used", "ask for another")])
    if known is None:
        raise Refused([Fault("code", "whom this code was for is no longer of this site", "ask for another")])
    return _entered(office, known, origin)


def _read_first(person: str, name: str) -> DescribePerson:
    try:
        return DescribePerson.model_validate({"person": person, "name": name, "roles": [r.value for r in Role]})
    except ValidationError as fault:
        said = [(str(e["loc"][0]), str(e["msg"]).removeprefix("Value error, ")) for e in fault.errors() if e["loc"]]
        raise Refused([Fault(field, what, "say who you are") for field, what in said]) from fault


def _first_admin(office: Office, described: DescribePerson) -> Person:
    first = Person(described.person, described.name, described.roles)

    def act(kitchen: Kitchen) -> Result:
        if admins(kitchen):
            return Faults((Fault("code", "this site has an admin already", "ask them for a code"),))
        return describe_person(kitchen, described, first, office.clock())

    do(office, act)
    return office.present.kitchen.people[described.person]


def _entered(office: Office, person: Person, origin: From) -> Entered:
    if origin.session:
        end(office.working, origin.session)
    token = begin(office.working, person.id, office.security_clock(), origin.browser)
    log.info("signed in person=%r address=%.100r", person.id, origin.address)
    return Entered(person, token, not has_password(office.working, person.id))


def set_password(office: Office, person: Person, password: str, *, now_has: str = "", session: str = "") -> None:
    """Give somebody a password of their own, and end their other sessions. Raises Refused, Wait and StoreFailed.

    Who has one already must enter it too. Who forgot it asks an admin for a fresh start.
    """
    kept = office.working.get(KIND, person.id, 0.0)
    if kept is not None:
        begin_attempt(office.working, person.id.casefold(), "change", office.security_clock())
        if not passwords.fits(str(kept["hash"]), now_has):
            raise Refused([Fault("now_has", "is not your password", "try again, or ask an admin for a code")])
        forgive(office.working, person.id.casefold(), "change")
    faults = passwords.faults_of(password, person)
    if faults:
        raise Refused(faults)
    now = office.security_clock()
    office.working.put(KIND, person.id, {"hash": passwords.hashed(password), "changed_at": now})
    end_all(office.working, person.id, now, but=session)
    log.info("password set person=%r", person.id)


def fresh_start(office: Office, person: str, *, lasts_s: float) -> str:
    """Take somebody's password and sessions away; return the code that lets them in again. Raises StoreFailed."""
    now = office.security_clock()
    office.working.remove(KIND, person)
    end_all(office.working, person, now)
    log.info("fresh start person=%.100r", person)
    return issue_code(office.working, person, now, lasts_s=lasts_s)

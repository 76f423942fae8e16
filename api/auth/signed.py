"""Who asks: dependencies of every page and route that is not public.

A route names `SignedIn`, or `needs(Role.APPROVER)`; a form that changes something also names `Form`.
"""

import hmac
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Request
from starlette.datastructures import FormData

from api.auth.origin import check_origin
from api.auth.refused import FormRefused, MayNot, NotSignedIn
from api.auth.roles import Role, allowed, narrowed
from api.auth.sessions import cookie_name, find, form_token
from api.auth.tokens import find_token
from api.office import Office
from collector.kitchen import Person

READS = ("GET", "HEAD", "OPTIONS")


@dataclass(frozen=True, slots=True)
class Signed:
    """Somebody who has signed in, as of this request."""

    person: Person
    token_for_forms: str
    """What a form carries as `form_token`; empty where a program asks with a bearer token."""
    session: str
    """The key of the session; empty with a bearer token."""


def office_of(request: Request) -> Office:
    """Return what the request may touch."""
    office: Office = request.app.state.office
    return office


def signed_in(request: Request) -> Signed:
    """Return who asks. Raises NotSignedIn, and FormRefused for a change that another origin's page asks for."""
    office = office_of(request)
    signed = _by_token(request, office) if "authorization" in request.headers else _by_cookie(request, office)
    if signed is None:
        raise NotSignedIn
    return signed


def _by_token(request: Request, office: Office) -> Signed | None:
    scheme, _, secret = request.headers["authorization"].partition(" ")
    if scheme.lower() != "bearer":
        return None
    token = find_token(office.working, secret.strip(), office.security_clock())
    person = office.present.kitchen.people.get(token.person) if token is not None else None
    return None if token is None or person is None else Signed(narrowed(person, token.role), "", "")


def _by_cookie(request: Request, office: Office) -> Signed | None:
    token = request.cookies.get(cookie_name(office.settings), "")
    session = find(office.working, token, office.security_clock()) if token else None
    person = office.present.kitchen.people.get(session.person) if session is not None else None
    if session is None or person is None:
        return None
    if request.method not in READS:
        check_origin(request, office.settings)
    return Signed(person, form_token(token), session.key)


OfficeHere = Annotated[Office, Depends(office_of)]
SignedIn = Annotated[Signed, Depends(signed_in)]


def needs(name: str) -> Callable[[Signed], Signed]:
    """Return a dependency: who asks, if they may do what the role is for. It raises MayNot."""
    role = Role(name)

    def needed(signed: SignedIn) -> Signed:
        if not allowed(signed.person, role):
            raise MayNot(role)
        return signed

    return needed


Operator = Annotated[Signed, Depends(needs(Role.OPERATOR))]
Approver = Annotated[Signed, Depends(needs(Role.APPROVER))]
Admin = Annotated[Signed, Depends(needs(Role.ADMIN))]


async def check_form(request: Request, signed: SignedIn) -> FormData:
    """Return what a form of ours sent. Raises FormRefused for one that a page of ours did not make."""
    form = await request.form(max_files=0, max_fields=500)
    given = form.get("form_token")
    if not signed.token_for_forms or not isinstance(given, str):
        raise FormRefused
    if not hmac.compare_digest(given.encode("utf-8", "replace"), signed.token_for_forms.encode()):
        raise FormRefused
    return form


Form = Annotated[FormData, Depends(check_form)]

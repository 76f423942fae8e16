"""Who may come in: sign-in codes and tokens, which an admin gives out, and each person's own sessions, as JSON."""

import logging
from dataclasses import asdict
from typing import Annotated, Literal

from fastapi import APIRouter
from pydantic import Field

from api.actions.faults import Fault
from api.answering import page_of
from api.answers import Answer, Page, Stamp
from api.auth.codes import issue_code
from api.auth.entry import fresh_start
from api.auth.roles import Role, allowed
from api.auth.sessions import Session, end, sessions_of
from api.auth.signed import Admin, OfficeHere, SignedIn
from api.auth.tokens import Token, all_tokens, end_token, issue_token
from api.doing import NotThere, Refused
from api.routes.shared import NOT_THERE, REFUSALS, After, Limit
from api.schemas import Code, Name, Request

log = logging.getLogger(__name__)
router = APIRouter(prefix="/api/v1", tags=["access"], responses=REFUSALS)
HOUR_S, DAY_S = 3600.0, 86_400.0


class IssueCode(Request):
    """A sign-in code for a person; a fresh start takes their password and their sessions away."""

    lasts_h: Annotated[float, Field(gt=0, le=72, allow_inf_nan=False)] = 1.0
    fresh_start: bool = False


class IssueToken(Request):
    """A token for a program that acts for a person, with one role at most; without one it may look and do nothing."""

    person: Code
    name: Name
    role: Literal["operator", "approver", "admin"] | None = None
    lasts_days: Annotated[float, Field(gt=0, le=400, allow_inf_nan=False)] = 90.0


class CodeAnswer(Answer):
    person: str
    code: str
    until_at: Stamp


class TokenAnswer(Answer):
    key: str
    person: str
    role: str | None
    name: str
    issued_at: Stamp
    until_at: Stamp


class NewToken(TokenAnswer):
    """Its secret is said here, and never again."""

    token: str


class SessionAnswer(Answer):
    key: str
    begun_at: Stamp
    seen_at: Stamp
    browser: str
    this: bool


class Ended(Answer):
    ended: str


@router.post("/people/{person}/codes", status_code=201, responses=NOT_THERE)
def give_code(person: str, request: IssueCode, office: OfficeHere, who: Admin) -> CodeAnswer:
    """Give out a sign-in code for one person: it works once."""
    if person not in office.present.catch_up().people:
        raise NotThere(f"there is nobody called {person}")
    lasts_s, now = request.lasts_h * HOUR_S, office.security_clock()
    if request.fresh_start:
        code = fresh_start(office, person, lasts_s=lasts_s)
    else:
        code = issue_code(office.working, person, now, lasts_s=lasts_s)
    log.info("code given person=%r by=%r fresh_start=%s", person, who.person.id, request.fresh_start)
    return CodeAnswer(person=person, code=code, until_at=now + lasts_s)


@router.get("/tokens")
def list_tokens(office: OfficeHere, who: Admin, limit: Limit = 100, after: After = None) -> Page[TokenAnswer]:
    """List the living tokens by key; a key names a token and opens nothing."""
    tokens = sorted(all_tokens(office.working, office.security_clock()), key=lambda token: token.key)
    behind = [token for token in tokens if after is None or token.key > after]
    items, following = page_of(behind, limit, TokenAnswer.model_validate, lambda token: token.key)
    return Page(items=items, next=following)


@router.post("/tokens", status_code=201)
def give_token(request: IssueToken, office: OfficeHere, who: Admin) -> NewToken:
    """Give out a token."""
    person = office.present.catch_up().people.get(request.person)
    role = None if request.role is None else Role(request.role)
    if person is None:
        raise Refused([Fault("person", f"there is nobody called {request.person}", "choose one of the people")])
    if role is not None and not allowed(person, role):
        raise Refused([Fault("role", f"{person.name} does not have it", "choose one of theirs, or none")])
    now, lasts_s = office.security_clock(), request.lasts_days * DAY_S
    secret, token = issue_token(office.working, person.id, role, now, name=request.name, lasts_s=lasts_s)
    log.info("token given key=%s person=%r role=%s by=%r", token.key[:12], person.id, request.role, who.person.id)
    return NewToken(**asdict(token), token=secret)


@router.post("/tokens/{key}/end", responses=NOT_THERE)
def end_one_token(key: str, office: OfficeHere, who: Admin) -> Ended:
    """End a token: it opens nothing from now on."""
    known: dict[str, Token] = {token.key: token for token in all_tokens(office.working, office.security_clock())}
    if key not in known:
        raise NotThere("there is no such token; it may have ended")
    end_token(office.working, key)
    log.info("token ended key=%s by=%r", key[:12], who.person.id)
    return Ended(ended=key)


@router.get("/sessions")
def list_sessions(office: OfficeHere, who: SignedIn, limit: Limit = 100, after: After = None) -> Page[SessionAnswer]:
    """List your own sessions by key, each in one browser."""
    sessions = sorted(sessions_of(office.working, who.person.id, office.security_clock()), key=lambda s: s.key)
    behind = [session for session in sessions if after is None or session.key > after]

    def said(session: Session) -> SessionAnswer:
        return SessionAnswer(
            key=session.key, begun_at=session.begun_at, seen_at=session.seen_at, browser=session.browser,
            this=session.key == who.session,
        )  # fmt: skip

    items, following = page_of(behind, limit, said, lambda session: session.key)
    return Page(items=items, next=following)


@router.post("/sessions/{key}/end", responses=NOT_THERE)
def end_session(key: str, office: OfficeHere, who: SignedIn) -> Ended:
    """End one of your own sessions."""
    if key not in {s.key for s in sessions_of(office.working, who.person.id, office.security_clock())}:
        raise NotThere("you have no such session; it may have ended")
    end(office.working, key)
    return Ended(ended=key)

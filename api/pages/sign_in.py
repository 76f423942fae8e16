"""Signing in by code or by name and password, choosing a password, signing out."""

from dataclasses import dataclass
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from api.actions.faults import Fault
from api.auth.entry import Entered, From, by_code, by_password, code_is_first_run, has_password, set_password
from api.auth.origin import check_origin
from api.auth.sessions import cookie_name, drop_cookie, end, find, put_cookie
from api.auth.signed import OfficeHere, SignedIn
from api.doing import Refused
from api.office import Office
from api.pages.frame import Framed, Typed, frame_of
from api.pages.rendering import show
from api.pages.sent import Unsigned

router = APIRouter()


@dataclass(frozen=True, slots=True)
class SignInContext:
    """Context of the page: what was typed, but never a password."""

    next: str
    faults: tuple[Fault, ...] = ()
    person: str = ""
    plain_http: bool = False
    with_password: bool = False

    def faults_of(self, name: str) -> tuple[Fault, ...]:
        """Return what is wrong with a field."""
        return tuple(f for f in self.faults if f.field == name)


@dataclass(frozen=True, slots=True)
class FirstContext:
    """Context of the page on which the first admin says who they are."""

    next: str
    code: str
    person: str = ""
    name: str = ""
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True, slots=True)
class PasswordContext:
    """Context of the page on which somebody chooses a password."""

    next: str
    has_one: bool
    faults: tuple[Fault, ...] = ()

    def faults_of(self, name: str) -> tuple[Fault, ...]:
        """Return what is wrong with a field."""
        return tuple(f for f in self.faults if f.field == name)


def own_address(text: str) -> str:
    """Return an address of ours to go on to; Tonight for any other, so that nobody is led away."""
    # Without an authority and without what some browsers read as one, an address cannot lead away from us.
    ours = text.startswith("/") and text[1:2] not in ("/", "\\") and text.isprintable()
    return text if ours else "/"


def _from(request: Request, office: Office) -> From:
    token = request.cookies.get(cookie_name(office.settings), "")
    session = find(office.working, token, office.security_clock()) if token else None
    address = request.client.host if request.client is not None else ""
    return From(address, request.headers.get("user-agent", ""), session.key if session is not None else "")


def _in(office: Office, entered: Entered, onward: str) -> Response:
    to = f"/password?next={quote(onward)}" if entered.needs_password else onward
    answer = RedirectResponse(to, 303)
    put_cookie(answer, entered.token, office.settings)
    return answer


def _refused(office: Office, context: SignInContext) -> Response:
    return show("sign_in.html", context, frame_of(office, None), 422)


@router.get("/sign-in")
def sign_in(office: OfficeHere, next: str = "/") -> Response:
    """Return the page."""
    context = SignInContext(own_address(next), plain_http=office.settings.plain_http)
    return show("sign_in.html", context, frame_of(office, None))


@router.post("/sign-in")
def signed_in_by_code(request: Request, office: OfficeHere, sent: Unsigned) -> Response:
    """Let somebody in by a code; on the first run ask who they are."""
    check_origin(request, office.settings)
    onward, code = own_address(sent.get("next", "/")), sent.get("code", "")
    person, name = sent.get("person", "").strip(), sent.get("name", "").strip()
    if not (person or name) and code_is_first_run(office, code):
        return show("first.html", FirstContext(onward, code), frame_of(office, None))
    try:
        return _in(office, by_code(office, code, _from(request, office), person=person, name=name), onward)
    except Refused as refused:
        if person or name:
            context = FirstContext(onward, code, person, name, refused.faults)
            return show("first.html", context, frame_of(office, None), 422)
        return _refused(office, SignInContext(onward, refused.faults, plain_http=office.settings.plain_http))


@router.post("/sign-in/password")
def signed_in_by_password(request: Request, office: OfficeHere, sent: Unsigned) -> Response:
    """Let somebody in by name and password."""
    check_origin(request, office.settings)
    onward, person = own_address(sent.get("next", "/")), sent.get("person", "")
    try:
        return _in(office, by_password(office, person, sent.get("password", ""), _from(request, office)), onward)
    except Refused as refused:
        return _refused(office, SignInContext(onward, refused.faults, person, office.settings.plain_http, True))


@router.get("/password")
def password(office: OfficeHere, frame: Framed, signed: SignedIn, next: str = "/") -> Response:
    """Return the page on which somebody chooses a password."""
    context = PasswordContext(own_address(next), has_password(office.working, signed.person.id))
    return show("password.html", context, frame)


@router.post("/password")
def password_chosen(office: OfficeHere, frame: Framed, signed: SignedIn, typed: Typed) -> Response:
    """Keep the password."""
    onward = own_address(typed.get("next", "/"))
    try:
        set_password(
            office, signed.person, typed.get("password", ""), now_has=typed.get("now_has", ""), session=signed.session
        )  # fmt: skip
    except Refused as refused:
        context = PasswordContext(onward, has_password(office.working, signed.person.id), refused.faults)
        return show("password.html", context, frame, 422)
    return RedirectResponse(onward, 303)


@router.post("/sign-out")
def sign_out(office: OfficeHere, signed: SignedIn, typed: Typed) -> Response:
    """End the session of this browser."""
    end(office.working, signed.session)
    answer = RedirectResponse("/sign-in", 303)
    drop_cookie(answer, office.settings)
    return answer

"""What is said when a request fails: one table for people's pages and for the JSON API; never what went on inside."""

import html
import logging
from urllib.parse import quote

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.actions.faults import Fault
from api.auth.refused import FormRefused, MayNot, NotSignedIn, Wait
from api.doing import NotThere, Refused
from collector.storage import StoreFailed

log = logging.getLogger(__name__)

WORDS = {
    400: "This request cannot be read.",
    401: "Nobody is signed in. Sign in, or send a bearer token that has not ended.",
    403: "Your roles do not allow this. Ask an admin of your site.",
    404: "There is no such thing here.",
    405: "This address does not take that kind of request.",
    413: "That is more than one request may bring (1 MiB).",
    422: "What was sent has faults; nothing was done.",
    429: "Too many attempts.",
    500: "Something went wrong in the program; nothing more is known to this page. The log has it.",
    503: "The store refused, so nothing was written. Alarms and Health say what is wrong; try again after that.",
}
FORM_OLD = (
    "This form is too old, or did not come from a page of ours; nothing was done. Go back, reload, send it again."
)
TOLD = {
    "missing": ("is missing", "send it"),
    "extra_forbidden": ("is not known here", "leave it out, or look at its spelling"),
    "json_invalid": ("is no JSON", "send one JSON object"),
    "enum": ("is none of the choices", "choose one that the schema lists"),
    "literal_error": ("is none of the choices", "choose one that the schema lists"),
}
LOGGED_FIELD = 200


def for_programs(request: Request) -> bool:
    """Return whether a program asks, which gets JSON."""
    return request.url.path.startswith(("/api/", "/health", "/metrics"))


def answer(
    request: Request,
    status: int,
    words: str = "",
    faults: tuple[Fault, ...] = (),
    headers: dict[str, str] | None = None,
) -> Response:
    """Return what is said of a failure, as JSON or as a page."""
    words = words or WORDS.get(status, WORDS[500] if status >= 500 else WORDS[400])
    if for_programs(request):
        found = [{"field": f.field, "what": f.what, "mend": f.mend} for f in faults]
        return JSONResponse({"error": words, "faults": found}, status, headers)
    said = "".join(f"<li>{_escaped(f'{f.field}: {f.what}; {f.mend}')}</li>" for f in faults)
    return HTMLResponse(PAGE.format(words=_escaped(words), faults=f"<ul>{said}</ul>" if said else ""), status, headers)


PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>Curevigil</title><link rel="stylesheet" href="/static/paper.css"></head>
<body><main><h1>This did not work</h1><p>{words}</p>{faults}<p><a href="/">Go to Tonight</a></p></main></body></html>
"""


def _escaped(text: str) -> str:
    return html.escape(text).encode("utf-8", "replace").decode()


def not_signed_in(request: Request, fault: Exception) -> Response:
    """Send a person to the sign-in page and back; tell a program."""
    if for_programs(request):
        return answer(request, 401, headers={"WWW-Authenticate": "Bearer"})
    if request.method not in ("GET", "HEAD") or "text/event-stream" in request.headers.get("accept", ""):
        return answer(request, 401)
    back = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    return RedirectResponse("/sign-in" if back == "/" else f"/sign-in?next={quote(back, safe='/')}", 303)


def may_not(request: Request, fault: Exception) -> Response:
    role = fault.role.value if isinstance(fault, MayNot) else ""
    return answer(request, 403, f"This needs the role {role}, which you do not have. Ask an admin of your site.")


def form_refused(request: Request, fault: Exception) -> Response:
    return answer(request, 403, FORM_OLD)


def wait(request: Request, fault: Exception) -> Response:
    wait_s = fault.wait_s if isinstance(fault, Wait) else 1.0
    words = f"Too many attempts. Wait {wait_s:.0f} s, then try again; a sign-in code from an admin helps as well."
    return answer(request, 429, words, headers={"Retry-After": f"{max(1.0, wait_s):.0f}"})


def refused(request: Request, fault: Exception) -> Response:
    return answer(request, 422, faults=fault.faults if isinstance(fault, Refused) else ())


def not_there(request: Request, fault: Exception) -> Response:
    words = str(fault.args[0]) if fault.args else ""
    return answer(request, 404, words[:1].upper() + words[1:])


def unreadable(request: Request, fault: Exception) -> Response:
    """Say what of a request does not fit its schema; what was sent is not repeated."""
    errors = fault.errors() if isinstance(fault, RequestValidationError) else []
    found = []
    for error in errors[:50]:
        path = [str(part)[:LOGGED_FIELD] for part in error["loc"]]
        name = ".".join(path[1:] if path[0] in ("body", "query", "path", "header", "cookie") else path) or "body"
        what, mend = TOLD.get(error["type"], (str(error["msg"]).removeprefix("Value error, "), "send it again"))
        found.append(Fault(_sendable(name), _sendable(what), mend))
    return answer(request, 422, faults=tuple(found))


def _sendable(text: str) -> str:
    return text.encode("utf-8", "replace").decode()


def http(request: Request, fault: Exception) -> Response:
    status = fault.status_code if isinstance(fault, HTTPException) else 500
    return answer(request, status, headers=dict(getattr(fault, "headers", None) or {}))


def store_failed(request: Request, fault: Exception) -> Response:
    log.error("store failed: %s", fault)
    return answer(request, 503, headers={"Retry-After": "10"})


TABLE = {
    NotSignedIn: not_signed_in,
    MayNot: may_not,
    FormRefused: form_refused,
    Wait: wait,
    Refused: refused,
    NotThere: not_there,
    RequestValidationError: unreadable,
    HTTPException: http,
    StoreFailed: store_failed,
}


def say_errors(app: FastAPI) -> None:
    """Answer every failure of the app by the table."""
    for kind, handler in TABLE.items():
        app.add_exception_handler(kind, handler)


class LastResort:
    """Answers what nobody foresaw. It stands within the headers, which the framework's own last resort does not."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        begun = False

        async def say(message: Message) -> None:
            nonlocal begun
            begun = True
            await send(message)

        try:
            await self._app(scope, receive, say)
        except Exception:
            # The pattern, not the path: a path may hold the secret of an acknowledge link.
            where = getattr(scope.get("route"), "path", "?")
            log.exception("unexpected fault method=%s route=%s", scope.get("method"), where)
            if begun or scope["type"] != "http":
                raise
            await answer(Request(scope), 500)(scope, receive, send)

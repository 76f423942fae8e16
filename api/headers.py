"""What every answer carries, and how much a request may bring. Plain ASGI, so that event streams pass untouched."""

from starlette.datastructures import MutableHeaders
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.office import Settings

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
ALWAYS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}
TLS_ONLY = "max-age=31536000"
"""A year, the least that OWASP ASVS 5.0.0 3.4.1 accepts."""
LARGEST_BODY = 2**20
"""House: the longest as-made sheet is a few KiB. [bytes]"""


class SecurityHeaders:
    """Adds the headers; what is not static is never kept by a browser."""

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self._app = app
        self._settings = settings

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        static = str(scope["path"]).startswith("/static/")

        async def say(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.update(ALWAYS)
                if not self._settings.plain_http:
                    headers["strict-transport-security"] = TLS_ONLY
                if not static:
                    headers["cache-control"] = "no-store"
                elif "cache-control" not in headers:
                    headers["cache-control"] = "no-cache"
            await send(message)

        await self._app(scope, receive, say)


class BodyLimit:
    """Turns away a request that brings too much, whether or not it says so beforehand."""

    def __init__(self, app: ASGIApp, largest: int = LARGEST_BODY) -> None:
        self._app = app
        self._largest = largest

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        said = dict(scope["headers"]).get(b"content-length", b"0")
        left = self._largest
        too_large = said.isdigit() and (len(said) > 12 or int(said) > left)

        async def hear() -> Message:
            nonlocal left
            message = await receive()
            left -= len(message.get("body", b""))
            if too_large or left < 0:
                raise HTTPException(413)
            return message

        await self._app(scope, hear, send)

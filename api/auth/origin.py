"""Whether a browser says that a page of ours asks for a change (OWASP ASVS 5.0.0 3.5.1)."""

from urllib.parse import urlsplit

from fastapi import Request

from api.auth.refused import FormRefused
from api.office import Settings


def check_origin(request: Request, settings: Settings) -> None:
    """Raise FormRefused unless the browser names one of our own pages.

    Browsers send Sec-Fetch-Site only over TLS and on loopback; on a plain network Origin must do. A browser sends
    Origin with every POST, so that a request with neither does not come from one: programs use bearer tokens.
    """
    site = request.headers.get("sec-fetch-site")
    if site is not None and site not in ("same-origin", "none"):
        raise FormRefused
    origin = request.headers.get("origin")
    if origin is None:
        if site is None:
            raise FormRefused
        return
    ours = {request.headers.get("host", "").lower(), _place(settings.public_address)} - {""}
    if _place(origin) not in ours:
        raise FormRefused


def _place(address: str) -> str:
    try:
        return urlsplit(address).netloc.lower()
    except ValueError:
        return ""

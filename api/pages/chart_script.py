"""The script that draws charts: large, never changing within a version, loaded after the text."""

import gzip
import hashlib
import threading
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import Response

from api.auth.signed import OfficeHere
from api.doing import NotThere

router = APIRouter()
CACHED = "public, max-age=604800"


@dataclass(frozen=True, slots=True)
class Bundle:
    """The script, plain and packed."""

    plain: bytes
    packed: bytes
    tag: str


_lock = threading.Lock()
_made: dict[int, Bundle] = {}


def bundle_of(script: bytes) -> Bundle:
    """Return the script with its packed form, packed once."""
    with _lock:
        key = hash(script)
        if key not in _made:
            _made.clear()
            _made[key] = Bundle(
                script, gzip.compress(script, 9, mtime=0), f'"{hashlib.sha256(script).hexdigest()[:20]}"'
            )
        return _made[key]


@router.get("/static/charts.js")
def charts_script(request: Request, office: OfficeHere) -> Response:
    """Return the script, packed where the browser takes that."""
    script = office.charts()
    if script is None:
        raise NotThere("there is no script for charts; the words stand alone")
    bundle = bundle_of(script)
    headers = {"Cache-Control": CACHED, "ETag": bundle.tag, "Vary": "Accept-Encoding"}
    if request.headers.get("if-none-match") == bundle.tag:
        return Response(status_code=304, headers=headers)
    if "gzip" in request.headers.get("accept-encoding", ""):
        return Response(bundle.packed, media_type="text/javascript", headers={**headers, "Content-Encoding": "gzip"})
    return Response(bundle.plain, media_type="text/javascript", headers=headers)

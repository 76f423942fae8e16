"""Whether it works: for anybody, for people of the site, and for a program that collects numbers."""

from fastapi import APIRouter, Response
from fastapi.responses import PlainTextResponse

from api.answers import HealthAnswer, PartAnswer, Works
from api.auth.signed import OfficeHere, SignedIn
from api.metrics import metrics_text
from api.routes.shared import REFUSALS
from collector.health import Part, State

router = APIRouter(tags=["health"])


def works(parts: tuple[Part, ...]) -> bool:
    """Return whether every part that has spoken works; nothing said, and a watch that only begins, is no good sign."""
    if any(part.name == "watch" and part.state is State.STARTING for part in parts):
        return False
    return bool(parts) and not any(part.state in (State.FAILED, State.STOPPED) for part in parts)


@router.get("/health", responses={503: {"model": Works, "description": "It does not work."}})
def health(office: OfficeHere, response: Response) -> Works:
    """Say whether it works, to anybody who asks, and nothing more."""
    answer = Works(works=works(tuple(office.health())))
    response.status_code = 200 if answer.works else 503
    return answer


@router.get("/api/v1/health", responses=REFUSALS)
def health_of_parts(office: OfficeHere, who: SignedIn) -> HealthAnswer:
    """Say how each part is doing."""
    parts = tuple(office.health())
    said = [
        PartAnswer(
            name=part.name,
            state=part.state,
            since_at=part.since_at,
            sentence=part.sentence,
            numbers=dict(part.numbers),
        )
        for part in parts
    ]
    return HealthAnswer(works=works(parts), parts=said)


@router.get("/metrics", response_class=PlainTextResponse, responses=REFUSALS)
def metrics(office: OfficeHere, who: SignedIn) -> PlainTextResponse:
    """Give the numbers as text exposition format 0.0.4."""
    text = metrics_text(tuple(office.health()), office.present.kitchen, office.estimates(), office.clock())
    return PlainTextResponse(text, media_type="text/plain; version=0.0.4; charset=utf-8")

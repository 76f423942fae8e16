"""What the routes of the JSON API share: the shape of lists, of refusals and of what was written."""

from typing import Annotated, Any

from fastapi import Query

from api.answers import Refusal, Written
from collector.events import Entry

Limit = Annotated[int, Query(ge=1, le=1000, description="At most so many items.")]
After = Annotated[str | None, Query(max_length=500, description="The cursor `next` of the page before.")]

REFUSALS: dict[int | str, dict[str, Any]] = {
    401: {"model": Refusal, "description": "Nobody is signed in."},
    403: {"model": Refusal, "description": "The role does not allow it."},
    422: {"model": Refusal, "description": "What was sent has faults; nothing was done."},
    503: {"model": Refusal, "description": "The store refused; nothing was done."},
}
NOT_THERE: dict[int | str, dict[str, Any]] = {404: {"model": Refusal, "description": "There is no such thing."}}


def written(entries: list[Entry]) -> Written:
    """Return where in the journal it stands."""
    return Written(entries=[entry.position for entry in entries])

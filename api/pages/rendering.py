"""From a page's context to HTML: the one import of the template engine. Nothing is fetched here."""

from dataclasses import dataclass, field
from typing import Any

from fastapi.responses import HTMLResponse
from jinja2 import Environment, PackageLoader, StrictUndefined

from alerts.sentences import clock_text
from alerts.sentences_findings import CAUTION, instant_text
from api.auth.roles import Role, allowed
from api.pages.wording import ago_text, degrees, short_text
from collector.kitchen import Person

PLACES = (("/", "Tonight"), ("/batches", "Batches"), ("/channels", "Channels"), ("/journal", "Journal"))


@dataclass(frozen=True, slots=True)
class Frame:
    """What stands around every page."""

    person: Person | None = None
    token: str = ""
    """What a form carries so that only our own pages can send it."""
    site: str = ""
    zone: str = "UTC"
    notice: str = ""
    """A line on every page, such as that the kitchen is invented."""
    doubts: tuple[str, ...] = ()
    """Parts of the program that do not work, in words."""
    holds: tuple[str, ...] = ()
    """Lots that must not be used."""
    drill: str = ""
    """The drill that waits for the word of whoever looks."""
    here: str = "/"
    now_text: str = ""
    places: tuple[tuple[str, str], ...] = field(default=PLACES)

    @property
    def operates(self) -> bool:
        """Return whether the person may write anything down."""
        return self.person is not None and allowed(self.person, Role.OPERATOR)

    @property
    def signs(self) -> bool:
        """Return whether the person may sign."""
        return self.person is not None and allowed(self.person, Role.APPROVER)

    @property
    def administers(self) -> bool:
        """Return whether the person may say what channels measure."""
        return self.person is not None and allowed(self.person, Role.ADMIN)


def _environment() -> Environment:
    made = Environment(
        loader=PackageLoader("api", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["caution"] = CAUTION
    made.filters.update(
        clock=clock_text, when=instant_text, short=short_text, ago=ago_text, degrees=degrees
    )  # fmt: skip
    return made


TEMPLATES = _environment()


def html(template: str, context: Any, frame: Frame) -> str:
    """Return a page as text; the template knows its context as `c`, what stands around it as `frame`."""
    return TEMPLATES.get_template(template).render(c=context, frame=frame)


def show(template: str, context: Any, frame: Frame, status: int = 200) -> HTMLResponse:
    """Return a page as an answer that no cache keeps."""
    return HTMLResponse(html(template, context, frame), status, {"Cache-Control": "no-store"})

"""What a plan comes to, before any meat is in it."""

from dataclasses import dataclass, replace

from fastapi import APIRouter
from fastapi.responses import Response

from alerts.planning import Answer, Task, Tone, answers, tasks
from alerts.rulebook.book import Rulebook
from alerts.rulebook.shelf import load
from api.actions.faults import Check
from api.actions.making import check_plan, plan_of
from api.auth.signed import OfficeHere, Operator
from api.doing import book_of
from api.office import Office
from api.pages.batches import class_options, plan_fields
from api.pages.forms import Field, Form, Kind, asked
from api.pages.frame import Framed, Typed
from api.pages.rendering import show
from api.pages.wording import long_text
from api.schemas import AskPlan
from api.tonight import zone_of

router = APIRouter()
WORDS = {Tone.REFUSED: "Refused", Tone.WARNED: "Look", Tone.CANNOT_TELL: "Not known", Tone.ANSWERED: ""}
VESSEL = (
    Field("plan.brine_c", "Brine at filling", Kind.NUMBER, unit="°C", half=True),
    Field("plan.vessel_area_cm2", "Floor of the vessel", Kind.NUMBER, unit="cm²", half=True),
    Field("plan.stacked_mm", "Meat lies in it to a height of", Kind.NUMBER, unit="mm", half=True),
    Field("plan.soak_hours", "Soak after the cure", Kind.NUMBER, unit="hours", half=True),
)


@dataclass(frozen=True, slots=True)
class Line:
    """One answer, as it is shown."""

    about: str
    mark: str
    words: str
    source: str


@dataclass(frozen=True, slots=True)
class Due:
    """One thing to be done."""

    name: str
    when: str
    words: str


@dataclass(frozen=True, slots=True)
class PlanContext:
    """Context of the page."""

    form: Form
    name: str
    rulebook: str
    answers: tuple[Line, ...]
    tasks: tuple[Due, ...]


def plan_form(book: Rulebook) -> Form:
    """Return the form that asks for a plan; nothing of it is kept."""
    fields = (*plan_fields(class_options(book)), *VESSEL)
    note = "Nothing of this is kept: it says what the plan comes to. Start the batch when the meat is in."
    return Form("plan", "What a plan comes to", "/plan", "Show what it comes to", fields, {}, note=note)


def _line(one: Answer) -> Line:
    return Line(one.about.replace("_", " ").removesuffix(" kg"), WORDS[one.tone], one.words, one.source)


def _due(task: Task) -> Due:
    return Due(task.name, long_text(task.done_by_s), task.words)


def _book(office: Office) -> Rulebook:
    kitchen = office.present.kitchen
    return book_of(office, kitchen, next(iter(kitchen.units), None)) or load("US")


@router.get("/plan")
def ask_plan(office: OfficeHere, frame: Framed, signed: Operator) -> Response:
    """Return the page, empty."""
    book = _book(office)
    return show("plan.html", PlanContext(plan_form(book), "", book.name, (), ()), frame)


@router.post("/plan")
def plan_answered(office: OfficeHere, frame: Framed, signed: Operator, typed: Typed) -> Response:
    """Say what the plan comes to; nothing is recorded."""
    book = _book(office)
    form = plan_form(book)
    request = asked(form, typed, zone_of(office.present.kitchen), AskPlan)
    if isinstance(request, Form):
        return show("plan.html", PlanContext(request, "", book.name, (), ()), frame, 422)
    check = Check()
    check_plan(check, request.plan)
    filled = replace(form, values=dict(typed), faults=tuple(check.found))
    if check.found:
        return show("plan.html", PlanContext(filled, "", book.name, (), ()), frame, 422)
    plan = plan_of(request.plan)
    lines, due = tuple(map(_line, answers(plan, book))), tuple(map(_due, tasks(plan)))
    return show("plan.html", PlanContext(filled, plan.name, book.name, lines, due), frame)

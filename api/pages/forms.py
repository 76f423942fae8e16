"""Forms: what a person typed, turned into a request; shown again with each fault beside its field."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ValidationError

from api.actions.faults import Fault, Result
from api.doing import Refused, do
from api.office import Office
from collector.kitchen import Kitchen
from collector.sample import Instant

Model = TypeVar("Model", bound=BaseModel)
Sent = Mapping[str, str]
ROW = re.compile(r"^(?P<list>[a-z_]+)\.(?P<row>\d+)\.(?P<name>[a-z_]+)$")


class Kind(StrEnum):
    """How a field is typed in."""

    TEXT = "text"
    WORDS = "words"
    LINES = "lines"
    NUMBER = "number"
    WHEN = "when"
    CHOICE = "choice"
    TICK = "tick"
    LIST = "list"
    HIDDEN = "hidden"
    POSITION = "position"
    """Hidden, a whole number."""


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a form, named as the request names it: `plan.meat_kg`, `tubs.0.unit`."""

    name: str
    label: str
    kind: Kind = Kind.TEXT
    hint: str = ""
    unit: str = ""
    options: tuple[tuple[str, str], ...] = ()
    """For a choice: what is sent, and the words for it."""
    needed: bool = False
    group: str = ""
    """Heading above this field, where a new part of the form begins."""
    optional: str = "if known"
    """What is said beside a field that may stay empty."""
    half: bool = False
    """Whether it may share a row with its neighbour."""

    @property
    def id(self) -> str:
        """Return its name as an id of the page."""
        return self.name.replace(".", "-")


@dataclass(frozen=True, slots=True)
class Form:
    """A form with what stands in it and what is wrong with it."""

    id: str
    title: str
    action: str
    button: str
    fields: tuple[Field, ...]
    values: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()
    note: str = ""

    def value(self, name: str) -> str:
        """Return what stands in a field."""
        return self.values.get(name, "")

    def faults_of(self, name: str) -> tuple[Fault, ...]:
        """Return what is wrong with a field."""
        return tuple(f for f in self.faults if f.field == name)

    @property
    def other_faults(self) -> tuple[Fault, ...]:
        """Return what is wrong with the whole."""
        names = {f.name for f in self.fields if f.kind not in (Kind.HIDDEN, Kind.POSITION)}
        return tuple(f for f in self.faults if f.field not in names)


def local_field(at: Instant | None, zone: str) -> str:
    """Return an instant as a date-and-time field of a form shows it, on the walls' clock."""
    if at is None:
        return ""
    local = datetime.fromtimestamp(at, UTC).astimezone(ZoneInfo(zone))
    return local.strftime("%Y-%m-%dT%H:%M:%S" if local.second else "%Y-%m-%dT%H:%M")


def instant_of(text: str, zone: str) -> Instant:
    """Return the instant at which the walls' clock showed a time; of a repeated hour the first.

    Raises
    ------
    ValueError
        If it is no time, or the clocks skipped it.
    """
    local = datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone))
    back = local.astimezone(UTC).astimezone(ZoneInfo(zone))
    if back.replace(tzinfo=None) != local.replace(tzinfo=None):
        raise ValueError("the clocks went forward over this time")
    return local.timestamp()


def _typed(one: Field, text: str, zone: str) -> object:
    if one.kind is Kind.NUMBER:
        return float(text.replace(",", ".").replace("−", "-").replace(" ", ""))
    if one.kind is Kind.POSITION:
        return int(text)
    if one.kind is Kind.WHEN:
        return instant_of(text, zone)
    if one.kind is Kind.LIST:
        return [part.strip() for part in text.split(",") if part.strip()]
    if one.kind is Kind.TICK:
        return True
    return text


MENDS = {
    Kind.POSITION: ("is no position in the journal", "open the page again"),
    Kind.NUMBER: ("is no number", "enter figures, for example 3.4"),
    Kind.WHEN: ("is no time that the clock on the wall showed", "choose day and time again"),
}


def _put(request: dict[str, Any], name: str, value: object) -> None:
    place: Any = request
    *path, last = name.split(".")
    if ROW.match(name):
        rows = place.setdefault(path[0], [])
        while len(rows) <= int(path[1]):
            rows.append({})
        rows[int(path[1])][last] = value
        return
    for part in path:
        place = place.setdefault(part, {})
    place[last] = value


def compacted(sent: Sent, key: Mapping[str, str]) -> dict[str, str]:
    """Return what was sent with the rows left out whose key field is empty, the others moved up."""
    found: dict[str, str] = {}
    rows: dict[str, list[str]] = {name: [] for name in key}
    for name, value in sent.items():
        match = ROW.match(name)
        if match and match["list"] in key and match["name"] == key[match["list"]] and value.strip():
            rows[match["list"]].append(match["row"])
    for name, value in sent.items():
        match = ROW.match(name)
        if not match or match["list"] not in key:
            found[name] = value
        elif match["row"] in rows[match["list"]]:
            row = sorted(rows[match["list"]], key=int).index(match["row"])
            found[f"{match['list']}.{row}.{match['name']}"] = value
    return found


def entered(fields: Sequence[Field], sent: Sent, zone: str) -> tuple[dict[str, Any], list[Fault]]:
    """Return what was typed as a request in the making, and what cannot be read; empty fields are left out."""
    request: dict[str, Any] = {}
    faults: list[Fault] = []
    for one in fields:
        text = sent.get(one.name, "").strip()
        if not text:
            if one.needed:
                faults.append(Fault(one.name, "is not entered", "enter it"))
            continue
        try:
            _put(request, one.name, _typed(one, text, zone))
        except (ValueError, OverflowError):
            what, mend = MENDS[one.kind]
            faults.append(Fault(one.name, f"“{text[:40]}” {what}", mend))
    return request, faults


TOLD = {
    "missing": ("is not entered", "enter it"),
    "string_too_short": ("is too short", "say a little more"),
    "string_too_long": ("is too long", "shorten it"),
    "string_pattern_mismatch": (
        "has characters that cannot stand here",
        "use letters, digits, dot, dash and underline",
    ),
    "enum": ("is none of the choices", "choose one of the list"),
    "literal_error": ("is none of the choices", "choose one of the list"),
    "finite_number": ("is no number", "enter figures, for example 3.4"),
}


def told(fault: ValidationError) -> tuple[Fault, ...]:
    """Return what a model refuses, in words, each with its field."""
    found = []
    for error in fault.errors(include_url=False, include_input=False):
        name = ".".join(str(part) for part in error["loc"])
        what, mend = TOLD.get(error["type"], (error["msg"].removeprefix("Value error, "), "enter it again"))
        found.append(Fault(name, what, mend))
    return tuple(found)


def asked(form: Form, sent: Sent, zone: str, model: type[Model]) -> Model | Form:
    """Return what a form asks for; or the form as it was typed, with its faults."""
    typed, faults = entered(form.fields, sent, zone)
    back = replace(form, values=dict(sent))
    if faults:
        return replace(back, faults=tuple(faults))
    try:
        return model.model_validate(typed)
    except ValidationError as fault:
        return replace(back, faults=told(fault))


def carry_out(
    office: Office, form: Form, sent: Sent, zone: str, model: type[Model], act: Callable[[Kitchen, Model], Result]
) -> Form | None:
    """Do what a form asks for; return None when it was done, else the form as it was typed with its faults.

    Raises StoreFailed.
    """
    request = asked(form, sent, zone, model)
    if isinstance(request, Form):
        return request
    try:
        do(office, lambda kitchen: act(kitchen, request))
    except Refused as refused:
        return replace(form, values=dict(sent), faults=refused.faults)
    return None

"""What is wrong with a TOML file that a person wrote, all at once: key, line, and how to mend it. Pure."""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from difflib import get_close_matches
from typing import Any, NoReturn, get_args

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic_core import ErrorDetails, PydanticCustomError

from collector.toml_lines import Place, line_of, lines_of

LONGEST_SHOWN = 60
"""Characters of a wrong value that are shown again."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong: where, what, and how to mend it."""

    key: str
    """As a person would look for it: `unit 2 limit_c`; a file as a whole is `file`."""
    what: str
    mend: str
    line: int | None = None
    file: str = ""

    def __str__(self) -> str:
        line = f"line {self.line}" if self.line is not None else ""
        where = " ".join(part for part in (self.file, line) if part)
        said = "; ".join(part for part in (self.what, self.mend) if part)
        return f"{where}: {self.key}: {said}" if where else f"{self.key}: {said}"


class Table(BaseModel):
    """A table of a file, read strictly: nothing is guessed, and an unknown key is a fault."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, allow_inf_nan=False, hide_input_in_errors=True)


@dataclass(frozen=True, slots=True)
class Sheet:
    """The values of a TOML file and the lines they stand on."""

    file: str
    values: dict[str, Any]
    lines: Mapping[Place, int]

    def fault(self, place: Place, what: str, mend: str) -> Fault:
        """Return a fault of one place in the file."""
        return Fault(named(place) or "file", what, mend, line_of(self.lines, place), self.file)


def refuse(what: str, mend: str) -> NoReturn:
    """Say from within a validator what is wrong with a value, and how to mend it.

    Raises
    ------
    PydanticCustomError
        Always.
    """
    raise PydanticCustomError("told", "{what}", {"what": what, "mend": mend})


def shown(value: object) -> str:
    """Return a value as it can be shown in a fault: short, one line, and nothing of what stands inside a table.

    >>> shown("a" * 100)[-7:]
    'aaa ...'
    """
    if isinstance(value, dict | list):
        return "a table" if isinstance(value, dict) else "a list"
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    text = repr(value) if str(value).isprintable() else ascii(value)
    return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]} ..."


def named(place: Place) -> str:
    """Return a place in words; a list's elements count from 1.

    >>> named(("unit", 1, "limit_c"))
    'unit 2 limit_c'
    """
    return " ".join(str(part + 1) if isinstance(part, int) else part for part in place)


def read_sheet(text: str, file: str) -> Sheet | Fault:
    """Return the values of a TOML text with their lines, or why it is no TOML."""
    try:
        return Sheet(file, tomllib.loads(text), lines_of(text))
    except RecursionError:
        return Fault("file", "lists or tables stand too deep within each other", "write them flat", file=file)
    except ValueError as error:
        return _syntax_fault(str(error), text, file)


def _syntax_fault(said: str, text: str, file: str) -> Fault:
    found = re.search(r" \(at (?:line (\d+), column (\d+)|end of document)\)$", said)
    if found is None:
        return Fault(
            "file", f"this is no TOML: {said.splitlines()[0][:200]}", "mend the value that is named", file=file
        )
    words = said[: found.start()]
    words = words[:1].lower() + words[1:]
    line = int(found[1]) if found[1] else text.count("\n") + 1
    column = f"column {found[2]}" if found[2] else "the end of the file"
    mend = "texts stand in quotes, times carry an offset, and a key stands once in its table"
    return Fault("file", f"this is no TOML from {column} on ({words})", mend, line, file)


def model_faults(error: ValidationError, sheet: Sheet, model: type[BaseModel]) -> tuple[Fault, ...]:
    """Return every fault that a model found in a sheet, in the order of its lines."""
    faults = [_model_fault(one, sheet, model) for one in error.errors(include_url=False)]
    return in_order(faults)


def in_order(faults: list[Fault]) -> tuple[Fault, ...]:
    """Return faults in the order of their lines, those of the whole file first, each once."""
    return tuple(sorted(dict.fromkeys(faults), key=lambda fault: fault.line or 0))


def _model_fault(error: ErrorDetails, sheet: Sheet, model: type[BaseModel]) -> Fault:
    # What pydantic adds to a place (a union's branch, a validator's name) is no key of the file.
    place = _written(error["loc"], sheet.values, missing=error["type"] == "missing")
    fault = sheet.fault(place, *_words(error, place, model))
    above = place[:-1]
    return replace(fault, line=line_of(sheet.lines, above)) if error["type"] == "missing" else fault


def _written(loc: tuple[int | str, ...], values: Any, *, missing: bool) -> Place:
    place: Place = ()
    for part in loc:
        inside = values[part] if _holds(values, part) else None
        if inside is None:
            return (*place, part) if missing and part == loc[-1] else place
        place, values = (*place, part), inside
    return place


def _holds(values: Any, part: int | str) -> bool:
    if isinstance(values, dict):
        return part in values
    return isinstance(values, list) and isinstance(part, int) and part < len(values)


_SIMPLE: Mapping[str, tuple[str, str]] = {
    "string_type": ("is no text", "write it in quotes"),
    "bool_type": ("is neither true nor false", "write true or false, without quotes"),
    "int_type": ("is no whole number", "write a whole number, without quotes"),
    "int_from_float": ("is no whole number", "write a whole number"),
    "float_type": ("is no number", "write a number, without quotes"),
    "finite_number": ("is no finite number", "write a number, or leave the key out"),
    "list_type": ("is no list", "write a list in square brackets; tables of a list stand under [[two brackets]]"),
    "tuple_type": ("is no list", "write a list in square brackets; tables of a list stand under [[two brackets]]"),
    "dict_type": ("is no table", "write it as a table"),
    "model_type": ("is no table", "write it as a table under its name in [square brackets]"),
    "model_attributes_type": ("is no table", "write it as a table under its name in [square brackets]"),
    "string_too_short": ("is empty", "write what it is, or leave the key out"),
    "string_too_long": ("is too long", "write it shorter"),
    "string_pattern_mismatch": ("is no id", "use letters, digits, dots, - and _, and begin with a letter or digit"),
    "too_short": ("is empty", "write at least one"),
}
_BOUNDS = {
    "greater_than": ("gt", "is not above"),
    "greater_than_equal": ("ge", "is below"),
    "less_than": ("lt", "is not below"),
    "less_than_equal": ("le", "is above"),
}


def _words(error: ErrorDetails, place: Place, model: type[BaseModel]) -> tuple[str, str]:
    kind, context, value = error["type"], error.get("ctx", {}), error["input"]
    if kind == "told":
        return str(context["what"]), str(context["mend"])
    if kind == "missing":
        return "it is missing", _meaning(model, place) or "add it; the example file explains it"
    if kind == "extra_forbidden":
        return "there is no such key here", _nearest(str(place[-1]), model_at(model, place[:-1]))
    if kind in ("literal_error", "enum"):
        expected = str(context["expected"]).replace(" or ", ", ").replace("'", "")
        return f"{shown(value)} is not known", f"use one of: {expected}"
    if kind in _BOUNDS:
        bound, words = _BOUNDS[kind]
        return f"{shown(value)} {words} {context[bound]:g}", "look at the figure and its unit"
    if kind in _SIMPLE:
        words, mend = _SIMPLE[kind]
        return f"{shown(value) if value else 'it'} {words}", mend
    return error["msg"], "mend it; the example file explains the key"


def _nearest(key: str, model: type[BaseModel] | None) -> str:
    known = keys_of(model) if model is not None else []
    close = get_close_matches(key, known, n=1)
    if close:
        return f"did you mean {close[0]}?"
    return f"remove it; the keys here are: {', '.join(known)}" if known else "remove it"


def _meaning(model: type[BaseModel], place: Place) -> str:
    above = model_at(model, place[:-1])
    field = _fields(above).get(str(place[-1])) if above is not None else None
    return f"add it: {field.description}" if field is not None and field.description else ""


def _fields(model: type[BaseModel]) -> dict[str, Any]:
    return {field.alias or name: field for name, field in model.model_fields.items()}


def keys_of(model: type[BaseModel]) -> list[str]:
    """Return the keys of a table as they are written in its file, in order."""
    return list(_fields(model))


def model_at(model: type[BaseModel], place: Place) -> type[BaseModel] | None:
    """Return the model of the table at a place, or None where there is none."""
    found: type[BaseModel] | None = model
    for part in place:
        if isinstance(part, int):
            continue
        field = _fields(found).get(part) if found is not None else None
        found = _model_in(field.annotation) if field is not None else None
    return found


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((inner for inner in map(_model_in, get_args(annotation)) if inner is not None), None)

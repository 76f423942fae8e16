"""The tables of a rulebook that are more than one number: classes of product, cooking, cooling, windows. Pure.

What is wrong with them, and what they become.
"""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any

from alerts.rulebook.book import TIME_S, Cooling, ProductClass, Table, Window
from alerts.rulebook.checking import (
    LIST,
    TEXT,
    Fault,
    Kind,
    Named,
    each_of,
    key_faults,
    listed,
    number,
    one_of,
    repeated,
    tables_of,
)
from alerts.rulebook.needed import NEEDED_TABLES
from collector.batches import Method, Route, Stage

MEATS = ("pork", "beef", "lamb", "poultry", "game", "offal")
CHOSEN_BY = ("method", "route", "person")
TABLES: Mapping[str, dict[str, Kind]] = {
    "classes": {
        "id": TEXT, "words": TEXT, "chosen_by": TEXT, "methods": LIST, "routes": LIST, "meats": LIST, "ingoing": TEXT,
        "residual": TEXT, "nitrate_ingoing": TEXT, "nitrate_residual": TEXT, "note": TEXT,
    },
    "tables": {"id": TEXT, "words": TEXT, "rows": LIST},
    "cooling": {"id": TEXT, "words": TEXT, "steps": LIST, "nitrite": TEXT},
    "windows": {
        "id": TEXT, "words": TEXT, "stages": LIST, "meats": LIST, "coolest": TEXT, "warmest": TEXT, "after": TEXT,
    },
}  # fmt: skip
"""The lists of a rulebook file beside limits and rules, with the keys of their tables."""
MAY_LACK = {
    "classes": {"routes", "meats", "ingoing", "residual", "nitrate_ingoing", "nitrate_residual", "note"},
    "tables": set(),
    "cooling": {"nitrite"},
    "windows": {"coolest", "warmest", "after"},
}
ROWS = {
    "classes": ("ingoing", "residual", "nitrate_ingoing", "nitrate_residual"),
    "tables": ("rows",),
    "cooling": ("steps", "nitrite"),
    "windows": ("coolest", "warmest", "after"),
}
"""The keys under which each names limits."""
Limits = Mapping[str, Mapping[str, Any]]


def rows_named(book: Mapping[str, Any]) -> set[str]:
    """Return the ids of all limits that the tables of a file name."""
    return {row for kind in TABLES for _, table in tables_of(book, kind) for row in _rows(kind, table)}


def _rows(kind: str, table: Mapping[str, Any]) -> list[str]:
    values = (table.get(key) for key in ROWS[kind])
    named = [row for value in values for row in (value if isinstance(value, list) else [value])]
    return [row for row in named if isinstance(row, str)]


def table_faults(book: Mapping[str, Any], limits: list[Named]) -> list[Fault]:
    """Return all that is wrong with the tables of a file."""
    known: Limits = {table["id"]: table for _, table in limits if isinstance(table.get("id"), str)}
    judges: dict[str, Callable[[str, Mapping[str, Any], Limits], list[Fault]]] = {
        "classes": _class_faults, "tables": _rows_faults, "cooling": _cooling_faults, "windows": _window_faults,
    }  # fmt: skip
    faults: list[Fault] = []
    for kind, keys in TABLES.items():
        tables = tables_of(book, kind)
        for where, table in tables:
            faults += key_faults(where, table, keys, MAY_LACK[kind])
            for row in _rows(kind, table):
                if row not in known:
                    faults.append(Fault(where, f"there is no limit {row!r}", "add it, or correct the name"))
            faults += judges[kind](where, table, known)
        faults += repeated(kind, tables)
        there = {table.get("id") for _, table in tables if isinstance(table.get("id"), str)}
        missing = [name for name in NEEDED_TABLES.get(kind, ()) if name not in there]
        faults += [Fault(f"{kind} {name}", "the rules need it", "add it") for name in missing]
    if not listed(book.get("classes")):
        faults.append(Fault("classes", "there is no class of product", "add one, with its limits of nitrite"))
    return faults


def _unit_faults(where: str, key: str, table: Mapping[str, Any], limits: Limits, units: tuple[str, ...]) -> list[Fault]:
    row = table.get(key)
    unit = limits[row].get("unit") if isinstance(row, str) and row in limits else units[0]
    asked = " or ".join(units)
    return [] if unit in units else [Fault(f"{where} {key}", f"{row} is in {unit}", f"name a limit in {asked}")]


def _class_faults(where: str, table: Mapping[str, Any], limits: Limits) -> list[Fault]:
    faults = one_of(f"{where} chosen_by", table.get("chosen_by"), CHOSEN_BY)
    faults += each_of(f"{where} methods", table.get("methods"), tuple(Method))
    faults += each_of(f"{where} routes", table.get("routes"), tuple(Route))
    faults += each_of(f"{where} meats", table.get("meats"), MEATS)
    for key in ("ingoing", "residual"):
        faults += _unit_faults(where, key, table, limits, ("ppm NaNO2", "ppm NO2"))
    for key in ("nitrate_ingoing", "nitrate_residual"):
        faults += _unit_faults(where, key, table, limits, ("ppm NaNO3", "ppm NO3"))
    if "ingoing" not in table and "residual" not in table:
        faults.append(Fault(where, "it bounds no nitrite", "name the row of what may go in, or of what may remain"))
    return faults


def _rows_faults(where: str, table: Mapping[str, Any], limits: Limits) -> list[Fault]:
    """Return what is wrong with the rows of a table: heat asks for less time when warmer, frost for more."""
    rows = [limits[row] for row in _rows("tables", table) if row in limits]
    if any(not number(row.get("at_c")) for row in rows):
        return [Fault(f"{where} rows", "a row names no temperature", "give each its at_c")]
    if not listed(table.get("rows")):
        return [Fault(f"{where} rows", "there are none", "name at least one limit with at_c")]
    # A row whose figures are no numbers is told as such where it stands.
    if any(not number(row.get("value")) or str(row.get("unit")) not in TIME_S for row in rows):
        return []
    said = [(row["at_c"], row["value"] * TIME_S[row["unit"]]) for row in rows]
    pairs = list(zip(said, said[1:], strict=False))
    faults = []
    if any(warmer[0] <= cooler[0] for cooler, warmer in pairs):
        faults.append(Fault(f"{where} rows", "they do not rise in temperature", "put the coolest first, each once"))
    frost = str(table.get("id")).startswith("parasite.freeze")
    if any((warmer[1] < cooler[1]) if frost else (warmer[1] > cooler[1]) for cooler, warmer in pairs):
        wrong = f"a warmer row asks for {'less' if frost else 'more'} time than a cooler one"
        faults.append(Fault(f"{where} rows", wrong, "look at the figures again"))
    return faults


def _cooling_faults(where: str, table: Mapping[str, Any], limits: Limits) -> list[Fault]:
    faults = _unit_faults(where, "nitrite", table, limits, ("ppm NaNO2", "ppm NO2"))
    if not listed(table.get("steps")):
        faults.append(Fault(f"{where} steps", "there are none", "name at least one limit with from_c and to_c"))
    for row in listed(table.get("steps")):
        step = limits.get(row, {}) if isinstance(row, str) else {}
        begin, end = step.get("from_c"), step.get("to_c")
        if not (number(begin) and number(end) and begin > end):
            faults.append(Fault(f"{where} steps", f"{row!r} is no step of cooling", "let it fall from from_c to to_c"))
    return faults


def _window_faults(where: str, table: Mapping[str, Any], limits: Limits) -> list[Fault]:
    faults = each_of(f"{where} stages", table.get("stages"), tuple(Stage))
    faults += each_of(f"{where} meats", table.get("meats"), MEATS)
    for key, units in (("coolest", ("°C",)), ("warmest", ("°C",)), ("after", tuple(TIME_S))):
        faults += _unit_faults(where, key, table, limits, units)
    if "coolest" not in table and "warmest" not in table:
        faults.append(Fault(where, "it is open at both ends", "name coolest, warmest or both"))
    low, high = (limits.get(str(table.get(key)), {}).get("value") for key in ("coolest", "warmest"))
    if number(low) and number(high) and low >= high:
        faults.append(Fault(f"{where} warmest", "the window is upside down", "name the higher limit here"))
    return faults


def built_tables(book: Mapping[str, Any]) -> dict[str, Any]:
    """Return the tables of a sound file, each kind by id."""
    return {
        "classes": _by_id(ProductClass, book["classes"], {"methods": Method, "routes": Route, "meats": str}),
        "tables": _by_id(Table, book["tables"], {"rows": str}),
        "cooling": _by_id(Cooling, book["cooling"], {"steps": str}),
        "windows": _by_id(Window, book["windows"], {"stages": Stage, "meats": str}),
    }


def _by_id(kind: Callable[..., Any], tables: list[dict[str, Any]], lists: Mapping[str, Callable[[str], Any]]) -> Any:
    def made(table: dict[str, Any]) -> Any:
        named = {key: tuple(map(lists[key], value)) if key in lists else value for key, value in table.items()}
        return kind(**named)

    return MappingProxyType({table["id"]: made(table) for table in tables})

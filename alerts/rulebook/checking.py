"""What can be wrong with a table of a rulebook file, key by key, and how a fault is told. Pure: no clock, no I/O."""

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias, TypeGuard


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong with a rulebook: where, what, and how to mend it."""

    key: str
    wrong: str
    mend: str

    def __str__(self) -> str:
        return f"{self.key}: {self.wrong}; {self.mend}"


Kind: TypeAlias = tuple[type, ...]
TEXT: Kind = (str,)
NUMBER: Kind = (int, float)
LIST: Kind = (list,)
FLAG: Kind = (bool,)
Named: TypeAlias = tuple[str, Mapping[str, Any]]
"""A table, and its name for people."""
_MAY_BE_BLANK = {"note"}
_KIND = {TEXT: "a text in quotes", NUMBER: "a number", LIST: "a list", FLAG: "true or false"}


def key_faults(where: str, table: Mapping[str, Any], keys: Mapping[str, Kind], may_lack: set[str]) -> list[Fault]:
    """Return what is wrong with the keys of a table: unknown, missing, of the wrong kind, empty."""
    faults = []
    for key in table:
        if key not in keys:
            known = ", ".join(keys)
            faults.append(Fault(f"{where} {key}", "there is no such key", f"remove it or use one of {known}"))
    for key, kind in keys.items():
        if key not in table:
            if key not in may_lack:
                faults.append(Fault(f"{where} {key}", "it is missing", f"add {_KIND[kind]}"))
        elif not isinstance(table[key], kind) or (isinstance(table[key], bool) and kind is not FLAG):
            faults.append(Fault(f"{where} {key}", f"{table[key]!r} is not {_KIND[kind]}", f"write {_KIND[kind]}"))
        elif kind is NUMBER and not math.isfinite(table[key]):
            faults.append(Fault(f"{where} {key}", f"{table[key]} is no finite number", "write a number"))
        elif kind is TEXT and not table[key].strip() and key not in _MAY_BE_BLANK:
            faults.append(Fault(f"{where} {key}", "it is empty", "say what it is; a number of your own says `house`"))
    return faults


def one_of(where: str, value: object, allowed: tuple[str, ...]) -> list[Fault]:
    """Return a fault where a text is none of those that are known; nothing where it is no text."""
    if not isinstance(value, str) or value in allowed:
        return []
    return [Fault(where, f"{value!r} is not known", f"use one of {', '.join(allowed)}")]


def each_of(where: str, values: object, allowed: tuple[str, ...]) -> list[Fault]:
    """Return a fault for each of a list that is none of those that are known."""
    faults = []
    for value in values if isinstance(values, list) else []:
        if not isinstance(value, str):
            faults.append(Fault(where, f"{value!r} is not a text in quotes", "write a text in quotes"))
        faults += one_of(where, value, allowed)
    return faults


def number(value: object) -> TypeGuard[float]:
    """Return whether a value is a number; a flag is none."""
    return isinstance(value, int | float) and not isinstance(value, bool)


def listed(value: object) -> list[Any]:
    """Return a list as it is, and anything else as an empty one."""
    return value if isinstance(value, list) else []


def repeated(key: str, tables: list[Named]) -> list[Fault]:
    """Return a fault for each id that stands more than once."""
    times = Counter(table["id"] for _, table in tables if isinstance(table.get("id"), str))
    return [
        Fault(f"{key} {name}", f"the id stands {count} times", "give each its own id")
        for name, count in times.items()
        if count > 1
    ]


def tables_of(book: Mapping[str, Any], key: str) -> list[Named]:
    """Return each table of a list with its name for people: `limits 3 (cold.limit)`."""
    found: list[Named] = []
    for place, table in enumerate(listed(book.get(key)), 1):
        table = table if isinstance(table, dict) else {}
        found.append((f"{key} {place} ({table.get('id', 'no id')})", table))
    return found

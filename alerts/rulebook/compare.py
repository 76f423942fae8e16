"""What differs between two rulebooks: limit by limit, then rules, classes and tables. Pure: no clock, no I/O."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from typing import Any

from alerts.rulebook.book import Limit, Rulebook

SAID = ("source", "edition", "known", "reaches", "borrowed", "set_by")
"""What is compared of a limit beside its value."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One limit, rule, class or table that is not the same in two rulebooks."""

    kind: str
    """`limit`, `rule`, `class`, `table`, `cooling` or `window`."""
    id: str
    old: str
    """Its value in the first, for people; empty where it is not there."""
    new: str
    """The same in the second."""
    also: tuple[tuple[str, str, str], ...] = ()
    """What else differs: name, old, new."""
    source: str = ""
    """Where the number now in force comes from; for a limit only."""


def differences(old: Rulebook, new: Rulebook) -> tuple[Difference, ...]:
    """Return what differs, in the order of the second rulebook; what only the first has comes last of its kind."""
    found = [*_limits(old.limits, new.limits)]
    named: tuple[tuple[str, Mapping[str, Any], Mapping[str, Any]], ...] = (
        ("rule", {rule.id: rule for rule in old.rules}, {rule.id: rule for rule in new.rules}),
        ("class", old.classes, new.classes),
        ("table", old.tables, new.tables),
        ("cooling", old.cooling, new.cooling),
        ("window", old.windows, new.windows),
    )
    for kind, before, after in named:
        found += _tables(kind, before, after)
    return tuple(found)


def _ids(old: Mapping[str, Any], new: Mapping[str, Any]) -> list[str]:
    return [*new, *(name for name in old if name not in new)]


def _limits(old: Mapping[str, Limit], new: Mapping[str, Limit]) -> Iterable[Difference]:
    for name in _ids(old, new):
        before, after = old.get(name), new.get(name)
        if before is None or after is None:
            one = after if before is None else before
            assert one is not None
            shown = ("" if before is None else one.printed, "" if after is None else one.printed)
            yield Difference("limit", name, *shown, source=one.cited)
            continue
        also = _also(before, after, SAID)
        if before.printed != after.printed or before.value != after.value or also:
            yield Difference("limit", name, before.printed, after.printed, also, after.cited)


def _tables(kind: str, old: Mapping[str, Any], new: Mapping[str, Any]) -> Iterable[Difference]:
    for name in _ids(old, new):
        before, after = old.get(name), new.get(name)
        if before is None or after is None:
            yield Difference(kind, name, "" if before is None else "there", "" if after is None else "there")
        elif before != after:
            also = _also(before, after, tuple(field.name for field in fields(before)))
            yield Difference(kind, name, "there", "there", also)


def _also(old: Any, new: Any, names: Iterable[str]) -> tuple[tuple[str, str, str], ...]:
    pairs = ((name, getattr(old, name), getattr(new, name)) for name in names)
    return tuple((name, _shown(before), _shown(after)) for name, before, after in pairs if before != after)


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return ", ".join(map(_shown, value)) or "none"
    return str(value) if value not in (None, "") else "none"

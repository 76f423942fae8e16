"""A rulebook from its text, or everything that is wrong with it. Pure: text in, values out.

The text is TOML: `id`, `version`, `title` and `authority`, then `[[limits]]` and `[[rules]]` as the file
`alerts/rulebook/us.toml` shows and explains them. Nothing is repaired silently: an unknown key, a missing source or a
number of the wrong kind is a fault, and all faults come back at once.
"""

import math
import re
import tomllib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, TypeAlias, TypeGuard

from alerts.rulebook.book import TIER_ORDER, TIME_S, Limit, Rule, Rulebook, Tiers
from alerts.rulebook.curves import CURVES
from collector.batches import Route, Stage
from collector.findings import Tier

__all__ = ["Fault", "Limit", "Rule", "Rulebook", "Tiers", "read_rulebook"]

KNOWN = ("read", "memory", "computed", "house")
AIMS = ("hazard", "quality")
CONDITIONS = ("always", "airless")
"""`airless`: only where the meat is shut off from air (under brine, sealed, injected, bone-in or thick)."""
MEATS = ("pork", "beef", "lamb", "poultry", "game", "offal")
AUTHORITIES = ("US", "GB", "EU")
UNITS = ("°C", "K", "mm", "min", "h", "d", "1", "%", "kJ/mol", "intervals", "log10")

NEEDED = {
    "cold.limit": "°C", "cold.base": "°C", "excursion.shortest": "time", "excursion.join": "time",
    "excursion.hold": "time", "warm.line": "°C", "warm.hold": "time", "start.brine_time": "time",
    "start.meat_advice": "°C", "start.meat_highest": "°C", "start.meat_time": "time", "cure.stop": "°C",
    "cure.full": "°C", "cure.activation": "kJ/mol", "cure.slack": "time", "cure.slack_share": "%",
    "cure.longest": "%", "sealed.longest": "time", "ice.line": "°C", "ice.time": "time", "gap.intervals": "intervals",
    "gap.shortest": "time", "sensor.uncertainty": "K", "decide.within": "time", "thickness.airless": "mm",
    "growth.listeria_monocytogenes": "time", "growth.salmonella": "time", "growth.factor": "1",
}  # fmt: skip
"""Limits that the rules ask for by name, in every rulebook, and their kind of unit."""
NEEDED_RULES = ("e-0", "e-1", "e-2", *CURVES, "e-5", "e-5 ice", "e-6", "e-7")
CURVE_MARGIN = 0.025
"""The printed digits of the growth equations fix a rate to this much. [1]"""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong with a rulebook: where, what, and how to mend it."""

    key: str
    wrong: str
    mend: str

    def __str__(self) -> str:
        return f"{self.key}: {self.wrong}; {self.mend}"


_Kind: TypeAlias = tuple[type, ...]
_TEXT: _Kind = (str,)
_NUMBER: _Kind = (int, float)
_LIST: _Kind = (list,)
_BOOK_KEYS = {"id": _TEXT, "version": _TEXT, "title": _TEXT, "authority": _TEXT, "limits": _LIST, "rules": _LIST}
_LIMIT_KEYS: dict[str, _Kind] = {
    "id": _TEXT, "value": _NUMBER, "unit": _TEXT, "source": _TEXT, "edition": _TEXT, "known": _TEXT,
    "reaches": _TEXT, "note": _TEXT, "above_c": _NUMBER, "up_to_c": _NUMBER,
}  # fmt: skip
_LIMIT_MAY_LACK = {"above_c", "up_to_c"}
_RULE_KEYS = {
    "id": _TEXT, "name": _TEXT, "aim": _TEXT, "stages": _LIST, "measure": _TEXT, "limits": _LIST, "reaches": _TEXT,
    "meats": _LIST, "condition": _TEXT, "tiers": _LIST,
}  # fmt: skip
_RULE_MAY_LACK = {"meats", "condition", "tiers"}
_TIERS_KEYS = {"routes": _LIST, "recorded": _TEXT, "hold": _TEXT, "cook_or_discard": _TEXT, "reject": _TEXT}
_TIERS_MAY_LACK = {"recorded", "hold", "cook_or_discard", "reject"}
_MAY_BE_BLANK = {"note"}
_KIND = {_TEXT: "a text in quotes", _NUMBER: "a number", _LIST: "a list"}


def read_rulebook(text: str) -> Rulebook | tuple[Fault, ...]:
    """Return the rulebook that a text holds, or every fault found in it, in the order of the text."""
    try:
        book = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return (Fault("file", f"this is no TOML: {error}", "mend the line that is named"),)
    limits, rules = _tables(book, "limits"), _tables(book, "rules")
    faults = _key_faults("file", book, _BOOK_KEYS, set())
    faults += _one_of("authority", book.get("authority"), AUTHORITIES)
    for where, table in limits:
        faults += _limit_faults(where, table)
    for where, table in rules:
        faults += _rule_faults(where, table)
    faults += _repeated("limits", limits) + _repeated("rules", rules)
    faults += _needed_faults(limits, rules)
    faults += _reference_faults(limits, rules)
    faults += _curve_faults(limits)
    return tuple(faults) if faults else _built(book)


def _tables(book: Mapping[str, Any], key: str) -> list[tuple[str, Mapping[str, Any]]]:
    """Return each table of a list with its name for people: `limits 3 (cold.limit)`."""
    listed = book.get(key)
    found: list[tuple[str, Mapping[str, Any]]] = []
    for number, table in enumerate(listed if isinstance(listed, list) else [], 1):
        table = table if isinstance(table, dict) else {}
        found.append((f"{key} {number} ({table.get('id', 'no id')})", table))
    return found


def _key_faults(where: str, table: Mapping[str, Any], keys: Mapping[str, _Kind], may_lack: set[str]) -> list[Fault]:
    faults = []
    for key in table:
        if key not in keys:
            known = ", ".join(keys)
            faults.append(Fault(f"{where} {key}", "there is no such key", f"remove it or use one of {known}"))
    for key, kind in keys.items():
        if key not in table:
            if key not in may_lack:
                faults.append(Fault(f"{where} {key}", "it is missing", f"add {_KIND[kind]}"))
        elif not isinstance(table[key], kind) or isinstance(table[key], bool):
            faults.append(Fault(f"{where} {key}", f"{table[key]!r} is not {_KIND[kind]}", f"write {_KIND[kind]}"))
        elif kind is _NUMBER and not math.isfinite(table[key]):
            faults.append(Fault(f"{where} {key}", f"{table[key]} is no finite number", "write a number"))
        elif kind is _TEXT and not table[key].strip() and key not in _MAY_BE_BLANK:
            faults.append(Fault(f"{where} {key}", "it is empty", "say what it is; a number of your own says `house`"))
    return faults


def _one_of(where: str, value: object, allowed: tuple[str, ...]) -> list[Fault]:
    if not isinstance(value, str) or value in allowed:
        return []
    return [Fault(where, f"{value!r} is not known", f"use one of {', '.join(allowed)}")]


def _each_of(where: str, values: object, allowed: tuple[str, ...]) -> list[Fault]:
    faults = []
    for value in values if isinstance(values, list) else []:
        if not isinstance(value, str):
            faults.append(Fault(where, f"{value!r} is not a text in quotes", "write a text in quotes"))
        faults += _one_of(where, value, allowed)
    return faults


def _limit_faults(where: str, table: Mapping[str, Any]) -> list[Fault]:
    faults = _key_faults(where, table, _LIMIT_KEYS, _LIMIT_MAY_LACK)
    faults += _one_of(f"{where} unit", table.get("unit"), UNITS)
    faults += _one_of(f"{where} known", table.get("known"), KNOWN)
    faults += _one_of(f"{where} reaches", table.get("reaches"), TIER_ORDER)
    if isinstance(table.get("id"), str) and not re.fullmatch(r"[a-z0-9_]+(\.[a-z0-9_]+)*", table["id"]):
        faults.append(Fault(f"{where} id", "an id is small letters, digits, _ and dots", "write it that way"))
    known, reaches = table.get("known"), table.get("reaches")
    if known == "memory" and reaches == Tier.REJECT:
        wrong = "a number known only from memory cannot reject"
        faults.append(Fault(f"{where} reaches", wrong, "let it reach hold, or read the document and say so"))
    if (known == "house") != (table.get("source") == "house"):
        wrong = "a house limit has the source `house`, and nothing else has"
        faults.append(Fault(f"{where} source", wrong, "name the document, or set both known and source to house"))
    if _number(table.get("value")) and str(table.get("unit")) in TIME_S and table["value"] <= 0:
        faults.append(Fault(f"{where} value", "a time is above zero", "write how long it is"))
    return faults + _band_faults(where, table)


def _band_faults(where: str, table: Mapping[str, Any]) -> list[Fault]:
    low, high = table.get("above_c"), table.get("up_to_c")
    faults = []
    if high is not None and low is None:
        faults.append(Fault(f"{where} up_to_c", "a band needs its lower end too", "add above_c"))
    if _number(low) and _number(high) and low >= high:
        faults.append(Fault(f"{where} up_to_c", "the band is upside down", "write the higher temperature here"))
    if low is not None and str(table.get("unit")) not in TIME_S:
        faults.append(Fault(f"{where} unit", "a band limits a time", f"use one of {', '.join(TIME_S)}"))
    return faults


def _number(value: object) -> TypeGuard[float]:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _rule_faults(where: str, table: Mapping[str, Any]) -> list[Fault]:
    faults = _key_faults(where, table, _RULE_KEYS, _RULE_MAY_LACK)
    faults += _one_of(f"{where} aim", table.get("aim"), AIMS)
    faults += _one_of(f"{where} reaches", table.get("reaches"), TIER_ORDER)
    faults += _one_of(f"{where} condition", table.get("condition"), CONDITIONS)
    faults += _each_of(f"{where} stages", table.get("stages"), tuple(Stage))
    faults += _each_of(f"{where} meats", table.get("meats"), MEATS)
    routes: Counter[str] = Counter()
    for number, tiers in enumerate(_listed(table.get("tiers")), 1):
        tiers = tiers if isinstance(tiers, dict) else {}
        faults += _key_faults(f"{where} tiers {number}", tiers, _TIERS_KEYS, _TIERS_MAY_LACK)
        faults += _each_of(f"{where} tiers {number} routes", tiers.get("routes"), tuple(Route))
        routes.update(route for route in _listed(tiers.get("routes")) if isinstance(route, str))
    for route in sorted(route for route, times in routes.items() if times > 1):
        faults.append(Fault(f"{where} tiers", f"the route {route!r} stands twice", "let each route stand once"))
    if str(table.get("id", "")).startswith(("e-3 ", "e-4 ")) and not _listed(table.get("tiers")):
        faults.append(Fault(f"{where} tiers", "it does not say what its shares lead to", "add [[rules.tiers]]"))
    return faults


def _listed(value: object) -> list[Any]:
    return value if isinstance(value, list) else []


def _repeated(key: str, tables: list[tuple[str, Mapping[str, Any]]]) -> list[Fault]:
    times = Counter(table["id"] for _, table in tables if isinstance(table.get("id"), str))
    return [
        Fault(f"{key} {name}", f"the id stands {count} times", "give each its own id")
        for name, count in times.items()
        if count > 1
    ]


def _needed_faults(
    limits: list[tuple[str, Mapping[str, Any]]], rules: list[tuple[str, Mapping[str, Any]]]
) -> list[Fault]:
    units = {str(table.get("id")): str(table.get("unit")) for _, table in limits}
    faults = []
    for name, unit in NEEDED.items():
        asked = "min, h or d" if unit == "time" else unit
        if name not in units:
            faults.append(Fault(f"limits {name}", "the rules need it", f"add it, in {asked}"))
        elif units[name] != unit and not (unit == "time" and units[name] in TIME_S):
            faults.append(Fault(f"limits {name} unit", f"the rules need it in {asked}", f"give it in {asked}"))
    present = {str(table.get("id")) for _, table in rules}
    faults += [Fault(f"rules {name}", "it is missing", "add the rule") for name in NEEDED_RULES if name not in present]
    for name in sorted(present - set(NEEDED_RULES)):
        if not name.startswith("e-3 "):
            faults.append(Fault(f"rules {name}", "nothing judges by it", "remove it, or correct its id"))
    if not any(name.startswith("e-3 ") for name in present):
        faults.append(Fault("rules e-3", "there is no time budget", "add a rule for each hazard: `e-3 salmonella`"))
    return faults


def _reference_faults(
    limits: list[tuple[str, Mapping[str, Any]]], rules: list[tuple[str, Mapping[str, Any]]]
) -> list[Fault]:
    """Return where a rule names a limit that is not there, overreaches its limits, or a limit decides nothing."""
    known = {table["id"]: table for _, table in limits if isinstance(table.get("id"), str)}
    faults, used = [], set()
    for where, table in rules:
        named = [name for name in _listed(table.get("limits")) if isinstance(name, str)]
        used |= set(named)
        for name in named:
            if name not in known:
                faults.append(Fault(f"{where} limits", f"there is no limit {name!r}", "add it, or correct the name"))
        judge = _growth_faults if table.get("id") in CURVES else _share_faults
        for number, tiers in enumerate(_listed(table.get("tiers")), 1):
            faults += judge(f"{where} tiers {number}", tiers, named, known)
        faults += _budget_faults(where, table, [known[name] for name in named if name in known])
    for name in known:
        if name not in used:
            faults.append(Fault(f"limits {name}", "no rule uses it", "name it in a rule, or remove it"))
    return faults


def _share_faults(where: str, tiers: object, named: list[str], known: Mapping[str, Mapping[str, Any]]) -> list[Fault]:
    faults = []
    reach = {"recorded": Tier.RECORDED, "hold": Tier.HOLD, "cook_or_discard": Tier.HOLD, "reject": Tier.REJECT}
    for key, tier in reach.items():
        name = tiers.get(key) if isinstance(tiers, dict) else None
        if not isinstance(name, str):
            continue
        limit = known.get(name)
        if name not in named or limit is None:
            faults.append(Fault(f"{where} {key}", f"{name!r} is no limit of this rule", "name it in `limits` too"))
        elif limit.get("unit") != "1" or not _number(limit.get("value")) or limit["value"] <= 0:
            faults.append(Fault(f"{where} {key}", f"{name!r} is no share", "use a limit of unit 1, above zero"))
        elif limit.get("reaches") in TIER_ORDER and TIER_ORDER.index(limit["reaches"]) < TIER_ORDER.index(tier):
            faults.append(Fault(f"{where} {key}", f"{name!r} may not reach that far", "use a limit that may"))
    return faults


def _growth_faults(where: str, tiers: object, named: list[str], known: Mapping[str, Mapping[str, Any]]) -> list[Fault]:
    """Return what is wrong with the tiers of rule e-4: growth holds, and leads to nothing else."""
    steps = tiers if isinstance(tiers, dict) else {}
    faults = [
        Fault(f"{where} {key}", "growth holds, and leads to nothing else", "remove it")
        for key in ("recorded", "cook_or_discard", "reject")
        if key in steps
    ]
    name = steps.get("hold")
    limit = known.get(name) if isinstance(name, str) else None
    if limit is None or name not in named:
        faults.append(Fault(f"{where} hold", f"{name!r} is no limit of this rule", "name it in `limits` too"))
    elif limit.get("unit") != "log10" or not _number(limit.get("value")) or limit["value"] <= 0:
        faults.append(Fault(f"{where} hold", f"{name!r} is no growth", "use a limit of unit log10, above zero"))
    elif limit.get("reaches") != Tier.HOLD:
        faults.append(Fault(f"{where} hold", f"{name!r} does not reach a hold", "let it reach hold, and no further"))
    return faults


def _curve_faults(limits: list[tuple[str, Mapping[str, Any]]]) -> list[Fault]:
    """Return where a figure of a growth curve is not that of the curve: the curve judges, the figure names it."""
    faults = []
    for where, table in limits:
        for curve in CURVES.values():
            value, unit_s = table.get("value"), TIME_S.get(str(table.get("unit")))
            if table.get("id") != curve.row or not _number(value) or unit_s is None:
                continue
            told_h, curve_h = value * unit_s / 3600, curve.doubling_h()
            if not abs(told_h - curve_h) <= CURVE_MARGIN * curve_h:
                wrong = f"by the curve that judges it is {curve_h:.1f} h at {curve.at_c:g} °C"
                faults.append(Fault(f"{where} value", wrong, "write that; the curve is not changed from here"))
    for where, table in limits:
        if table.get("id") == "growth.factor" and _number(table.get("value")) and table["value"] < 1:
            faults.append(Fault(f"{where} value", "a factor either way is at least 1", "write 1 or more"))
    return faults


def _budget_faults(where: str, table: Mapping[str, Any], limits: list[Mapping[str, Any]]) -> list[Fault]:
    if not str(table.get("id", "")).startswith("e-3 "):
        return []
    bands = [(low, limit.get("up_to_c", math.inf)) for limit in limits if _number(low := limit.get("above_c"))]
    bands = sorted(band for band in bands if _number(band[1]))
    if not bands or bands[-1][1] != math.inf:
        return [Fault(f"{where} limits", "its warmest band has an upper end", "add a band without up_to_c")]
    for (_, high), (low, _) in zip(bands, bands[1:], strict=False):
        if high != low:
            return [Fault(f"{where} limits", f"bands end at {high} and begin at {low} °C", "let them meet")]
    return []


def _built(book: Mapping[str, Any]) -> Rulebook:
    limits = {table["id"]: Limit(**{**table, "reaches": Tier(table["reaches"])}) for table in book["limits"]}
    rules = tuple(_built_rule(table) for table in book["rules"])
    names = {key: book[key] for key in ("id", "version", "title", "authority")}
    return Rulebook(limits=MappingProxyType(limits), rules=rules, **names)


def _built_rule(table: Mapping[str, Any]) -> Rule:
    tiers = tuple(
        Tiers(
            tuple(Route(route) for route in entry["routes"]),
            *(entry.get(key) for key in ("recorded", "hold", "cook_or_discard", "reject")),
        )
        for entry in table.get("tiers", ())
    )
    stages = tuple(Stage(stage) for stage in table["stages"])
    listed = {"stages": stages, "limits": tuple(table["limits"]), "meats": tuple(table.get("meats", ()))}
    return Rule(**{**table, **listed, "reaches": Tier(table["reaches"]), "tiers": tiers})

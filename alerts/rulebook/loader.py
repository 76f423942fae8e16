"""A rulebook from its text, or everything that is wrong with it. Pure: text in, values out.

The text is TOML: `id`, `version`, `title` and `authority`, then `[[limits]]` and `[[rules]]` as the file
`alerts/rulebook/us.toml` shows and explains them, and the tables of `alerts/rulebook/tables.py`. Nothing is repaired
silently: an unknown key, a missing source or a number of the wrong kind is a fault, and all faults come back at once.
"""

import math
import re
import tomllib
from collections import Counter
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from alerts.rulebook.book import TIER_ORDER, TIME_S, Limit, Rule, Rulebook, Tiers
from alerts.rulebook.checking import (
    FLAG,
    LIST,
    NUMBER,
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
from alerts.rulebook.curves import CURVES
from alerts.rulebook.needed import NEEDED, NEEDED_RULES
from alerts.rulebook.tables import MEATS, TABLES, built_tables, rows_named, table_faults
from collector.batches import Route, Stage
from collector.findings import Tier

__all__ = ["MEATS", "NEEDED", "Fault", "Limit", "Rule", "Rulebook", "Tiers", "read_rulebook"]

KNOWN = ("read", "memory", "computed", "house")
AIMS = ("hazard", "quality")
CONDITIONS = ("always", "airless")
"""`airless`: only where the meat is shut off from air (under brine, sealed, injected, bone-in or thick)."""
AUTHORITIES = ("US", "GB", "EU")
UNITS = (
    "°C", "K", "mm", "min", "h", "d", "1", "%", "kJ/mol", "intervals", "log10",
    "s", "aw", "pH", "divisions", "ppm NaNO2", "ppm NO2", "ppm NaNO3", "ppm NO3",
)  # fmt: skip
"""A ppm says of what: of the salt (NaNO2, NaNO3) or of the ion (NO2, NO3)."""

CURVE_MARGIN = 0.025
"""The printed digits of the growth equations fix a rate to this much. [1]"""


_BOOK_KEYS = {
    "id": TEXT, "version": TEXT, "title": TEXT, "authority": TEXT, "limits": LIST, "rules": LIST,
    **dict.fromkeys(TABLES, LIST),
}  # fmt: skip
_LIMIT_KEYS: dict[str, Kind] = {
    "id": TEXT, "value": NUMBER, "unit": TEXT, "source": TEXT, "edition": TEXT, "known": TEXT,
    "reaches": TEXT, "note": TEXT, "above_c": NUMBER, "up_to_c": NUMBER,
    "at_c": NUMBER, "from_c": NUMBER, "to_c": NUMBER, "borrowed": FLAG,
}  # fmt: skip
_LIMIT_MAY_LACK = {"above_c", "up_to_c", "at_c", "from_c", "to_c", "borrowed"}
_RULE_KEYS = {
    "id": TEXT, "name": TEXT, "aim": TEXT, "stages": LIST, "measure": TEXT, "limits": LIST, "reaches": TEXT,
    "meats": LIST, "condition": TEXT, "tiers": LIST,
}  # fmt: skip
_RULE_MAY_LACK = {"meats", "condition", "tiers"}
_TIERS_KEYS = {"routes": LIST, "recorded": TEXT, "hold": TEXT, "cook_or_discard": TEXT, "reject": TEXT}
_TIERS_MAY_LACK = {"recorded", "hold", "cook_or_discard", "reject"}


def read_rulebook(text: str) -> Rulebook | tuple[Fault, ...]:
    """Return the rulebook that a text holds, or every fault found in it, in the order of the text."""
    try:
        book = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return (Fault("file", f"this is no TOML: {error}", "mend the line that is named"),)
    limits, rules = tables_of(book, "limits"), tables_of(book, "rules")
    faults = key_faults("file", book, _BOOK_KEYS, set())
    faults += one_of("authority", book.get("authority"), AUTHORITIES)
    for where, table in limits:
        faults += _limit_faults(where, table)
    for where, table in rules:
        faults += _rule_faults(where, table)
    faults += repeated("limits", limits) + repeated("rules", rules)
    faults += _needed_faults(limits, rules)
    faults += _reference_faults(limits, rules, rows_named(book))
    faults += _curve_faults(limits)
    faults += table_faults(book, limits)
    return tuple(faults) if faults else _built(book)


def _limit_faults(where: str, table: Mapping[str, Any]) -> list[Fault]:
    faults = key_faults(where, table, _LIMIT_KEYS, _LIMIT_MAY_LACK)
    faults += one_of(f"{where} unit", table.get("unit"), UNITS)
    faults += one_of(f"{where} known", table.get("known"), KNOWN)
    faults += one_of(f"{where} reaches", table.get("reaches"), TIER_ORDER)
    if isinstance(table.get("id"), str) and not re.fullmatch(r"[a-z0-9_]+(\.[a-z0-9_]+)*", table["id"]):
        faults.append(Fault(f"{where} id", "an id is small letters, digits, _ and dots", "write it that way"))
    known, reaches = table.get("known"), table.get("reaches")
    if known == "memory" and reaches == Tier.REJECT:
        wrong = "a number known only from memory cannot reject"
        faults.append(Fault(f"{where} reaches", wrong, "let it reach hold, or read the document and say so"))
    if (known == "house") != (table.get("source") == "house"):
        wrong = "a house limit has the source `house`, and nothing else has"
        faults.append(Fault(f"{where} source", wrong, "name the document, or set both known and source to house"))
    if known == "house" and table.get("borrowed") is True:
        faults.append(
            Fault(f"{where} borrowed", "a house limit is nobody else's", "name the document, or leave it out")
        )
    return faults + _value_faults(where, table) + _band_faults(where, table)


def _value_faults(where: str, table: Mapping[str, Any]) -> list[Fault]:
    value, unit = table.get("value"), str(table.get("unit"))
    if not number(value):
        return []
    at_once = value == 0 and "at_c" in table
    if unit in TIME_S and value <= 0 and not at_once:
        return [Fault(f"{where} value", "a time is above zero", "write how long it is")]
    if unit.startswith("ppm") and value < 0:
        return [Fault(f"{where} value", "an amount is not below zero", "write 0 where none may be used")]
    if unit == "aw" and not 0 < value <= 1:
        return [Fault(f"{where} value", "a water activity lies between 0 and 1", "write it so")]
    return []


def _band_faults(where: str, table: Mapping[str, Any]) -> list[Fault]:
    low, high = table.get("above_c"), table.get("up_to_c")
    faults = []
    if high is not None and low is None:
        faults.append(Fault(f"{where} up_to_c", "a band needs its lower end too", "add above_c"))
    if number(low) and number(high) and low >= high:
        faults.append(Fault(f"{where} up_to_c", "the band is upside down", "write the higher temperature here"))
    if (table.get("from_c") is None) != (table.get("to_c") is None):
        faults.append(Fault(f"{where} from_c", "a step has a beginning and an end", "give from_c and to_c, or neither"))
    shapes = [key for key in ("above_c", "at_c", "from_c") if table.get(key) is not None]
    if len(shapes) > 1:
        wrong = f"it cannot have {' and '.join(shapes)} at once"
        faults.append(Fault(f"{where} {shapes[1]}", wrong, "it is a band, a row of a table or a step: keep one"))
    if shapes and str(table.get("unit")) not in TIME_S:
        kind = {"above_c": "band", "at_c": "row of a table", "from_c": "step"}[shapes[0]]
        faults.append(Fault(f"{where} unit", f"a {kind} limits a time", f"use one of {', '.join(TIME_S)}"))
    return faults


def _rule_faults(where: str, table: Mapping[str, Any]) -> list[Fault]:
    faults = key_faults(where, table, _RULE_KEYS, _RULE_MAY_LACK)
    faults += one_of(f"{where} aim", table.get("aim"), AIMS)
    faults += one_of(f"{where} reaches", table.get("reaches"), TIER_ORDER)
    faults += one_of(f"{where} condition", table.get("condition"), CONDITIONS)
    faults += each_of(f"{where} stages", table.get("stages"), tuple(Stage))
    faults += each_of(f"{where} meats", table.get("meats"), MEATS)
    routes: Counter[str] = Counter()
    for place, tiers in enumerate(listed(table.get("tiers")), 1):
        tiers = tiers if isinstance(tiers, dict) else {}
        faults += key_faults(f"{where} tiers {place}", tiers, _TIERS_KEYS, _TIERS_MAY_LACK)
        faults += each_of(f"{where} tiers {place} routes", tiers.get("routes"), tuple(Route))
        routes.update(route for route in listed(tiers.get("routes")) if isinstance(route, str))
    for route in sorted(route for route, times in routes.items() if times > 1):
        faults.append(Fault(f"{where} tiers", f"the route {route!r} stands twice", "let each route stand once"))
    if str(table.get("id", "")).startswith(("e-3 ", "e-4 ")) and not listed(table.get("tiers")):
        faults.append(Fault(f"{where} tiers", "it does not say what its shares lead to", "add [[rules.tiers]]"))
    return faults


def _needed_faults(limits: list[Named], rules: list[Named]) -> list[Fault]:
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


def _reference_faults(limits: list[Named], rules: list[Named], in_tables: set[str]) -> list[Fault]:
    """Return where a rule names a limit that is not there, overreaches its limits, or a limit decides nothing."""
    known = {table["id"]: table for _, table in limits if isinstance(table.get("id"), str)}
    faults, used = [], set(in_tables)
    for where, table in rules:
        named = [name for name in listed(table.get("limits")) if isinstance(name, str)]
        used |= set(named)
        for name in named:
            if name not in known:
                faults.append(Fault(f"{where} limits", f"there is no limit {name!r}", "add it, or correct the name"))
        judge = _growth_faults if table.get("id") in CURVES else _share_faults
        for place, tiers in enumerate(listed(table.get("tiers")), 1):
            faults += judge(f"{where} tiers {place}", tiers, named, known)
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
        elif limit.get("unit") != "1" or not number(limit.get("value")) or limit["value"] <= 0:
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
    elif limit.get("unit") != "log10" or not number(limit.get("value")) or limit["value"] <= 0:
        faults.append(Fault(f"{where} hold", f"{name!r} is no growth", "use a limit of unit log10, above zero"))
    elif limit.get("reaches") != Tier.HOLD:
        faults.append(Fault(f"{where} hold", f"{name!r} does not reach a hold", "let it reach hold, and no further"))
    return faults


def _curve_faults(limits: list[Named]) -> list[Fault]:
    """Return where a figure of a growth curve is not that of the curve: the curve judges, the figure names it."""
    faults = []
    for where, table in limits:
        for curve in CURVES.values():
            value, unit_s = table.get("value"), TIME_S.get(str(table.get("unit")))
            if table.get("id") != curve.row or not number(value) or unit_s is None:
                continue
            told_h, curve_h = value * unit_s / 3600, curve.doubling_h()
            if not abs(told_h - curve_h) <= CURVE_MARGIN * curve_h:
                wrong = f"by the curve that judges it is {curve_h:.1f} h at {curve.at_c:g} °C"
                faults.append(Fault(f"{where} value", wrong, "write that; the curve is not changed from here"))
    for where, table in limits:
        if table.get("id") == "growth.factor" and number(table.get("value")) and table["value"] < 1:
            faults.append(Fault(f"{where} value", "a factor either way is at least 1", "write 1 or more"))
    return faults


def _budget_faults(where: str, table: Mapping[str, Any], limits: list[Mapping[str, Any]]) -> list[Fault]:
    if not str(table.get("id", "")).startswith("e-3 "):
        return []
    bands = [(low, limit.get("up_to_c", math.inf)) for limit in limits if number(low := limit.get("above_c"))]
    bands = sorted(band for band in bands if number(band[1]))
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
    return Rulebook(limits=MappingProxyType(limits), rules=rules, **built_tables(book), **names)


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

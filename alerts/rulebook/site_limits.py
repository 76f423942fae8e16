"""A site's own limits: which way is stricter, what may never be looser, and the rulebook with them in it. Pure."""

import math
from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType

from alerts.rulebook.book import Limit, Rulebook
from collector.events_making import SiteLimitSet

REASON_MIN = 10
"""House: a reason that loosens a limit has at least so many characters."""
LOWER = (
    "cold.limit", "cold.base", "cold.poultry", "cold.offal", "excursion.shortest", "excursion.hold", "warm.*",
    "start.*", "cure.slack", "cure.slack_share", "cure.longest", "sealed.longest", "sealed.above", "sealed.factor_aw",
    "sealed.factor_ph", "ice.time", "gap.*", "decide.within", "share.*", "thickness.airless", "a2.*", "growth.hold_*",
    "nitrite.reject_factor", "scale.stop_factor", "nitrite.limit", "nitrate.*", "brine.saturation",
    "vessel.stainless_longest", "cook.come_up", "cooling.*", "store.date_mark", "release.aw", "parasite.thin",
    "parasite.ham_soak", "check.tolerance_*", "check.interval_*", "neighbour.*", "window.ceiling",
    "window.equalise_high",
)  # fmt: skip
"""Limits of which a lower value is stricter; `nitrite.limit` stands for every limit of a class of product."""
HIGHER = (
    "excursion.join", "cure.stop", "cure.full", "ice.line", "sealed.factor_salt", "nitrite.protected",
    "nitrite.least_share", "nitrite.method_one_pickup", "nitrite.bacon_rind", "salt.*", "brine.weakest", "cook.row.*",
    "cook.opened.*", "cook.poultry.*", "parasite.freeze_*", "parasite.heat.*", "parasite.drying.*",
    "parasite.ham_days", "parasite.ham_salt", "release.*_days", "release.inner_salt", "release.weight_loss",
    "window.ham_cure", "window.shoulder_cure", "window.equalise_low", "check.notice", "scale.divisions",
)  # fmt: skip
"""Limits of which a higher value is stricter."""
FIXED = (
    "cure.target_*", "cold.law", "cure.activation", "sensor.uncertainty", "growth.factor",
    "growth.listeria_monocytogenes", "growth.salmonella", "nitrite.bacon_tolerance",
)  # fmt: skip
"""Advice, laws that are only shown, and figures of science: nobody sets them."""
NEVER_LOOSER = {
    "nitrite": ("nitrite.*", "nitrate.*", "scale.stop_factor"),
    "botulinum": (
        "a2.clostridium_botulinum_*", "share.hold_toxin", "share.reject_toxin", "cold.base", "thickness.airless",
        "sealed.*", "cooling.*",
    ),
    "parasites": ("parasite.*",),
    "cooking": ("cook.*",),
}  # fmt: skip
"""What no reason loosens."""
ORDERED = (("cure.stop", "cure.full"), ("window.equalise_low", "window.equalise_high"))
"""The first stays below the second."""
COLDEST_C, WARMEST_C = -30.0, 100.0
"""House: a temperature outside this is a slip of the pen. [°C]"""


def _matches(limit: str, patterns: tuple[str, ...]) -> bool:
    return any(_is_like(limit, pattern) for pattern in patterns)


def _is_like(limit: str, pattern: str) -> bool:
    head, star, tail = pattern.partition("*")
    if not star:
        return limit == pattern
    return len(limit) >= len(head) + len(tail) and limit.startswith(head) and limit.endswith(tail)


def stricter_way(limit: str) -> str | None:
    """Return `lower` or `higher`, whichever is stricter for a limit; None where nobody may set it."""
    if _matches(limit, FIXED):
        return None
    if _matches(limit, HIGHER):
        return "higher"
    # A limit of nitrite that is no rule of ours is one of a class of product.
    return "lower" if _matches(limit, LOWER) or limit.startswith("nitrite.") else None


def is_looser(limit: Limit, value: float) -> bool:
    """Return whether a value would let through what the limit does not."""
    return value > limit.value if stricter_way(limit.id) == "lower" else value < limit.value


def never_looser(limit: str) -> str | None:
    """Return the hazard for which a limit is never loosened, or None."""
    return next((hazard for hazard, patterns in NEVER_LOOSER.items() if _matches(limit, patterns)), None)


def limit_fault(book: Rulebook, name: str, value: float | None, reason: str) -> tuple[str, str, str] | None:
    """Return what is wrong with a site's own limit: the field, what, and how to mend it; None where nothing is.

    `book` is the shipped one; a `value` of None takes the site's own limit back.
    """
    limit = book.limits.get(name)
    if limit is None:
        return "limit", f"{book.id} has no limit {name}", f"`curevigil rulebook show {book.id}` lists them"
    if not reason.strip():
        return "reason", "no reason is given", "say why, in a sentence"
    if value is None:
        return None
    if stricter_way(name) is None:
        return "limit", f"{name} is advice or a figure of science", "it is set by nobody; leave it out"
    wrong = _no_such_value(limit, value)
    if wrong is not None:
        return "value", wrong, f"write a figure in {limit.unit}"
    if value == limit.value:
        return "value", f"{limit.printed} is what stands already", "leave it out"
    return _disorder(book, name, value) or _loosened(book, limit, value, reason)


def _no_such_value(limit: Limit, value: float) -> str | None:
    if not math.isfinite(value):
        return f"{value} is no finite number"
    if limit.unit == "°C":
        return None if COLDEST_C <= value <= WARMEST_C else f"{value:g} °C is a slip of the pen"
    if value < 0 or (value == 0 and not limit.unit.startswith("ppm")):
        return f"{value:g} {limit.unit} is nothing"
    return f"{value:g} is no water activity" if limit.unit == "aw" and value > 1 else None


def _disorder(book: Rulebook, name: str, value: float) -> tuple[str, str, str] | None:
    for low, high in ORDERED:
        values = {one: book.limits[one].value for one in (low, high) if one in book.limits} | {name: value}
        if name in (low, high) and not values[low] < values[high]:
            return "value", f"{low} would not lie below {high}", "choose one that keeps their order"
    return None


def _loosened(book: Rulebook, limit: Limit, value: float, reason: str) -> tuple[str, str, str] | None:
    if not is_looser(limit, value):
        return None
    hazard = never_looser(limit.id)
    if hazard is not None:
        return "value", f"{limit.id} bounds {hazard}: it is never looser than {limit.printed}", "write a stricter one"
    law = book.limits.get("cold.law")
    if limit.id == "cold.limit" and law is not None and value > law.value:
        return "value", f"{value:g} °C is looser than the law's {law.printed}", "write a lower one"
    if len(reason.strip()) < REASON_MIN:
        return "reason", "this reason is too short to stand up next year", "say why a looser limit is enough here"
    return None


def with_site_limits(book: Rulebook, limits: Mapping[str, SiteLimitSet]) -> Rulebook:
    """Return the rulebook that a site judges by: its own limits in place of the shipped, each marked as such.

    What the shipped rulebook does not have, or does not let a site set so, is left as it was shipped: a rulebook may
    have become stricter since the site set its own. Doing it twice changes nothing.
    """
    merged, said = dict(book.limits), []
    for name, own in sorted(limits.items()):
        shipped = book.limits.get(name)
        if own.value is None or shipped is None or shipped.set_by:
            continue
        if limit_fault(book, name, own.value, own.reason) is not None:
            continue
        looser = is_looser(shipped, own.value)
        merged[name] = replace(
            shipped,
            value=own.value,
            set_by=f"{own.person}: {own.reason}",
            loosened=looser,
            shipped=shipped.printed,
        )
        said.append(f"{name} {merged[name].printed}{' (looser)' if looser else ''}")
    if not said:
        return book
    return replace(
        book, limits=MappingProxyType(merged), version=f"{book.version} with the site's own {', '.join(said)}"
    )

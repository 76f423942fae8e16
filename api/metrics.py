"""The numbers of a running kitchen in the text exposition format of Prometheus, version 0.0.4. Pure."""

import math
import re
from collections.abc import Iterable, Mapping, Sequence

from api.office import Estimates
from collector.health import Part, State
from collector.kitchen import Kitchen
from collector.sample import Instant

Line = tuple[Mapping[str, str], float]


def metrics_text(parts: Sequence[Part], kitchen: Kitchen, estimates: Estimates, now: Instant) -> str:
    """Return every number as text, a line each, with the help and type of each name."""
    meat = [
        ({"unit": unit, "lot": lot}, e.likely_c) for unit, here in estimates.items() for lot, e in sorted(here.items())
    ]
    ages = [({"unit": unit, "lot": lot}, now - e.at) for unit, here in estimates.items() for lot, e in here.items()]
    alarms = [
        ({"state": state}, sum(1.0 for a in kitchen.alarms.values() if a.state == state))
        for state in ("unacknowledged alarm", "acknowledged alarm", "returned to normal, unacknowledged")
    ]
    blocks = [
        _family("curevigil_part_works", "1 while a part of the program works.", _works(parts)),
        _family("curevigil_part_number", "A number that a part tells of itself.", _numbers(parts)),
        _family("curevigil_product_celsius", "Product estimate at the warmest tub.", meat),
        _family("curevigil_product_estimate_age_seconds", "Age of the product estimate.", ages),
        _family("curevigil_alarms", "Alarms by state.", alarms),
        _family("curevigil_journal_position", "Last position of the journal.", [({}, float(kitchen.position))]),
    ]
    return "".join(blocks)


def _works(parts: Iterable[Part]) -> list[Line]:
    return [({"part": p.name}, float(p.state in (State.WORKS, State.DOUBTFUL))) for p in parts]


def _numbers(parts: Iterable[Part]) -> list[Line]:
    return [({"part": p.name, "number": name}, value) for p in parts for name, value in sorted(p.numbers.items())]


def _family(name: str, said: str, lines: Iterable[Line]) -> str:
    head = f"# HELP {name} {said}\n# TYPE {name} gauge\n"
    return head + "".join(f"{name}{_labels(labels)} {_figure(value)}\n" for labels, value in lines)


def _labels(labels: Mapping[str, str]) -> str:
    if not labels:
        return ""
    return "{" + ",".join(f'{key}="{_escaped(value)}"' for key, value in labels.items()) + "}"


def _escaped(value: str) -> str:
    return re.sub(r'(["\\])', r"\\\1", value).replace("\n", r"\n")


def _figure(value: float) -> str:
    if math.isnan(value):
        return "NaN"
    if math.isinf(value):
        return "+Inf" if value > 0 else "-Inf"
    return f"{value:.10g}"

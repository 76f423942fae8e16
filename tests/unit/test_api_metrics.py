"""The metrics page: text exposition, one help and type a name, labels that cannot break a line."""

import re

from api.metrics import metrics_text
from collector.health import Part, State
from tests.office import NOW, made_kitchen, made_office

SAMPLE = re.compile(
    r'[a-z_]+(\{[a-z]+="(\\.|[^"\\\n])*"(,[a-z]+="(\\.|[^"\\\n])*")*\})? (NaN|[+-]Inf|-?[\d.]+(e[+-]\d+)?)'
)


def said(*parts: Part) -> str:
    return metrics_text(parts, made_kitchen(), made_office().estimates(), NOW)


def test_every_line_is_a_comment_or_a_sample() -> None:
    odd = Part('a"\\\nb', State.FAILED, NOW, "odd", {"x": float("nan"), "y": float("inf"), "z": 1e-7})
    for line in said(odd).splitlines():
        assert line.startswith("# ") or SAMPLE.fullmatch(line), line


def test_meat_parts_and_alarms_are_told() -> None:
    text = said(Part("broker", State.WORKS, NOW, "connected", {"messages": 12.0}), Part("disk", State.FAILED, NOW, ""))
    assert 'curevigil_product_celsius{unit="coldroom",lot="HAM-31"} 3.9\n' in text
    assert 'curevigil_product_estimate_age_seconds{unit="fridge",lot="BELLY-32"} 40\n' in text
    assert 'curevigil_part_works{part="broker"} 1\n' in text
    assert 'curevigil_part_works{part="disk"} 0\n' in text
    assert 'curevigil_part_number{part="broker",number="messages"} 12\n' in text
    assert 'curevigil_alarms{state="unacknowledged alarm"} 1\n' in text
    assert "curevigil_journal_position 21\n" in text

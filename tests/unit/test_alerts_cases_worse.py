"""Every written case made worse in one respect: what is proposed for it never becomes milder."""

import re
import tomllib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest

from alerts.disposition import propose
from alerts.history import BatchHistory
from alerts.rulebook.shelf import load
from alerts.rules import judge
from collector.findings import Disposition, Proposal, Tier

HistoryOf = Callable[[Mapping[str, Any]], BatchHistory]
FILES = sorted((Path(__file__).parent / "cases").glob("*.toml"))
CASES = [case for path in FILES for case in tomllib.loads(path.read_text(encoding="utf-8"))["case"]]
SEVERE = (Tier.HOLD, Tier.REJECT)
CURE_CLOCK = ("e-5", "e-10")
"""Where a cure was too cold these hold for the time it lost, or for what adding that time does: warmth mends both."""


def proposed(history_of: HistoryOf, story: Mapping[str, Any]) -> Proposal:
    history, book = history_of(story), load(story.get("authority", "US"))
    confirmed = frozenset(row.id for row in book.limits.values() if row.known == "memory")
    confirmed = confirmed if story.get("confirmed", "all") == "all" else frozenset()
    now = history.judged_until_at
    return propose(history, judge(history, book, confirmed, now), book, now, "test 1")


def severity(proposal: Proposal, left_out: tuple[str, ...]) -> int:
    """Return how severe the strongest finding is: 0 where nothing holds."""
    tiers = [f.tier for f in proposal.findings if f.rule.split()[0] not in left_out and f.tier in SEVERE]
    return max((SEVERE.index(tier) + 1 for tier in tiers), default=0)


def warmer(lines: list[str]) -> list[str]:
    """Return air told as `72 h at 3.0`, one kelvin warmer."""
    return [re.sub(r"( at )(-?[\d.]+)", lambda found: f"{found[1]}{float(found[2]) + 1:g}", line) for line in lines]


@pytest.mark.parametrize("case", CASES, ids=[case["name"] for case in CASES])
def test_a_case_in_warmer_air_is_never_judged_milder(case: dict[str, Any], history_of: HistoryOf) -> None:
    worse = case | {"air": warmer(case.get("air", []))}
    worse |= {"tubs": {name: warmer(lines) for name, lines in case["tubs"].items()}} if "tubs" in case else {}
    before, after = proposed(history_of, case), proposed(history_of, worse)
    lost = any(found.rule == "e-5" and found.add_s > 0 for found in before.findings)
    left_out = CURE_CLOCK if lost else ()
    assert severity(after, left_out) >= severity(before, left_out)
    assert after.disposition is not Disposition.RELEASE or before.disposition is Disposition.RELEASE

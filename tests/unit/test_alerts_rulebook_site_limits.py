"""A site's own limits: stricter freely, looser with a reason, some never."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import pytest

from alerts.history import BatchHistory
from alerts.rulebook.book import Rulebook
from alerts.rulebook.shelf import load, names
from alerts.rulebook.site_limits import is_looser, limit_fault, never_looser, stricter_way, with_site_limits
from alerts.rules import judge
from collector.events_making import SiteLimitSet
from collector.findings import Tier

US = load("US")
WHY = "our own plan, edition 4"
BOOKS = [load(name) for name in names()]


def own(limit: str, value: float | None, reason: str = WHY) -> dict[str, SiteLimitSet]:
    return {limit: SiteLimitSet(limit, value, reason, "ines")}


@pytest.mark.parametrize("book", BOOKS, ids=lambda book: book.id)
def test_of_every_limit_it_is_known_which_way_is_stricter_or_that_nobody_sets_it(book: Rulebook) -> None:
    assert {stricter_way(row) for row in book.limits} == {"lower", "higher", None}
    free = {row for row in book.limits if stricter_way(row) is None}
    assert all(row.split(".")[0] in ("cure", "cold", "sensor", "growth", "nitrite") for row in free)


@pytest.mark.parametrize("book", BOOKS, ids=lambda book: book.id)
def test_no_limit_of_nitrite_botulinum_parasites_or_cooking_is_ever_loosened(book: Rulebook) -> None:
    guarded = [row for row in book.limits.values() if never_looser(row.id) and stricter_way(row.id)]
    assert len(guarded) > 50
    for row in guarded:
        looser = row.value * 1.2 + 0.1 if stricter_way(row.id) == "lower" else row.value * 0.8 - 0.1
        assert limit_fault(book, row.id, looser, WHY) is not None, row.id


@pytest.mark.parametrize(
    ("limit", "value", "reason", "field"),
    [
        ("no.such", 1.0, WHY, "limit"),
        ("growth.factor", 1.0, WHY, "limit"),
        ("excursion.hold", 4.0, WHY, "value"),
        ("excursion.hold", -1.0, WHY, "value"),
        ("excursion.hold", float("nan"), WHY, "value"),
        ("cold.limit", 300.0, WHY, "value"),
        ("release.aw", 1.4, WHY, "value"),
        ("excursion.hold", 3.0, "  ", "reason"),
        ("excursion.hold", 6.0, "because", "reason"),
        ("cure.stop", 2.4, WHY, "value"),
    ],
)
def test_what_cannot_be_set_is_refused_by_its_field(limit: str, value: float, reason: str, field: str) -> None:
    wrong = limit_fault(US, limit, value, reason)
    assert wrong is not None and wrong[0] == field
    assert all(wrong)


def test_a_stricter_limit_needs_a_word_and_a_looser_one_a_reason() -> None:
    assert limit_fault(US, "excursion.hold", 3.0, "plan") is None
    assert limit_fault(US, "excursion.hold", 6.0, WHY) is None


def test_the_rulebook_of_the_site_says_what_is_its_own_and_doing_it_twice_changes_nothing() -> None:
    book = with_site_limits(US, own("excursion.hold", 6.0))
    row = book.limits["excursion.hold"]
    assert (row.value, row.loosened, row.shipped) == (6.0, True, "4 h")
    assert "looser" in row.own and WHY in row.own and "looser" in book.name
    assert with_site_limits(book, own("excursion.hold", 6.0)) == book
    assert US.limits["excursion.hold"].value == 4.0


def test_what_is_never_looser_stays_as_it_was_shipped_whatever_stands_in_the_journal() -> None:
    assert with_site_limits(US, own("nitrite.immersion", 900.0)) is US
    assert with_site_limits(US, own("excursion.hold", None)) is US


def test_a_looser_limit_is_named_by_every_finding_that_it_touches(
    history_of: Callable[[Mapping[str, Any]], BatchHistory],
) -> None:
    history = history_of({"air": ["24 h at 3.0", "12 h at 6.5", "24 h at 3.0"]})
    book = with_site_limits(US, own("excursion.hold", 40.0))
    shipped, mine = (next(f for f in judge(history, b, frozenset(), 4e9) if f.rule == "e-2") for b in (US, book))
    assert (shipped.tier, mine.tier) == (Tier.HOLD, Tier.RECORDED)
    assert WHY in str(mine.parameters["own"])


def test_looser_goes_by_the_stricter_way() -> None:
    assert is_looser(US.limits["excursion.hold"], 5.0)
    assert is_looser(replace(US.limits["cure.full"], value=2.2), 2.0)

"""The rows by which a cook, a cooling and a control of parasites are judged, against the documents' own degrees."""

from collections.abc import Callable

import pytest

from alerts.core_record import Run, fall, held_enough
from alerts.rulebook.book import Limit
from alerts.rulebook.shelf import load
from alerts.rules_kill import cooked_by
from collector.findings import Outcome

Row = dict[str, str]
Agrees = Callable[[Row, str, float], None]
US = load("US")


def fahrenheit(celsius: float) -> float:
    """Return degrees Fahrenheit as a document prints them: the rulebook holds degrees Celsius to a tenth. [°F]"""
    return celsius * 9 / 5 + 32


def row_at(table: str, row: Row) -> Limit:
    """Return the row of a table nearest to a printed temperature."""
    return min(US.rows(table), key=lambda limit: abs(fahrenheit(limit.at_c or 0.0) - float(row["f"])))


def agrees_in_full(row: Row, limit: Limit, agrees: Agrees) -> None:
    assert limit.at_c is not None
    agrees(row, "f", fahrenheit(limit.at_c))
    agrees(row, "span", limit.value)
    assert limit.unit == row["unit"]


@pytest.mark.figures("cook_rows.csv")
def test_a_row_of_the_roast_table_is_that_of_the_document(row: Row, agrees: Agrees) -> None:
    agrees_in_full(row, row_at("cook.whole", row), agrees)


@pytest.mark.figures("cook_rows.csv")
def test_a_roast_is_cooked_at_the_printed_time_and_not_a_second_before(row: Row, agrees: Agrees) -> None:
    limit = row_at("cook.whole", row)
    agrees(row, "f", fahrenheit(limit.at_c or 0.0))
    at_c, span_s = limit.at_c or 0.0, round(limit.scaled)

    def cooked(seconds: int) -> bool:
        return cooked_by(Run("P1", ((0.0, at_c), (float(seconds), at_c))), US.rows("cook.whole")) is not None

    assert cooked(span_s)
    assert span_s == 0 or not cooked(span_s - 1)


@pytest.mark.figures("trichinella_heat.csv")
def test_a_row_of_heat_against_trichinella_is_that_of_the_document(row: Row, agrees: Agrees) -> None:
    limit = row_at("parasite.heat", row)
    agrees_in_full(row, limit, agrees)
    assert held_enough(((0.0, limit.at_c or 0.0), (limit.scaled, limit.at_c or 0.0)), limit)


@pytest.mark.figures("cooling_stages.csv")
def test_a_step_of_cooling_or_heating_is_that_of_the_document(row: Row, agrees: Agrees) -> None:
    limit = US.limits[row["row"]]
    assert limit.from_c is not None and limit.to_c is not None
    agrees(row, "from_f", fahrenheit(limit.from_c))
    agrees(row, "to_f", fahrenheit(limit.to_c))
    agrees(row, "hours", limit.scaled / 3600.0)
    if row["way"] != "heating":
        assert row["row"] in US.cooling[row["way"]].steps
        for more_s, outcome in ((0.0, Outcome.WITHIN), (60.0, Outcome.OUTSIDE)):
            run = Run("P1", ((0.0, limit.from_c), (limit.scaled + more_s, limit.to_c)))
            assert fall(run, limit, None).outcome is outcome

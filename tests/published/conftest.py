"""Figures typed from documents: read from the CSV files here, compared within half of their last printed digit.

A file opens with lines of `#` that name document, edition and table, who typed it and who checked it. Each row says
`source` and `known`: `read` (seen in the document or in a page that reproduces it), `memory` (not seen), `computed`
(arithmetic that anybody can repeat).
"""

import csv
from collections import Counter
from collections.abc import Callable, Iterator
from decimal import Decimal
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent
KNOWN = {"read", "memory", "computed"}
COMPARED = pytest.StashKey[Counter[tuple[str, str]]]()


def rows_of(name: str, **wanted: str) -> list[dict[str, str]]:
    """Return the rows of one file whose columns hold what is wanted."""
    text = (FOLDER / name).read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    rows = [dict(row) for row in csv.DictReader(lines, strict=True)]
    for row in rows:
        assert row["source"] and row["known"] in KNOWN, f"{name}: a figure without a source: {row}"
    return [row for row in rows if all(row[column] == value for column, value in wanted.items())]


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "figures(file, **columns): one test per row of a file of published figures")
    config.stash.setdefault(COMPARED, Counter())


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    mark = metafunc.definition.get_closest_marker("figures")
    if mark is not None:
        rows = rows_of(*mark.args, **mark.kwargs)
        assert rows, f"{metafunc.definition.nodeid}: no such figures"
        not_shown = {"source", "known", "edition", "tolerance"}
        ids = ["-".join(value for column, value in row.items() if column not in not_shown)[:60] for row in rows]
        metafunc.parametrize("row", rows, ids=ids)


def half_a_digit(printed: str) -> float:
    """Return half of the last printed digit."""
    exponent = Decimal(printed).as_tuple().exponent
    assert isinstance(exponent, int), f"{printed} is no figure"
    return 0.5 * 10.0**exponent


@pytest.fixture
def agrees(request: pytest.FixtureRequest) -> Iterator[Callable[[dict[str, str], str, float], None]]:
    """`agrees(row, "tau_h", computed)`: within half of the last digit, or within the row's stated `tolerance`."""
    counted = request.config.stash[COMPARED]
    before = counted.total()

    def compare(row: dict[str, str], column: str, computed: float) -> None:
        printed = row[column]
        within = float(row["tolerance"]) if row.get("tolerance") else half_a_digit(printed)
        # A whisker more, so that a figure printed from a tie does not depend on the last bit.
        assert abs(computed - float(printed)) <= within * (1 + 1e-6), (
            f"{row['source']}: {column} is printed {printed}, here {computed:.6g} (within {within:g})"
        )
        counted[row["source"], row["known"]] += 1

    yield compare
    assert counted.total() > before, "no figure was compared"


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    """Print how many figures agreed, source by source."""
    counted = config.stash.get(COMPARED, Counter[tuple[str, str]]())
    if counted:
        terminalreporter.write_line(f"published figures that agree: {counted.total()}")
    for (source, known), number in sorted(counted.items()):
        terminalreporter.write_line(f"  {number:4d}  {source} ({known})")

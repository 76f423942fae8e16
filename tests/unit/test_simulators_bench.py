"""What the bench says: rows, verdicts, the closing line, and what cannot be measured."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from simulators.bench import LINES, bench, closing_line
from simulators.bench_row import Row, Samples, Unmeasured, figure, percentile, unmeasured


@pytest.mark.parametrize(
    ("value", "said"), [(0.0512, "0.05"), (4.651, "4.65"), (23.94, "23.9"), (117.4, "117"), (26417.0, "26,417")]
)
def test_a_figure_shows_the_digits_that_say_something(value: float, said: str) -> None:
    assert figure(value) == said


def test_samples_speak_by_their_median_and_show_their_spread() -> None:
    assert str(Samples((5.0, 1.0, 2.0), "ms")) == "2.00 ms (1.00 to 5.00)"
    assert str(Samples((5.0,), "bytes")) == "5.00 bytes"


@pytest.mark.parametrize(("share", "found"), [(0.5, 50.0), (0.99, 99.0), (1.0, 100.0), (0.001, 1.0)])
def test_a_percentile_is_a_value_that_was_measured(share: float, found: float) -> None:
    assert percentile([float(n) for n in range(100, 0, -1)], share) == found


@pytest.mark.parametrize(("kept", "word"), [(True, "kept"), (False, "OVER"), (None, "")])
def test_a_row_says_plainly_whether_its_budget_was_kept(kept: bool | None, word: str) -> None:
    line, note = str(Row("tick", "27.2 ms", "8.40 ms", 3.238, "at most 1.2 times", kept, ("200 units",))).splitlines()
    assert line.split("  ")[0] == "tick"
    assert line.endswith(f"3.24     at most 1.2 times{' ' * 13}{word}".rstrip())
    assert note == "    200 units"


def test_the_closing_line_counts_what_was_kept_and_names_what_was_not() -> None:
    rows = [Row("start", "1 s", kept=True), Row("tick", "1 s", kept=False), Row("facts", "1 s")]
    assert closing_line(rows, 1, 61.4) == "bench: 3 rows, 1 of 2 budgets kept, over: tick, 1 not measured, 61 s"


def test_a_line_that_cannot_be_measured_says_why_and_the_exit_code_is_one(monkeypatch: pytest.MonkeyPatch) -> None:
    def absent(mosquitto: Path | None, scale: float) -> list[Row]:
        raise Unmeasured("mosquitto is not here")

    monkeypatch.setitem(LINES, "ingest", absent)
    told = CliRunner().invoke(bench, ["--only", "ingest"])
    assert told.exit_code == 1
    assert unmeasured("ingest", "mosquitto is not here") in told.output
    assert told.output.splitlines()[-1].startswith("bench: 0 rows, 0 of 0 budgets kept, 1 not measured")


def test_a_budget_that_is_not_kept_ends_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(LINES, "tick", lambda mosquitto, scale: iter([Row("tick", "1 s", kept=False)]))
    told = CliRunner().invoke(bench, ["--only", "tick"])
    assert told.exit_code == 0
    assert "over: tick" in told.output


def test_an_unknown_line_is_refused_with_the_known_ones() -> None:
    told = CliRunner().invoke(bench, ["--only", "tick,sundial"])
    assert told.exit_code == 2
    assert "sundial; there are ingest" in told.output

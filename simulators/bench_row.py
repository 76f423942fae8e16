"""One row of the bench: what was measured, its yardstick from the same run, and whether the budget was kept."""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

WIDTHS = (26, 30, 30, 7, 28)
HEADS = ("what", "measured", "yardstick", "ratio", "budget")
INDENT = " " * 4


class Unmeasured(Exception):
    """A line could not be measured; the message says why, and how to mend it."""


@dataclass(frozen=True, slots=True)
class Samples:
    """The same thing measured several times; the median speaks, the spread shows the noise."""

    values: tuple[float, ...]
    unit: str

    @property
    def median(self) -> float:
        """Return the value in the middle."""
        return median(self.values)

    def __str__(self) -> str:
        """Return `4.7 ms (4.6 to 5.1)`; one value alone has no spread."""
        text = f"{figure(self.median)} {self.unit}"
        if len(self.values) < 2:
            return text
        return f"{text} ({figure(min(self.values))} to {figure(max(self.values))})"


@dataclass(frozen=True, slots=True)
class Row:
    """What one line of the bench prints; `kept` is None where no budget was set."""

    what: str
    measured: str
    yardstick: str = ""
    ratio: float | None = None
    budget: str = ""
    kept: bool | None = None
    notes: tuple[str, ...] = ()

    def __str__(self) -> str:
        """Return the row in columns, and its notes below it."""
        ratio = "" if self.ratio is None else f"{self.ratio:.2f}"
        cells = (self.what, self.measured, self.yardstick, ratio, self.budget)
        lines = [_columns((*cells, verdict(self.kept))), *(f"{INDENT}{note}" for note in self.notes)]
        return "\n".join(lines)


def unmeasured(what: str, why: str) -> str:
    """Return the row of something that could not be measured."""
    return f"{what:<{WIDTHS[0]}}  not measured: {why}"


def head() -> str:
    """Return the heads of the columns, underlined."""
    return "\n".join((_columns((*HEADS, "")), _columns((*("-" * width for width in WIDTHS), ""))))


def verdict(kept: bool | None) -> str:
    """Return whether a budget was kept, in a word."""
    return "" if kept is None else "kept" if kept else "OVER"


def figure(value: float) -> str:
    """Return a number with three digits that say something, thousands set apart."""
    size = abs(value)
    places = 0 if size >= 100 else 1 if size >= 10 else 2
    return f"{value:,.{places}f}"


def percentile(values: Sequence[float], share: float) -> float:
    """Return the smallest value that at least this share of them does not exceed; one that was measured."""
    ordered = sorted(values)
    return ordered[max(0, -(-len(ordered) * round(share * 1000) // 1000) - 1)]


def _columns(cells: Sequence[str]) -> str:
    padded = (f"{cell:<{width}}" for cell, width in zip(cells, (*WIDTHS, 0), strict=True))
    return "  ".join(padded).rstrip()

"""What is said of units from which nothing comes: how long their meat can stand unwatched. Pure: no clock, no I/O."""

from collections.abc import Callable, Mapping

from collector.sample import Instant

Figures = Mapping[str, float | int | str | None]
Clock = Callable[[Instant | None], str]
"""An instant as people of the site read it."""


def could_text(figures: Figures, clock: Clock) -> str:
    """Return from when meat could have passed its limit; what is not known may have happened by now."""
    early_at, limit = figures.get("early_at"), _degrees(figures.get("limit_c"))
    if not isinstance(early_at, (int, float)):
        return f"Meat may be above {limit} by now."
    return f"If cooling has stopped, meat could pass {limit} from {clock(early_at)} (estimate)."


def blind_text(figures: Figures, clock: Clock) -> str:
    """Return how long the meat of a unit can stand so; nothing where another channel still tells of it."""
    if "early_at" not in figures:
        return ""
    early_at, limit = figures["early_at"], _degrees(figures.get("limit_c"))
    if not isinstance(early_at, (int, float)):
        return "Nothing watches its meat."
    return f"Nothing watches its meat: if cooling has stopped, it could pass {limit} from {clock(early_at)} (estimate)."


def _degrees(value: float | int | str | None) -> str:
    return f"{value:.1f} °C" if isinstance(value, (int, float)) else "its limit"

"""What is said of units from which nothing comes: how long their meat can stand unwatched. Pure: no clock, no I/O."""

from collections.abc import Callable, Mapping

from collector.sample import Instant

Figures = Mapping[str, float | int | str | None]
Clock = Callable[[Instant | None], str]
"""An instant as people of the site read it."""
LISTED = 6
"""House: units named with their times in one message; the page has them all."""
NAMED = 2
"""House: units named before anything else, which is read on a locked screen."""


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


def left_text(figures: Figures, clock: Clock) -> str:
    """Return from when the meat of each unit of a group could pass its limit, the first to pass first."""
    units = _units(figures)
    meat = [f"in {name} from {clock(at)}" for name, at in units if at is not None]
    others = [name for name, at in units if at is None]
    said = ""
    if meat:
        more = f" and {len(meat) - LISTED} more" if len(meat) > LISTED else ""
        said = f" If cooling has stopped, meat could pass its limit {', '.join(meat[:LISTED])}{more} (estimate)."
    if others:
        more = f" and {len(others) - LISTED} more" if len(others) > LISTED else ""
        said += f" {'Silent too' if meat else 'They are'}: {', '.join(others[:LISTED])}{more}."
    return said


def _units(figures: Figures) -> list[tuple[str, float | None]]:
    found: list[tuple[str, float | None]] = []
    while (name := figures.get(f"name_{len(found) + 1}")) is not None:
        at = figures.get(f"from_{len(found) + 1}_at")
        found.append((str(name), float(at) if isinstance(at, (int, float)) else None))
    return found


def silent_text(figures: Figures) -> str:
    """Return which units are silent together, in few words: the first to pass by name, the others by their number."""
    names = [name for name, _ in _units(figures)]
    if not names:
        return "several units"
    if len(names) <= NAMED:
        return " and ".join(names)
    return f"{', '.join(names[:NAMED])} and {len(names) - NAMED} more"


def back_text(figures: Figures) -> str:
    """Return which units of a group are heard again, and which are not."""
    back, still = (_some(str(figures.get(name) or "")) for name in ("back", "still"))
    said = f"Readings arrive again from {back}." if back else ""
    return f"{said} Still silent: {still}.".strip() if still else said


def again_text(figures: Figures) -> str:
    """Return the same, as the end of a sentence that begins with *Readings arrive again*."""
    back, still = (_some(str(figures.get(name) or "")) for name in ("back", "still"))
    said = f" from {back}" if back else of_site_text(figures)
    return f"{said}; still silent: {still}" if still else said


def _some(names: str) -> str:
    listed = names.split(", ")
    return names if len(listed) <= LISTED else f"{', '.join(listed[:LISTED])} and {len(listed) - LISTED} more"


def of_site_text(figures: Figures) -> str:
    """Return which site is meant, where there are several."""
    name = figures.get("site_name")
    return f" of {name}" if name else ""


def _degrees(value: float | int | str | None) -> str:
    return f"{value:.1f} °C" if isinstance(value, (int, float)) else "its limit"

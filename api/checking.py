"""Checks of what a person wrote, gathered so that everything wrong is said at once. Pure: no clock, no I/O."""

import math
from collections.abc import Sequence

from collector.batches import AsMade, Batch, Method, Packing, Plan, Route
from collector.fault import Fault
from collector.kitchen import Kitchen
from collector.sample import Instant

AHEAD_S = 120.0
"""How far ahead of ours a person's watch may be. House. [s]"""
NAME_MAX, TEXT_MAX = 80, 2000
MEATS = ("pork", "beef", "lamb", "poultry", "game", "offal")
ARRANGEMENTS = ("tub", "hung", "racked")
RANGES = {
    "temperature": (-30.0, 120.0, "°C"),
    "strength": (0.0, 100.0, "°SAL"),
    "ph": (0.0, 14.0, "pH"),
    "aw": (0.0, 1.0, "aw"),
    "mass": (0.0, 10_000.0, "kg"),
}
"""What a hand reading can be at all, and its unit."""


class Checks:
    """Gathers faults; a check that finds nothing wrong says nothing."""

    def __init__(self, kitchen: Kitchen, now: Instant) -> None:
        self._kitchen = kitchen
        self._now = now
        self._found: list[Fault] = []

    @property
    def faults(self) -> tuple[Fault, ...]:
        """Return what was found so far."""
        return tuple(self._found)

    def say(self, field: str, wrong: str, mend: str) -> None:
        """Note one fault."""
        self._found.append(Fault(field, wrong, mend))

    def name(self, field: str, value: str) -> None:
        """Want a short printable name without blanks at its ends."""
        if not value or value != value.strip() or len(value) > NAME_MAX or not value.isprintable():
            self.say(field, f"{value[:40]!r} is no name", f"use 1 to {NAME_MAX} printable characters")

    def text(self, field: str, value: str) -> None:
        """Want some words."""
        if not value.strip():
            self.say(field, "nothing is entered", "say it in a few words")
        elif len(value) > TEXT_MAX:
            self.say(field, f"{len(value)} characters are too many", f"use at most {TEXT_MAX}")

    def one_of(self, field: str, value: str, allowed: Sequence[str]) -> None:
        """Want one of a few words."""
        if value not in allowed:
            self.say(field, f"{value[:40]!r} is not known", f"choose one of {', '.join(allowed)}")

    def between(self, field: str, value: float, least: float, most: float, unit: str) -> None:
        """Want a finite number within bounds."""
        if not math.isfinite(value) or not least <= value <= most:
            self.say(field, f"{value:g} {unit} cannot be", f"enter {least:g} to {most:g} {unit}")

    def temperature(self, field: str, value: float) -> None:
        """Want a temperature that a kitchen can have. [°C]"""
        self.between(field, value, -30.0, 60.0, "°C")

    def measured(self, measure: str, value: float) -> None:
        """Want a value that its measure can have."""
        if measure in RANGES:
            self.between("value", value, *RANGES[measure])

    def not_later(self, field: str, at: Instant) -> None:
        """Want an instant that has come, in this century."""
        if not math.isfinite(at) or at < 946_684_800.0:
            self.say(field, "that is no time of this century", "enter date and time")
        elif at > self._now + AHEAD_S:
            self.say(field, "that is in the future", "enter when it happened")

    def unit(self, field: str, value: str) -> None:
        """Want a unit of the kitchen."""
        if value not in self._kitchen.units:
            known = ", ".join(sorted(self._kitchen.units)) or "none is described yet"
            self.say(field, f"there is no unit {value[:40]!r}", f"choose one of: {known}")

    def batch(self, lot: str) -> Batch | None:
        """Want a batch of the kitchen, and return it."""
        found = self._kitchen.batches.get(lot)
        if found is None:
            self.say("lot", f"there is no batch {lot[:40]!r}", "choose one from the list of batches")
        return found

    def running(self, lot: str) -> Batch | None:
        """Want a batch that has not ended, and return it."""
        found = self.batch(lot)
        if found is not None and found.ended_at is not None:
            self.say("lot", f"{lot} has ended", "choose a batch that still stands in a unit")
        return found

    def plan(self, plan: Plan) -> None:
        """Want a plan that can be judged at all."""
        self.text("plan.name", plan.name)
        self.one_of("plan.meat", plan.meat, MEATS)
        self.text("plan.cut", plan.cut)
        self.one_of("plan.method", plan.method, tuple(Method))
        self.one_of("plan.packing", plan.packing, tuple(Packing))
        self.one_of("plan.route", plan.route, tuple(Route))
        self.one_of("plan.arrangement", plan.arrangement, ARRANGEMENTS)
        self.between("plan.cure_s", plan.cure_s, 3600.0, 400 * 86_400.0, "s")
        self.between("plan.thickness_mm", plan.thickness_mm, 1.0, 500.0, "mm")
        self.between("plan.meat_kg", plan.meat_kg, 0.001, 10_000.0, "kg")
        for name in ("water_kg", "salt_kg", "sugar_kg", "curing_salt_kg"):
            self.between(f"plan.{name}", getattr(plan, name), 0.0, 10_000.0, "kg")
        if plan.nitrite_percent is not None:
            self.between("plan.nitrite_percent", plan.nitrite_percent, 0.0, 100.0, "%")
        if plan.tau_s is not None:
            self.between("plan.tau_s", plan.tau_s, 60.0, 10 * 86_400.0, "s")

    def as_made(self, made: AsMade) -> None:
        """Want an as-made sheet whose figures can be; what is left out stays *not entered*."""
        self.between("as_made.meat_kg", made.meat_kg, 0.001, 10_000.0, "kg")
        for name in ("water_kg", "salt_kg", "sugar_kg", "curing_salt_kg"):
            value = getattr(made, name)
            if value is not None:
                self.between(f"as_made.{name}", value, 0.0, 10_000.0, "kg")
        if made.nitrite_percent is not None:
            self.between("as_made.nitrite_percent", made.nitrite_percent, 0.0, 100.0, "%")
        for name in ("brine_c", "meat_c"):
            value = getattr(made, name)
            if value is not None:
                self.between(f"as_made.{name}", value, -30.0, 100.0, "°C")

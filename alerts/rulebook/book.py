"""A rulebook: every limit with its unit and source, and the rules that use them. Pure: no clock, no I/O."""

from collections.abc import Mapping
from dataclasses import dataclass

from collector.batches import Route, Stage
from collector.findings import Tier

TIER_ORDER = (Tier.NONE, Tier.RECORDED, Tier.EXTEND, Tier.HOLD, Tier.REJECT)
TIME_S = {"min": 60.0, "h": 3600.0, "d": 86400.0}
SCALE = {"%": 0.01, "kJ/mol": 1000.0}


@dataclass(frozen=True, slots=True)
class Limit:
    """A number with its unit, where it comes from, and how far it may reach."""

    id: str
    value: float
    unit: str
    source: str
    edition: str
    known: str
    reaches: Tier
    note: str
    above_c: float | None = None
    """For a band of temperature: it begins above this. [°C]"""
    up_to_c: float | None = None
    """... and reaches up to and including this; None for no upper end. [°C]"""

    @property
    def scaled(self) -> float:
        """Return the value in the unit that is calculated with: s for times, 1 for per cent, J/mol for kJ/mol."""
        return self.value * TIME_S.get(self.unit, SCALE.get(self.unit, 1.0))

    @property
    def printed(self) -> str:
        """Return the value with its unit, as people read it."""
        figure = (f"{self.value:.1f}" if self.unit in ("°C", "K") else f"{self.value:g}").replace("-", "−")
        if self.above_c is None:
            return figure if self.unit == "1" else f"{figure} {self.unit}"
        end = "" if self.up_to_c is None else f", up to {self.up_to_c:.1f} °C"
        return f"{figure} {self.unit} above {self.above_c:.1f} °C{end}".replace("-", "−")


@dataclass(frozen=True, slots=True)
class Tiers:
    """Ids of the shares from which a time budget is recorded, holds, locks the route, or rejects, on some routes."""

    routes: tuple[Route, ...]
    recorded: str | None
    hold: str | None
    cook_or_discard: str | None
    reject: str | None


@dataclass(frozen=True, slots=True)
class Rule:
    """What is judged, when it applies, by which measure and limits, and the strongest that follows."""

    id: str
    name: str
    aim: str
    stages: tuple[Stage, ...]
    measure: str
    limits: tuple[str, ...]
    reaches: Tier
    meats: tuple[str, ...] = ()
    """Empty for every meat."""
    condition: str = "always"
    tiers: tuple[Tiers, ...] = ()

    def tiers_on(self, route: Route) -> Tiers | None:
        """Return the shares that count on a route, or None where the rule does not apply to it."""
        return next((tiers for tiers in self.tiers if route in tiers.routes), None)


@dataclass(frozen=True, slots=True)
class Rulebook:
    """Every limit and rule of one authority, in one version."""

    id: str
    version: str
    title: str
    authority: str
    limits: Mapping[str, Limit]
    rules: tuple[Rule, ...]

    @property
    def name(self) -> str:
        """Return `US 2026.1`: id and version."""
        return f"{self.id} {self.version}"

    def scaled(self, limit: str) -> float:
        """Return a limit's value in s, °C, K, mm, J/mol or 1."""
        return self.limits[limit].scaled

    def rule(self, rule: str) -> Rule:
        """Return the rule of that id."""
        return next(found for found in self.rules if found.id == rule)

    def bands(self, rule: Rule) -> tuple[Limit, ...]:
        """Return the rows of a rule that are bands of temperature, coldest first."""
        rows = [self.limits[i] for i in rule.limits if self.limits[i].above_c is not None]
        return tuple(sorted(rows, key=lambda row: row.above_c or 0.0))

"""A rulebook: every limit with its unit and source, and the rules that use them. Pure: no clock, no I/O."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from collector.batches import Method, Route, Stage
from collector.findings import Tier

TIER_ORDER = (Tier.NONE, Tier.RECORDED, Tier.EXTEND, Tier.HOLD, Tier.REJECT)
TIME_S = {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86400.0}
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
    at_c: float | None = None
    """For a row of a table of temperatures and times: held at this, or further on in the table's sense. [°C]"""
    from_c: float | None = None
    """For a step of cooling or heating: the time counts from passing this. [°C]"""
    to_c: float | None = None
    """... until reaching this. [°C]"""
    borrowed: bool = False
    """Whether it is another authority's figure, used here because this house chose to."""
    set_by: str = ""
    """Who of the site set it otherwise than the shipped rulebook, and why; empty for the shipped value."""
    loosened: bool = False
    """Whether the site's own value is looser than the shipped one."""

    @property
    def cited(self) -> str:
        """Return the source, and whether it is a foreign one."""
        return f"{self.source} (house use of a foreign table)" if self.borrowed else self.source

    @property
    def scaled(self) -> float:
        """Return the value in the unit that is calculated with: s for times, 1 for per cent, J/mol for kJ/mol."""
        return self.value * TIME_S.get(self.unit, SCALE.get(self.unit, 1.0))

    @property
    def printed(self) -> str:
        """Return the value with its unit, as people read it."""
        figure = (f"{self.value:.1f}" if self.unit in ("°C", "K") else f"{self.value:g}").replace("-", "−")
        if self.above_c is None:
            return f"{figure if self.unit == '1' else f'{figure} {self.unit}'}{self._between()}"
        end = "" if self.up_to_c is None else f", up to {self.up_to_c:.1f} °C"
        return f"{figure} {self.unit} above {self.above_c:.1f} °C{end}".replace("-", "−")

    def _between(self) -> str:
        if self.at_c is not None:
            return f" at {self.at_c:.1f} °C".replace("-", "−")
        if self.from_c is None or self.to_c is None:
            return ""
        return f" from {self.from_c:.1f} to {self.to_c:.1f} °C".replace("-", "−")


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
class ProductClass:
    """What the law calls a product, and the rows that bound its nitrite and nitrate; each row names its own unit."""

    id: str
    words: str
    chosen_by: str
    """`method` or `route` where the plan's own decides; `person` where somebody must say that it is one."""
    methods: tuple[Method, ...]
    """The methods it is made by; none for a class that nothing here judges."""
    routes: tuple[Route, ...] = ()
    """Empty for every route."""
    meats: tuple[str, ...] = ()
    """Empty for every meat."""
    ingoing: str | None = None
    """Row of the nitrite that may go in; None where the law bounds only what remains."""
    residual: str | None = None
    """Row of the nitrite that may remain; None where the law bounds only what goes in."""
    nitrate_ingoing: str | None = None
    """Row of the nitrate that may go in; 0 where none may, None where no figure is held."""
    nitrate_residual: str | None = None
    note: str = ""

    @property
    def residual_only(self) -> bool:
        """Return whether only a laboratory can tell."""
        return self.ingoing is None

    @property
    def judged(self) -> bool:
        """Return whether any method of ours makes it; otherwise it is out of scope."""
        return bool(self.methods)

    @property
    def rows(self) -> tuple[str, ...]:
        """Return the rows it names."""
        named = (self.ingoing, self.residual, self.nitrate_ingoing, self.nitrate_residual)
        return tuple(row for row in named if row is not None)

    def fits(self, method: Method, route: Route, meat: str) -> bool:
        """Return whether a plan may be of this class."""
        return method in self.methods and route in (self.routes or (route,)) and meat in (self.meats or (meat,))


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of temperature and time of which one is enough: cooking, or control of parasites by heat or frost."""

    id: str
    words: str
    rows: tuple[str, ...]
    """Ids of limits with `at_c`, coolest first."""


@dataclass(frozen=True, slots=True)
class Cooling:
    """One way to cool that is long enough away from danger: every step within its time."""

    id: str
    words: str
    steps: tuple[str, ...]
    """Ids of limits with `from_c` and `to_c`, in order."""
    nitrite: str | None = None
    """Row of the least nitrite that must have gone in; None for any product."""


@dataclass(frozen=True, slots=True)
class Window:
    """Temperatures between which a warm stage of a published process stands."""

    id: str
    words: str
    stages: tuple[Stage, ...]
    meats: tuple[str, ...]
    coolest: str | None = None
    warmest: str | None = None
    after: str | None = None
    """Row of the least time of cure and equalisation before it."""


@dataclass(frozen=True, slots=True)
class Rulebook:
    """Every limit and rule of one authority, in one version."""

    id: str
    version: str
    title: str
    authority: str
    limits: Mapping[str, Limit]
    rules: tuple[Rule, ...]
    classes: Mapping[str, ProductClass] = field(default_factory=lambda: MappingProxyType({}))
    tables: Mapping[str, Table] = field(default_factory=lambda: MappingProxyType({}))
    """`cook.whole`, `cook.opened`, `cook.poultry`, and those of parasites."""
    cooling: Mapping[str, Cooling] = field(default_factory=lambda: MappingProxyType({}))
    windows: Mapping[str, Window] = field(default_factory=lambda: MappingProxyType({}))

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

    def rows(self, table: str) -> tuple[Limit, ...]:
        """Return the rows of a table of temperatures and times, coolest first."""
        return tuple(self.limits[row] for row in self.tables[table].rows)

    def steps(self, cooling: str) -> tuple[Limit, ...]:
        """Return the steps of a way to cool, in order."""
        return tuple(self.limits[row] for row in self.cooling[cooling].steps)

    def classes_for(self, method: Method, route: Route, meat: str) -> tuple[ProductClass, ...]:
        """Return the classes that a plan may be of, in the order of the book."""
        return tuple(one for one in self.classes.values() if one.fits(method, route, meat))

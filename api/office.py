"""Everything that the pages and the API need from the running service, passed in once."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from alerts.channels.drill import Tried
from alerts.history import BatchHistory
from alerts.rulebook.book import Rulebook
from collector.findings import Proposal
from collector.health import Part
from collector.kitchen import Alarm, Kitchen
from collector.message import Source
from collector.present import Present
from collector.readings import Unit
from collector.sample import Instant
from collector.storage import Journal, Readings, Working

Clock = Callable[[], Instant]


@dataclass(frozen=True, slots=True)
class Estimate:
    """The product estimate of one batch in one unit, at its warmest tub."""

    at: Instant
    likely_c: float
    lower_c: float
    upper_c: float
    air_c: float | None
    trend_c_per_h: float | None = None
    """How fast the air changes; None where that is not known. [K/h]"""
    tau_s: float | None = None
    """Time constant of the tub that follows the air fastest. [s]"""
    claimed_c: tuple[float, float] | None = None
    """The two ends of the interval that is claimed to hold it with 90 %. [°C]"""


Estimates = Mapping[str, Mapping[str, Estimate]]
"""By unit, then by lot."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What the installation decides."""

    plain_http: bool = False
    """Sign-in travels unencrypted: for a closed network only, and said on the sign-in page."""
    public_address: str = ""
    """As people type it, without a slash at its end; empty while it is not known."""
    version: str = "0.1.0"
    notice: str = ""
    """A line on every page: the demo says that its kitchen is invented."""


@dataclass(frozen=True, slots=True)
class Office:
    """The app's world."""

    present: Present
    journal: Journal
    readings: Readings
    working: Working
    clock: Clock
    """The domain clock: virtual in demo and tests."""
    security_clock: Clock
    """Always real: sessions, codes and back-off go by it."""
    health: Callable[[], Sequence[Part]]
    estimates: Callable[[], Estimates]
    history: Callable[[str], BatchHistory | None]
    limit_of: Callable[[Kitchen, Unit], float]
    """A unit's limit, the stricter of the rulebook's and its own. [°C]"""
    rulebooks: Mapping[str, Rulebook]
    judged: Callable[[str], Proposal | None] = lambda lot: None
    """What the rules propose for a batch this minute; None where that cannot be worked out here."""
    charts: Callable[[], bytes | None] = lambda: None
    """The chart bundle, or None while there is none: then the words stand alone."""
    settings: Settings = field(default_factory=Settings)
    sources: Sequence[Source] = ()
    """How messages are read, in the order in which the sources are asked."""
    reach: Mapping[str, Sequence[str]] = field(default_factory=dict)
    """Each person's channels, in the order in which that person wants to be reached."""
    moving: Callable[[Kitchen, Alarm, Instant], str] = lambda kitchen, alarm, now: ""
    """Where the tubs of an alarm could be moved, as people read it; empty where none need go."""
    drill: Callable[[str], Sequence[Tried]] = lambda person: ()
    """Try every way of a person with a text that says that it is a drill."""

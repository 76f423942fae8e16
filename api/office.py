"""What the pages and the API need of the running kitchen, passed in at assembly."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from alerts.history import BatchHistory
from alerts.rulebook.book import Rulebook
from alerts.service import Estimate
from collector.health import Part
from collector.kitchen import Kitchen
from collector.present import Present
from collector.readings import Unit
from collector.sample import Instant
from collector.storage import Readings, Working


@dataclass(frozen=True)
class Office:
    """Everything a request may touch. `clock` is the domain clock (virtual in the demo), `security_clock` always real."""

    present: Present
    readings: Readings
    working: Working
    clock: Callable[[], Instant]
    security_clock: Callable[[], Instant]
    estimates: Callable[[], Mapping[str, Estimate]]
    """The product estimate of each standing batch, by lot."""
    history: Callable[[str], BatchHistory | None]
    """What a batch has been through, as known now."""
    limit_of: Callable[[Kitchen, Unit], float]
    rulebook: Callable[[Kitchen], Rulebook]
    health: Callable[[], Sequence[Part]]
    """Each part of the running program."""
    public_address: str = ""
    """As people type it: `https://curevigil.example`; links in messages begin with it."""
    plain_http: bool = False
    """True only on a closed network or in the demo: cookies then travel unencrypted."""
    chart_bundle: Path | None = None
    """The chart script made at install; pages say their figures in text without it."""

"""One unit as the watch knows it, and how a reading moves it on. Pure: no clock, no I/O.

The same readings in the same order leave the same state, live or replayed.
"""

import math
from collections import deque
from dataclasses import dataclass, field

from alerts.blind import Blind, blind_by
from alerts.causes import Likely
from alerts.clocks import Lags
from alerts.conditions_cold import cold_since
from alerts.conditions_level import AWAY_C, near_since
from alerts.heard import Heard, Taken, is_air, late, patience_s
from alerts.interval import START_SD_C
from alerts.learned import Recent
from alerts.learned_unit import LearnedUnit
from alerts.science.heat import filter_step
from alerts.science.salt import STOP_C
from alerts.science.warmest import SURFACE_SHARE
from alerts.surroundings import TEMPERATURES, UNTRUSTED, gap_after_s
from alerts.trace import Copies
from alerts.weak_cooling import Turning
from collector.readings import Assignment, Unit
from collector.sample import Instant

AIR_KEPT_S = 7200.0
HYSTERESIS_C = 0.3
"""House: a product alarm returns only this far below the limit. [K]"""
OFF_DELAY_S = 1200.0
"""House: and only after air below the limit for this long. [s]"""
EXCURSION_S = 900.0
"""Rules e-2: above the limit for this long is an excursion; a surface in the breath of a defrost is none."""
EXCURSION_JOIN_S = 3600.0
"""Rules e-2: two excursions less than an hour apart are one."""
FREEZING_C = -1.5
FREEZING_S = 3600.0
"""Rules e-5: product at -1.5 °C or below for an hour."""


@dataclass(slots=True)
class TubState:
    """The three copies of one tub's estimate, at the unit's state instant."""

    lot: str
    tub: str
    tau_s: float
    copies: Copies
    hung: bool = False
    probed_at: Instant | None = None
    """When a probe in the tub last spoke; while it does, the estimate is what it reads."""
    freezing_since: Instant | None = None
    over_since: Instant | None = None
    near_since: Instant | None = None
    near_until: Instant | None = None
    """When it was last within the wider margin of its limit."""
    cold_since: Instant | None = None
    stop_c: float = -math.inf
    """At or below this its cure stands still; minus infinity out of the cure. [°C]"""
    stalled_since: Instant | None = None
    cure_s: float = 0.0
    lagged_c: float = math.nan
    """The likely copy filtered once more: how far it is from that says what the time constant matters now. [°C]"""
    start_sd_c: float = START_SD_C
    """What is left of the standard deviation of the state it began from. [K]"""

    def __post_init__(self) -> None:
        """Begin with a product that has long been as it is, unless something else is said."""
        if math.isnan(self.lagged_c):
            self.lagged_c = self.copies.likely_c

    def moved_to(self, copies: Copies, dt_s: float) -> None:
        """Take over the copies as they are a span later."""
        self.lagged_c = filter_step(self.lagged_c, self.copies.likely_c, copies.likely_c, dt_s, self.tau_s)
        self.start_sd_c *= math.exp(-dt_s / self.tau_s)
        self.copies = copies

    def measured_as(self, product_c: float) -> None:
        """Begin anew from what a probe in the tub reads. [°C]"""
        self.copies, self.lagged_c, self.start_sd_c = Copies(product_c, product_c, product_c), product_c, 0.0


@dataclass(slots=True)
class UnitWatch:
    """One unit as the watch knows it."""

    unit: Unit
    limit_c: float
    since_at: Instant
    """When watching began: silence is counted from here for a channel never heard."""
    channels: dict[str, Heard] = field(default_factory=dict)
    recent: dict[str, Recent] = field(default_factory=dict)
    blind: dict[str, Blind] = field(default_factory=dict)
    """Air sensors that tell nothing: they count as silent until they do again."""
    clocks: dict[str, Lags] = field(default_factory=dict)
    due: dict[str, Instant] = field(default_factory=dict)
    """When the check of each thermometer is due; empty where nobody says."""
    tubs: list[TubState] = field(default_factory=list)
    air: deque[tuple[Instant, float]] = field(default_factory=deque)
    at: Instant | None = None
    """Measured time of the last air reading taken: the instant of the copies."""
    air_c: float = 0.0
    far_over_since: Instant | None = None
    above_since: Instant | None = None
    """Since when every air reading has been above the limit."""
    below_since: Instant | None = None
    """Since when no air reading has been above the limit."""
    warm_since: Instant | None = None
    warm_until: Instant | None = None
    warm_peak_c: float = 0.0
    """The present or last excursion of the warmest tub: what the return to normal tells."""
    likely: tuple[Instant, Likely] | None = field(default=None, compare=False, repr=False)
    """What was last thought to be behind its warmth, and by which reading: it follows from the rest."""
    turning: tuple[Instant, tuple[Turning | None, Turning | None]] | None = field(
        default=None, compare=False, repr=False
    )
    """How it cooled beside the day before, and at which full hour that was looked at: it follows from the rest."""
    learned: LearnedUnit = field(init=False)
    """What is usual for the unit's air, and how it stands beside that."""
    late: bool = False
    """Whether a reading came that belongs before `at`: the state must be rebuilt from the store."""

    def __post_init__(self) -> None:
        """Begin to learn with nothing known."""
        self.learned = LearnedUnit(self.limit_c)

    def telling_of(self, tub: TubState) -> list[Heard]:
        """Return the channels from which the tub's estimate follows."""
        return [h for h in self.channels.values() if h.tells_of(tub.lot, tub.tub)]


def take(watch: UnitWatch, assignment: Assignment, reading: Taken) -> None:
    """Move the unit on by one reading; a reading from before its state only marks it late."""
    if reading.quality & UNTRUSTED:
        return
    lags = watch.clocks.setdefault(reading.channel, Lags())
    lags.take(reading.measured_at, reading.received_at, reading.quality)
    recent = watch.recent.setdefault(reading.channel, Recent())
    recent.take(reading.measured_at, reading.value)
    if is_air(assignment) and _is_blind(watch, recent, reading):
        return
    heard = watch.channels.get(reading.channel)
    if heard is None or reading.measured_at >= heard.measured_at:
        received = max(reading.received_at, heard.received_at) if heard else reading.received_at
        before_at = heard.live_at if heard else -math.inf
        live_at = before_at if late(reading.measured_at, reading.received_at, assignment.interval_s) else received
        watch.channels[reading.channel] = Heard(
            assignment, received, reading.measured_at, reading.value, received, live_at, taken=True
        )
    if is_air(assignment):
        _take_air(watch, assignment, reading)
    elif assignment.quantity in TEMPERATURES and assignment.lot is not None:
        _take_probe(watch, assignment, reading)


def _is_blind(watch: UnitWatch, recent: Recent, reading: Taken) -> bool:
    """Return whether a reading tells nothing because its sensor is blind; the first one also has the state made anew.

    What it said since it went blind is taken back: only the store can say what the others said meanwhile.
    """
    blind = watch.blind.get(reading.channel)
    if blind is not None:
        if blind.lasts(reading.value):
            return True
        del watch.blind[reading.channel]
        return False
    blind = blind_by(recent, reading.value)
    if blind is not None:
        watch.blind[reading.channel], watch.late = blind, True
    return blind is not None


def _leads(watch: UnitWatch, assignment: Assignment, at: Instant) -> bool:
    # The first channel assigned speaks for the unit; another only once those before it have fallen silent.
    for name, heard in watch.channels.items():
        if name == assignment.channel:
            return True
        if heard.is_air and at - heard.measured_at <= heard.silent_after_s:
            return False
    return True


def _take_air(watch: UnitWatch, assignment: Assignment, reading: Taken) -> None:
    at, value = reading.measured_at, reading.value
    if watch.at is not None and at < watch.at:
        watch.late = True
        return
    if not _leads(watch, assignment, at):
        return
    if watch.at is not None:
        gap = at - watch.at > gap_after_s(assignment.interval_s)
        for tub in watch.tubs:
            if tub.probed_at is None or at - tub.probed_at > gap_after_s(assignment.interval_s):
                tub.moved_to(_passed(watch, tub, at, value, gap=gap), at - watch.at)
    watch.at, watch.air_c = at, value
    watch.air.append((at, value))
    while watch.air and watch.air[0][0] < at - AIR_KEPT_S:
        watch.air.popleft()
    watch.learned.take(at, value)
    mark_air(watch, at, value)
    for tub in watch.tubs:
        mark_tub(watch, tub, at)


def _passed(watch: UnitWatch, tub: TubState, at: Instant, air_c: float, *, gap: bool) -> Copies:
    """Return the copies after the air went from its last value to this one, parted if that was a gap."""
    before, dt, tau = watch.air_c, at - (watch.at or at), tub.tau_s
    c = tub.copies
    likely = filter_step(c.likely_c, before, air_c, dt, tau)
    if gap:
        warm = max(watch.unit.ambient_c, before, air_c)
        cold = min(watch.unit.coldest_air_c, before, air_c)
        return Copies(likely, filter_step(c.lower_c, cold, cold, dt, tau), filter_step(c.upper_c, warm, warm, dt, tau))
    if c.lower_c == c.likely_c == c.upper_c:
        return Copies(likely, likely, likely)
    lower, upper = (filter_step(copy, before, air_c, dt, tau) for copy in (c.lower_c, c.upper_c))
    return Copies(likely, lower, upper)


def mark_air(watch: UnitWatch, at: Instant, value: float) -> None:
    """Note since when the air has been where it is."""
    if value > watch.unit.air_limit_c:
        watch.far_over_since = watch.far_over_since if watch.far_over_since is not None else at
    else:
        watch.far_over_since = None
    if value > watch.limit_c:
        watch.above_since = watch.above_since if watch.above_since is not None else at
        watch.below_since = None
    else:
        watch.below_since = watch.below_since if watch.below_since is not None else at
        watch.above_since = None


def mark_tub(watch: UnitWatch, tub: TubState, at: Instant) -> None:
    """Note since when the tub has been too warm or freezing."""
    tub.freezing_since = cold_since(tub.freezing_since, at, tub.copies.likely_c, FREEZING_C)
    tub.cold_since = cold_since(tub.cold_since, at, tub.copies.likely_c, STOP_C)
    tub.stalled_since = cold_since(tub.stalled_since, at, tub.copies.likely_c, tub.stop_c)
    warmest = warmest_c(watch, tub)
    tub.near_since = near_since(tub.near_since, at, tub.copies.likely_c, watch.limit_c)
    if tub.copies.likely_c > watch.limit_c - AWAY_C:
        tub.near_until = at
    if warmest > watch.limit_c:
        _mark_excursion(watch, at, warmest)
        tub.over_since = tub.over_since if tub.over_since is not None else at
    elif warmest <= watch.limit_c - HYSTERESIS_C:
        tub.over_since = None


def _mark_excursion(watch: UnitWatch, at: Instant, warmest: float) -> None:
    if watch.warm_since is None or (watch.warm_until is not None and at - watch.warm_until > EXCURSION_JOIN_S):
        watch.warm_since, watch.warm_peak_c = at, warmest
    watch.warm_until = at
    watch.warm_peak_c = max(watch.warm_peak_c, warmest)


def lots_of(watch: UnitWatch) -> tuple[str, ...]:
    """Return the lots that stand in the unit, sorted."""
    return tuple(sorted({t.lot for t in watch.tubs}))


def about_of(watch: UnitWatch) -> dict[str, float | int | str | None]:
    """Return the figures that every sentence about the unit may need."""
    return {
        "unit_name": watch.unit.name,
        "limit_c": round(watch.limit_c, 1),
        "air_c": round(watch.air_c, 1) if watch.at is not None else None,
        "tubs": len(watch.tubs),
        "lots": ", ".join(lots_of(watch)),
    }


def return_figures(watch: UnitWatch) -> dict[str, float | int | str | None]:
    """Return the figures of the sentence that says an alarm of this unit is over."""
    figures = about_of(watch)
    if watch.warm_since is not None and watch.warm_until is not None:
        figures["over_s"] = round(watch.warm_until - watch.warm_since)
        figures["peak_c"] = round(watch.warm_peak_c, 1)
    if watch.tubs:
        figures["upper_c"] = round(max(t.copies.upper_c for t in watch.tubs), 1)
    return figures


def warmest_c(watch: UnitWatch, tub: TubState) -> float:
    """Return the likely temperature of the tub's warmest part: a hung piece's surface runs ahead (rules A24). [°C]"""
    lead = SURFACE_SHARE * max(watch.air_c - tub.copies.likely_c, 0.0) if tub.hung and watch.at is not None else 0.0
    return tub.copies.likely_c + lead


def _take_probe(watch: UnitWatch, assignment: Assignment, reading: Taken) -> None:
    for tub in watch.tubs:
        if tub.lot == assignment.lot and assignment.tub in (None, tub.tub):
            if tub.probed_at is not None and reading.measured_at < tub.probed_at:
                watch.late = True
                continue
            tub.probed_at = reading.measured_at
            tub.measured_as(reading.value)
            mark_tub(watch, tub, reading.measured_at)


def projected(watch: UnitWatch, tub: TubState, now: Instant) -> Copies:
    """Return the copies carried to now: held while the last reading is fresh, parted once nothing has been heard."""
    silent_s = now - spoken_at(watch, tub, watch.since_at)
    if silent_s <= patience_s(watch.telling_of(tub)):
        return tub.copies
    c = tub.copies
    air = watch.air_c if watch.at is not None else c.likely_c
    ambient = max(watch.unit.ambient_c, air)
    cold = min(watch.unit.coldest_air_c, air)
    return Copies(
        filter_step(c.likely_c, air, air, silent_s, tub.tau_s),
        filter_step(c.lower_c, cold, cold, silent_s, tub.tau_s),
        filter_step(c.upper_c, ambient, ambient, silent_s, tub.tau_s),
    )


def spoken_at(watch: UnitWatch, tub: TubState, never_at: Instant) -> Instant:
    """Return the measured time up to which a tub's estimate goes; `never_at` before the first reading."""
    return max((at for at in (watch.at, tub.probed_at) if at is not None), default=never_at)

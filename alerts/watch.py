"""What is abnormal in a unit now, judged on the product estimate. Pure: no clock, no I/O.

A `UnitWatch` carries what the last readings said; `take` moves it on by one reading, `conditions` says what holds at
an instant. The same readings in the same order give the same conditions, live or replayed.
"""

import math
from collections import deque
from collections.abc import Collection
from dataclasses import dataclass, field

from alerts.conditions_level import Level, near_since, warm_level
from alerts.conditions_sensor import conditions_of_sensors
from alerts.heard import Heard, Taken, last_spoke_at, patience_s
from alerts.learned import Recent
from alerts.outlook import LEAST_RISE_S, Outlook, is_due, outlook
from alerts.science.heat import filter_step
from alerts.science.warmest import SURFACE_SHARE
from alerts.surroundings import TEMPERATURES, UNTRUSTED, gap_after_s
from alerts.trace import Copies
from collector.findings import Condition
from collector.readings import Assignment, Quantity, Unit
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


@dataclass(slots=True)
class UnitWatch:
    """One unit as the watch knows it."""

    unit: Unit
    limit_c: float
    since_at: Instant
    """When watching began: silence is counted from here for a channel never heard."""
    channels: dict[str, Heard] = field(default_factory=dict)
    recent: dict[str, Recent] = field(default_factory=dict)
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
    late: bool = False
    """Whether a reading came that belongs before `at`: the state must be rebuilt from the store."""

    def telling_of(self, tub: TubState) -> list[Heard]:
        """Return the channels from which the tub's estimate follows."""
        return [h for h in self.channels.values() if h.tells_of(tub.lot, tub.tub)]


def take(watch: UnitWatch, assignment: Assignment, reading: Taken) -> None:
    """Move the unit on by one reading; a reading from before its state only marks it late."""
    if reading.quality & UNTRUSTED:
        return
    heard = watch.channels.get(reading.channel)
    if heard is None or reading.measured_at >= heard.measured_at:
        received = max(reading.received_at, heard.received_at) if heard else reading.received_at
        watch.channels[reading.channel] = Heard(assignment, received, reading.measured_at, reading.value, received)
    watch.recent.setdefault(reading.channel, Recent()).take(reading.measured_at, reading.value)
    if assignment.quantity is Quantity.AIR_TEMPERATURE and assignment.lot is None:
        _take_air(watch, assignment, reading)
    elif assignment.quantity in TEMPERATURES and assignment.lot is not None:
        _take_probe(watch, assignment, reading)


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
                tub.copies = _passed(watch, tub, at, value, gap=gap)
    watch.at, watch.air_c = at, value
    watch.air.append((at, value))
    while watch.air and watch.air[0][0] < at - AIR_KEPT_S:
        watch.air.popleft()
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
    if tub.copies.likely_c <= FREEZING_C:
        tub.freezing_since = tub.freezing_since if tub.freezing_since is not None else at
    else:
        tub.freezing_since = None
    warmest = warmest_c(watch, tub)
    tub.near_since = near_since(tub.near_since, at, tub.copies.likely_c, watch.limit_c)
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


def return_figures(watch: UnitWatch) -> dict[str, float | int | str | None]:
    """Return the figures of the sentence that says an alarm of this unit is over."""
    figures = _about(watch)
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
            tub.copies = Copies(reading.value, reading.value, reading.value)
            mark_tub(watch, tub, reading.measured_at)


def projected(watch: UnitWatch, tub: TubState, now: Instant) -> Copies:
    """Return the copies carried to now: held while the last reading is fresh, parted once nothing has been heard."""
    silent_s = now - _spoken_at(watch, tub, watch.since_at)
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


def _spoken_at(watch: UnitWatch, tub: TubState, never_at: Instant) -> Instant:
    """Return the measured time up to which a tub's estimate goes; `never_at` before the first reading."""
    return max((at for at in (watch.at, tub.probed_at) if at is not None), default=never_at)


def _unheard(watch: UnitWatch, tub: TubState, now: Instant, *, stands: bool) -> bool:
    """Return whether nothing tells of the tub any more."""
    telling = watch.telling_of(tub)
    if not telling:
        return stands or now - watch.since_at > patience_s(())
    return all(h.silent(now, stands=stands) for h in telling)


def conditions(watch: UnitWatch, now: Instant, standing: Collection[str]) -> list[Condition]:
    """Return what is abnormal in the unit now, given which kinds of alarm already stand (for hysteresis)."""
    found = [_product_warm(watch, now, standing), _air_far_over(watch, now), _freezing(watch, now)]
    found += [_unwatched(watch, now, standing), _silent(watch, now, standing)]
    if "warm_level" in standing or found[0] is None:  # where meat passes its limit, that it is close to it says no more
        levels = [Level(t.lot, t.copies.likely_c, t.near_since, _spoken_at(watch, t, now)) for t in watch.tubs]
        found.append(warm_level(_about(watch), watch.unit.id, levels))
    sensors = conditions_of_sensors(_about(watch), watch.unit.id, watch.channels, watch.recent, now, standing)
    return [*(c for c in found if c is not None), *sensors]


def quiet_until(watch: UnitWatch) -> Instant:
    """Return until when a unit in which nothing was found stays so without a reading.

    Only silence grows by itself; everything else that is looked at is dated by the readings.
    """
    silent_at = [h.received_at + h.silent_after_s for h in watch.channels.values()]
    untold = any(not watch.telling_of(t) for t in watch.tubs)
    return min([*silent_at, watch.since_at + patience_s(()) if untold else math.inf])


def _lots(watch: UnitWatch) -> tuple[str, ...]:
    return tuple(sorted({t.lot for t in watch.tubs}))


def _about(watch: UnitWatch) -> dict[str, float | int | str | None]:
    return {
        "unit_name": watch.unit.name,
        "limit_c": round(watch.limit_c, 1),
        "air_c": round(watch.air_c, 1) if watch.at is not None else None,
        "tubs": len(watch.tubs),
        "lots": ", ".join(_lots(watch)),
    }


def _product_warm(watch: UnitWatch, now: Instant, standing: Collection[str]) -> Condition | None:
    if not watch.tubs:
        return None
    over = [
        t for t in watch.tubs if t.over_since is not None and _spoken_at(watch, t, now) - t.over_since >= EXCURSION_S
    ]
    if over:
        return _has_passed(watch, over)
    if "product_warm" in standing and not _recovered(watch, now):
        return _may_pass(watch, now, _outlook(watch))
    if watch.at is None or watch.above_since is None or watch.at - watch.above_since < LEAST_RISE_S:
        return None
    if not _air_speaks(watch, now, stands=False):
        return None
    seen = _outlook(watch)
    return _may_pass(watch, now, seen) if is_due(watch.at - watch.above_since, seen) else None


def _outlook(watch: UnitWatch) -> Outlook:
    if not watch.air:
        return Outlook(math.inf, math.inf, math.inf)
    return outlook(watch.air, watch.limit_c, watch.unit.ambient_c, _warmest_tub(watch))


def _air_speaks(watch: UnitWatch, now: Instant, *, stands: bool) -> bool:
    return any(h.is_air and not h.silent(now, stands=stands) for h in watch.channels.values())


def _recovered(watch: UnitWatch, now: Instant) -> bool:
    # Only live readings say that it is over: nothing late, and no silence, clears an alarm.
    if any(_unheard(watch, t, now, stands=True) for t in watch.tubs):
        return False
    if not any(h.is_air for h in watch.channels.values()):
        return all(t.over_since is None for t in watch.tubs)
    cold = watch.below_since is not None and watch.at is not None and watch.at - watch.below_since >= OFF_DELAY_S
    return cold and _air_speaks(watch, now, stands=True)


def _warmest_tub(watch: UnitWatch) -> tuple[float, float]:
    """Return temperature [°C] and time constant [s] of the tub that will pass first: the fastest at the warmest."""
    return max(warmest_c(watch, t) for t in watch.tubs), min(t.tau_s for t in watch.tubs)


def _has_passed(watch: UnitWatch, over: list[TubState]) -> Condition:
    since = min(t.over_since for t in over if t.over_since is not None)
    parameters = {
        **_about(watch),
        "product_c": round(max(warmest_c(watch, t) for t in over), 1),
        "since_at": round(since),
        "over_lots": ", ".join(sorted({t.lot for t in over})),
    }
    return Condition(
        watch.unit.id, "product_warm", "temperature", True, since, _lots(watch),
        sentence="product_has_passed", parameters=parameters,
    )  # fmt: skip


def _may_pass(watch: UnitWatch, now: Instant, seen: Outlook) -> Condition:
    base = watch.at if watch.at is not None else now
    since = watch.above_since if watch.above_since is not None else base
    early, likely, late = (_minute(base + s) for s in (seen.early_s, seen.likely_s, seen.late_s))
    parameters = {**_about(watch), "since_at": round(since), "early_at": early, "likely_at": likely}
    return Condition(
        watch.unit.id, "product_warm", "temperature", True, since, _lots(watch), early, likely, late,
        "product_may_pass", parameters,
    )  # fmt: skip


def _minute(at: float) -> float | None:
    return round(at / 60.0) * 60.0 if at < 1e12 else None


def _air_far_over(watch: UnitWatch, now: Instant) -> Condition | None:
    since = watch.far_over_since
    if since is None or watch.at is None or watch.at - since < watch.unit.air_dwell_s:
        return None
    parameters = {**_about(watch), "since_at": round(since), "air_limit_c": round(watch.unit.air_limit_c, 1)}
    return Condition(
        watch.unit.id, "air_far_over", "temperature", False, since, _lots(watch),
        sentence="air_far_over", parameters=parameters,
    )  # fmt: skip


def _freezing(watch: UnitWatch, now: Instant) -> Condition | None:
    cold = [
        t for t in watch.tubs
        if t.freezing_since is not None and _spoken_at(watch, t, now) - t.freezing_since >= FREEZING_S
    ]  # fmt: skip
    if not cold:
        return None
    since = min(t.freezing_since for t in cold if t.freezing_since is not None)
    parameters = {**_about(watch), "since_at": round(since), "over_lots": ", ".join(sorted({t.lot for t in cold}))}
    return Condition(
        watch.unit.id, "product_freezing", "cold", False, since, _lots(watch),
        sentence="product_freezing", parameters=parameters,
    )  # fmt: skip


def _unwatched(watch: UnitWatch, now: Instant, standing: Collection[str]) -> Condition | None:
    unheard = [t for t in watch.tubs if _unheard(watch, t, now, stands="unwatched" in standing)]
    if not unheard or max(projected(watch, t, now).upper_c for t in unheard) <= watch.limit_c:
        return None
    never_at = watch.at if watch.at is not None else watch.since_at
    since = last_spoke_at((h for t in unheard for h in watch.telling_of(t)), never_at)
    return Condition(
        watch.unit.id, "unwatched", "connectivity", True, since, tuple(sorted({t.lot for t in unheard})),
        sentence="unwatched", parameters={**_about(watch), "since_at": round(since)},
    )  # fmt: skip


def _silent(watch: UnitWatch, now: Instant, standing: Collection[str]) -> Condition | None:
    stands = "channel_silent" in standing
    silent = sorted(n for n, h in watch.channels.items() if h.silent(now, stands=stands))
    if not silent:
        return None
    since = min(watch.channels[name].received_at for name in silent)
    parameters = {**_about(watch), "since_at": round(since), "channels": ", ".join(silent)}
    return Condition(
        watch.unit.id, "channel_silent", "sensor", False, since, _lots(watch),
        sentence="channel_silent", parameters=parameters,
    )  # fmt: skip

"""What is abnormal in a unit now, judged on the product estimate. Pure: no clock, no I/O.

`conditions` says what holds at an instant in a unit whose state `alerts.unit_watch` carries. The same readings in the
same order give the same conditions, live or replayed.
"""

import math
from collections.abc import Collection
from statistics import median

from alerts.conditions_cause import doubtful, heaters_and_doors, weak_cooling, with_causes
from alerts.conditions_cold import Cold, cure_stalled, too_cold
from alerts.conditions_level import AWAY_C, Level, above_usual, patience_near, warm_level
from alerts.conditions_sensor import conditions_of_sensors
from alerts.conditions_upkeep import conditions_of_upkeep
from alerts.heard import patience_s
from alerts.outlook import (
    Outlook,
    is_due,
    is_on_its_way,
    is_unusual,
    is_urgent,
    longest_wait_s,
    may_be_due,
    outlook,
    outlook_by_mean,
    sooner,
)
from alerts.unit_watch import (
    EXCURSION_S,
    FREEZING_S,
    OFF_DELAY_S,
    TubState,
    UnitWatch,
    about_of,
    lots_of,
    spoken_at,
    warmest_c,
)
from alerts.unwatched import channel_silent, minute, unheard, unwatched
from collector.findings import Condition
from collector.sample import Instant


def conditions(watch: UnitWatch, now: Instant, standing: Collection[str]) -> list[Condition]:
    """Return what is abnormal in the unit now, given which kinds of alarm already stand (for hysteresis)."""
    found = [_product_warm(watch, now, standing), _air_far_over(watch, now), _freezing(watch, now)]
    found += [unwatched(watch, now, standing), channel_silent(watch, now, standing)]
    if "warm_level" in standing or found[0] is None:  # where meat passes its limit, that it is close to it says no more
        found.append(_near_level(watch, now, stands="warm_level" in standing))
    if watch.tubs and ("above_usual" in standing or found[0] is None):
        stands = "above_usual" in standing
        found.append(above_usual(about_of(watch), watch.unit.id, lots_of(watch), watch.learned, stands=stands))
    found += _cold(watch, now, standing, freezes=any(c is not None and c.kind == "product_freezing" for c in found))
    sensors = conditions_of_sensors(
        about_of(watch),
        watch.unit.id,
        watch.channels,
        watch.recent,
        now,
        standing,
        {name: blind.why for name, blind in watch.blind.items()},
    )
    sensors += heaters_and_doors(watch, standing)
    if "weak_cooling" in standing or (found[0] is None and not doubtful(sensors)):
        found.append(weak_cooling(watch, stands="weak_cooling" in standing))
    sensors += conditions_of_upkeep(
        about_of(watch), watch.unit.id, watch.channels, watch.recent, watch.clocks, watch.due, now, standing
    )
    return with_causes(watch, [*(c for c in found if c is not None), *sensors])


def _near_level(watch: UnitWatch, now: Instant, *, stands: bool) -> Condition | None:
    levels = [Level(t.lot, t.copies.likely_c, t.near_since, spoken_at(watch, t, now), t.near_until) for t in watch.tubs]
    if not stands and watch.learned.mean_c <= watch.limit_c - AWAY_C:
        return None  # what was put in has warmed the meat, and the air cools it already
    patience = patience_near(watch.learned, watch.limit_c)
    return warm_level(about_of(watch), watch.unit.id, levels, patience, stands=stands)


def quiet_until(watch: UnitWatch) -> Instant:
    """Return until when a unit in which nothing was found stays so without a reading.

    Only silence grows by itself; everything else that is looked at is dated by the readings.
    """
    silent_at = [h.received_at + h.silent_after_s for h in watch.channels.values()]
    untold = any(not watch.telling_of(t) for t in watch.tubs)
    return min([*silent_at, *watch.due.values(), watch.since_at + patience_s(()) if untold else math.inf])


def _product_warm(watch: UnitWatch, now: Instant, standing: Collection[str]) -> Condition | None:
    if not watch.tubs:
        return None
    over = [
        t for t in watch.tubs if t.over_since is not None and spoken_at(watch, t, now) - t.over_since >= EXCURSION_S
    ]
    if over:
        return _has_passed(watch, over)
    if "product_warm" in standing:
        ahead = sooner(*_outlooks(watch))
        if not _recovered(watch, now) or is_on_its_way(ahead, watch.learned):
            return _may_pass(watch, now, ahead)
    warm_s, far_s = _lasted(watch, watch.above_since), _lasted(watch, watch.far_over_since)
    if not may_be_due(warm_s, far_s, watch.learned) or not _air_speaks(watch, now, stands=False):
        return None
    seen, by_mean = _outlooks(watch)
    urgent = is_urgent(warm_s, far_s, seen, watch.limit_c - _warmest_tub(watch)[0])
    due = urgent or is_due(warm_s, seen, by_mean, watch.learned)
    return _may_pass(watch, now, sooner(seen, by_mean)) if due else None


def _lasted(watch: UnitWatch, since: Instant | None) -> float:
    """Return for how long something has been so at the last reading of the air; 0 where it is not. [s]"""
    return watch.at - since if watch.at is not None and since is not None else 0.0


def _outlooks(watch: UnitWatch) -> tuple[Outlook, Outlook]:
    """Return when the first tub passes its limit, from the last half hour of the air and from its mean."""
    if not watch.air:
        never = Outlook(math.inf, math.inf, math.inf)
        return never, never
    usual, warmest = watch.learned.usual, _warmest_tub(watch)
    usual_c = usual.level_c if usual is not None else None
    seen = outlook(watch.air, watch.limit_c, watch.unit.ambient_c, warmest, usual_c)
    return seen, outlook_by_mean(watch.learned.mean_c, watch.limit_c, watch.unit.ambient_c, warmest)


def _air_speaks(watch: UnitWatch, now: Instant, *, stands: bool) -> bool:
    return any(h.is_air and not h.silent(now, stands=stands) for h in watch.channels.values())


def _recovered(watch: UnitWatch, now: Instant) -> bool:
    # Only live readings say that it is over: nothing late, and no silence, clears an alarm.
    if any(unheard(watch, t, now, stands=True) for t in watch.tubs):
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
        **about_of(watch),
        "product_c": round(max(warmest_c(watch, t) for t in over), 1),
        "since_at": round(since),
        "over_lots": ", ".join(sorted({t.lot for t in over})),
    }
    return Condition(
        watch.unit.id, "product_warm", "temperature", True, since, lots_of(watch),
        sentence="product_has_passed", parameters=parameters,
    )  # fmt: skip


def _may_pass(watch: UnitWatch, now: Instant, seen: Outlook) -> Condition:
    base = watch.at if watch.at is not None else now
    since, warmth = _warmth(watch, base)
    early, likely, late = (minute(base + s) for s in (seen.early_s, seen.likely_s, seen.late_s))
    parameters = {**about_of(watch), "since_at": round(since), "early_at": early, "likely_at": likely}
    if warmth:
        parameters["warmth"] = warmth
    return Condition(
        watch.unit.id, "product_warm", "temperature", True, since, lots_of(watch), early, likely, late,
        "product_may_pass", parameters,
    )  # fmt: skip


def _warmth(watch: UnitWatch, base: Instant) -> tuple[Instant, str]:
    """Return since when the air of a unit has been warm, and in which sense where it is not above the limit."""
    if watch.above_since is not None:
        return watch.above_since, ""
    usual, air = watch.learned.usual, watch.learned
    if usual is not None and air.warming_since is not None and air.warming_s >= longest_wait_s(usual):
        return air.warming_since, "no pause"
    return base, "unusual" if usual is not None and is_unusual(usual, air.slow_c) else "back"


def _air_far_over(watch: UnitWatch, now: Instant) -> Condition | None:
    since = watch.far_over_since
    if since is None or watch.at is None or watch.at - since < watch.unit.air_dwell_s:
        return None
    parameters = {**about_of(watch), "since_at": round(since), "air_limit_c": round(watch.unit.air_limit_c, 1)}
    return Condition(
        watch.unit.id, "air_far_over", "temperature", False, since, lots_of(watch),
        sentence="air_far_over", parameters=parameters,
    )  # fmt: skip


def _freezing(watch: UnitWatch, now: Instant) -> Condition | None:
    cold = [
        t for t in watch.tubs
        if t.freezing_since is not None and spoken_at(watch, t, now) - t.freezing_since >= FREEZING_S
    ]  # fmt: skip
    if not cold:
        return None
    since = min(t.freezing_since for t in cold if t.freezing_since is not None)
    parameters = {**about_of(watch), "since_at": round(since), "over_lots": ", ".join(sorted({t.lot for t in cold}))}
    return Condition(
        watch.unit.id, "product_freezing", "cold", False, since, lots_of(watch),
        sentence="product_freezing", parameters=parameters,
    )  # fmt: skip


def _cold(watch: UnitWatch, now: Instant, standing: Collection[str], *, freezes: bool) -> list[Condition | None]:
    tubs = [
        Cold(t.lot, t.copies.likely_c, t.tau_s, t.cold_since, t.stalled_since, t.cure_s, spoken_at(watch, t, now))
        for t in watch.tubs
        if t.cold_since is not None or t.stalled_since is not None
    ]
    if not tubs:
        return []
    about, name = about_of(watch), watch.unit.id
    found = [cure_stalled(about, name, tubs)]
    if "too_cold" in standing or not freezes:  # where meat may freeze, that it is cold says no more
        air_c = median([value for _, value in watch.air]) if watch.air else watch.air_c
        found.append(too_cold(about, name, tubs, _usual_c(watch), air_c, stands="too_cold" in standing))
    return found


def _usual_c(watch: UnitWatch) -> float | None:
    """Return what the unit usually is by the first of its air sensors that has been heard for a day. [°C]"""
    levels = (watch.recent[n].usual_c() for n, h in watch.channels.items() if h.is_air and n in watch.recent)
    return next((level for level in levels if level is not None), None)

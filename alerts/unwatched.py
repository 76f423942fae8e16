"""Nothing is heard of a unit, and how long its meat can stand so. Pure: no clock, no I/O.

Estimates; local rules and a responsible person come first.
"""

import math
from collections.abc import Collection

from alerts.blind import FAHRENHEIT, STUCK
from alerts.conditions_sensor import still_sends
from alerts.heard import Heard, last_spoke_at, patience_s
from alerts.holdover import LN_WARM_UP, ONE_IN_TEN
from alerts.science.forecast import time_to_limit_constant
from alerts.science.holdover import time_to_limit_warming
from alerts.surroundings import gap_after_s
from alerts.unit_watch import TubState, UnitWatch, about_of, lots_of, spoken_at
from collector.findings import Condition
from collector.kitchen import Kitchen
from collector.sample import Instant

LATE = "late"
"""Readings arrive, and tell of a time so long ago that nobody knows how warm the meat is now."""
_SENTENCES = {"": "unwatched", STUCK: "unwatched_stuck", FAHRENHEIT: "unwatched_unit", LATE: "unwatched_late"}


HELD = "held back"
"""Stands among the kinds of a unit whose silence a parent tells: it is not new once the parent is over."""


def unheard(watch: UnitWatch, tub: TubState, now: Instant, *, stands: bool) -> bool:
    """Return whether nothing tells of the tub any more."""
    telling = [(name, h) for name, h in watch.channels.items() if h.tells_of(tub.lot, tub.tub)]
    if not telling:
        return stands or now - watch.since_at > patience_s(())
    return all(h.silent(now, stands=stands) or _tells_of_then(watch, name, h, now) for name, h in telling)


def _tells_of_then(watch: UnitWatch, channel: str, heard: Heard, now: Instant) -> bool:
    """Return whether all that a channel sends has come late for longer than it may be silent.

    A clock that is hours behind, or a way that is slower than what goes over it, hides a warming room like silence.
    What was held up by an outage is let come in first.
    """
    lags = watch.clocks.get(channel)
    since = None if lags is None or heard.live(now) else lags.late_since(gap_after_s(heard.assignment.interval_s))
    return since is not None and now - since > heard.silent_after_s


def could_pass_at(watch: UnitWatch, tub: TubState) -> Instant:
    """Return when a tub's meat could pass its limit had cooling stopped at its last reading. [s since 1970 UTC]

    By the copy that an unknown stretch is judged by (rules e-6): from the warmest that it may be, the air at ambient
    at once, or warming as fast as one unit in ten does that warms as this one has been seen to. Infinite for never.
    """
    warm_c, warm_up_s = tub.copies.upper_c, watch.unit.warm_up_s
    air_c = watch.air_c if watch.at is not None else tub.copies.likely_c
    ambient_c = max(watch.unit.ambient_c, air_c)
    if warm_up_s is None or watch.at is None:
        left_s = time_to_limit_constant(warm_c, ambient_c, watch.limit_c, tub.tau_s)
    else:
        quick_s = warm_up_s * math.exp(-ONE_IN_TEN * LN_WARM_UP)
        left_s = time_to_limit_warming(warm_c, air_c, ambient_c, quick_s, watch.limit_c, tub.tau_s)
    return spoken_at(watch, tub, watch.since_at) + left_s


def minute(at: float) -> float | None:
    """Return an instant rounded to the minute; None for never."""
    return round(at / 60.0) * 60.0 if at < 1e12 else None


def unwatched(watch: UnitWatch, now: Instant, standing: Collection[str]) -> Condition | None:
    """Return that meat has stood unwatched for so long that it could have passed its limit (rules 4.5)."""
    stands = "unwatched" in standing
    blind = [t for t in watch.tubs if unheard(watch, t, now, stands=stands or HELD in standing)]
    early = min((could_pass_at(watch, t) for t in blind), default=math.inf)
    # Once it is told it stands until something is heard, also where a clock was put back before the time.
    if not blind or (early >= now and not stands):
        return None
    never_at = watch.at if watch.at is not None else watch.since_at
    since = last_spoke_at((h for t in blind for h in watch.telling_of(t)), never_at)
    figures = {**about_of(watch), "since_at": round(since), "early_at": minute(early)}
    mute = sorted(n for n, h in watch.channels.items() if n in watch.blind and _still_sends(watch, n, h, now))
    why = STUCK if any(watch.blind[n].why == STUCK for n in mute) else FAHRENHEIT if mute else ""
    if mute:
        figures |= {"channels": ", ".join(mute), "cause": why}
    elif any(not h.silent(now, stands=True) for t in blind for h in watch.telling_of(t)):
        why, figures["since_at"] = LATE, round(min(spoken_at(watch, t, never_at) for t in blind))
    return Condition(
        watch.unit.id, "unwatched", "connectivity", True, since, tuple(sorted({t.lot for t in blind})), minute(early),
        sentence=_SENTENCES[why], parameters=figures,
    )  # fmt: skip


def _still_sends(watch: UnitWatch, channel: str, heard: Heard, now: Instant) -> bool:
    return channel in watch.recent and still_sends(watch.recent[channel], heard, now)


def channel_silent(watch: UnitWatch, now: Instant, standing: Collection[str]) -> Condition | None:
    """Return that a channel says nothing; with the time for which the unit's meat can stand so, where none is left."""
    stands = "channel_silent" in standing or HELD in standing
    silent = sorted(
        n for n, h in watch.channels.items()
        if h.silent(now, stands=stands) and not (n in watch.blind and _still_sends(watch, n, h, now))
    )  # fmt: skip
    if not silent:
        return None
    since = min(watch.channels[name].received_at for name in silent)
    figures = {**about_of(watch), "since_at": round(since), "channels": ", ".join(silent)}
    blind = [could_pass_at(watch, t) for t in watch.tubs if unheard(watch, t, now, stands=stands)]
    if blind:
        figures["early_at"] = minute(min(blind))
    return Condition(
        watch.unit.id, "channel_silent", "sensor", False, since, lots_of(watch),
        sentence="channel_silent", parameters=figures,
    )  # fmt: skip


def set_aside(watch: UnitWatch, kitchen: Kitchen, since_at: Instant, now: Instant) -> Condition:
    """Return that a unit is unwatched because its readings could not be worked on since an instant."""
    name = watch.unit.id
    stand = [(b.lot, p) for b in kitchen.standing_in(name, now) for p in b.placements if p.unit == name]
    tubs = [lot for lot, p in stand if p.from_at <= now and (p.until_at is None or now < p.until_at)]
    lots = tuple(sorted(set(tubs)))
    figures = {**about_of(watch), "since_at": since_at, "tubs": len(tubs), "lots": ", ".join(lots)}
    return Condition(
        name, "unwatched", "connectivity", True, since_at, lots, sentence="unwatched", parameters=figures
    )  # fmt: skip

"""The watch's state of a unit, made anew from the store: at start, after late readings, when a tub has moved. Pure."""

import numpy as np
import numpy.typing as npt

from alerts.blind import Believed
from alerts.clocks import LEAST, WATCHED_S, Lags
from alerts.conditions_cold import BACK_C, stop_line_c
from alerts.conditions_level import AWAY_C, NEAR_C, OFF_DELAY_S
from alerts.heard import Heard, is_air, late
from alerts.history import Array, TubHistory
from alerts.interval import START_SD_C
from alerts.learned import GRID_S as RECENT_GRID_S
from alerts.learned import KEPT_S, QUARTER_S, QUARTERS, Recent, folded
from alerts.learned_unit import DAY_S, DAYS, GRID_S, learned
from alerts.science.exposure import stretches_above
from alerts.science.heat import product_temperature
from alerts.science.salt import STOP_C
from alerts.surroundings import TEMPERATURES, UNTRUSTED, Fetch, Last, corrected, gap_after_s, lead, start_c, tau_of
from alerts.trace import Copies, hands_of, tub_history
from alerts.unit_watch import (
    AIR_KEPT_S,
    EXCURSION_JOIN_S,
    FREEZING_C,
    HYSTERESIS_C,
    TubState,
    UnitWatch,
    mark_air,
)
from collector.batches import Batch
from collector.kitchen import Kitchen
from collector.readings import Assignment, Reading, Unit
from collector.sample import Instant

FAULTS_LOOK_S = 86_400.0
"""How far behind a broken probe's faults its last measurement is looked for at first; then twice as far. [s]"""
PROBED_S = 900.0
"""House (rules e-6): a probe in the tub that spoke so short a time ago still says what the meat is. [s]"""
LEARNED_FROM_S = (DAYS + 1) * DAY_S
"""How much of the past is learned from: two weeks, and a day for the filters to settle. [s]"""
TIME_CONSTANTS = 6.0
"""How many time constants of the past decide the present: what is older weighs less than 0.3 %."""


def rebuilt(
    unit: Unit, limit_c: float, kitchen: Kitchen, fetch: Fetch, last: Last, now: Instant, since_at: Instant,
    slept_s: float = np.inf,
) -> UnitWatch:  # fmt: skip
    """Return the unit as the watch would know it, had it taken every stored reading in order of measured time.

    `since_at` is when watching began: silence of a channel never heard counts from there. For `slept_s` before it
    nothing at all was taken in: that much silence is our own, and not a channel's.
    """
    watch = UnitWatch(unit, limit_c, since_at)
    air = (a.channel for a in kitchen.assignments_of(unit.id) if is_air(a) and a.from_at <= now)
    believed = Believed(air, fetch, last, now)
    for assignment in _telling(kitchen, unit, now):
        sent = _last_trusted(assignment.channel, now + 1.0, believed.raw, last)
        if sent is not None and is_air(assignment):
            blind = believed.blind(assignment.channel, sent.value + assignment.offset_c)
            if blind is not None:
                watch.blind[assignment.channel] = blind
        reading = _last_trusted(assignment.channel, now + 1.0, believed.fetch, believed.last)
        spoke_at = -np.inf if reading is None else reading.received_at
        heard_at = max(since_at, assignment.from_at)
        if reading is None or reading.measured_at < assignment.from_at:
            watch.channels[assignment.channel] = Heard(assignment, heard_at, -np.inf, np.nan, spoke_at)
        else:
            received = max(reading.received_at, min(heard_at, now, reading.received_at + slept_s))
            watch.channels[assignment.channel] = Heard(
                assignment, received, reading.measured_at, reading.value + assignment.offset_c, spoke_at,
                -np.inf if late(reading.measured_at, spoke_at, assignment.interval_s) else spoke_at,
            )  # fmt: skip
        watch.recent[assignment.channel] = _recent(assignment, sent, believed.raw)
        watch.clocks[assignment.channel] = _lags(assignment, sent, believed.raw)
    _fill_air(watch, kitchen, believed.fetch, believed.last, now)
    for batch in kitchen.standing_in(unit.id, now):
        for tub in batch.tubs:
            if _stands(batch, tub, unit.id, now):
                watch.tubs.append(_tub_state(watch, batch, tub, kitchen, believed.fetch, now))
    return watch


def _recent(assignment: Assignment, last: Reading | None, fetch: Fetch) -> Recent:
    """Return what a channel has said before its last reading, thinned as the running watch would have it."""
    if last is None:
        return Recent()
    kept_s = QUARTERS * QUARTER_S if assignment.quantity in TEMPERATURES else KEPT_S
    begin = max((last.measured_at - kept_s) // QUARTER_S * QUARTER_S, assignment.from_at)
    times, values = corrected(fetch(assignment.channel, begin, last.measured_at + 0.001), assignment)
    # Only the first of each stretch of the grid is kept: the rest need not be walked through.
    first = np.flatnonzero(np.diff(times // RECENT_GRID_S, prepend=-np.inf))
    return folded(zip(times[first].tolist(), values[first].tolist(), strict=True))


def _lags(assignment: Assignment, last: Reading | None, fetch: Fetch) -> Lags:
    """Return how late the last readings of a channel were received, as the running watch would have it."""
    lags = Lags()
    if last is None:
        return lags
    look_s = 2.0 * WATCHED_S + LEAST * assignment.interval_s
    begin = max(last.measured_at - look_s, assignment.from_at)
    series = fetch(assignment.channel, begin, last.measured_at + 0.001)
    good = (series.quality & UNTRUSTED) == 0
    columns = (series.received_at[good], series.measured_at[good], series.quality[good])
    for received, measured, quality in sorted(zip(*(column.tolist() for column in columns), strict=True)):
        lags.take(measured, received, quality)
    return lags


def _telling(kitchen: Kitchen, unit: Unit, now: Instant) -> tuple[Assignment, ...]:
    """Return the assignments that tell of a unit now: its own, and every probe whose tub stands in it."""
    return tuple(a for a in kitchen.assignments if a.holds_at(now) and unit.id in _units_of(kitchen, a, now))


def _units_of(kitchen: Kitchen, assignment: Assignment, now: Instant) -> set[str]:
    batch = kitchen.batches.get(assignment.lot) if assignment.lot is not None else None
    if batch is None or batch.ended_at is not None:
        return {assignment.unit}
    return {
        p.unit for p in batch.placements
        if assignment.tub in (None, p.tub) and p.unit is not None and _stands(batch, p.tub, p.unit, now)
    } or {assignment.unit}  # fmt: skip


def _stands(batch: Batch, tub: str, unit: str, at: Instant) -> bool:
    return any(
        p.tub == tub and p.unit == unit and p.from_at <= at and (p.until_at is None or at < p.until_at)
        for p in batch.placements
    )


def _last_trusted(channel: str, until_at: Instant, fetch: Fetch, last: Last) -> Reading | None:
    """Return a channel's last reading before an instant that is a measurement; a broken probe goes on sending."""
    reading = last(channel, until_at)
    look_s = FAULTS_LOOK_S
    while reading is not None and reading.quality & UNTRUSTED:
        series = fetch(channel, reading.measured_at - look_s, reading.measured_at)
        good = np.flatnonzero((series.quality & UNTRUSTED) == 0)
        if good.size:
            return last(channel, float(series.measured_at[good[-1]]) + 0.001)
        reading = last(channel, reading.measured_at - look_s)
        look_s *= 2.0
    return reading


def _fill_air(watch: UnitWatch, kitchen: Kitchen, fetch: Fetch, last: Last, now: Instant) -> None:
    """Take the last hours of the unit's air, whichever sensor spoke: one that was taken away spoke for its time."""
    air = [
        (a, min(now + 1.0, a.until_at) if a.until_at is not None else now + 1.0)
        for a in kitchen.assignments_of(watch.unit.id)
        if is_air(a) and a.from_at <= now
    ]
    spoke = [(a, _last_trusted(a.channel, until_at, fetch, last)) for a, until_at in air]
    newest = max((r.measured_at for a, r in spoke if r is not None and r.measured_at >= a.from_at), default=None)
    if newest is None:
        return
    times, values = _led(air, newest - AIR_KEPT_S, fetch)
    for at, value in zip(times.tolist(), values.tolist(), strict=True):
        watch.at, watch.air_c = at, value
        watch.air.append((at, value))
        mark_air(watch, at, value)
    times, values = _led(air, newest - LEARNED_FROM_S, fetch)
    if times.size:
        # Only the first of each stretch of the grid is looked at: the rest need not be walked through.
        first = np.flatnonzero(np.diff(times // GRID_S, prepend=-np.inf))
        watch.learned = learned(watch.limit_c, zip(times[first].tolist(), values[first].tolist(), strict=True))


def _led(air: list[tuple[Assignment, Instant]], begin_at: Instant, fetch: Fetch) -> tuple[Array, Array]:
    """Return the air of the unit from an instant on, by whichever sensor spoke for it. [s], [°C]"""
    spans = [(a, max(begin_at, a.from_at), until_at) for a, until_at in air]
    spans = [span for span in spans if span[1] < span[2]]
    if not spans:
        return np.zeros(0), np.zeros(0)
    records = [corrected(fetch(a.channel, begin, end), a) for a, begin, end in spans]
    times, values, _ = lead(records, [gap_after_s(a.interval_s) for a, _, _ in spans])
    return times, values


def _tub_state(watch: UnitWatch, batch: Batch, tub: str, kitchen: Kitchen, fetch: Fetch, now: Instant) -> TubState:
    tau = tau_of(batch)
    until_at = watch.at + 0.001 if watch.at is not None else now
    # What somebody has measured since the last reading of the air counts at once.
    until_at = max([until_at, *(at + 0.001 for at, _ in hands_of(batch, tub, now + 0.001))])
    since_at = until_at - max(TIME_CONSTANTS * tau, OFF_DELAY_S)
    begin_at = since_at if since_at > batch.started_at else None
    history = tub_history(batch, tub, kitchen, fetch, until_at, begin_at, bulk=True)
    if history is None or history.times_at.size < 2:
        filled, known = start_c(batch)
        assumed = filled if filled is not None else watch.air_c
        spread = Copies(assumed, assumed, assumed) if known else Copies(assumed, min(assumed, 0.0), max(assumed, 10.0))
        return TubState(
            batch.lot, tub, tau, spread, batch.plan.arrangement != "tub",
            stop_c=stop_line_c(batch, now), cure_s=batch.plan.cure_s,
        )  # fmt: skip
    copies = Copies(float(history.likely_c[-1]), float(history.lower_c[-1]), float(history.upper_c[-1]))
    state = TubState(
        batch.lot, tub, tau, copies, batch.plan.arrangement != "tub",
        stop_c=stop_line_c(batch, now), cure_s=batch.plan.cure_s,
    )  # fmt: skip
    state.probed_at = _probed_at(watch, batch, tub)
    _begin_interval(state, history, max([batch.started_at, *(at for at, _ in hands_of(batch, tub, until_at))]))
    _mark_past(watch, state, history)
    return state


def _begin_interval(state: TubState, history: TubHistory, begun_at: Instant) -> None:
    """Fill in what the claimed interval rests on: how the likely copy lagged since somebody last knew the state."""
    times, likely = history.times_at, history.likely_c
    if state.probed_at is not None and state.probed_at >= times[-1] - PROBED_S:
        state.lagged_c, state.start_sd_c = float(likely[-1]), 0.0
        return
    first = min(int(np.searchsorted(times, begun_at, side="right")), times.size - 1)
    state.lagged_c = float(product_temperature(times[first:], likely[first:], state.tau_s, float(likely[first]))[-1])
    state.start_sd_c = START_SD_C * float(np.exp(-max(times[-1] - begun_at, 0.0) / state.tau_s))


def _probed_at(watch: UnitWatch, batch: Batch, tub: str) -> Instant | None:
    heard = [
        h.measured_at
        for h in watch.channels.values()
        if h.assignment.lot == batch.lot and h.assignment.tub in (None, tub) and np.isfinite(h.measured_at)
    ]
    return max(heard, default=None)


def _mark_past(watch: UnitWatch, state: TubState, history: TubHistory) -> None:
    """Date what holds as the running watch would have: by the readings themselves, not by points between them."""
    inside = np.zeros(history.times_at.size, dtype=bool)
    for gap in history.gaps:
        inside |= (history.times_at > gap.from_at) & (history.times_at < gap.until_at)
    times, likely = history.times_at[~inside], history.likely_c[~inside]
    over = stretches_above(times, likely, watch.limit_c, at_least_s=0.0, join_s=EXCURSION_JOIN_S)
    if over and (watch.warm_until is None or over[-1].until_at > watch.warm_until):
        watch.warm_since, watch.warm_until, watch.warm_peak_c = over[-1].from_at, over[-1].until_at, over[-1].peak_c
    state.over_since = _since(times, likely > watch.limit_c, likely <= watch.limit_c - HYSTERESIS_C)
    state.near_since = _since(times, likely > watch.limit_c - NEAR_C, likely <= watch.limit_c - AWAY_C)
    state.cold_since = _since(times, likely <= STOP_C, likely > STOP_C + BACK_C)
    state.stalled_since = _since(times, likely <= state.stop_c, likely > state.stop_c + BACK_C)
    near = np.flatnonzero(likely > watch.limit_c - AWAY_C)
    state.near_until = float(times[near[-1]]) if near.size else None
    state.freezing_since = _since(times, likely <= FREEZING_C, likely > FREEZING_C + BACK_C)


def _since(times: Array, begins: npt.NDArray[np.bool_], ends: npt.NDArray[np.bool_]) -> Instant | None:
    """Return the first instant at which it began after it had last ended, or None while it does not hold."""
    last_end = int(np.flatnonzero(ends)[-1]) if ends.any() else -1
    begun = np.flatnonzero(begins[last_end + 1 :])
    return float(times[last_end + 1 + begun[0]]) if begun.size else None


def signature_of(kitchen: Kitchen, unit: Unit, now: Instant) -> tuple[object, ...]:
    """Return what a unit's state follows from beside its readings: when it changes, the state is made anew."""
    standing = tuple(
        (
            b.lot,
            b.plan,
            b.stages,
            b.as_made,
            b.hand_readings,
            b.core_logs,
            tuple(p for p in b.placements if p.from_at <= now),
        )
        for b in kitchen.standing_in(unit.id, now)
    )
    return (unit, _telling(kitchen, unit, now), standing)


def next_change_at(kitchen: Kitchen, now: Instant) -> Instant:
    """Return the next instant at which a placement or an assignment begins or ends by itself."""
    instants = [at for a in kitchen.assignments for at in (a.from_at, a.until_at)]
    instants += [at for b in kitchen.batches.values() for p in b.placements for at in (p.from_at, p.until_at)]
    return min((at for at in instants if at is not None and at > now), default=float("inf"))

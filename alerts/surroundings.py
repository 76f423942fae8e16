"""What surrounded a tub: air, probes, water and the bench, with what bounds the time when nothing was read. Pure."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from alerts.history import Array, UnknownTime
from alerts.science.heat import Arrangement
from alerts.science.lag import piece_prior, tub_prior
from alerts.science.warmest import mixed_temperature
from collector.batches import Batch, Placement
from collector.kitchen import Kitchen
from collector.readings import Assignment, Quantity, Reading, Unit
from collector.sample import Instant, Quality
from collector.storage import Series

Fetch = Callable[[str, Instant, Instant], Series]
"""(channel, from, until) to its readings: the local store's `series`."""
Last = Callable[[str, Instant], Reading | None]
"""(channel, at) to the last reading measured before the instant: the local store's `before`."""

UNTRUSTED = int(Quality.PROBE_FAULT | Quality.OUT_OF_RANGE)
GAP_FLOOR_S = 900.0
"""House (rules e-6): no reading for less than this is no gap."""
STEP_S = 60.0
"""Spacing of points where no reading gives one: on the bench and inside gaps."""
PROBE_TAU_S = 1.0
IN_WATER = "in water"
"""Cause of a stretch in which the meat was soaked: the water is its surface."""


def gap_after_s(interval_s: float) -> float:
    """Return how long a channel may say nothing before that is a gap (rules e-6, house). [s]"""
    return max(3.0 * interval_s, GAP_FLOOR_S)


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What is known of a tub's surroundings over one stretch: samples, and what bounds the time without any."""

    from_at: Instant
    until_at: Instant
    times_at: Array
    air_c: Array
    gaps_s: Array
    """For how long each reading speaks: longer silence behind it is a gap. [s]"""
    ambient_c: float
    coldest_c: float
    warm_up_s: float | None
    tau_s: float
    channels: tuple[str, ...]
    cause: str


@dataclass(frozen=True, slots=True)
class Paths:
    """The air of the three copies on one grid of points; two points may share an instant where the air jumps."""

    times_at: Array
    likely_c: Array
    upper_c: Array
    lower_c: Array
    in_gap: npt.NDArray[np.bool_]
    gaps: tuple[UnknownTime, ...]


def start_c(batch: Batch) -> tuple[float | None, bool]:
    """Return the product's temperature at filling, and whether it was known. [°C]

    Meat and brine are mixed by their heat capacities; a missing brine temperature of a brined batch, or a missing
    meat temperature, leaves the start unknown (rules A8).
    """
    made = batch.as_made
    brine_kg = (made.water_kg or 0.0) + (made.salt_kg or 0.0)
    wet = brine_kg > 0 and batch.plan.packing == "under brine"
    if made.meat_c is None:
        return (made.brine_c if wet else None), False
    if not wet:
        return made.meat_c, True
    if made.brine_c is None:
        return made.meat_c, False
    return mixed_temperature(brine_kg, made.brine_c, made.meat_kg, made.meat_c), True


def arrangement_of(batch: Batch) -> Arrangement:
    """Return how the pieces meet the air; anything unheard of is taken as hung, which warms fastest."""
    known: dict[str, Arrangement] = {"tub": "tub", "hung": "hung", "racked": "racked"}
    return known.get(batch.plan.arrangement, "hung")


def tau_of(batch: Batch) -> float:
    """Return the time constant of one tub or piece: measured where the plan has one, else the prior. [s]"""
    if batch.plan.tau_s is not None:
        return batch.plan.tau_s
    made, tubs = batch.as_made, max(len(batch.tubs), 1)
    brine_kg = (made.water_kg or 0.0) + (made.salt_kg or 0.0)
    if arrangement_of(batch) == "tub":
        return tub_prior(made.meat_kg / tubs, brine_kg / tubs).tau_s
    return piece_prior(made.meat_kg / tubs, batch.plan.thickness_mm / 1000).tau_s


def corrected(series: Series, assignment: Assignment) -> tuple[Array, Array]:
    """Return times and values that can be trusted, with the assignment's offset applied. [s], [°C]"""
    good = (series.quality & UNTRUSTED) == 0
    return series.measured_at[good], series.values[good] + assignment.offset_c


def lead(records: Sequence[tuple[Array, Array]], gaps_s: Sequence[float]) -> tuple[Array, Array, Array]:
    """Return the first record with its gaps filled by those behind it, and for how long each reading speaks."""
    times, values = records[0]
    speaks = np.full(times.size, gaps_s[0])
    for (more_times, more_values), gap_s in zip(records[1:], gaps_s[1:], strict=True):
        edges = np.concatenate(([-np.inf], times, [np.inf]))
        longest = np.concatenate(([gap_s], speaks))
        at = np.searchsorted(edges, more_times, side="right")
        missing = edges[at] - edges[at - 1] > longest[at - 1]
        times = np.concatenate((times, more_times[missing]))
        values = np.concatenate((values, more_values[missing]))
        speaks = np.concatenate((speaks, np.full(int(missing.sum()), gap_s)))
        order = np.argsort(times, kind="stable")
        times, values, speaks = times[order], values[order], speaks[order]
    return times, values, speaks


TEMPERATURES = (Quantity.AIR_TEMPERATURE, Quantity.BRINE_TEMPERATURE, Quantity.PRODUCT_TEMPERATURE)


def _led(
    assignments: Iterable[Assignment], fetch: Fetch, from_at: Instant, until_at: Instant
) -> tuple[Array, Array, Array]:
    """Return the trusted readings between two instants as `lead` has them; empty where there are none."""
    found, gaps_s = [], []
    for a in assignments:
        begin = max(from_at, a.from_at)
        end = until_at if a.until_at is None else min(until_at, a.until_at)
        if begin < end:
            found.append(corrected(fetch(a.channel, begin, end), a))
            gaps_s.append(gap_after_s(a.interval_s))
    return lead(found, gaps_s) if found else (np.empty(0), np.empty(0), np.empty(0))


def _in_unit(
    kitchen: Kitchen, unit: Unit, fetch: Fetch, stretch: tuple[Instant, Instant, Instant], tau: float
) -> Surroundings:
    from_at, until_at, known_until_at = stretch
    air = [a for a in kitchen.assignments_of(unit.id) if a.quantity is Quantity.AIR_TEMPERATURE and a.lot is None]
    gap_s = max((gap_after_s(a.interval_s) for a in air), default=GAP_FLOOR_S)
    # A reading from just before the tub arrived is the air it arrived in; one from just after it left ends a silence.
    times, values, speaks = _led(air, fetch, from_at - gap_s, min(until_at + gap_s, known_until_at))
    channels = tuple(dict.fromkeys(a.channel for a in air))
    cause = "no air temperature is assigned to the unit" if not air else "no trusted reading"
    return Surroundings(
        from_at,
        until_at,
        times,
        values,
        speaks,
        unit.ambient_c,
        unit.coldest_air_c,
        unit.warm_up_s,
        tau,
        channels,
        cause,
    )


def _on_bench(placement: Placement, from_at: Instant, until_at: Instant, tau: float) -> Surroundings:
    air = placement.bench_c if placement.bench_c is not None else 25.0
    return _steady(air, from_at, until_at, tau, "out of a unit")


def _in_water(
    batch: Batch, from_at: Instant, until_at: Instant, probes: Sequence[Surroundings], tau: float
) -> list[Surroundings]:
    """Return the stretches in which a batch was soaked and no probe in it was heard: the water as it was logged."""
    found = []
    for soak in batch.soaks:
        at, end = max(soak.from_at, from_at), min(soak.until_at, until_at)
        for begin, stop in [*((p.from_at, p.until_at) for p in probes), (np.inf, np.inf)]:
            if at < min(begin, end):
                found.append(_steady(soak.water_c, at, min(begin, end), tau, IN_WATER))
            at = max(at, stop)
    return found


def _steady(around_c: float, from_at: Instant, until_at: Instant, tau: float, cause: str) -> Surroundings:
    count = max(int((until_at - from_at) // STEP_S) + 2, 2)
    times = np.linspace(from_at, until_at, count)
    always = np.full(count, np.inf)
    return Surroundings(
        from_at, until_at, times, np.full(count, around_c), always, around_c, around_c, None, tau, (), cause
    )  # fmt: skip


def paths_of(s: Surroundings) -> Paths:
    """Return the three air paths over a stretch: as read, and parted where nothing was read."""
    inside = (s.times_at > s.from_at) & (s.times_at < s.until_at)
    before = np.flatnonzero((s.times_at <= s.from_at) & (s.times_at >= s.from_at - s.gaps_s))
    behind = s.times_at[s.times_at >= s.until_at]
    times, air = s.times_at[inside], s.air_c[inside]
    known_at_start = before.size > 0
    first = s.air_c[before[-1]] if known_at_start else (air[0] if air.size else s.ambient_c)
    last = air[-1] if air.size else first
    edges = np.concatenate(([s.from_at], times, [s.until_at]))
    values = np.concatenate(([first], air, [last]))
    # Silence counts from reading to reading: an instant at which somebody looked or carried a tub is no reading.
    heard = edges.copy()
    heard[0] = s.times_at[before[-1]] if known_at_start else s.from_at
    heard[-1] = behind[0] if behind.size else s.until_at
    speaks = np.concatenate(([s.gaps_s[before[-1]] if known_at_start else 0.0], s.gaps_s[inside]))
    gap = np.diff(heard) > speaks
    if not gap.any():
        none = np.zeros(edges.size, dtype=bool)
        return Paths(edges, values, values, values, none, ())
    return _parted(s, edges, values, gap)


def _parted(s: Surroundings, edges: Array, values: Array, gap: npt.NDArray[np.bool_]) -> Paths:
    columns: list[tuple[Array, Array, Array, Array, npt.NDArray[np.bool_]]] = []
    gaps = []
    start = 0
    for i in map(int, np.flatnonzero(gap)):
        known = slice(start, i + 1)
        part = values[known]
        columns.append((edges[known], part, part, part, np.zeros(part.size, dtype=bool)))
        columns.append(_gap_columns(s, edges[i], edges[i + 1], values[i], values[i + 1]))
        gaps.append(UnknownTime(float(edges[i]), float(edges[i + 1]), s.cause))
        start = i + 1
    part = values[start:]
    columns.append((edges[start:], part, part, part, np.zeros(part.size, dtype=bool)))
    times, likely, upper, lower, inside = (np.concatenate(column) for column in zip(*columns, strict=True))
    return Paths(times, likely, upper, lower, inside, tuple(gaps))


def _gap_columns(
    s: Surroundings, begin: float, end: float, air0: float, air1: float
) -> tuple[Array, Array, Array, Array, npt.NDArray[np.bool_]]:
    count = max(int((end - begin) // STEP_S) + 1, 2)
    times = np.linspace(begin, end, count)
    likely = np.interp(times, [begin, end], [air0, air1])
    ambient = max(s.ambient_c, air0, air1)
    if s.warm_up_s is None:
        upper = np.full(count, ambient)
    else:
        upper = ambient - (ambient - air0) * np.exp(-(times - begin) / s.warm_up_s)
    lower = np.full(count, min(s.coldest_c, air0, air1))
    return times, likely, upper, lower, np.ones(count, dtype=bool)


def _pieces(placements: Sequence[Placement], until_at: Instant) -> list[tuple[Placement, Instant, Instant]]:
    pieces = []
    for p in sorted(placements, key=lambda p: p.from_at):
        end = until_at if p.until_at is None else min(p.until_at, until_at)
        if p.from_at < end:
            pieces.append((p, p.from_at, end))
    return pieces


def _probe_stretches(
    batch: Batch, tub: str, kitchen: Kitchen, fetch: Fetch, piece: tuple[Placement, Instant, Instant]
) -> list[Surroundings]:
    """Return the stretches in which a probe in this tub was heard: surroundings that the tub follows at once."""
    placement, from_at, until_at = piece
    mine = [
        a for a in kitchen.assignments if a.lot == batch.lot and a.tub in (None, tub) and a.quantity in TEMPERATURES
    ]
    times, values, speaks = _led(mine, fetch, from_at, until_at)
    if not times.size:
        return []
    channels = tuple(dict.fromkeys(a.channel for a in mine))
    cuts = np.flatnonzero(np.diff(times) > speaks[:-1]) + 1
    stretches = []
    for part_t, part_v in zip(np.split(times, cuts), np.split(values, cuts), strict=True):
        if part_t.size >= 2:
            begin, end = float(part_t[0]), float(part_t[-1])
            # Until the last reading's own time the probe speaks; afterwards the air does again.
            always = np.full(part_t.size, np.inf)
            stretches.append(
                Surroundings(begin, end, part_t, part_v, always, 0.0, 0.0, None, PROBE_TAU_S, channels, "probe")
            )
    return stretches


def _woven(base: Surroundings, probes: Sequence[Surroundings]) -> list[Surroundings]:
    """Return a stretch cut into those the probe covers and those left to the air."""
    woven, at = [], base.from_at
    for p in probes:
        if p.until_at <= at:
            continue
        if p.from_at > at:
            woven.append(replace(base, from_at=at, until_at=p.from_at))
        # Of two soaks that overlap the first speaks until it ends.
        woven.append(p if p.from_at >= at else replace(p, from_at=at))
        at = p.until_at
    if at < base.until_at:
        woven.append(replace(base, from_at=at))
    return woven


def cut_at(stretches: Sequence[Surroundings], instants: Sequence[Instant]) -> list[Surroundings]:
    """Return the stretches cut in two at each instant that lies inside one."""
    cut = list(stretches)
    for at in instants:
        cut = [
            part
            for s in cut
            for part in ((replace(s, until_at=at), replace(s, from_at=at)) if s.from_at < at < s.until_at else (s,))
        ]
    return cut


def surroundings_of(
    batch: Batch, tub: str, kitchen: Kitchen, fetch: Fetch, until_at: Instant, since_at: Instant | None = None
) -> list[Surroundings]:
    """Return what surrounded a tub from filling (or from a later instant) until an instant, in order, without holes."""
    tau = tau_of(batch)
    found: list[Surroundings] = []
    placements = [p for p in batch.placements if p.tub == tub]
    for placement, begin, end in _pieces(placements, until_at):
        begin = begin if since_at is None else max(begin, since_at)
        if begin >= end:
            continue
        piece = (placement, begin, end)
        unit = kitchen.units.get(placement.unit) if placement.unit is not None else None
        stretch = begin, end, until_at
        base = _in_unit(kitchen, unit, fetch, stretch, tau) if unit else _on_bench(placement, begin, end, tau)
        probes = _probe_stretches(batch, tub, kitchen, fetch, piece)
        soaked = _in_water(batch, begin, end, probes, tau) if batch.soaks else []
        found.extend(_woven(base, sorted([*probes, *soaked], key=lambda s: s.from_at)))
    return found

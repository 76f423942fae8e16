"""`curevigil bench alarms`: the watch over simulated months, beside a fixed threshold tuned on other nights. Shell."""

import time
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from statistics import median

import click
import numpy as np

from simulators.bench_nights_play import UNITS_EACH, Played, played
from simulators.bench_nights_score import (
    Event,
    estimate_score,
    events,
    false_alarms,
    poisson_interval,
    unit_months,
)
from simulators.bench_nights_threshold import Rule, false_count, told_by, tuned
from simulators.bench_row import percentile
from simulators.nights import DAY_S, HOUR_S, OF_THE_KITCHEN, Trouble, Wrong, fleet, lived, trouble

FROM_AT = 1_780_012_800.0
"""29 May 2026, 00:00 UTC."""
BLOCK = 32
"""Units simulated as one array."""
NORMAL_DAYS, FAULTY_DAYS = 30.0, 16.0
LEARNING_DAYS = 8.0
"""Quiet days before a fault."""
EACH = 2
"""Faults of each kind in one block."""
JUDGING, TUNING = 4, 2
"""Blocks of ordinary months; of faults there are half as many again."""
TUNING_SEED, JUDGING_SEED = 1000, 3000
BUDGET = 0.4
"""False alarms per unit-month that the threshold is tuned to, and the watch is held to."""
PROCESSES = 2

Task = tuple[int, bool]
"""Seed, and whether things go wrong."""


def block(task: Task) -> list[Played]:
    """Return one block of kitchens, simulated and played through the watch."""
    seed, faulty = task
    rng = np.random.default_rng(seed)
    if not faulty:
        rooms, troubles, days = fleet(rng, BLOCK), list[Trouble](), NORMAL_DAYS
    else:
        troubles = list(_troubles(rng))
        rooms, days = fleet(rng, max(t.unit for t in troubles) + 1), FAULTY_DAYS
    stretch = lived(rooms, rng, FROM_AT, days, troubles)
    kitchens = [range(first, first + UNITS_EACH) for first in range(0, len(rooms), UNITS_EACH)]
    return [played(units, stretch, seed * 1000 + number) for number, units in enumerate(kitchens)]


def _troubles(rng: np.random.Generator) -> Iterator[Trouble]:
    alone = [wrong for wrong in Wrong if wrong not in OF_THE_KITCHEN for _ in range(EACH)]
    begin_at = FROM_AT + LEARNING_DAYS * DAY_S
    for unit, number in enumerate(rng.permutation(len(alone)).tolist()):
        yield trouble(alone[number], unit, begin_at + DAY_S * float(rng.random()), rng)
    for kitchen, wrong in enumerate(OF_THE_KITCHEN, len(alone) // UNITS_EACH):
        first = trouble(wrong, kitchen * UNITS_EACH, begin_at + DAY_S * float(rng.random()), rng)
        for unit in range(UNITS_EACH):
            yield Trouble(wrong, first.unit + unit, first.from_at, first.until_at, first.severity)


def blocks(tasks: Sequence[Task], processes: int) -> list[Played]:
    """Return every kitchen of several blocks, two processes at a time."""
    if processes < 2:
        return [p for task in tasks for p in block(task)]
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        return [p for part in pool.map(block, tasks) for p in part]


def tasks_of(seed: int, count: int) -> tuple[list[Task], list[Task]]:
    """Return the blocks of ordinary months and of faults that belong to a seed."""
    normal = [(seed + number, False) for number in range(count)]
    return normal, [(seed + 500 + number, True) for number in range(max(count * 3 // 2, 1))]


def _hours(seconds: float) -> str:
    return "never" if np.isinf(seconds) else f"{seconds / HOUR_S:.1f} h"


def _share(part: Iterable[bool]) -> str:
    flags = list(part)
    return f"{sum(flags)}/{len(flags)} ({100.0 * sum(flags) / max(len(flags), 1):.0f} %)"


def _per_month(count: int, months: float) -> str:
    low, high = (edge / months for edge in poisson_interval(count))
    return f"{count / months:.2f} ({low:.2f} to {high:.2f})"


def side(found: Sequence[Event], false: int, months: float) -> list[str]:
    """Return the figures of one side of the table, in the order of `ROWS`."""
    harmful = [e for e in found if e.harmful]
    leads = [e.lead_s for e in harmful]
    sensors = [e for e in found if e.of_a_sensor]
    woken = [sum(t.count for t in e.told if t.wakes) for e in harmful]
    return [
        _per_month(false, months),
        _share(e.lead_s > 0 for e in harmful),
        _hours(median(leads)) if leads else "-",
        _hours(percentile(leads, 0.1)) if leads else "-",
        str(sum(not e.told for e in harmful)),
        _share(e.found for e in sensors),
        _share(e.right for e in found),
        f"{sum(woken) / max(len(woken), 1):.1f}",
    ]


ROWS = (
    "false alarms per unit-month (exact 95 %)",
    "harmful events told before the limit",
    "lead, median",
    "lead, worst tenth",
    "harmful faults never told",
    "sensor and transport faults found",
    "right cause named, no wrong one",
    "wake-ups per harmful event",
)
WIDTH = 44


def table(watch: Sequence[str], rule: Sequence[str]) -> Iterator[str]:
    """Yield the table, a line for each figure."""
    yield f"{'':<{WIDTH}}{'this watch':<26}tuned threshold"
    for name, ours, theirs in zip(ROWS, watch, rule, strict=True):
        yield f"{name:<{WIDTH}}{ours:<26}{theirs}"


def by_fault(watch: Sequence[Event], rule: Sequence[Event]) -> Iterator[str]:
    """Yield a line for each kind of fault: how many did harm, who was told in time, what was named."""
    yield f"{'fault':<26}{'harm':<8}{'in time':<18}{'median lead':<20}{'found':<9}{'right':<8}named otherwise"
    for wrong in Wrong:
        mine = [e for e in watch if e.trouble.wrong is wrong]
        theirs = [e for e in rule if e.trouble.wrong is wrong and e.harmful]
        harm = [e for e in mine if e.harmful]
        in_time = f"{sum(e.lead_s > 0 for e in harm)} / {sum(e.lead_s > 0 for e in theirs)}" if harm else "-"
        lead = f"{_hours(median(e.lead_s for e in harm))} / {_hours(median(e.lead_s for e in theirs))}" if harm else "-"
        other = Counter(t.cause or "nothing" for e in mine if not e.right for t in e.told)
        other["untold"] = sum(not e.told for e in mine)
        named = ", ".join(f"{cause} {n}" for cause, n in other.most_common(4) if n)
        yield (
            f"{wrong:<26}{f'{len(harm)}/{len(mine)}':<8}{in_time:<18}{lead:<20}"
            f"{sum(e.found for e in mine):<9}{sum(e.right for e in mine):<8}{named}"
        )


def report(normal: Sequence[Played], faulty: Sequence[Played], rule: Rule) -> Iterator[str]:
    """Yield what the judging nights came to."""
    months = unit_months(normal)
    false = false_alarms(normal)
    ours, theirs = events(faulty), events(faulty, told_by(rule, faulty))
    yield f"{months:.0f} ordinary unit-months, {len(ours)} faults; harmful: the product truly passed 5 °C"
    yield (
        f"threshold tuned to {BUDGET:g} false alarms per unit-month on other nights: air above {rule.high_c:g} °C for "
        f"{rule.delay_s / 60:.0f} min, below {rule.low_c:g} °C for 60 min, silent for {rule.no_data_s / 60:.0f} min"
    )
    yield ""
    yield from table(side(ours, len(false), months), side(theirs, false_count(normal, told_by(rule, normal)), months))
    score = estimate_score([*normal, *faulty])
    yield (
        f"product estimate: bias {score.bias_c:+.2f} K, 95 % within {score.p95_c:.2f} K; the interval that claims 90 % "
        f"(median width {score.width_c:.2f} K) covers {100 * score.covered:.1f} % of {score.hours:,} hours"
    )
    kinds = Counter(alarm.kind for _, alarm in false)
    yield "false alarms by kind: " + (", ".join(f"{kind} {n}" for kind, n in kinds.most_common()) or "none")
    yield ""
    yield from by_fault(ours, theirs)


@click.command()
@click.option("--blocks", "count", type=click.IntRange(1, 64), default=JUDGING, help="Blocks of 32 ordinary months.")
@click.option("--seed", default=JUDGING_SEED, show_default=True, help="Seed of the nights that are judged.")
@click.option("--processes", type=click.IntRange(1, 16), default=PROCESSES, show_default=True)
def alarms(count: int, seed: int, processes: int) -> None:
    """Judge the watch on simulated nights with every kind of fault, beside a threshold tuned on other nights."""
    begun = time.perf_counter()
    tuning, judging = tasks_of(TUNING_SEED, max(count * TUNING // JUDGING, 1)), tasks_of(seed, count)
    rule = tuned(blocks(tuning[0], processes), blocks(tuning[1], processes), BUDGET)
    for line in report(blocks(judging[0], processes), blocks(judging[1], processes), rule):
        click.echo(line)
    click.echo(f"alarms: {time.perf_counter() - begun:.0f} s; everything is simulated, and every figure is an estimate")

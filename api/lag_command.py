"""`curevigil lag`: the time constant of a product, from a record of its air and of a probe in its core."""

import math
from collections.abc import Iterable, Sequence
from pathlib import Path

import click
import numpy as np

from alerts.science.fit import LagFit, NoFit, fit_lag
from alerts.surroundings import UNTRUSTED
from api.config_file import read_described
from api.reading_lines import instant_of
from api.replay_command import readings_in
from collector.readings import Assignment, Reading
from collector.sample import Instant

HOUR_S = 3600.0


def record_of(
    channel: str, readings: Iterable[Reading], assignments: Sequence[Assignment], from_at: Instant, until_at: Instant
) -> tuple[list[float], list[float]]:
    """Return instants and values of one channel that can be trusted, offsets applied, in order of time."""
    offsets = [a for a in assignments if a.channel == channel]
    found: dict[float, float] = {}
    for r in readings:
        if r.channel == channel and not r.quality & UNTRUSTED and from_at <= r.measured_at < until_at:
            offset = next((a.offset_c for a in offsets if a.from_at <= r.measured_at < (a.until_at or math.inf)), 0.0)
            found[r.measured_at] = r.value + offset
    times = sorted(found)
    return times, [found[at] for at in times]


def told(fit: LagFit) -> list[str]:
    """Return what a fit says, for people, line by line."""
    low, high = (fit.tau_s * math.exp(sign * fit.sigma_ln) / HOUR_S for sign in (-1, 1))
    lines = [
        f"time constant {fit.tau_s / HOUR_S:.1f} h, likely {low:.1f} to {high:.1f} h, from {fit.samples} core readings",
        f"the air round the product: {fit.offset_k:+.1f} K from its probe; left over {fit.residual_k:.2f} K",
    ]
    if fit.two_taus_s is not None and fit.two_residual_k is not None:
        quick, slow = (tau_s / HOUR_S for tau_s in fit.two_taus_s)
        lines.append(f"two states fit better ({fit.two_residual_k:.2f} K left over): {quick:.1f} h and {slow:.1f} h")
    lines.append(f"in the plan: tau_hours = {fit.tau_s / HOUR_S:.1f}; measure again when load or place changes")
    lines.append("An estimate only: local rules and a responsible or licensed person come first.")
    return lines


def _instant(text: str | None, otherwise: float, option: str) -> Instant:
    if text is None:
        return otherwise
    at = instant_of(text)
    if isinstance(at, str):
        raise click.BadParameter(at, param_hint=option)
    return at


@click.command()
@click.option("--kitchen", type=click.Path(path_type=Path), required=True, help="The kitchen: kitchen.toml.")
@click.option("--readings", type=click.Path(path_type=Path), required=True, help="A JSON object a line.")
@click.option("--air", required=True, help="The channel of the air round the product.")
@click.option("--core", required=True, help="The channel of the probe in the product.")
@click.option("--from", "from_text", help="Readings from this time on: RFC 3339, or seconds since 1970.")
@click.option("--until", "until_text", help="Readings before this time.")
@click.option("--noise", default=0.1, show_default=True, help="Noise of the core probe, in K.")
def lag(
    kitchen: Path, readings: Path, air: str, core: str, from_text: str | None, until_text: str | None, noise: float
) -> None:
    """Print how slowly a product follows its air, from a record of both.

    For the `tau_hours` of a plan. A record that cannot carry an answer is refused with the reason.
    """
    if not noise > 0:
        raise click.BadParameter("it is above zero", param_hint="--noise")
    from_at, until_at = _instant(from_text, -math.inf, "--from"), _instant(until_text, math.inf, "--until")
    described = read_described(kitchen)
    taken, bad = readings_in(readings, described)
    if bad:
        click.echo(f"{len(bad)} lines hold no reading, and are left out; the first is line {bad[0].number}", err=True)
    records = []
    for channel in (air, core):
        times, values = record_of(channel, taken, described.assignments, from_at, until_at)
        if not times:
            raise click.ClickException(f"{readings.name} holds no trusted reading of {channel} in that time")
        records.append((np.array(times), np.array(values)))
    found = fit_lag(*records[0], *records[1], noise_k=noise)
    if isinstance(found, NoFit):
        raise click.ClickException(f"no time constant: {found.words}")
    for line in told(found):
        click.echo(line)

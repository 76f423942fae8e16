"""`curevigil salt`: how far salt gets in a cure, by practice and by diffusion, and by how much they disagree."""

import math

import click

from alerts.science.cure_days import PRACTICES, TARGET_WPS, Practice, Reach, reach_of_salt
from alerts.science.uptake import diffused_m2, limited_penetration

DAY_S = 86400.0
MM = 1000.0


def _span(low: float, high: float, digits: int = 1) -> str:
    first, last = f"{low:.{digits}f}", f"{high:.{digits}f}"
    return first if first == last else f"{first} to {last}"


def told(reach: Reach, rule: str, practice: Practice, target_wps: float, half_mm: float) -> list[str]:
    """Return what was found, for people, line by line."""
    front = [MM * depth for depth in reach.front_m]
    whole = " (the centre)" if front[2] >= half_mm else ""
    quick, _, slow = reach.days_needed
    centre = "never" if math.isinf(quick) else f"after {_span(quick, slow)} days"
    lines = [
        f"by diffusion: mean {_span(reach.mean_wps[0], reach.mean_wps[2])} % water-phase salt, "
        f"centre {_span(reach.centre_wps[0], reach.centre_wps[2])} %",
        f"by diffusion: {target_wps:g} % has reached {_span(front[0], front[2], 0)} mm below each face{whole}; "
        f"the centre {centre}",
        f"by practice ({rule}: {_span(practice.days_from, practice.days_to)} days per {practice.per}; "
        f"{practice.source}, {practice.known}): {_span(*reach.practice_days)} days for the whole piece",
    ]
    if reach.practice_front_m is not None:
        deep = [MM * depth for depth in reach.practice_front_m]
        lines.append(f"by practice: {_span(deep[0], deep[1], 0)} mm below each face count as cured in that time")
    if math.isinf(reach.times_longer):
        lines.append(f"they disagree: by diffusion the centre never reaches {target_wps:g} %")
    else:
        lines.append(f"they disagree: diffusion asks for {reach.times_longer:.2g} times the days of practice")
    return lines


def bath_line(thickness_mm: float, days: float, temperature: float, brine: float, bath_ratio: float) -> str:
    """Return what a bath that loses its salt to the meat does to the mean, for people."""
    amounts = diffused_m2([0.0, days * DAY_S], [temperature, temperature])
    end = brine * bath_ratio / (1 + bath_ratio)
    half_m = thickness_mm / 2 / MM
    low, _, high = (end * limited_penetration(d / half_m**2, "slab", bath_ratio).mean for d in amounts)
    return (
        f"with {bath_ratio:g} times the meat's water in the brine: mean {_span(low, high)} % in that time, "
        f"{end:.1f} % at equilibrium"
    )


@click.command()
@click.option("--thickness-mm", type=click.FloatRange(1.0, 400.0), required=True, help="Thickness of the piece.")
@click.option("--days", type=click.FloatRange(0.0, 400.0), required=True, help="Length of the cure.")
@click.option(
    "--brine", type=click.FloatRange(0.5, 26.4), required=True, help="Salt over salt and water, in % by mass."
)
@click.option("--piece-kg", type=click.FloatRange(0.05, 50.0), required=True, help="Mass of one piece.")
@click.option("--temperature", type=click.FloatRange(-1.9, 15.0), default=4.0, show_default=True, help="Meat, in °C.")
@click.option(
    "--target", type=click.FloatRange(0.1, 20.0), default=TARGET_WPS, show_default=True, help="House: % wanted."
)
@click.option("--rule", type=click.Choice(list(PRACTICES)), default="dry cure, bellies", show_default=True)
@click.option("--bath-ratio", type=click.FloatRange(0.05, 100.0), help="Water of the brine over water of the meat.")
def salt(
    thickness_mm: float,
    days: float,
    brine: float,
    piece_kg: float,
    temperature: float,
    target: float,
    rule: str,
    bath_ratio: float | None,
) -> None:
    """Print how far salt gets into a slab of meat, by practice and by diffusion, which disagree.

    Estimates of salt only: they say nothing about nitrite. Local rules and a responsible or licensed person come first.
    """
    practice = PRACTICES[rule]
    reach = reach_of_salt(thickness_mm / MM, days, temperature, brine, practice, mass_kg=piece_kg, target_wps=target)
    click.echo(f"{thickness_mm:g} mm in {brine:g} % brine that does not weaken, {days:g} days at {temperature:g} °C")
    for line in told(reach, rule, practice, target, thickness_mm / 2):
        click.echo(line)
    if bath_ratio is not None:
        click.echo(bath_line(thickness_mm, days, temperature, brine, bath_ratio))
    click.echo("Estimates of salt only, as a slab: edges help, fat hinders, and nitrite may lag far behind.")
    click.echo("Local rules and a responsible or licensed person come first.")

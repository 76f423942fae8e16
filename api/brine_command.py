"""The command `brine`: what the weighed masses make, before the water is on the fire."""

import click

from alerts.science.brine import Recipe, grams_per_litre, salt_for
from alerts.science.brine_properties import EUTECTIC_PERCENT, freezing_point, saturation
from alerts.science.salometer import expected_reading
from alerts.science.water_activity import TABLE_PERCENT, water_activity

CAUTION = "Estimates only: local rules and a responsible or licensed person come first."


def strength_lines(recipe: Recipe, temp_c: float) -> list[str]:
    """Return what a brine is, for people, line by line; raise ValueError where a figure does not hold."""
    strength_percent = recipe.strength_percent
    most_percent = float(saturation(temp_c))
    if strength_percent > most_percent:
        return [
            f"strength {strength_percent:.1f} %: more salt than water holds at {temp_c:g} °C ({most_percent:.1f} %)",
            "the rest lies undissolved; weigh less salt or more water",
        ]
    per_water_g = 1000 * float(salt_for(strength_percent, 1.0))
    per_litre_g = float(grams_per_litre(strength_percent, temp_c))
    lines = [
        f"strength {strength_percent:.1f} % (all salt over salt and water, sugar left out)",
        f"salt: {per_water_g:.0f} g for a kg of water; {per_litre_g:.0f} g in a litre of brine at {temp_c:g} °C",
    ]
    try:
        lines.append(f"a salometer made for 60 °F reads {expected_reading(recipe, temp_c):.0f} °SAL at {temp_c:g} °C")
    except ValueError:
        lines.append("a salometer made for 60 °F does not show it: the brine is heavier than its scale")
    if recipe.sugar_kg > 0:
        lines[-1] += "; its sugar reads as salt"
    if strength_percent <= EUTECTIC_PERCENT:
        lines.append(f"it freezes from {float(freezing_point(strength_percent)):.1f} °C down")
    if strength_percent <= TABLE_PERCENT:
        lines.append(
            f"water activity {float(water_activity(strength_percent)):.3f} at 25 °C, of the brine, not the meat"
        )
    return lines


@click.command()
@click.option("--water", "water_kg", type=float, required=True, help="Water [kg]; a litre is a kilogram.")
@click.option("--salt", "salt_kg", type=float, required=True, help="Salt [kg].")
@click.option("--sugar", "sugar_kg", type=float, default=0.0, help="Sugar [kg].")
@click.option("--curing-salt", "curing_salt_kg", type=float, default=0.0, help="Curing salt [kg].")
@click.option("--nitrite", "nitrite_percent", type=float, help="Nitrite in the curing salt, from its bag [%].")
@click.option("--nitrate", "nitrate_percent", type=float, default=0.0, help="Nitrate in it, from its bag [%].")
@click.option("--at", "temp_c", type=float, default=4.0, show_default=True, help="Temperature of the brine [°C].")
def brine(
    water_kg: float,
    salt_kg: float,
    sugar_kg: float,
    curing_salt_kg: float,
    nitrite_percent: float | None,
    nitrate_percent: float,
    temp_c: float,
) -> None:
    """Say what these masses make: strength, salometer reading, freezing point, water activity."""
    unknown = nitrite_percent is None and curing_salt_kg > 0
    nacl_percent = 0.0 if nitrite_percent is None else 100 - nitrite_percent - nitrate_percent
    try:
        recipe = Recipe(water_kg, salt_kg, sugar_kg, curing_salt_kg, nacl_percent)
        lines = strength_lines(recipe, temp_c)
    except ValueError as fault:
        raise click.ClickException(str(fault)) from fault
    for line in lines:
        click.echo(line)
    if unknown:
        click.echo(
            "What the curing salt is made of is not said: none of it counts as salt here. Take --nitrite from its bag."
        )
    click.echo(CAUTION)

"""The command `brine`: what the weighed masses make, before the water is on the fire."""

import click

from alerts.science.brine import Recipe, grams_per_litre, salt_for
from alerts.science.brine_properties import EUTECTIC_PERCENT, freezing_point, saturation
from alerts.science.equilibrium import brine_cover, even_out
from alerts.science.nitrite import agent_in, expressed_as, immersion_method_one, immersion_method_two
from alerts.science.salometer import expected_reading, recipe_density
from alerts.science.water_activity import TABLE_PERCENT, water_activity

MEAT_KG_M3 = 1056.0
"""Lean beef at 4 °C by what it is made of (Choi and Okos)."""

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


def meat_lines(recipe: Recipe, meat_kg: float, meat_water_percent: float) -> list[str]:
    """Return what salt becomes of a brine and the meat in it; raise ValueError where it cannot be reckoned."""
    end = even_out(recipe.nacl_kg, recipe.water_kg, meat_kg, meat_water_percent)
    return [
        f"once even with {meat_kg:g} kg of meat ({meat_water_percent:g} % water), however long that takes: "
        f"{end.water_phase_salt_percent:.1f} % salt in its water, {end.salt_in_meat_percent:.1f} % in the meat"
    ]


def nitrite_lines(recipe: Recipe, nitrite_percent: float, meat_kg: float, pickup_percent: float) -> list[str]:
    """Return the nitrite that the meat is given, by both methods; raise ValueError where it cannot be reckoned."""
    agent_kg, pickle_kg = agent_in(recipe.curing_salt_kg, nitrite_percent), recipe.pickle_kg
    ways = {
        f"Method One, {pickup_percent:g} % picked up": immersion_method_one(agent_kg, pickle_kg, pickup_percent),
        "Method Two, brine and meat even": immersion_method_two(agent_kg, pickle_kg, meat_kg),
    }
    return [
        f"nitrite by {way}: {ppm:.0f} ppm as NaNO2, {expressed_as(ppm, 'NaNO2', 'NO2'):.0f} ppm as the ion"
        for way, ppm in ways.items()
    ]


def cover_lines(recipe: Recipe, temp_c: float, meat_kg: float, floor_cm2: float, stacked_mm: float) -> list[str]:
    """Return whether the brine covers the meat; raise ValueError where it cannot be reckoned."""
    found = brine_cover(
        pickle_kg=recipe.pickle_kg,
        pickle_kg_m3=recipe_density(recipe, temp_c),
        meat_kg=meat_kg,
        meat_kg_m3=MEAT_KG_M3,
        floor_cm2=floor_cm2,
        stacked_mm=stacked_mm,
    )
    if found.brine_short_kg > 0:
        return [f"the brine does not cover the meat: {found.brine_short_kg:.2f} kg more of the same brine just would"]
    return [f"held under, the meat has {found.over_meat_mm:.0f} mm of brine above it"]


@click.command()
@click.option("--water", "water_kg", type=float, required=True, help="Water [kg]; a litre is a kilogram.")
@click.option("--salt", "salt_kg", type=float, required=True, help="Salt [kg].")
@click.option("--sugar", "sugar_kg", type=float, default=0.0, help="Sugar [kg].")
@click.option("--curing-salt", "curing_salt_kg", type=float, default=0.0, help="Curing salt [kg].")
@click.option("--nitrite", "nitrite_percent", type=float, help="Nitrite in the curing salt, from its bag [%].")
@click.option("--nitrate", "nitrate_percent", type=float, default=0.0, help="Nitrate in it, from its bag [%].")
@click.option("--meat", "meat_kg", type=float, help="Meat that goes into it [kg].")
@click.option("--meat-water", type=float, default=70.0, show_default=True, help="Water in the meat; lean 70 to 75 [%].")
@click.option("--pickup", type=float, default=10.0, show_default=True, help="Brine picked up, Method One [% of meat].")
@click.option("--floor", "floor_cm2", type=float, help="Floor of the vessel, its walls upright [cm²].")
@click.option("--height", "stacked_mm", type=float, help="How high the meat lies in it [mm].")
@click.option("--at", "temp_c", type=float, default=4.0, show_default=True, help="Temperature of the brine [°C].")
def brine(
    water_kg: float,
    salt_kg: float,
    sugar_kg: float,
    curing_salt_kg: float,
    nitrite_percent: float | None,
    nitrate_percent: float,
    meat_kg: float | None,
    meat_water: float,
    pickup: float,
    floor_cm2: float | None,
    stacked_mm: float | None,
    temp_c: float,
) -> None:
    """Say what these masses make: strength, salometer reading, freezing point, and what the meat is given."""
    unknown = nitrite_percent is None and curing_salt_kg > 0
    nacl_percent = 0.0 if nitrite_percent is None else 100 - nitrite_percent - nitrate_percent
    try:
        recipe = Recipe(water_kg, salt_kg, sugar_kg, curing_salt_kg, nacl_percent)
        lines = strength_lines(recipe, temp_c)
        if meat_kg is not None:
            lines += meat_lines(recipe, meat_kg, meat_water)
            if nitrite_percent is not None and curing_salt_kg > 0:
                lines += nitrite_lines(recipe, nitrite_percent, meat_kg, pickup)
            if floor_cm2 is not None and stacked_mm is not None:
                lines += cover_lines(recipe, temp_c, meat_kg, floor_cm2, stacked_mm)
    except ValueError as fault:
        raise click.ClickException(str(fault)) from fault
    for line in lines:
        click.echo(line)
    if unknown:
        click.echo(
            "What the curing salt is made of is not said: none of it counts as salt here, its nitrite is unknown.\n"
            "Take --nitrite from the bag of this very lot: makers differ by a factor of ten."
        )
    click.echo(CAUTION)

"""What a plan comes to before any meat is in it: brine, salt, nitrite, time, vessel, tasks. Pure: no clock, no I/O.

Every answer says whether it answers, warns, refuses, or cannot be told, and where its numbers come from.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from enum import StrEnum

from alerts.making import (
    WET_METHODS,
    brine_strength,
    classes_of,
    evened_out,
    in_unit_of,
    ingoing,
    pickup_percent,
    planned,
)
from alerts.plan_limits import refusals
from alerts.rulebook.book import Rulebook
from alerts.science.brine import Recipe
from alerts.science.brine_properties import EUTECTIC_PERCENT, freezing_point
from alerts.science.cure_days import PRACTICES, TARGET_WPS, reach_of_salt
from alerts.science.equilibrium import brine_cover
from alerts.science.salometer import expected_reading, recipe_density
from alerts.vessel import stainless
from collector.batches import Packing, Plan, Route

DAY_S, HOUR_S = 86_400.0, 3600.0
MEAT_KG_M3 = 1056.0
"""Lean beef at 4 °C by what it is made of (Choi and Okos 1986). [kg/m3]"""
WANTED_OVER_MM = 20.0
"""House: brine over the meat, so that a corner that floats up stays under. [mm]"""
MEASURED_AT_C = 4.0
"""Of the room, and of a brine of whose temperature a plan says nothing. [°C]"""
TURN_EVERY_S = 2 * DAY_S
"""House: meat is turned, and brine looked at, every two days."""


class Tone(StrEnum):
    """What an answer does."""

    ANSWERED = "answered"
    WARNED = "warned"
    REFUSED = "refused"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True)
class Answer:
    """One thing that is said of a plan."""

    about: str
    tone: Tone
    words: str
    source: str = ""


@dataclass(frozen=True, slots=True)
class Task:
    """Something to be done, and so long after filling at the latest."""

    name: str
    done_by_s: float
    words: str


def answers(plan: Plan, book: Rulebook) -> tuple[Answer, ...]:
    """Return everything that is said of a plan by a rulebook, refusals first."""
    found = [Answer(r.field, Tone.REFUSED, f"{r.what}; {r.mend}.", book.name) for r in refusals(plan, book)]
    for ask in (_strength, _salometer, _freezing, _evened, _nitrite, _protection, _time, _cover, _vessel, _filling):
        found += _asked(ask, plan, book)
    return (*found, *_sealed(plan, book), *_after(plan, book))


def _asked(ask: Callable[[Plan, Rulebook], Iterable[Answer]], plan: Plan, book: Rulebook) -> list[Answer]:
    try:
        return list(ask(plan, book))
    except ValueError as fault:
        # A figure outside what the equation was made for: said, never guessed.
        return [Answer(ask.__name__.strip("_"), Tone.CANNOT_TELL, f"{fault}.")]


def _recipe(plan: Plan) -> Recipe:
    other = (plan.nitrite_percent or 0.0) + (plan.nitrate_percent or 0.0)
    nacl = 0.0 if plan.nitrite_percent is None else 100.0 - other
    return Recipe(plan.water_kg, plan.salt_kg, plan.sugar_kg, plan.curing_salt_kg, nacl)


def _wet(plan: Plan) -> bool:
    return plan.method in WET_METHODS and plan.water_kg > 0


def _strength(plan: Plan, book: Rulebook) -> Iterable[Answer]:
    found = brine_strength(planned(plan)) if _wet(plan) else None
    if not _wet(plan):
        return
    if found is None:
        yield Answer("strength", Tone.CANNOT_TELL, "The brine's strength cannot be told: a mass is missing.")
        return
    span = f"{found.least:g}" if found.least == found.most else f"{found.least:g} to {found.most:g}"
    weak = found.least < book.limits["brine.weakest"].value
    words = f"The brine is {span} % salt (all salt over salt and water, sugar left out)."
    if weak:
        words += f" Under {book.limits['brine.weakest'].value:g} % it is weak for a cure."
    yield Answer(
        "strength", Tone.WARNED if weak else Tone.ANSWERED, words, "definition; " + _cited(book, "brine.weakest")
    )


def _cited(book: Rulebook, row: str) -> str:
    limit = book.limits[row]
    return f"{limit.printed}: {limit.cited}" + ("" if limit.known == "house" else f" ({limit.known})")


def _salometer(plan: Plan, book: Rulebook) -> Iterable[Answer]:
    if _wet(plan) and plan.curing_salt_kg > 0 and plan.nitrite_percent is None:
        words = "What a salometer reads cannot be told: what the curing salt is made of is not said."
        yield Answer("salometer", Tone.CANNOT_TELL, words)
    elif _wet(plan):
        temp_c = plan.brine_c if plan.brine_c is not None else MEASURED_AT_C
        sugar = "; its sugar reads as salt" if plan.sugar_kg > 0 else ""
        reading = expected_reading(_recipe(plan), temp_c)
        words = f"A salometer made for 60 °F reads about {reading:.0f} °SAL in it at {temp_c:g} °C{sugar}."
        yield Answer("salometer", Tone.ANSWERED, words, "26.395 % salt is 100 °SAL at 60 °F")


def _freezing(plan: Plan, book: Rulebook) -> Iterable[Answer]:
    found = brine_strength(planned(plan)) if _wet(plan) else None
    if found is not None and found.most <= EUTECTIC_PERCENT:
        words = f"It freezes from {float(freezing_point(found.least)):.1f} °C down.".replace("-", "−")
        yield Answer("freezing", Tone.ANSWERED, words, "CRC Handbook of Chemistry and Physics")


def _evened(plan: Plan, book: Rulebook) -> Iterable[Answer]:
    found = evened_out(plan, planned(plan))
    if found is None:
        return
    row = book.limits["salt.aqueous_warn"]
    weak = plan.route is Route.UNCOOKED and found.least < row.value
    words = f"Once salt has evened out, however long that takes, the meat's water holds {found.least:g} % salt."
    if weak:
        words += f" Meat eaten as cured wants {row.value:g} %."
    yield Answer(
        "salt", Tone.WARNED if weak else Tone.ANSWERED, words, _cited(book, row.id) if weak else "balance of salt"
    )


def _nitrite(plan: Plan, book: Rulebook) -> Iterable[Answer]:
    mix = planned(plan)
    if not mix.cured:
        yield Answer("nitrite", Tone.ANSWERED, "No curing salt goes in, and so no nitrite.")
        return
    found, classes = ingoing(plan, book, mix), classes_of(plan, book)
    if found.decided is None:
        words = (
            f"Nitrite cannot be told: {', '.join(found.missing)} is not said. Take it from the bag of this very lot."
        )
        yield Answer("nitrite", Tone.CANNOT_TELL, words)
        return
    rows = [book.limits[one.ingoing] for one in classes.possible if one.ingoing is not None]
    if not rows:
        words = "The law bounds only what remains of nitrite here; only a laboratory can tell."
        yield Answer("nitrite", Tone.CANNOT_TELL, words)
        return
    row = min(rows, key=lambda one: one.value)
    ppm = in_unit_of(row, found.decided)
    way = _ways(plan, book, found.one, found.two)
    over = ppm > row.value
    words = f"Ingoing nitrite {ppm:g} {row.unit}{way}; the limit is {row.value:g} {row.unit}"
    possible = ", ".join(one.id for one in classes.possible)
    words += "." if classes.settled else f", the strictest of the classes that it may be of ({possible})."
    if over:
        words += " That is too much: weigh less curing salt, or state Method One with a pick-up that was measured."
    tone = Tone.REFUSED if over else Tone.ANSWERED if classes.settled else Tone.WARNED
    yield Answer("nitrite", tone, words, _cited(book, row.id))
    if found.one is not None and found.one != found.decided and over and in_unit_of(row, found.one) <= row.value:
        words = (
            "By Method One alone it would pass: an approver says in writing why that is enough, or it is not made so."
        )
        yield Answer("nitrite", Tone.WARNED, words, "the methods disagree")


def _ways(plan: Plan, book: Rulebook, one: float | None, two: float | None) -> str:
    if one is None or two is None:
        return " (all that is rubbed on, over the meat)"
    return f" (Method Two {two:g}; Method One at {pickup_percent(plan, book):g} % pick-up {one:g})"


def _protection(plan: Plan, book: Rulebook) -> Iterable[Answer]:
    found, row = ingoing(plan, book, planned(plan)), book.limits["nitrite.protected"]
    if found.decided is None:
        yield Answer(
            "protection", Tone.CANNOT_TELL, "Whether it is nitrite-protected cannot be told.", _cited(book, row.id)
        )
        return
    least = min(ppm for ppm in (found.one, found.two, found.decided) if ppm is not None)
    if least >= row.value:
        words = "It counts as nitrite-protected, by either method: the slower cooling of cured meat may be used."
        yield Answer("protection", Tone.ANSWERED, words, _cited(book, row.id))
        return
    short = f"{least:g} ppm by the lower method, under {row.value:g} ppm: not nitrite-protected."
    words = f"{short} After cooking cool it by the general rule, in 2 h and 4 h."
    yield Answer("protection", Tone.WARNED, words, _cited(book, row.id))


def _time(plan: Plan, book: Rulebook) -> Iterable[Answer]:
    found = brine_strength(planned(plan)) if _wet(plan) else None
    wps = 26.0 if plan.method not in WET_METHODS else None if found is None else found.least
    if wps is None or not 0.5 <= wps <= 26.4:
        yield Answer("time", Tone.CANNOT_TELL, "How far salt gets cannot be told without the brine's strength.")
        return
    name = "brine cure, hams and shoulders" if _wet(plan) and plan.thickness_mm > 90 else "dry cure, bellies"
    practice, days = PRACTICES[name], plan.cure_s / DAY_S
    reach = reach_of_salt(
        plan.thickness_mm / 1000.0, days, MEASURED_AT_C, wps, practice, mass_kg=max(plan.meat_kg, 0.05)
    )
    low, high = (1000.0 * reach.front_m[i] for i in (0, 2))
    quick, _, slow = reach.days_needed
    centre = "never" if math.isinf(quick) else f"after {quick:.1f} to {slow:.1f} days"
    words = (
        f"In {days:g} days, by diffusion, {TARGET_WPS:g} % salt reaches {low:.0f} to {high:.0f} mm below each face of "
        f"{plan.thickness_mm:g} mm, and the centre {centre}. By practice ({name}) the whole piece takes "
        f"{reach.practice_days[0]:.1f} to {reach.practice_days[1]:.1f} days."
    )
    if not math.isinf(reach.times_longer):
        words += f" They disagree: diffusion asks for {reach.times_longer:.2g} times as long."
    borrowed = (
        "; borrowed: no published rule goes by thickness in brine" if _wet(plan) and name.startswith("dry") else ""
    )
    short = days < min(reach.practice_days[0], slow)
    yield Answer(
        "time",
        Tone.WARNED if short else Tone.ANSWERED,
        words,
        f"{practice.source} ({practice.known}){borrowed}; house: {TARGET_WPS:g} %",
    )


def _cover(plan: Plan, book: Rulebook) -> Iterable[Answer]:
    if not _wet(plan):
        return
    if plan.vessel_area_cm2 is None or plan.stacked_mm is None:
        words = "Whether the brine covers the meat is not told: enter the vessel's floor and how high the meat lies."
        yield Answer("cover", Tone.CANNOT_TELL, words)
        return
    recipe = _recipe(plan)
    found = brine_cover(
        pickle_kg=recipe.pickle_kg,
        pickle_kg_m3=recipe_density(recipe, plan.brine_c if plan.brine_c is not None else MEASURED_AT_C),
        meat_kg=plan.meat_kg,
        meat_kg_m3=MEAT_KG_M3,
        floor_cm2=plan.vessel_area_cm2,
        stacked_mm=plan.stacked_mm,
        wanted_mm=WANTED_OVER_MM,
    )
    if found.over_meat_mm < 0:
        words = (
            f"The brine does not cover the meat: {found.brine_short_kg:.2f} kg more of the same brine would, with "
            f"{WANTED_OVER_MM:g} mm over it. What stands out does not cure: make more, or take a narrower vessel."
        )
        yield Answer("cover", Tone.REFUSED, words, "balance of volumes")
        return
    words = f"Held under, the meat has {found.over_meat_mm:.0f} mm of brine above it."
    tone = Tone.ANSWERED if found.over_meat_mm >= WANTED_OVER_MM else Tone.WARNED
    yield Answer("cover", tone, words, f"balance of volumes; house: {WANTED_OVER_MM:g} mm")


def _vessel(plan: Plan, book: Rulebook) -> Iterable[Answer]:
    row = book.limits["vessel.stainless_longest"]
    if not plan.vessel:
        yield Answer("vessel", Tone.CANNOT_TELL, "What the vessel is made of is not said.")
    elif stainless(plan.vessel) and plan.cure_s > row.scaled:
        words = f"Stainless steel pits in salt: beyond {row.printed} use food-grade plastic or glass."
        yield Answer("vessel", Tone.WARNED, words, _cited(book, row.id))


def _filling(plan: Plan, book: Rulebook) -> Iterable[Answer]:
    if not _wet(plan):
        return
    limit = book.limits["cold.limit"]
    if plan.brine_c is None:
        words = f"The brine is at or below {limit.printed} at filling, and so is the meat; measure both and enter them."
        yield Answer("filling", Tone.ANSWERED, words, limit.cited)
    elif plan.brine_c > limit.value:
        words = f"A brine at {plan.brine_c:g} °C is too warm for raw meat: cool it to {limit.printed} or less first."
        yield Answer("filling", Tone.REFUSED, words, limit.cited)
    else:
        yield Answer("filling", Tone.ANSWERED, f"A brine at {plan.brine_c:g} °C is cold enough to fill.", limit.cited)


def _sealed(plan: Plan, book: Rulebook) -> Iterable[Answer]:
    row = book.limits["sealed.longest"]
    if plan.packing is Packing.SEALED and plan.cure_s > row.scaled and not plan.controlling_factor:
        words = (
            f"Sealed for longer than {row.printed} with nothing that holds botulinum back throughout: it will be held."
        )
        yield Answer("sealed", Tone.WARNED, words, _cited(book, row.id))


def _after(plan: Plan, book: Rulebook) -> Iterable[Answer]:
    if plan.route is Route.COOKED:
        words = (
            "Cook it by the table of the rulebook, log the core, and cool it from 57 to 21 °C in 2 h, to 5 °C in 6 h."
        )
        yield Answer("cook", Tone.ANSWERED, words, _cited(book, "cooling.first_stage"))
    elif plan.route is Route.UNCOOKED:
        words = "Nothing is released without its process, its parasite control and a measured water activity."
        yield Answer("uncooked", Tone.WARNED, words, _cited(book, "release.aw"))
    else:
        yield Answer("sold raw", Tone.WARNED, "Its label says: cook before eating.", book.name)


def tasks(plan: Plan) -> tuple[Task, ...]:
    """Return what is due of a plan, by the time after filling at which it is done at the latest."""
    wet, found, at, number = _wet(plan), [], TURN_EVERY_S, 1
    if wet:
        found.append(Task("cover", HOUR_S, "Weigh the meat down: all of it under the brine."))
    while at < plan.cure_s:
        found.append(Task(f"turn {number}", at, "Turn the meat, top to bottom." if wet else "Turn and rub it anew."))
        if wet:
            words = (
                "Look at the brine, smell it, take its °SAL and °C; ropy or sour brine is thrown away, not topped up."
            )
            found.append(Task(f"brine check {number}", at, words))
        at, number = at + TURN_EVERY_S, number + 1
    found.append(Task("take out", plan.cure_s, "The cure ends; look and smell, then go on."))
    if plan.soak_s > 0:
        found.append(Task("soak", plan.cure_s + plan.soak_s, "In cold water, in the cold room; log water and hours."))
    return tuple(found)


def scaled_plan(plan: Plan, factor: float) -> Plan:
    """Return the plan for so many times the meat, its brine scaled alike: the strength and the nitrite stay.

    Raises
    ------
    ValueError
        If the factor is not above zero.
    """
    if not (factor > 0 and math.isfinite(factor)):
        raise ValueError("a plan is scaled by a number above zero")
    names = ("meat_kg", "water_kg", "salt_kg", "sugar_kg", "curing_salt_kg")
    return replace(plan, **{name: round(getattr(plan, name) * factor, 6) for name in names})


def for_more_meat(plan: Plan, meat_kg: float) -> Plan:
    """Return the plan with other meat in the same brine: that must still cover it, and nitrite is reckoned anew."""
    return replace(plan, meat_kg=meat_kg)


def is_refused(found: Iterable[Answer]) -> bool:
    """Return whether anything of it cannot work."""
    return any(answer.tone is Tone.REFUSED for answer in found)

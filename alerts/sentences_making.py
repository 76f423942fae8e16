"""Every sentence in which a finding about nitrite, salt or an over-long cure is told. Pure: no clock, no I/O.

What a sentence says only where it is known stands in `more_words`, so that a missing figure is never printed as one.
"""

import math
from collections.abc import Mapping

_Figures = Mapping[str, float | int | str | None]

SAID_OF_MAKING = {
    "e-8 none": "No curing salt went in, by the plan and as made: no nitrite.",
    "e-8 within": "Nitrite: {as_made} as made, {by_plan} by the plan ({how}). The limit for {class} is "
    "{limit} {unit}; the class was {chosen_by}.",
    "e-8 reject": "Nitrite: {as_made} as made ({how}), more than twice the limit for {class}, {limit} {unit}. "
    "So much may be poison: nobody tastes it.",
    "e-8 over as made": "Nitrite: {as_made} as made ({how}), over the limit for {class}, {limit} {unit}. {mend}",
    "e-8 over by plan": "Nitrite: {by_plan} by the plan ({how_planned}), over the limit for {class}, {limit} "
    "{unit}; {as_made} as made. Such a plan is refused: correct it, and have it signed.",
    "e-8 may be over": "Nitrite: {as_made} as made, {by_plan} by the plan ({how}); {chosen_by}. It may be "
    "over: of {class}, the strictest limit is {limit} {unit}. Choose the class, and have it signed.",
    "e-8 too little": "Nitrite: {as_made} as made, {by_plan} by the plan: less than half of what was meant went in. "
    "Cure it anew or cook it; an approver signs.",
    "e-8 methods differ": "Nitrite: by Method One, on which the plan rests, {method_one_ppm} at a measured pick-up of "
    "{pickup_percent} %; by Method Two {method_two_ppm}, over the limit for {class}, {limit} {unit}. An approver gives "
    "the reason before it is released.",
    "e-8 no class": "Nitrite: {as_made} as made, {by_plan} by the plan ({how}), but {chosen_by}, so its limit "
    "cannot be told. It may be {class}. Choose the class of product.",
    "e-8 not entered": "Nitrite as made cannot be told; not entered: {missing}. Take it from the bag and the scale.",
    "e-8 plan says too little": "Nitrite: {as_made} as made; by the plan it cannot be told, which does not say: "
    "{missing}.",
    "e-8 out of scope": "Out of scope, {class}: nothing here judges it, and such a plan is refused.",
    "e-8 residual not measured": "Nitrite: {as_made} as made. For {class} only what remains is bounded, at most "
    "{limit} {unit}: it cannot be told until a laboratory has measured it.",
    "e-8 residual over": "Nitrite that remains: {residual} {unit} ({laboratory}), over the limit for {class}, "
    "{limit} {unit}.",
    "e-8 residual within": "Nitrite that remains: {residual} {unit} ({laboratory}); the limit for {class} is {limit} "
    "{unit}.",
    "e-8 nitrate within": "Nitrate: {nitrate_made} as made; the limit for {class} is {nitrate_limit} {nitrate_unit}.",
    "e-8 nitrate over": "Nitrate: {nitrate_made} as made, {nitrate_planned} by the plan, over the limit for {class}, "
    "{nitrate_limit} {nitrate_unit}.",
    "e-8 nitrate not said": "Whether nitrate went in, and how much, cannot be told; for {class} the limit is "
    "{nitrate_limit} {nitrate_unit}. Take it from the bag of the curing salt.",
    "e-8 protected": "Nitrite: {as_made} as made, at least {protected_limit} ppm: it counts as nitrite-protected when "
    "it is cooled.",
    "e-8 not protected": "Nitrite: {as_made} as made, less than {protected_limit} ppm: not nitrite-protected. After "
    "cooking cool it by the general rule, in 2 h and 4 h; in a sealed pack nitrite holds nothing back.",
    "e-8 protection not known": "Whether it is nitrite-protected cannot be told. After cooking cool it by the general "
    "rule, in 2 h and 4 h.",
    "e-9 brine": "Brine: {salt_as_made} as made, {salt_by_plan} by the plan (salt over salt and water).",
    "e-9 brine weak": "Brine: {salt_as_made} as made, {salt_by_plan} by the plan, under {limit} % (salt over salt and "
    "water): weak for a cure. Enter why.",
    "e-9 brine saturated": "Brine: {salt_as_made} as made, over {limit} %: no more dissolves. Some of the salt lies on "
    "the bottom; weigh again, or add water, enter it and have it signed.",
    "e-9 plan saturated": "Brine: {salt_by_plan} by the plan, over {limit} %: no more dissolves. Such a plan is "
    "refused: correct it, and have it signed.",
    "e-9 brine measured": "Brine: {salt_measured} % measured ({measured_by}); what went in was not entered.",
    "e-9 brine measured weak": "Brine: {salt_measured} % measured ({measured_by}), under {limit} %: weak for a cure. "
    "Enter why.",
    "e-9 brine not known": "How strong the brine is cannot be told: salt or water was not entered. What a salometer "
    "shows counts sugar as salt.",
    "e-9 meat": "Salt in the meat's water once it has evened out: {salt_as_made} as made, {salt_by_plan} by the plan.",
    "e-9 meat measured": "Salt in the meat's water: {salt_measured} % ({measured_by}); {salt_as_made} was to be "
    "expected as made.",
    "e-9 meat little as made": "Salt in the meat's water once it has evened out: {salt_as_made} as made, under {limit} "
    "%; eaten uncooked, salt does not hold back what grows in the cold. Enter what does.",
    "e-9 meat little by plan": "Salt in the meat's water once it has evened out: {salt_by_plan} by the plan, under "
    "{limit} %; eaten uncooked, salt does not hold back what grows in the cold. Enter what does.",
    "e-9 meat little measured": "Salt in the meat's water: {salt_measured} % ({measured_by}), under {limit} %; eaten "
    "uncooked, salt does not hold back what grows in the cold. Enter what does.",
    "e-9 meat too little as made": "Salt in the meat's water once it has evened out: {salt_as_made} as made, under "
    "{limit} %: too little to be eaten uncooked. Cook it, or salt it anew; an approver signs.",
    "e-9 meat too little by plan": "Salt in the meat's water once it has evened out: {salt_by_plan} by the plan, under "
    "{limit} %: too little to be eaten uncooked. Such a plan is refused: correct it, and have it signed.",
    "e-9 meat too little measured": "Salt in the meat's water: {salt_measured} % ({measured_by}), under {limit} %: too "
    "little to be eaten uncooked. Cook it, or salt it anew; an approver signs.",
    "e-9 meat in excess": "How much of the salt went in cannot be told of a cure in excess: have the salt of the meat "
    "measured.",
    "e-9 meat not known": "How much salt the meat ends with cannot be told: not all that went in was entered.",
    "e-10 sealed": "Tub {tub}: sealed{above} for {sealed_days}; the longest is {longest_days}.",
    "e-10 sealed cannot tell": "Tub {tub}: sealed{above} for at most {sealed_days}, part of the time being unknown; "
    "the longest is {longest_days}.",
    "e-10 sealed too long": "Tub {tub}: sealed{above} for {sealed_days}; without something that holds botulinum "
    "back throughout, {longest_days} is the longest. Salt: {salt_as_made} of the meat's water once it has evened "
    "out, and nothing before. Leave it sealed and cold.",
    "e-10 factor shown": "Tub {tub}: sealed{above} for {sealed_days}, longer than {longest_days}; by the plan "
    "{factor} holds botulinum back, and it was measured.",
    "e-10 factor not measured": "Tub {tub}: sealed{above} for {sealed_days}, longer than {longest_days}; by the "
    "plan {factor} holds botulinum back, and nobody has measured that it does. Measure it.",
    "e-10 plan too long": "The plan keeps it sealed for {plan_days}; above the line, without something that holds "
    "botulinum back throughout, {longest_days} is the longest. Salt: {salt_as_made} of the meat's water once it has "
    "evened out, and nothing before. It will be held then.",
    "e-10 vessel bare": "It stands in bare {vessel}: salt and nitrite eat into it, and it goes into the meat (by "
    "practice, no published figure). Move it into food-grade plastic or glass; an approver decides about the meat.",
    "e-10 vessel stainless": "In stainless steel for {cure_days}, longer than {longest_days}: salt pits it in "
    "time. Look at the vessel, and move it into plastic or glass.",
    "e-10 over long": "In the cure for {cure_days}; planned were {plan_days}. It may be too salt and too firm: "
    "look at it.",
}

NOT_RECKONED = "a figure that cannot be reckoned"
DILUTE = "Dilute or replace the brine, enter the new masses so that it is reckoned anew, and have it signed."
WEIGH_AGAIN = "Enter what was really weighed if the sheet is wrong; otherwise an approver decides."


def more_words(figures: _Figures) -> dict[str, str]:
    """Return what the sentences of a making say beside its figures: masses that may be unknown, and both methods."""
    unit = str(figures.get("unit") or "ppm")

    def ppm(key: str, unit: str = unit) -> str:
        value = figures.get(key)
        if value is None:
            return NOT_RECKONED
        return f"{value:g} {unit}" if value else "none"

    def percent(key: str, most: str) -> str:
        value, end = figures.get(key), figures.get(most)
        if value is None or end is None:
            return NOT_RECKONED
        return f"{value:g} %" if value == end else f"{value:g} to {end:g} %"

    def how(one: str, two: str) -> str:
        if figures.get(one) is None:
            return "all that is rubbed on, over the green meat"
        injected = "what was injected included, " if figures.get("injected") else ""
        if figures.get("by_one"):
            return f"{injected}by Method One at a measured {figures['pickup_percent']:g} %; by Method Two {ppm(two)}"
        return f"{injected}by Method Two; by Method One at {figures['pickup_percent']:g} % it would be {ppm(one)}"

    def days(key: str) -> str:
        minutes = figures.get(key)
        if not isinstance(minutes, int | float):
            return NOT_RECKONED
        # Below two days people count hours; above, tenths of a day, cut off so that a line is never said to be reached.
        return f"{minutes / 60:.0f} h" if minutes < 2880 else f"{math.floor(minutes / 144) / 10:g} days"

    nitrate_unit = str(figures.get("nitrate_unit") or "ppm")
    return {
        "as_made": ppm("made"),
        "by_plan": ppm("planned"),
        "how": how("method_one", "method_two"),
        "how_planned": how("planned_method_one", "planned_method_two"),
        "method_one_ppm": ppm("method_one"),
        "method_two_ppm": ppm("method_two"),
        "mend": WEIGH_AGAIN if figures.get("method_one") is None else DILUTE,
        **{f"{key}_days": days(f"{key}_minutes") for key in ("sealed", "longest", "plan", "cure")},
        "salt_as_made": percent("salt_made", "salt_made_most"),
        "salt_by_plan": percent("salt_planned", "salt_planned"),
        "nitrate_made": ppm("nitrate", nitrate_unit),
        "nitrate_planned": ppm("planned_nitrate", nitrate_unit),
    }

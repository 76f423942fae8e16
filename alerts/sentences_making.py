"""Every sentence in which a finding about nitrite, salt or an over-long cure is told. Pure: no clock, no I/O.

What a sentence says only where it is known stands in `more_words`, so that a missing figure is never printed as one.
"""

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
}

NOT_RECKONED = "a figure that cannot be reckoned"
DILUTE = "Dilute or replace the brine, enter the new masses so that it is reckoned anew, and have it signed."
WEIGH_AGAIN = "Enter what was really weighed if the sheet is wrong; otherwise an approver decides."


def more_words(figures: _Figures) -> dict[str, str]:
    """Return what the sentences of a making say beside its figures: masses that may be unknown, and both methods."""
    unit = str(figures.get("unit") or "ppm")

    def ppm(key: str, unit: str = unit) -> str:
        value = figures.get(key)
        return NOT_RECKONED if value is None else f"{value:g} {unit}"

    def how(one: str, two: str) -> str:
        if figures.get(one) is None:
            return "all that is rubbed on, over the green meat"
        injected = "what was injected included, " if figures.get("injected") else ""
        if figures.get("by_one"):
            return f"{injected}by Method One at a measured {figures['pickup_percent']:g} %; by Method Two {ppm(two)}"
        return f"{injected}by Method Two; by Method One at {figures['pickup_percent']:g} % it would be {ppm(one)}"

    nitrate_unit = str(figures.get("nitrate_unit") or "ppm")
    return {
        "as_made": ppm("made"),
        "by_plan": ppm("planned"),
        "how": how("method_one", "method_two"),
        "how_planned": how("planned_method_one", "planned_method_two"),
        "method_one_ppm": ppm("method_one"),
        "method_two_ppm": ppm("method_two"),
        "mend": WEIGH_AGAIN if figures.get("method_one") is None else DILUTE,
        "nitrate_made": ppm("nitrate", nitrate_unit),
        "nitrate_planned": ppm("planned_nitrate", nitrate_unit),
    }

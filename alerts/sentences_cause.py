"""What is said of the likely cause of a warm room, and what that makes the first thing to look at. Pure.

Never a certainty: the words say what it looks like and what in the record speaks for it.
"""

from collections.abc import Callable, Mapping

from collector.sample import Instant

Figures = Mapping[str, float | int | str | None]

_LOOKS_LIKE = {
    "door": "Looks like an open door: warm air has come in since {cause_at}.",
    "defrost": "Looks like a defrost that does not end: heated on and on, or again and again, since {cause_at}.",
    "setting": "Looks like the setting: it cools as before, but {cause_k} °C higher since about {cause_at}.",
    "creep": "Looks like a setting that creeps: it cools as before, without a step within the day, and too warm.",
    "drift or creep": "Looks like a setting that creeps, or a sensor that drifts: its level has risen for days.",
    "power": "Looks like a power cut: nothing was heard from {cause_at}, and it was warm when it was heard again.",
    "cooling": "Looks like cooling that fails: it has not cooled in turns as before since {cause_at}.",
}
_LEADS = {
    "door": "Is the door shut? Look at its seal and what stands in it.",
    "defrost": "Is the defrost heater on? End the defrost at the controller.",
    "setting": "Read the set point: was it turned?",
    "creep": "Read the set point; is the coil iced over?",
    "drift or creep": "Read the set point; measure by hand beside the sensor.",
    "power": "Has it power? Did the compressor start again?",
    "cooling": "Does the compressor run? Does the fan turn? Is the coil iced over?",
}
CAUSES = tuple(_LOOKS_LIKE)
CAUSE_FIRST = {
    "defrost_stays": "{unit_name}: heated far longer or more often than for a defrost since {since_at}, by its air "
    "({air_c:.1f} °C). {tubs_text}",
    "defrost_stays_returned": "{unit_name}: no longer heated, by its air ({air_c:.1f} °C).",
    "weak_cooling": "{unit_name}: cools in fewer and slower turns than the day before, since about {since_at}. "
    "Air {air_c:.1f} °C. {tubs_text}",
    "weak_cooling_returned": "{unit_name}: cools about as it did the day before, air {air_c:.1f} °C.",
    "door_seems_open": "{unit_name}: its door seems to stand open since {since_at}, by its air ({air_c:.1f} °C). "
    "{tubs_text}",
    "door_open_returned": "{unit_name}: door shut, or no longer seen to be open.",
}
CAUSE_STEPS = {
    "defrost_stays": ("Is the defrost heater on? End the defrost at the controller.", "Keep the door shut."),
    "weak_cooling": (
        "Does the fan turn? Is the coil iced over?",
        "Does the door close well?",
        "Is the condenser clean and free?",
        "Have the compressor looked at.",
    ),
}
CAUSE_TITLES = {"defrost_stays": "Defrost does not end", "weak_cooling": "Cooling grows weak"}
DOUBTED = "It may be the sensor and not the room: measure by hand beside it."


def cause_text(parameters: Figures, clock: Callable[[Instant], str]) -> str:
    """Return what is likely behind it, and why that is thought; empty where the record does not say."""
    words = _LOOKS_LIKE.get(str(parameters.get("cause") or ""))
    if words is None:
        return DOUBTED if parameters.get("cause_doubted") else ""
    at, shift = parameters.get("cause_at"), parameters.get("cause_k")
    return words.format(
        cause_at=clock(float(at)) if isinstance(at, (int, float)) else "an unknown time",
        cause_k=f"{shift:.1f}" if isinstance(shift, (int, float)) else "some",
    )


def leading_step(parameters: Figures) -> tuple[str, ...]:
    """Return what to look at before anything else, given the likely cause."""
    lead = _LEADS.get(str(parameters.get("cause") or ""))
    return (lead,) if lead is not None else ()

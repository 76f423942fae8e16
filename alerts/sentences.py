"""Every sentence a person is told about an alarm, as (key, parameters), in the site's own time. Pure: no clock, no I/O.

The words follow three rules: the first line can be read on a locked screen; nothing is ever called good; and no
sentence says what is to become of the food, which is for a responsible person by day.
"""

import re
from collections.abc import Mapping
from datetime import UTC, datetime
from functools import partial
from zoneinfo import ZoneInfo

from alerts.sentences_cause import CAUSE_FIRST, CAUSE_STEPS, CAUSE_TITLES, cause_text, leading_step
from alerts.sentences_sensor import SENSOR_FIRST, SENSOR_STEPS, SENSOR_TITLES, ice_text
from alerts.sentences_silence import again_text, back_text, blind_text, could_text, left_text, of_site_text, silent_text
from alerts.sentences_watcher import (
    TROUBLE,
    WATCHER_FIRST,
    WATCHER_STEPS,
    WATCHER_TITLES,
    trouble_over_text,
    trouble_steps,
    trouble_text,
)
from collector.findings import Condition
from collector.kitchen import Alarm
from collector.sample import Instant

CAUTION = "Estimates only: local rules and the responsible person come first."
Figures = Mapping[str, float | int | str | None]

_FIRST = {
    "product_may_pass": "{unit_name}: meat may pass {limit_c:.1f} °C from {early_at} (estimate). "
    "Air {air_c:.1f} °C, {warm_text}. {tubs_text} Someone must go.",
    "product_has_passed": "{unit_name}: meat has been above {limit_c:.1f} °C since {since_at} "
    "(estimate {product_c:.1f} °C). Air {air_c:.1f} °C. {tubs_text} Someone must go.",
    "air_far_over": "{unit_name}: air above {air_limit_c:.1f} °C since {since_at}, now {air_c:.1f} °C. {tubs_text}",
    "product_freezing": "{unit_name}: meat may be freezing, at or below -1.5 °C since {since_at} (estimate). "
    "{lots_text} Look for ice in the brine and feel the meat.",
    "unwatched": "{unit_name} is unwatched: nothing heard since {since_at}. Someone must go and measure. "
    "{could_text} {tubs_text}",
    "channel_silent": "{unit_name}: no reading from {channels} since {since_at}. {blind_text}",
    "warm_level": "{unit_name}: meat has been just below {limit_c:.1f} °C, or above it, since {since_at} "
    "(estimate {product_c:.1f} °C). Air {air_c:.1f} °C. {lots_text}",
    "warm_level_returned": "{unit_name}: meat is no longer close to {limit_c:.1f} °C (estimate). Air {air_c:.1f} °C.",
    "above_usual": "{unit_name}: air {above_c:.1f} °C warmer than is usual for this unit, for half a day "
    "(mean {level_c:.1f} °C, usually {usual_c:.1f} °C). {tubs_text}",
    "above_usual_returned": "{unit_name}: the air is back near its usual level, or what is usual is no longer known.",
    "sensor_stuck": "{unit_name}: {channels} {has} read the same since {since_at}. "
    "What is read may not be what the air does.",
    "sensor_jumps": "{unit_name}: {channels} jump{s} to and fro. What is read cannot be relied on.",
    "sensor_unit": "{unit_name}: {channels} seem{s} to read in °F where °C is expected. "
    "What is read cannot be used as it is.",
    "sensors_disagree": "{unit_name}: {channels} have been more than 1.5 °C apart for two hours. "
    "Only measuring by hand can tell which of them is right.",
    "door_open": "{unit_name}: door open since {since_at}. {tubs_text}",
    "sensor_stuck_returned": "{unit_name}: {channels} move{s} again, or {is_} no longer heard.",
    "sensor_jumps_returned": "{unit_name}: {channels} {has} not jumped for a day, or {is_} no longer heard.",
    "sensor_unit_returned": "{unit_name}: {channels} no longer read{s} in °F, or {is_} no longer heard.",
    "sensors_disagree_returned": "{unit_name}: {channels} agree again, or one of them is no longer heard.",
    "nothing_arrives": "Nothing has arrived from any unit{of_site_text} since {since_at}: power, network or broker. "
    "No cold room{of_site_text} is watched. Someone must go.{left_text}",
    "units_silent": "Power or network: nothing heard from {silent_text} since {since_at}. Someone must go.{left_text}",
    "product_warm_returned": "{unit_name}: back, air {air_c:.1f} °C. {over_text}",
    "product_warm_emptied": "{unit_name}: no meat stands in it any more; air {air_c:.1f} °C. {over_text}",
    "emptied": "{unit_name}: no meat stands in it any more; air {air_c:.1f} °C.",
    "air_far_over_returned": "{unit_name}: air is down to {air_c:.1f} °C.",
    "product_freezing_returned": "{unit_name}: meat is above -1.5 °C again (estimate). Check the batches for ice.",
    "unwatched_returned": "{unit_name}: readings arrive again; air {air_c:.1f} °C. "
    "What happened meanwhile counts as unknown.",
    "channel_silent_returned": "{unit_name}: every sensor is heard again.",
    "out_of_service": "{unit_name}: out of service since {out_since_at} ({reason}). "
    "Nothing stands in it, and nothing of it is told.",
    "nothing_in_service": "Every unit is out of service since {out_since_at}. Nothing stands in them.",
    "nothing_arrives_returned": "Readings arrive again{again_text}. What happened meanwhile counts as unknown.",
    "units_silent_returned": "Power or network: no longer several units at once. {back_text} "
    "What happened meanwhile counts as unknown.",
    **SENSOR_FIRST,
    **CAUSE_FIRST,
    **WATCHER_FIRST,
}

_FIRST_STEPS = {
    "product_warm": (
        "Is the door shut? Has it power? Does the fan turn?",
        "Keep the door shut.",
        "Put a probe in the brine and enter what it reads.",
        "Move tubs only if it still rises after 30 minutes: to a unit for raw meat, below ready-to-eat food, "
        "with room; over 20 kg takes two.",
    ),
    "air_far_over": ("Is the door shut? Has it power? Does the fan turn?", "Keep the door shut."),
    "product_freezing": ("Is the set point right?", "Look for ice; do not break tubs out."),
    "unwatched": (
        "Put a probe in the brine and enter what it reads.",
        "Has the sensor power? Is its gateway on the network?",
    ),
    "channel_silent": ("Battery, plug, reach of the radio: in that order.",),
    "warm_level": (
        "Is the set point right?",
        "Is the coil iced over? Does the compressor ever rest?",
        "Does the door close well?",
        "Put a probe in the brine and enter what it reads.",
    ),
    "above_usual": (
        "Was the set point turned, or much warm food put in?",
        "Is the coil iced over? Does the compressor ever rest?",
        "Does the door close well?",
    ),
    "sensor_stuck": (
        "Measure by hand and enter it.",
        "Take the sensor's power away for a moment; change it if it stays.",
    ),
    "sensor_jumps": ("Is its cable whole, its plug dry?", "Measure by hand and enter it."),
    "sensor_unit": ("Look at the sensor's settings: °C or °F?", "Measure by hand and enter it."),
    "sensors_disagree": ("Measure by hand beside each of them and enter it.", "Does one hang by the door or the coil?"),
    "door_open": ("Shut the door.", "Is the contact where it belongs?"),
    "nothing_arrives": ("Is there power in the kitchen?", "Is the network up? Does the broker run?"),
    "units_silent": (
        "Is there power where they stand?",
        "Has their gateway power? Is it on the network?",
        "Put a probe in the brine of the first one named and enter what it reads; keep the doors shut.",
    ),
    **SENSOR_STEPS,
    **CAUSE_STEPS,
    **WATCHER_STEPS,
}

TITLES = {
    "product_warm": "Meat warming",
    "air_far_over": "Air far above its limit",
    "product_freezing": "Meat freezing",
    "unwatched": "Unit unwatched",
    "channel_silent": "Sensor silent",
    "warm_level": "Meat close to its limit",
    "above_usual": "Warmer than usual",
    "sensor_stuck": "Sensor stuck",
    "sensor_jumps": "Sensor jumps",
    "sensor_unit": "Sensor in another unit of measure",
    "sensors_disagree": "Sensors disagree",
    "door_open": "Door open",
    "nothing_arrives": "Nothing arrives",
    "units_silent": "Several units silent",
    **SENSOR_TITLES,
    **CAUSE_TITLES,
    **WATCHER_TITLES,
}
"""What each kind of alarm is called; the kinds are explained in DEVELOPERS.md."""

KEYS = tuple(_FIRST)


_OF_DAYS = ("cure_stalled", "calibration_overdue", "out_of_service", "nothing_in_service")
"""Sentences about what may have begun days ago: their beginning is told with its day."""
_FAR_S = 20 * 3600.0
"""House: an instant so long after the beginning is told with its day, or it would be taken for that of today. [s]"""
_ONE = {"s": "s", "has": "has", "is_": "is"}
_SEVERAL = {"s": "", "has": "have", "is_": "are"}
"""How a verb goes with one channel, and with several."""


def clock_text(at: Instant | None, zone: str, *, day: bool = False) -> str:
    """Return an instant as people of the site read it: `03:10`, with the day where it is asked for."""
    if at is None:
        return "an unknown time"
    local = datetime.fromtimestamp(at, UTC).astimezone(ZoneInfo(zone))
    return local.strftime("%a %d %b %H:%M" if day else "%H:%M")


def span_text(seconds: float) -> str:
    """Return a span as people say it: `2 h 10`, `25 min`."""
    minutes = round(seconds / 60.0)
    hours, rest = divmod(minutes, 60)
    return f"{hours} h {rest:02d}" if hours else f"{rest} min"


def sentence(key: str, parameters: Figures, zone: str) -> str:
    """Return the first line for a key, its instants in the site's time; a missing figure is said to be unknown."""
    shown: dict[str, object] = {**(_SEVERAL if ", " in str(parameters.get("channels")) else _ONE)}
    clock = partial(_told_clock, since=parameters.get("since_at"), zone=zone)
    for name, value in parameters.items():
        if name.endswith("_at"):
            at = float(value) if isinstance(value, (int, float)) else None
            shown[name] = clock_text(at, zone, day=True) if key in _OF_DAYS else clock(at)
        else:
            shown[name] = value if value is not None else _Unknown()
    shown["lots_text"] = _lots(parameters)
    shown["tubs_text"] = _tubs(parameters)
    shown["over_text"] = _over(parameters)
    shown["warm_text"] = _warm(parameters, shown.get("since_at", "an unknown time"))
    shown["could_text"], shown["blind_text"] = could_text(parameters, clock), blind_text(parameters, clock)
    shown["left_text"], shown["back_text"] = left_text(parameters, clock), back_text(parameters)
    shown["silent_text"] = silent_text(parameters)
    shown["again_text"] = again_text(parameters)
    shown["of_site_text"], shown["ice_text"] = of_site_text(parameters), ice_text(parameters, clock)
    shown["trouble_text"] = trouble_text(parameters, str(shown.get("since_at", "an unknown time")))
    shown["trouble_over_text"] = trouble_over_text(parameters)
    said = _FIRST[key].format_map(_Shown(shown)).replace("unknown °C", "unknown")
    return re.sub(" {2,}", " ", said).strip()


def pattern(key: str) -> str:
    """Return a sentence as the documents show it: without the name of the unit, and `…` wherever it is filled.

    >>> pattern("air_far_over_returned")
    'air is down to … °C.'
    """
    words = _FIRST[key].removeprefix("{unit_name}: ")
    for name, verb in _ONE.items():
        words = words.replace(f"{{{name}}}", verb)
    return re.sub(r"\{[^}]*\}", "…", words)


def _told_clock(at: Instant | None, *, since: object, zone: str) -> str:
    """Return an instant as people read it, with its day of the week where it is not clear without."""
    if at is None or not isinstance(since, (int, float)) or at - since < _FAR_S:
        return clock_text(at, zone)
    return f"{clock_text(at, zone, day=True)[:3]} {clock_text(at, zone)}"


class _Unknown:
    def __format__(self, spec: str) -> str:
        return "unknown"


class _Shown(dict[str, object]):
    def __missing__(self, key: str) -> object:
        return _Unknown()


def _warm(parameters: Figures, since: object) -> str:
    """Return what is known of the air of a unit whose meat may pass its limit."""
    told = {
        "unusual": "in its mean warmer than is usual for this unit",
        "no pause": f"above its own mean since {since}, longer than is usual",
        "back": "no longer above the limit",
    }
    return told.get(str(parameters.get("warmth")), f"above the limit since {since}")


def _tubs(parameters: Figures) -> str:
    count, lots = parameters.get("tubs"), parameters.get("lots")
    if not isinstance(count, int):
        return "What stands in it is not known."
    if not count:
        return "Nothing is curing in it."
    return f"{count} tub{'s' if count != 1 else ''} ({lots})."


def _lots(parameters: Figures, verb: str = "") -> str:
    """Return which lots are meant, in one short sentence; with a verb, its beginning."""
    lots = str(parameters.get("over_lots") or parameters.get("lots") or "")
    several = ", " in lots
    if verb:
        return f"Lots {lots} {verb}" if several else f"Lot {lots} {verb}s" if lots else f"What stood in it {verb}s"
    return f"Lot{'s' if several else ''} {lots}." if lots else ""


def _over(parameters: Figures) -> str:
    over_s, peak_c, limit_c = parameters.get("over_s"), parameters.get("peak_c"), parameters.get("limit_c")
    decide = f"{_lots(parameters, 'need')} a decision before use."
    if not isinstance(over_s, (int, float)) or not isinstance(limit_c, (int, float)) or not over_s:
        # Only an alarm that said *has passed* carries the estimate; what has left the unit was above all the same.
        if parameters.get("product_c") is not None:
            return f"Meat was above its limit (estimate). {decide}"
        upper_c = parameters.get("upper_c")
        if isinstance(upper_c, (int, float)) and isinstance(limit_c, (int, float)) and upper_c > limit_c:
            return f"Whether the meat passed its limit is unknown. {decide}"
        return "The meat did not pass its limit, by the estimate."
    peak = f", at most {peak_c:.1f}" if isinstance(peak_c, (int, float)) else ""
    return f"Meat was above {limit_c:.1f} °C for {span_text(float(over_s))}{peak} (estimate). {decide}"


def condition_text(condition: Condition, zone: str) -> str:
    """Return the first line of what a condition says."""
    return sentence(condition.sentence, condition.parameters, zone)


def alarm_text(alarm: Alarm, zone: str) -> str:
    """Return the line that stands for an alarm now: what it says, or how it ended."""
    if alarm.active:
        return condition_text(alarm.condition, zone)
    return sentence(alarm.return_sentence, {**alarm.condition.parameters, **alarm.return_parameters}, zone)


def first_steps(condition: Condition) -> tuple[str, ...]:
    """Return what to look at first, in order of evidence (rules 4.4)."""
    if condition.kind == TROUBLE:
        return trouble_steps(condition.parameters)
    lead, steps = leading_step(condition.parameters), _FIRST_STEPS.get(condition.kind, ())
    # What the likely cause makes the first question is not asked twice.
    asked = {question for step in lead for question in _questions(step)}
    rest = (" ".join(part for part in _questions(step) if part not in asked) for step in steps)
    return (*lead, *(step for step in rest if step))


def _questions(step: str) -> list[str]:
    """Return a step question by question."""
    return re.split(r"(?<=\?) ", step)


def looks_like(condition: Condition, zone: str) -> str:
    """Return what is likely behind a condition and why that is thought; empty where the record does not say."""
    return cause_text(condition.parameters, partial(clock_text, zone=zone))


def message(alarm: Alarm, zone: str, link: str = "", *, moving: str = "") -> tuple[str, str]:
    """Return the first line and the body that a person is told; `moving` says where tubs could go, if they must."""
    lines = []
    if alarm.active:
        lines.append(looks_like(alarm.condition, zone))
        lines += [f"{n}. {step}" for n, step in enumerate(first_steps(alarm.condition), 1)]
        lines.append(moving)
        if alarm.condition.likely_at is not None:
            likely = _told_clock(alarm.condition.likely_at, since=alarm.condition.since_at, zone=zone)
            lines.append(f"Meat is likely to pass its limit at {likely} (estimate).")
        lines.append(link and f"{'Say that you are going' if alarm.condition.wakes else 'Answer'}: {link}")
    lines.append(CAUTION)
    return alarm_text(alarm, zone), "\n".join(line for line in lines if line)


def drill_message() -> tuple[str, str]:
    """Return the first line and the body of a rehearsal: its first word says what it is (rules 4.7)."""
    first = "DRILL: Curevigil tries whether it reaches you. This is no alarm; nobody need go."
    return first, f"Tell whoever started the drill that this has arrived.\n{CAUTION}"

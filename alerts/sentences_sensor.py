"""What people are told of sensors, of the cold and of clocks: first lines, first steps, titles. Pure."""

from collections.abc import Callable, Mapping

SENSOR_FIRST = {
    "unwatched_unit": "{unit_name} is unwatched: {channels} seem{s} to read in °F since {since_at}, and no other "
    "sensor tells of it. Someone must go and measure. {could_text} {tubs_text}",
    "unwatched_late": "{unit_name} is unwatched: what arrives tells of {since_at} and before. "
    "Someone must go and measure. {could_text} {tubs_text}",
    "battery_low": "{unit_name}: battery of {channels} at {charge_pct} %, or falling towards its end.",
    "clock_wrong": "{unit_name}: for an hour readings of {channels} have borne times {lag_min} minutes in the past. "
    "The clock of the device is behind, or its readings come late.",
    "clock_doubted": "{unit_name}: {channels} tell{s} times that cannot be believed. "
    "The time of receipt stands in their place.",
    "calibration_overdue": "{unit_name}: the check of {channels} has been due since {since_at}. "
    "Until it is checked, nothing judged by it counts as within its limits.",
    "battery_low_returned": "{unit_name}: battery of {channels} is charged or changed, or no longer assigned.",
    "clock_wrong_returned": "{unit_name}: the times of {channels} can be believed again, or it is no longer heard.",
    "calibration_overdue_returned": "{unit_name}: no check is overdue.",
    "unwatched_stuck": "{unit_name} is unwatched: {channels} {has} read the same since {since_at}, and no other sensor "
    "tells of it. Someone must go and measure. {could_text} {tubs_text}",
    "too_cold": "{unit_name}: meat too cold, {product_c:.1f} °C (estimate), at 1.1 °C or below since {since_at}. "
    "Air {air_c:.1f} °C. {lots_text}{ice_text}",
    "cure_stalled": "{unit_name}: meat too cold to cure since {since_at} (estimate {product_c:.1f} °C). {lots_text} "
    "This time does not count as cure.",
    "too_cold_returned": "{unit_name}: meat is above 1.1 °C again (estimate). Check how much curing time was lost.",
    "cure_stalled_returned": "{unit_name}: warm enough to cure again (estimate). Check how much curing time was lost.",
    "sensor_elsewhere": "{unit_name}: {channels} went up within minutes at {since_at} and stayed, as no room does. "
    "It may hang in another place, and then it does not watch this unit.",
    "sensor_drift": "{unit_name}: {channels} {has} gone {way} by {moved_c:.1f} °C in {days} days, while the unit cools "
    "in turns as before. It may read wrong by that much.",
    "level_creeps": "{unit_name}: {channels} {has} gone {way} by {moved_c:.1f} °C in {days} days, while the unit cools "
    "in turns as before. The sensor drifts or the unit's setting creeps: only measuring by hand can tell.",
    "unit_creeps": "{unit_name}: every sensor has gone {way} by about {moved_c:.1f} °C in {days} days, while it cools "
    "in turns as before. The unit's setting creeps.",
    "sensor_elsewhere_returned": "{unit_name}: {channels} {is_} back at the usual level, or no longer heard.",
    "sensor_drift_returned": "{unit_name}: {channels} {is_} near the earlier level, or no longer heard. "
    "If nobody has measured by hand, it may still read wrong.",
    "level_creeps_returned": "{unit_name}: {channels} {is_} near the earlier level, or no longer heard. "
    "If nobody has measured by hand, what it was is unknown.",
}
SENSOR_STEPS = {
    "battery_low": ("Change the battery; enter a check if the sensor was opened.",),
    "clock_wrong": ("Set the clock of the device or of its gateway.", "Is its gateway holding readings back?"),
    "calibration_overdue": ("Check the sensor in melting ice, and enter what it showed.",),
    "too_cold": ("Is the set point right?", "Does the compressor ever stop?", "Look for ice in the brine."),
    "cure_stalled": ("Is the set point right?", "Put a probe in the brine and enter what it reads."),
    "sensor_elsewhere": ("Does the sensor hang where it belongs?", "Measure the unit by hand and enter it."),
    "sensor_drift": (
        "Measure by hand beside the sensor and enter it.",
        "Check the sensor in melting ice; change it if it is off.",
    ),
    "level_creeps": (
        "Measure by hand beside the sensor and enter it: that tells sensor and unit apart.",
        "Is the set point where it was? Is the coil iced over?",
    ),
}
SENSOR_TITLES = {
    "battery_low": "Battery low",
    "clock_wrong": "Clock wrong",
    "calibration_overdue": "Check overdue",
    "too_cold": "Meat too cold",
    "cure_stalled": "Cure stands still",
    "sensor_elsewhere": "Sensor in another place",
    "sensor_drift": "Sensor goes astray",
    "level_creeps": "Level creeps",
}


def ice_text(figures: Mapping[str, float | int | str | None], clock: Callable[[float | None], str]) -> str:
    """Return when meat would begin to freeze in this air; nothing where it would not."""
    at = figures.get("ice_at")
    return f" In this air it may begin to freeze from {clock(float(at))}." if isinstance(at, (int, float)) else ""

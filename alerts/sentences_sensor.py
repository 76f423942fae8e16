"""What people are told of sensors that measure another place or go astray: first lines, first steps, titles. Pure."""

SENSOR_FIRST = {
    "sensor_elsewhere": "{unit_name}: {channels} went up within minutes at {since_at} and stayed, as no room does. "
    "It may not hang where it belongs; then the unit is not watched by it.",
    "sensor_drift": "{unit_name}: {channels} has gone {way} by {moved_c:.1f} K in {days} days while the cycle stayed "
    "as it was. It may read wrong by so much.",
    "level_creeps": "{unit_name}: {channels} has gone {way} by {moved_c:.1f} K in {days} days while the cycle stayed "
    "as it was. The sensor drifts or the unit's setting creeps: only measuring by hand can tell.",
    "unit_creeps": "{unit_name}: every sensor has gone {way} by about {moved_c:.1f} K in {days} days while the cycle "
    "stayed as it was. The unit's setting creeps.",
    "sensor_elsewhere_returned": "{unit_name}: {channels} is back at its usual level, or is no longer heard.",
    "sensor_drift_returned": "{unit_name}: {channels} is near its earlier level, or is no longer heard. "
    "If nobody has measured by hand, it still may read wrong.",
    "level_creeps_returned": "{unit_name}: {channels} is near its earlier level, or is no longer heard. "
    "If nobody has measured by hand, what it was is unknown.",
}
SENSOR_STEPS = {
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
    "sensor_elsewhere": "Sensor in another place",
    "sensor_drift": "Sensor goes astray",
    "level_creeps": "Level creeps",
}

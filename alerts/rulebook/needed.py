"""What the rules ask of every rulebook by name: limits and their kind of unit, rules, tables, ways to cool."""

from alerts.rulebook.curves import CURVES

NEEDED = {
    "cold.limit": "°C", "cold.base": "°C", "excursion.shortest": "time", "excursion.join": "time",
    "excursion.hold": "time", "warm.line": "°C", "warm.hold": "time", "start.brine_time": "time",
    "start.brine_age": "time", "start.meat_advice": "°C", "start.meat_highest": "°C", "start.meat_time": "time",
    "cure.stop": "°C", "cure.full": "°C", "cure.activation": "kJ/mol", "cure.slack": "time", "cure.slack_share": "%",
    "cure.longest": "%", "sealed.longest": "time", "ice.line": "°C", "ice.time": "time", "gap.intervals": "intervals",
    "gap.shortest": "time", "sensor.uncertainty": "K", "decide.within": "time", "thickness.airless": "mm",
    "growth.listeria_monocytogenes": "time", "growth.salmonella": "time", "growth.factor": "1",
    "nitrite.protected": "ppm NaNO2", "nitrite.reject_factor": "1", "nitrite.least_share": "%",
    "nitrite.method_one_pickup": "%", "scale.stop_factor": "1", "salt.aqueous_warn": "%", "salt.aqueous_least": "%",
    "brine.weakest": "%", "brine.saturation": "%", "vessel.stainless_longest": "time", "release.aw": "aw",
    "cook.come_up": "time", "cooling.first_stage": "time", "cooling.whole": "time", "cooling.cured_first": "time",
    "cooling.cured_second": "time", "parasite.thin": "mm", "check.notice": "time", "check.tolerance_fixed": "K",
    "check.tolerance_hand": "K", "check.interval_fixed": "time", "check.interval_hand": "time",
    "neighbour.difference": "K", "neighbour.time": "time", "scale.divisions": "divisions",
}  # fmt: skip
"""Limits, and their kind of unit; `time` is s, min, h or d."""
NEEDED_RULES = (
    "e-0", "e-1", "e-2", *CURVES, "e-5", "e-5 ice", "e-6", "e-7", "e-8", "e-9", "e-10", "e-11", "e-12",
)  # fmt: skip
"""Rules; each time budget is a rule `e-3` of its own beside them."""
NEEDED_TABLES = {
    "tables": (
        "cook.whole", "cook.opened", "cook.poultry", "parasite.freeze_thin", "parasite.freeze_thick", "parasite.heat",
    ),
    "cooling": ("two_stage", "cured"),
}  # fmt: skip

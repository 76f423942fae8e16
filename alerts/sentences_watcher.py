"""What people are told of a watcher that has died, by the one that minds it. Pure: no clock, no I/O."""

WATCHER_FIRST = {
    "watcher_silent": "Curevigil at {unit_name} does not answer {since_text}. No cold room is watched. {detail_text}",
    "watcher_unwell": "Curevigil at {unit_name} says that it does not work, {since_text}. "
    "Take it that no cold room is watched.",
    "watcher_gone_returned": "Curevigil at {unit_name} answers again, seen at {answered_text}. "
    "What happened in the cold rooms meanwhile may be unknown: look at its first page.",
}

WATCHER_STEPS = {
    "watcher_gone": (
        "Look at the cold rooms' own thermometers, now and every half hour; keep the doors shut.",
        "Is there power in the kitchen? Is the computer on that Curevigil runs on?",
        "Is the network up? Perhaps only the line between is broken; until somebody has looked, nothing is watched.",
        "Does the service run (systemctl status curevigil)? Start it, and read the last lines of its log.",
        "If it answers, sign in: its pages name the part that has failed.",
    ),
}

WATCHER_TITLES = {"watcher_gone": "Watcher gone"}

"""What people are told of a watcher: by the one that minds it, and by itself of its own troubles. Pure."""

from collector.findings import Parameters

TROUBLE = "watcher_trouble"
STORE, CANARY, WAYS, DISK, CLOCK = "store", "canary", "ways", "disk", "clock"
TROUBLES = (STORE, CANARY, WAYS, DISK, CLOCK)
"""The watcher's own troubles, the worst first."""
_NOW = {
    STORE: "readings cannot be kept since {since_at}. No cold room is watched. Someone must go.",
    CANARY: "what it sends itself through the broker does not come back. Readings may be late or lost unseen.",
    WAYS: "{ways} failed three times in a row. Whoever is called that way may not hear of an alarm.",
    DISK: "only {free_percent} % of the disk is free. When it is full, no reading can be kept.",
    CLOCK: "the clock of its computer has stepped. Times of readings and alarms around then are doubtful.",
}
_OVER = {
    STORE: "readings are kept again",
    CANARY: "what it sends through the broker comes back again",
    WAYS: "{ways}: taken again, no longer used, or not tried for a week",
    DISK: "the disk has room again",
    CLOCK: "the clock has not stepped again",
}
_STEPS = {
    STORE: "Measure the cold rooms by hand and enter it on paper; keep the doors shut.",
    CANARY: "Does the broker run, and may Curevigil write there? /api/v1/health says why it does not come back.",
    WAYS: "Try every way by the button under How people are reached; mend the address, or the gateway's account.",
    DISK: "Make room on the disk of the data folder; what is in the folder itself stays.",
    CLOCK: "Is the computer's clock set by the network? Is the time on it right?",
}

WATCHER_FIRST = {
    "watcher_silent": "Curevigil at {unit_name} has not answered {since_text}. "
    "Take it that no cold room is watched. Someone must look. {detail_text}",
    "watcher_unwell": "Curevigil at {unit_name} says that it does not work, {since_text}. "
    "Take it that no cold room is watched. Someone must look.",
    TROUBLE: "Curevigil itself: {trouble_text}",
    f"{TROUBLE}_returned": "Curevigil itself: {trouble_over_text}. What happened meanwhile may count as unknown.",
    "watcher_gone_returned": "Curevigil at {unit_name} answers again, seen at {answered_text}. "
    "What happened in the cold rooms meanwhile may be unknown: look at its first page.",
}

WATCHER_STEPS = {
    TROUBLE: tuple(_STEPS[code] for code in TROUBLES),
    "watcher_gone": (
        "Look at the cold rooms' own thermometers, now and every half hour; keep the doors shut.",
        "Is there power in the kitchen? Is the computer on that Curevigil runs on?",
        "Is the network up? Perhaps only the line between is broken; until somebody has looked, nothing is watched.",
        "Does the service run (systemctl status curevigil)? Start it, and read the last lines of its log.",
        "If it answers, sign in: its pages name the part that has failed.",
    ),
}

WATCHER_TITLES = {"watcher_gone": "Watcher gone", TROUBLE: "Watcher in trouble"}


def codes(parameters: Parameters) -> tuple[str, ...]:
    """Return which troubles of its own a condition names, the worst first; empty for any other condition."""
    named = str(parameters.get("troubles") or "").split()
    return tuple(code for code in TROUBLES if code in named)


def trouble_text(parameters: Parameters, since: str) -> str:
    """Return what is said of the troubles that stand; `since` is when the first began, as people read it."""
    return _joined(_NOW, parameters, since) or "something is wrong with it."


def trouble_over_text(parameters: Parameters) -> str:
    """Return what is said of the same troubles once none of them stands."""
    return _joined(_OVER, parameters, "", "; ") or "what was told of it is over"


def trouble_steps(parameters: Parameters) -> tuple[str, ...]:
    """Return what to look at first for the troubles that stand; for none in particular, all of it."""
    return tuple(_STEPS[code] for code in codes(parameters)) or WATCHER_STEPS[TROUBLE]


def _joined(words: dict[str, str], parameters: Parameters, since: str, between: str = " Also: ") -> str:
    ways = parameters.get("ways") or "a way to reach people"
    free = parameters.get("free_percent")
    percent = f"{free:.1f}" if isinstance(free, (int, float)) else "an unknown part of 100"
    shown = {"ways": ways, "free_percent": percent, "since_at": since}
    return between.join(words[code].format_map(shown) for code in codes(parameters))

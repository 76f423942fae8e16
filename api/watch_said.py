"""How the watch is doing, in a sentence for people and in numbers."""

from alerts.pulse import Beat, Pulse
from alerts.signs import UNTRIED_MOST_S
from collector.health import State


def watch_said(pulse: Pulse, now_s: float, *, alive: bool, untold_s: float = 0.0) -> tuple[State, str]:
    """Return the state of the watch and what is said of it; `now_s` is of the machine's monotonic clock.

    `untold_s` is for how long it was tried in vain to tell anybody of something that wakes people.
    """
    if not alive:
        return State.FAILED, "The watch has stopped; restart the service."
    beat = pulse.beat(now_s)
    if beat is Beat.STALE:
        why = f" It last stumbled: {pulse.last_failure}." if pulse.last_failure else ""
        what = pulse.stale(now_s)
        return State.FAILED, f"The watch hangs: for {pulse.bound_s:.0f} s {what}.{why} Restart the service."
    if untold_s >= UNTRIED_MOST_S:
        return (
            State.FAILED,
            f"An alarm stands, and for {untold_s:.0f} s every way to tell anybody has failed. Go and look.",
        )
    if beat is Beat.STARTING:
        return State.STARTING, "The watch begins: not every unit has been looked at yet."
    if pulse.last_failure:
        return State.DOUBTFUL, f"The watch goes on; it last stumbled: {pulse.last_failure}."
    return State.WORKS, "Every unit is looked at every ten seconds."


def watch_numbers(pulse: Pulse, now_s: float) -> dict[str, float]:
    """Return the numbers of the watch; what has never happened has no age."""
    numbers: dict[str, float] = {
        "ticks": pulse.ticks,
        "failures": pulse.failures,
        "told": pulse.told,
        "tick_seconds": pulse.tick_took_s,
    }
    for name, turn in (("tick_age_seconds", pulse.tick), ("telling_age_seconds", pulse.round)):
        if turn.good_s is not None:
            numbers[name] = round(now_s - turn.good_s, 3)
    return numbers

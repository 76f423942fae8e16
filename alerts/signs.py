"""What must be seen before anybody outside is told that the watch goes on. Pure: no clock, no I/O."""

from dataclasses import dataclass

UNTRIED_MOST_S = 60.0
DISK_LEAST = 0.05
"""Reliability 4.3: a telling waits no longer than this, untried or in vain, and more than this share of the disk is
free. [s], [1]"""
STEPPED_S = 60.0
"""House: after the host's clock has stepped, nothing is vouched for so long. [s]"""


@dataclass(frozen=True, slots=True)
class Signs:
    """What is known of the program's own life at one instant."""

    canary_round: bool
    """Whether the last message of our own came round within 30 s."""
    untried_s: float
    """How long the oldest telling has been due without being tried. [s]"""
    disk_free: float | None
    """Share of the disk that is free, 0 to 1; None where that cannot be found out."""
    stepped_s: float | None
    """How long ago the host's clock was seen to step; None where it never was. [s]"""
    pulse_fresh: bool
    journal_written: bool
    untold_s: float = 0.0
    """For how long it has been tried in vain to tell anybody of something that wakes people. [s]"""


def missing(signs: Signs) -> tuple[str, ...]:
    """Return what stands against telling anybody that all goes on, in words; empty where nothing does.

    >>> missing(Signs(True, 0.0, 0.5, None, True, True))
    ()
    >>> missing(Signs(True, 0.0, None, None, True, False))
    ('how much of the disk is free is unknown', 'the journal cannot be written')
    """
    found = []
    if not signs.canary_round:
        found.append("no message of our own came round within 30 s")
    if signs.untried_s >= UNTRIED_MOST_S:
        found.append(f"somebody should have been told {signs.untried_s:.0f} s ago")
    if signs.untold_s >= UNTRIED_MOST_S:
        found.append(f"for {signs.untold_s:.0f} s nobody could be told of an alarm that wakes people")
    if signs.disk_free is None:
        found.append("how much of the disk is free is unknown")
    elif signs.disk_free <= DISK_LEAST:
        found.append(f"only {signs.disk_free:.1%} of the disk is free")
    if signs.stepped_s is not None and signs.stepped_s <= STEPPED_S:
        found.append("the clock of this machine has just stepped")
    if not signs.pulse_fresh:
        found.append("the watch or the telling is not fresh")
    if not signs.journal_written:
        found.append("the journal cannot be written")
    return tuple(found)

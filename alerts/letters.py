"""What goes to one person in one message: each waking alarm by itself, all that can wait as one list.

What was kept for the morning comes due at one instant, and is one list for each person and channel; so is what is told
by day in the same breath. Every alarm in it keeps its own record of having been told. Pure: no clock, no I/O.
"""

import math
from collections.abc import Sequence
from dataclasses import replace

from alerts.escalation import Telling
from alerts.occasions import quiet_until
from alerts.sentences import CAUTION, TITLES, alarm_text, first_steps
from collector.kitchen import Alarm, Kitchen
from collector.sample import Instant

Letter = tuple[Telling, ...]
"""What goes out together: one person, one channel, one alarm or several."""
NAMED_MOST = 2
"""House: so many are named in the first line, which is read on a locked screen."""


def letters(kitchen: Kitchen, tellings: Sequence[Telling]) -> list[Letter]:
    """Return what goes out together, in the order of the tellings; in a list, the least time left first."""
    found: dict[tuple[str, ...], list[Telling]] = {}
    for telling in tellings:
        alarm = kitchen.alarm(telling.alarm)
        waits = alarm is not None and alarm.active and not alarm.condition.wakes
        alone = () if waits else (telling.alarm, telling.occasion)
        found.setdefault((telling.person, telling.channel, *alone), []).append(telling)
    return [_in_order(kitchen, together) for together in found.values()]


def _in_order(kitchen: Kitchen, tellings: Sequence[Telling]) -> Letter:
    if len(tellings) == 1:
        return tuple(tellings)
    return tuple(sorted(tellings, key=lambda telling: _rank(kitchen.alarm(telling.alarm))))


def _rank(alarm: Alarm | None) -> tuple[float, bool, Instant]:
    if alarm is None:
        return (math.inf, True, math.inf)
    early_at = alarm.condition.early_at
    return (math.inf if early_at is None else early_at, not alarm.condition.judges_product, alarm.raised_at)


def heading(letter: Letter) -> Telling:
    """Return the telling that stands for a list on its way: the first, with the names of the others."""
    return replace(letter[0], others=tuple(telling.alarm for telling in letter[1:]))


def from_the_night(kitchen: Kitchen, alarm: Alarm) -> bool:
    """Return whether an alarm became worth telling in quiet hours, so that it had to wait for their end."""
    site = kitchen.site_of(alarm.condition.unit)
    since = alarm.changed_at if alarm.changed_at is not None else alarm.raised_at
    return site is not None and quiet_until(site, since) is not None


def list_line(alarm: Alarm, zone: str, link: str = "") -> str:
    """Return what a list says of one alarm: its first line, what to look at first, and where to answer."""
    steps = first_steps(alarm.condition)[:1]
    answer = (f"Answer: {link}",) if link else ()
    return "\n   ".join((alarm_text(alarm, zone), *steps, *answer))


def list_message(names: Sequence[str], lines: Sequence[str], *, morning: bool) -> tuple[str, str]:
    """Return the first line and the body of a list.

    >>> list_message(["Fridge: sensor silent", "Cellar: door open", "Chest: battery low"], ["a", "b", "c"], morning=True)[0]
    'For the morning, 3 alarms: Fridge: sensor silent; Cellar: door open; and 1 more. Nobody was woken for them.'
    """  # noqa: E501 - what is read is one line
    named = [*names[:NAMED_MOST], *([f"and {len(names) - NAMED_MOST} more"] if len(names) > NAMED_MOST else [])]
    begins = "For the morning, " if morning else ""
    ends = " Nobody was woken for them." if morning else ""
    numbered = [f"{n}. {line}" for n, line in enumerate(lines, 1)]
    return f"{begins}{len(names)} alarms: {'; '.join(named)}.{ends}", "\n".join((*numbered, CAUTION))


def short_name(kitchen: Kitchen, alarm: Alarm) -> str:
    """Return an alarm in a few words: `Fridge: sensor silent`."""
    unit = kitchen.units.get(alarm.condition.unit)
    title = TITLES.get(alarm.condition.kind, alarm.condition.kind)
    words = title[:1].lower() + title[1:]
    return f"{unit.name}: {words}" if unit is not None else title

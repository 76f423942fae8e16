"""Whether what is known of a unit is of now: late data tells of then, and never says that an alarm is over.

Pure: no clock, no I/O.
"""

from collections.abc import Collection, Mapping

from alerts.alarms import Key
from alerts.unit_watch import UnitWatch
from collector.findings import Condition
from collector.kitchen import Kitchen
from collector.sample import Instant

OF_THE_PRODUCT = ("temperature", "cold")
"""Categories of alarm that are over only by readings of now."""


def of_now(watch: UnitWatch, now: Instant) -> bool:
    """Return whether readings that were not late tell of a unit now: of its air, and of every tub in it."""
    air = [heard for heard in list(watch.channels.values()) if heard.is_air]
    if air and not any(heard.live(now) for heard in air):
        return False
    return all(any(heard.live(now) for heard in watch.telling_of(tub)) for tub in list(watch.tubs))


def cannot_end(
    kitchen: Kitchen, watches: Mapping[str, UnitWatch], broken: Collection[str], now: Instant
) -> frozenset[Key]:
    """Return the alarms of air and product that nothing fresh says are over: neither late data nor silence ends them.

    Where the meat was carried away, what was said of it ends all the same.
    """
    found = set()
    for alarm in kitchen.active_alarms():
        condition, watch = alarm.condition, watches.get(alarm.condition.unit)
        if watch is None or not _asks_for_now(condition) or not (watch.tubs or condition.kind == "air_far_over"):
            continue
        if condition.unit in broken or not of_now(watch, now):
            found.add(condition.key)
    return frozenset(found)


def _asks_for_now(condition: Condition) -> bool:
    return condition.category in OF_THE_PRODUCT or condition.kind == "unwatched"

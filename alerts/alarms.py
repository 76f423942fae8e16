"""The life of an alarm, in the states of ISA-18.2 / IEC 62682. Pure: no clock, no I/O."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace

from alerts.explained import WARM, named, settled
from alerts.sentences_watcher import TROUBLE, codes
from alerts.suspended import endings, held_back, in_service, out_of_service
from collector.events import AlarmChanged, AlarmRaised, AlarmReturned, Draft
from collector.events_watching import AlarmExplained
from collector.findings import Condition
from collector.kitchen import Alarm, Kitchen
from collector.sample import Instant

Key = tuple[str, str]
Figures = dict[str, float | int | str | None]


def worth_telling(before: Condition, after: Condition) -> bool:
    """Return whether a standing alarm has become something that must be told anew.

    A sentence that moved on (*may pass* to *has passed*, never back), more batches, more units behind one cause, other
    troubles of the watcher's own, what could wait and now needs a person, or a crossing that has come nearer by half
    an hour, the early and the likely one; figures that merely drift are seen on the page.
    """
    if set(after.lots) - set(before.lots) or (after.wakes and not before.wakes):
        return True
    if before.members and set(after.members) - set(before.members):
        return True
    if codes(after.parameters) != codes(before.parameters):
        return True
    if before.sentence != after.sentence:
        # Why nobody knows how warm the meat is may change to and fro; that nobody does is told once.
        return before.sentence != "product_has_passed" and before.kind != "unwatched"
    if before.early_at is None or after.early_at is None:
        return False
    return _nearer(before.early_at, after.early_at) and _nearer(before.likely_at, after.likely_at)


def _nearer(before_at: Instant | None, after_at: Instant | None) -> bool:
    """Return whether a crossing has come nearer by half an hour; one that was not to be expected has."""
    if after_at is None:
        return before_at is None
    return before_at is None or before_at - after_at >= 1800.0


def step(
    kitchen: Kitchen, conditions: Iterable[Condition], judged_units: Iterable[str], now: Instant,
    returns: Mapping[Key, Figures] | None = None, stays: Collection[Key] = (),
) -> list[Draft]:  # fmt: skip
    """Return what happened to the alarms of the judged units, given everything that holds in them now.

    A condition without a standing alarm raises one; a standing alarm without its condition returns to normal. Alarms
    of units that were not judged are left alone; of a unit out of service nothing holds. `returns` holds the figures
    of the sentence that says it is over; `stays` names alarms that nothing fresh says are over.
    """
    units = set(judged_units)
    standing: dict[Key, Alarm] = {a.condition.key: a for a in kitchen.active_alarms() if a.condition.unit in units}
    holding = {c.key: c for c in in_service(kitchen, conditions) if c.unit in units}
    drafts = endings(kitchen, now)
    for key, condition in holding.items():
        alarm = standing.get(key)
        if alarm is None:
            if held_back(kitchen, condition, now) is None:
                drafts.append(Draft(now, "watch", AlarmRaised(condition)))
            continue
        before, now_named = alarm.condition.parameters, condition.parameters
        looked_for = condition.kind in WARM
        cause = settled(before, now_named, alarm.raised_at, now) if looked_for else named(now_named)
        if worth_telling(alarm.condition, condition):
            told = replace(condition, parameters={**condition.parameters, **cause})
            drafts.append(Draft(now, "watch", AlarmChanged(alarm.id, told)))
        elif looked_for and cause != named(before):
            drafts.append(Draft(now, "watch", AlarmExplained(alarm.id, cause)))
    for key, alarm in standing.items():
        if key not in holding:
            figures = dict((returns or {}).get(key, {}))
            out = out_of_service(kitchen, alarm.condition.unit) if alarm.condition.kind != TROUBLE else None
            if key in stays and out is None:
                continue
            if out is not None:
                figures |= {"out_since_at": round(out.since_at), "reason": out.reason.rstrip(". ")}
            sentence = _over_sentence(alarm.condition.kind, emptied=figures.get("tubs") == 0, out=out is not None)
            drafts.append(Draft(now, "watch", AlarmReturned(alarm.id, sentence, figures)))
    return drafts


def _over_sentence(kind: str, *, emptied: bool, out: bool) -> str:
    if out:
        return "nothing_in_service" if kind == "nothing_arrives" else "out_of_service"
    # Meat that was carried away is neither cold nor watched again.
    if emptied and kind in ("product_warm", "product_freezing", "unwatched"):
        return "product_warm_emptied" if kind == "product_warm" else "emptied"
    return f"{kind}_returned"

"""Rule e-12: when each sensor was last checked, what was found, and whether neighbours agree. Pure."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from alerts.case import Case, finding, rank
from alerts.neighbours import Disagreement
from collector.findings import Evidence, Finding, Outcome, Parameters, Tier
from collector.instruments import last_check
from collector.kitchen import Kitchen
from collector.logs import Calibration
from collector.sample import Instant

BY_TEMPERATURE = ("e-2", "e-3", "e-4", "e-5", "e-7")
"""Rules that rest on the sensors: none of them is within while a sensor is in doubt."""
MEASURE = "sensors"


@dataclass(frozen=True, slots=True)
class Instrument:
    """A channel that told of a batch, and the last check of its sensor."""

    channel: str
    place: str
    assigned_at: Instant
    check: Calibration | None

    def due_at(self, interval_s: float) -> Instant:
        """Return when a check is due; a sensor that nobody has checked yet was new when it was assigned."""
        return self.check.due_at if self.check is not None else self.assigned_at + interval_s


def instruments_of(kitchen: Kitchen, channels: Iterable[str], until_at: Instant) -> tuple[Instrument, ...]:
    """Return the instruments behind some channels, as they are known at an instant."""
    found = []
    for channel in dict.fromkeys(channels):
        said = [a for a in kitchen.said if a.channel == channel and a.from_at <= until_at]
        if said:
            check = last_check(kitchen.calibrations, channel, until_at)
            found.append(Instrument(channel, said[-1].place, min(a.from_at for a in said), check))
    return tuple(found)


def judge_measuring(
    case: Case, instruments: Sequence[Instrument], doubts: Sequence[Disagreement], if_other_leads: Sequence[Finding]
) -> tuple[Finding, ...]:
    """Return the findings of rule e-12: the checks of every sensor, and each pair that did not agree.

    `if_other_leads` is what the temperature rules say if the other sensor of each open quarrel is the one to believe:
    where one of them would hold, the quarrel holds, and never more.
    """
    found = [] if not instruments else [_checks(case, instruments)]
    if doubts:
        found.append(_neighbours(case, doubts, if_other_leads))
    return tuple(found)


def _evidence(case: Case, channels: Iterable[str], from_at: Instant, value: float | None, unit: str) -> Evidence:
    return Evidence(round(from_at, 3), case.until_at, tuple(channels), 0, 0.0, MEASURE, value, unit, None)


def _checks(case: Case, instruments: Sequence[Instrument]) -> Finding:
    interval_s, notice_s = case.book.scaled("check.interval_fixed"), case.book.scaled("check.notice")
    first = min(instruments, key=lambda i: i.due_at(interval_s))
    due_at = first.due_at(interval_s)
    off = [i for i in instruments if i.check is not None and not i.check.passed]
    parameters: Parameters = {"channel": first.channel, "place": first.place, "due_at": round(due_at)}
    if due_at <= case.until_at:
        never = first.check is None
        said = Outcome.CANNOT_TELL, Tier.RECORDED, "e-12 never checked" if never else "e-12 overdue"
        rows = ("check.interval_fixed",) if never else ()
        return finding(case, "e-12", said, _evidence(case, (first.channel,), due_at, None, ""), rows, parameters)
    if off:
        return _was_off(case, max(off, key=lambda i: i.check.checked_at if i.check is not None else 0.0))
    soon = due_at - case.until_at <= notice_s
    said = Outcome.WITHIN, Tier.NONE, "e-12 due soon" if soon else "e-12 within"
    evidence = _evidence(case, (i.channel for i in instruments), case.history.batch.started_at, None, "")
    return finding(case, "e-12", said, evidence, (), parameters)


def _was_off(case: Case, instrument: Instrument) -> Finding:
    check = instrument.check
    assert check is not None, "only a sensor that was checked was found to be off"
    parameters: Parameters = {
        "channel": instrument.channel,
        "place": instrument.place,
        "found_k": round(check.as_found, 1),
        "tolerance_k": round(check.tolerance, 1),
        "checked_at": round(check.checked_at),
    }
    said = Outcome.OUTSIDE, Tier.RECORDED, "e-12 was off"
    evidence = _evidence(case, (instrument.channel,), check.checked_at, round(check.as_found, 1), "K")
    return finding(case, "e-12", said, evidence, ("check.tolerance_fixed",), parameters)


def _neighbours(case: Case, doubts: Sequence[Disagreement], if_other_leads: Sequence[Finding]) -> Finding:
    open_ = [one for one in doubts if not one.contradicted]
    one = max(open_ or doubts, key=lambda d: (d.until_at - d.from_at, d.from_at))
    holds = [f for f in if_other_leads if rank(f.tier) >= rank(Tier.HOLD)] if open_ else []
    parameters: Parameters = {
        "leads": one.leads,
        "other": one.other,
        "difference_k": round(abs(one.difference_c), 1),
        "minutes": round((one.until_at - one.from_at) / 60),
        "from_at": round(one.from_at),
        "contradicted": one.contradicted,
        "rules": ", ".join(dict.fromkeys(f.rule for f in holds)),
    }
    tier = Tier.HOLD if holds else Tier.RECORDED
    sentence = "e-12 contradicted" if not open_ else "e-12 neighbours hold" if holds else "e-12 neighbours"
    evidence = _evidence(case, (one.leads, one.other), one.from_at, round(abs(one.difference_c), 1), "K")
    rows = ("neighbour.difference", "neighbour.time")
    return finding(case, "e-12 neighbours", (Outcome.CANNOT_TELL, tier, sentence), evidence, rows, parameters)


def doubted(
    findings: Sequence[Finding], measuring: Sequence[Finding], if_other_leads: Sequence[Finding]
) -> list[Finding]:
    """Return the findings as the sensors bear them: none within while one is in doubt, no reject on a quarrel."""
    doubt = any(f.outcome is Outcome.CANNOT_TELL for f in measuring)
    quarrel = any(f.sentence in ("e-12 neighbours", "e-12 neighbours hold") for f in measuring)
    milder = {f.rule: f.tier for f in if_other_leads}
    return [_borne(f, milder, doubt=doubt, quarrel=quarrel) for f in findings]


def _borne(found: Finding, milder: dict[str, Tier], *, doubt: bool, quarrel: bool) -> Finding:
    if not doubt or found.rule.split()[0] not in BY_TEMPERATURE:
        return found
    if found.outcome is Outcome.WITHIN:
        return replace(found, outcome=Outcome.CANNOT_TELL)
    if quarrel and found.tier is Tier.REJECT and rank(milder.get(found.rule, Tier.NONE)) < rank(Tier.REJECT):
        return replace(found, outcome=Outcome.CANNOT_TELL, tier=Tier.HOLD)
    return found

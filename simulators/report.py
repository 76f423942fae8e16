"""What a played night came to, as a short report in lines of text. Pure: no clock, no I/O."""

from collections import Counter
from collections.abc import Iterator, Sequence
from textwrap import wrap

from alerts.sentences import CAUTION, TITLES, alarm_text, clock_text, first_steps, looks_like
from alerts.sentences_findings import proposal_text
from collector.findings import Proposal
from collector.kitchen import Alarm, Kitchen

WIDTH = 100


def _paragraph(text: str, indent: str) -> list[str]:
    return wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent)


def _alarm_lines(kitchen: Kitchen, alarm: Alarm) -> Iterator[str]:
    site = kitchen.site_of(alarm.condition.unit)
    zone = site.zone if site is not None else "UTC"
    raised = clock_text(alarm.raised_at, zone, day=True)
    until = "still stands" if alarm.active else f"until {clock_text(alarm.returned_at, zone, day=True)}"
    yield f"  {raised}  {TITLES.get(alarm.condition.kind, alarm.condition.kind)}, {until}"
    yield from _paragraph(alarm_text(alarm, zone), "      ")
    if alarm.active:
        if looks := looks_like(alarm.condition, zone):
            yield from _paragraph(looks, "      ")
        yield from _paragraph("First: " + " ".join(first_steps(alarm.condition)), "      ")


def report(kitchen: Kitchen, alarms: Sequence[Alarm], proposals: Sequence[Proposal], readings: int) -> Iterator[str]:
    """Yield the report, line by line; the last line counts readings, alarms and dispositions."""
    site = next(iter(kitchen.sites.values()))
    yield f"{site.name}: one week and the night the cold room failed (times of {site.zone})"
    yield ""
    yield "Alarms"
    for alarm in alarms:
        yield from _alarm_lines(kitchen, alarm)
    yield ""
    yield "What is proposed for each batch; a named person decides"
    for proposal in proposals:
        yield f"  {proposal.lot}  {kitchen.batches[proposal.lot].plan.name}: {proposal.disposition.value}"
        for line in proposal_text(proposal):
            yield from _paragraph(line, "      ")
    yield ""
    yield CAUTION
    counted = Counter(p.disposition.value for p in proposals)
    kinds = ", ".join(f"{count} {name}" for name, count in sorted(counted.items()))
    yield f"{readings:,} readings, {len(alarms)} alarms, {len(proposals)} dispositions ({kinds})"

"""Every sentence in which a finding or a proposal is told, in the site's own time. Pure: no clock, no I/O.

Plain enough for a tired cook. The figures are those of the finding; what was published, what is a house limit and what
nobody has compared with its document is said beside them. Nothing is ever called good.
"""

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from alerts.rules_release import blocks
from alerts.sentences_gates import SAID as GATES
from alerts.sentences_making import SAID_OF_MAKING, more_words
from alerts.sentences_measuring import SAID as MEASURING
from collector.findings import Disposition, Finding, Outcome, Proposal, Tier
from collector.sample import Instant

CAUTION = "Estimates only: local rules and a responsible or licensed person come first."
LEAVE_IT = "Leave it cold; do not cook, sell or throw it away yet."
DIVERT = "e-11 divert"
"""Key of the sentence that offers the pan instead of the bin."""
COOK_AGAIN = "Do not serve, sell or throw it away: cook it again, and log it."
BY_BOUND = " This is what it may have been: part of the time nothing was known."

_Figures = Mapping[str, float | int | str | None]

_SAID = {
    **GATES,
    "e-2 within": "The meat stayed at or below {limit_c} °C, or was above it too briefly to be an excursion.",
    "e-2 cannot tell": "Whether the meat stayed at or below {limit_c} °C cannot be told: part of the time is unknown.",
    "e-2 recorded": "Tub {tub}: the meat was above {limit_c} °C, at the longest for {minutes}, at most {peak_c} °C "
    "(excursions: {excursions}). Enter the cause and what was done by the next working day.",
    "e-2 hold": "Tub {tub}: the meat was above {limit_c} °C, at the longest for {minutes}, at most {peak_c} °C. "
    "Enter the cause and what was done.",
    "e-2 hold warm": "Tub {tub}: the meat was above {limit_c} °C, at the longest for {minutes}, at most {peak_c} °C; "
    "above {warm_line_c} °C for {warm_minutes} in one stretch. Enter the cause and what was done.",
    "e-3 within": "{hazard}: {share} of the published time was used.",
    "e-3 cannot tell": "{hazard}: {share} of the published time may have been used; part of the time is unknown.",
    "e-3 nothing read": "{hazard}: how much of the published time was used cannot be told; nothing has been read.",
    "e-3 recorded": "{hazard}, tub {tub}: {share} of the published time was used; from {threshold} on it is recorded.",
    "e-3 hold": "{hazard}, tub {tub}: {share} of the published time was used; from {threshold} on it is held.",
    "e-3 cook or discard": "{hazard}, tub {tub}: {share} of the published time was used; from {threshold} on the meat "
    "is cooked or discarded, and its route can no longer be changed to anything else.",
    "e-3 reject": "{hazard}, tub {tub}: {reject_share} of the published time was used, even with the estimate lowered "
    "by the {uncertainty_c} K that the sensor may be off; from {threshold} on a reject is proposed.",
    "e-4 within": "{hazard}: estimated growth beyond that at {limit_c} °C is {growth} log10; published rates differ, "
    "it may be {growth_low} to {growth_high}.",
    "e-4 cannot tell": "{hazard}: growth beyond that at {limit_c} °C may have been {growth} log10 ({growth_low} to "
    "{growth_high}, as published rates differ); part of the time is unknown.",
    "e-4 nothing read": "{hazard}: how much it has grown cannot be told; nothing has been read.",
    "e-4 hold": "{hazard}, tub {tub}: estimated to have grown {growth} log10 more than it would have at {limit_c} °C "
    "(1 log10 is ten times as many). Published rates differ by a factor of {factor} either way: it may be {growth_low} "
    "to {growth_high}. From {threshold} log10 on it is held.",
    "e-5 within": "It was not so cold that curing time must be added.",
    "e-5 cannot tell": "Whether it was too cold to cure cannot be told: part of the time is unknown.",
    "e-5 extend": "Tub {tub}: it was so cold that {lost_minutes} of curing did not count (lowest {lowest_c} °C). "
    "Leave it in the cure until {new_end_at}.",
    "e-5 over long": "Tub {tub}: it was so cold that {lost_minutes} of curing did not count. Added to the cure this "
    "comes to {new_end_at}, longer than a cure may be extended without a person.",
    "e-5 ended short": "Tub {tub}: {lost_minutes} of curing did not count because it was too cold, and the cure has "
    "ended. Salt may be short inside.",
    "e-5 ice": "Tub {tub}: at or below {line_c} °C for {minutes} (estimate, lowest {lowest_c} °C). Look for ice in the "
    "brine and feel the meat; do not break it out.",
    "e-6 gap": "Tub {tub}: nothing was known for {minutes} ({cause}). The meat may have reached {bound_c} °C, and been "
    "above {limit_c} °C for {above_minutes}.",
    "e-6 hold": "Tub {tub}: nothing was known for {minutes} ({cause}). The meat may have reached {bound_c} °C, and "
    "been above {limit_c} °C for {above_minutes}. Put a probe in the warmest part and enter what it reads; readings "
    "that arrive late are judged again.",
    "e-6 no record": "Tub {tub}: no reading has reached it for {minutes}. Measure it and enter what the probe reads.",
    "e-7 within": "Brine and meat were cold enough at filling.",
    "e-7 not entered": "Not entered at filling: temperature of {missing}. Enter it, or nothing can be told of the "
    "first hours.",
    "e-7 meat too warm": "The meat was at {meat_c} °C at filling; above {highest_c} °C none may be filled.",
    "e-7 meat above advice": "The meat was at {meat_c} °C at filling; {advice_c} °C or less is advised. Enter why.",
    "e-7 in time": "Filled warmer than {limit_c} °C, tub {tub}: at the limit after {minutes}, {allowed_minutes} being "
    "allowed. Enter why.",
    "e-7 not yet": "Filled warmer than {limit_c} °C, tub {tub}: still above after {minutes}. It must be at the limit "
    "by {by_at}.",
    "e-7 late": "Filled warmer than {limit_c} °C, tub {tub}: above it for {minutes}, {allowed_minutes} being allowed.",
    "e-7 brine fresh": "The brine had been boiled {age_minutes} before it was filled; {oldest_minutes} are allowed.",
    "e-7 brine old": "The brine had been boiled {age_minutes} before it was filled, {oldest_minutes} being allowed for "
    "one that is covered and cold. Look at it and smell it; enter why.",
    "e-7 no record": "Filled warmer than {limit_c} °C; nothing has been read since.",
    **SAID_OF_MAKING,
    **MEASURING,
}

_HUNDREDTHS = ("share", "reject_share", "threshold", "growth", "growth_low", "growth_high")
"""Figures that are printed with two decimals."""

PROPOSED = {
    Disposition.CONTINUE: "Proposed: carry on.",
    Disposition.EXTEND: "Proposed: cure longer.",
    Disposition.HOLD: "Proposed: HOLD.",
    Disposition.REJECT: "Proposed: REJECT.",
    Disposition.RELEASE: "Proposed: release.",
}


def span_text(minutes: float) -> str:
    """Return a span as people say it: `45 min`, `2 h 10 min`, `13 h`."""
    hours, rest = divmod(round(minutes), 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest:02d} min" if rest else f"{hours} h"


def instant_text(at: Instant, zone: str) -> str:
    """Return an instant in the time of the walls: `Friday 27 March, 07:00`."""
    local = datetime.fromtimestamp(at, UTC).astimezone(ZoneInfo(zone))
    return f"{local:%A} {local.day} {local:%B}, {local:%H:%M}"


def _figure(key: str, value: float | int | str | None, zone: str) -> str:
    if value is None:
        return "an unknown figure"
    if isinstance(value, str):
        return value
    if key.endswith("_at"):
        return instant_text(value, zone)
    if key.endswith("minutes"):
        return span_text(value)
    if key.endswith(("_c", "_k")):
        return f"{value:.1f}".replace("-", "−")
    return f"{value:.2f}" if key in _HUNDREDTHS else f"{value:g}"


def _basis(figures: _Figures) -> str:
    """Return what the numbers rest on, as one or more short sentences; empty where nothing was decided by a number."""
    house, sources, unchecked = (str(figures.get(key) or "") for key in ("house", "sources", "unchecked"))
    said = [f"By {sources}." if sources else ""]
    if figures.get("unit_limit_c") is not None:
        said.append(f"{figures['unit_limit_c']:.1f} °C is the unit's own limit.")
    if house:
        said.append(f"House limit{'s' if ';' in house else ''}, without a source: {house}.")
    if figures.get("own"):
        said.append(f"Set by this site: {figures['own']}.")
    if unchecked:
        said.append(f"By {unchecked}: not checked against the document.")
    return " ".join(part for part in said if part)


def finding_words(finding: Finding, zone: str = "UTC") -> str:
    """Return a finding in words, instants in the given time zone, without what its numbers rest on.

    Raises
    ------
    KeyError
        If there is no sentence of that key.
    """
    figures = {key: _figure(key, value, zone) for key, value in finding.parameters.items()}
    if finding.sentence in SAID_OF_MAKING:
        figures |= more_words(finding.parameters)
    text = _SAID[finding.sentence].format(**figures)
    if finding.outcome == "cannot_tell" and finding.tier is not Tier.NONE and finding.rule[:3] in ("e-2", "e-3", "e-4"):
        text += BY_BOUND
    if finding.parameters.get("would_reject"):
        text += (
            " It would be rejected if a named person had confirmed the row against the document; until then it holds."
        )
    return text


def finding_text(finding: Finding, zone: str = "UTC") -> str:
    """Return a finding in words, instants in the given time zone, with what its numbers rest on.

    Raises
    ------
    KeyError
        If there is no sentence of that key.
    """
    basis = "" if finding.tier is Tier.NONE and not finding.rule.startswith("e-11 ") else _basis(finding.parameters)
    return f"{finding_words(finding, zone)} {basis}".rstrip()


def leave_it(findings: Sequence[Finding]) -> str:
    """Return what to do with held food first: leave it cold, but for a cook that was too short and nothing else."""
    held = [found.sentence for found in findings if found.tier is Tier.HOLD]
    return COOK_AGAIN if held and set(held) == {"e-11 cook short"} else LEAVE_IT


def _hold_lines(proposal: Proposal, at: Callable[[Instant], str]) -> list[str]:
    lines = [leave_it(proposal.findings)]
    if proposal.decide_by_at is not None:
        lines.append(f"Decide by {at(proposal.decide_by_at)}.")
    return lines


def _is_gate(found: Finding) -> bool:
    return found.rule.split()[0] in ("e-1", "e-11")


def gate_lines(findings: Sequence[Finding], zone: str) -> list[str]:
    """Return what a release still waits for, a line each, or on what it rests where it waits for nothing."""
    gates = [found for found in findings if _is_gate(found) and found.tier is Tier.NONE]
    waits = [found for found in gates if blocks(found)]
    offered = [finding_text(found, zone) for found in gates if found.sentence == DIVERT]
    if waits:
        return [*offered, "Before it is released:", *(finding_text(found, zone) for found in waits)]
    return [finding_text(found, zone) for found in gates]


def _idle(found: Finding, proposal: Proposal) -> bool:
    # Of what is to be rejected nobody is asked for the logs of a release; cooking it is offered where that helps.
    return proposal.disposition is Disposition.REJECT and found.sentence != DIVERT


def proposal_text(proposal: Proposal, zone: str = "UTC") -> list[str]:
    """Return a proposal in words, a line each: what is proposed, what to do, what led to it, the caution."""

    def at(instant: Instant) -> str:
        return instant_text(instant, zone)

    lines = [f"{proposal.lot}. {PROPOSED[proposal.disposition]}"]
    if proposal.disposition is Disposition.HOLD:
        lines += _hold_lines(proposal, at)
    if proposal.disposition is Disposition.REJECT:
        lines.append("Set it apart and mark it; an approver signs before it is disposed of.")
    if proposal.new_end_at is not None:
        lines.append(f"The cure goes on until {at(proposal.new_end_at)}.")
    lines += [finding_text(found, zone) for found in proposal.findings if found.tier is not Tier.NONE]
    # A notice: outside, and nobody is asked for anything.
    lines += [
        finding_text(f, zone)
        for f in proposal.findings
        if f.tier is Tier.NONE and f.outcome is Outcome.OUTSIDE and not _is_gate(f)
    ]
    untold = [f for f in proposal.findings if f.tier is Tier.NONE and f.outcome == "cannot_tell" and not _is_gate(f)]
    shares = [f for f in untold if f.sentence == "e-3 cannot tell"]
    if shares:
        each = "; ".join(f"{f.parameters['hazard']} {f.parameters['share']:.2f}" for f in shares)
        lines.append(f"Of the published times this share may have been used, part of the time being unknown: {each}.")
    lines += [finding_text(found, zone) for found in untold if found not in shares]
    lines += gate_lines([f for f in proposal.findings if not _idle(f, proposal)], zone)
    if proposal.disposition in (Disposition.HOLD, Disposition.REJECT):
        lines.append("Nothing of it is released meanwhile.")
    lines.append(f"Judged up to {at(proposal.judged_until_at)} by rulebook {proposal.rulebook}. {CAUTION}")
    return lines

"""The same batch judged twice, by two rulebooks or at two times: what would be different. Pure: no clock, no I/O."""

from collections.abc import Iterable
from dataclasses import dataclass

from collector.findings import Finding, Proposal

NOT_SAID = "not said"


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that is not the same: what it is, what it was, and what it would be."""

    about: str
    """`disposition`, `end of the cure`, or a rule."""
    before: str
    after: str


def differences(before: Proposal, after: Proposal) -> tuple[Difference, ...]:
    """Return what differs between two proposals for one batch; nothing where they say the same."""
    found = []
    if before.disposition is not after.disposition:
        found.append(Difference("disposition", before.disposition.value, after.disposition.value))
    if before.new_end_at != after.new_end_at:
        found.append(Difference("end of the cure", _end(before), _end(after)))
    old, new = _by_rule(before.findings), _by_rule(after.findings)
    for rule in (*old, *(rule for rule in new if rule not in old)):
        was, would = old.get(rule, NOT_SAID), new.get(rule, NOT_SAID)
        if was != would:
            found.append(Difference(rule, was, would))
    return tuple(found)


def _end(proposal: Proposal) -> str:
    return "as planned" if proposal.new_end_at is None else f"{proposal.new_end_at:.0f}"


def _by_rule(findings: Iterable[Finding]) -> dict[str, str]:
    found: dict[str, str] = {}
    for one in findings:
        limit = "" if one.evidence.threshold is None else f" against {one.evidence.threshold:g}"
        value = "" if one.evidence.value is None else f", {one.evidence.value:g} {one.evidence.unit}{limit}".rstrip()
        said = f"{one.outcome.value}, {one.tier.value}{value}"
        found[one.rule] = f"{found[one.rule]}; {said}" if one.rule in found else said
    return found

"""From findings to what is proposed for the batch; a named person decides. Pure: no clock, no I/O."""

from collections.abc import Sequence

from alerts.case import rank
from alerts.checks import next_check
from alerts.history import BatchHistory
from alerts.rulebook.book import Rulebook
from alerts.rules_release import blocks
from collector.findings import Disposition, Finding, Proposal, Tier
from collector.sample import Instant

FOLLOWS = {
    Tier.NONE: Disposition.CONTINUE,
    Tier.RECORDED: Disposition.CONTINUE,
    Tier.EXTEND: Disposition.EXTEND,
    Tier.HOLD: Disposition.HOLD,
    Tier.REJECT: Disposition.REJECT,
}
"""What the strongest tier leads to. RELEASE follows from no tier: it is proposed where nothing stands in its way."""


def propose(
    history: BatchHistory, findings: Sequence[Finding], rulebook: Rulebook, now: Instant, software: str
) -> Proposal:
    """Return what is proposed: the strongest finding blocks, and a hold still carries the hours to add.

    A release is proposed where no finding stands in its way, and what the route asks for was shown item by item.

    Parameters
    ----------
    history : BatchHistory
        What was judged.
    findings : sequence of Finding
        What the rules said of it.
    rulebook : Rulebook
        What they judged by.
    now : float
        The instant of judging; it decides nothing but where the record ends. [s since 1970 UTC]
    software : str
        Name and version of what judged.

    Returns
    -------
    Proposal
        Its time to decide by is that of the hold that became due first: the house's hours later, or when a reject
        would be reached if the meat stayed as warm, whichever is earlier. [s since 1970 UTC]
    """
    tier = max((finding.tier for finding in findings), key=rank, default=Tier.NONE)
    blocked = not findings or any(blocks(finding) for finding in findings)
    disposition = FOLLOWS[tier] if blocked or not _gated(findings) else Disposition.RELEASE
    add_s = max((finding.add_s for finding in findings), default=0.0)
    until_at = min(now, history.judged_until_at)
    site = history.site
    return Proposal(
        lot=history.batch.lot,
        disposition=disposition,
        findings=tuple(findings),
        judged_until_at=until_at,
        rulebook=rulebook.name,
        software=software,
        add_s=add_s,
        new_end_at=next_check(site.checks, site.zone, history.cure_end_at + add_s) if add_s > 0 else None,
        decide_by_at=_decide_by(findings, rulebook, until_at) if disposition is Disposition.HOLD else None,
        blocks_release=disposition is not Disposition.RELEASE,
    )


def _gated(findings: Sequence[Finding]) -> bool:
    """Return whether what a route asks for was judged at all."""
    return any(finding.rule.startswith("e-11 ") for finding in findings)


def _decide_by(findings: Sequence[Finding], rulebook: Rulebook, until_at: Instant) -> Instant:
    within_s = rulebook.scaled("decide.within")
    found = []
    for finding in findings:
        if finding.tier is Tier.HOLD:
            due_at, next_at = (finding.parameters.get(key) for key in ("due_at", "next_tier_at"))
            found.append((float(due_at) if isinstance(due_at, int | float) else until_at) + within_s)
            found += [float(next_at)] if isinstance(next_at, int | float) else []
    return float(round(min(found)))

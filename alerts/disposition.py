"""From findings to what is proposed for the batch; a named person decides. Pure: no clock, no I/O."""

from collections.abc import Sequence

from alerts.case import rank
from alerts.checks import next_check
from alerts.history import BatchHistory
from alerts.rulebook.book import Rulebook
from collector.findings import Disposition, Finding, Proposal, Tier
from collector.sample import Instant

FOLLOWS = {
    Tier.NONE: Disposition.CONTINUE,
    Tier.RECORDED: Disposition.CONTINUE,
    Tier.EXTEND: Disposition.EXTEND,
    Tier.HOLD: Disposition.HOLD,
    Tier.REJECT: Disposition.REJECT,
}
"""What the strongest tier leads to. RELEASE follows from no tier: it passes a gate that has no rules yet."""

BARS_RELEASE = ("e-1", "e-8", "e-8 nitrate", "e-8 residual")
"""Rules whose finding bars release until what it asks for is there; no signature makes up for it."""
SIGNED_FOR = ("e-8 too little", "e-8 methods differ")
"""... but for these, which an approver's reason answers."""


def bars_release(findings: Sequence[Finding]) -> bool:
    """Return whether something stands that no signature makes up for.

    A stage without a rule, a nitrite limit that is passed (no approver may loosen it), nitrite that cannot be told.
    """
    return any(
        f.rule in BARS_RELEASE and (f.rule == "e-1" or f.tier is not Tier.NONE) and f.sentence not in SIGNED_FOR
        for f in findings
    )


def propose(
    history: BatchHistory, findings: Sequence[Finding], rulebook: Rulebook, now: Instant, software: str
) -> Proposal:
    """Return what is proposed: the strongest finding blocks, and a hold still carries the hours to add.

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
    disposition = FOLLOWS[tier]
    add_s = max((finding.add_s for finding in findings), default=0.0)
    until_at = min(now, history.judged_until_at)
    site = history.site
    waits = bars_release(findings) or any(finding.sentence in SIGNED_FOR for finding in findings)
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
        blocks_release=waits or disposition in (Disposition.HOLD, Disposition.REJECT),
    )


def _decide_by(findings: Sequence[Finding], rulebook: Rulebook, until_at: Instant) -> Instant:
    within_s = rulebook.scaled("decide.within")
    found = []
    for finding in findings:
        if finding.tier is Tier.HOLD:
            due_at, next_at = (finding.parameters.get(key) for key in ("due_at", "next_tier_at"))
            found.append((float(due_at) if isinstance(due_at, int | float) else until_at) + within_s)
            found += [float(next_at)] if isinstance(next_at, int | float) else []
    return float(round(min(found)))

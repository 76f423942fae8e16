"""Signing: a named person decides about a batch, or confirms a rulebook row. Pure: no clock, no I/O."""

from collections.abc import Collection, Mapping

from alerts.rules_release import blocks, may_lift
from api.actions.faults import Check, Result, fault
from api.actions.standing import BLOCKING, Standing, as_now, same_outcome, standing
from api.schemas import ConfirmRow, SignDisposition
from collector.events import DispositionSigned, Event, ProposalMade, RowConfirmed
from collector.findings import Disposition, Proposal, SignOff
from collector.kitchen import Kitchen, Person
from collector.sample import Instant

REASON_MIN = 10
"""House: a reason that lifts a hold, takes a reject back or releases has at least so many characters."""
APPROVER = "approver"


def choices(stands: Standing) -> tuple[Disposition, ...]:
    """Return what an approver may sign as a batch stands, the proposed first."""
    proposal = stands.proposal.proposal if stands.proposal is not None else None
    if proposal is None:
        return ()
    signed_reject = stands.signed and stands.disposition is Disposition.REJECT
    if signed_reject or proposal.disposition is Disposition.REJECT:
        return (Disposition.REJECT, Disposition.HOLD)
    allowed = [Disposition.CONTINUE, Disposition.HOLD, Disposition.REJECT]
    if proposal.new_end_at is not None:
        allowed.insert(1, Disposition.EXTEND)
    if _releasable(proposal, stands):
        allowed.append(Disposition.RELEASE)
    return tuple(sorted(allowed, key=lambda d: d is not proposal.disposition))


def _releasable(proposal: Proposal, stands: Standing) -> bool:
    # What is asked for was looked at and shown, or nothing is released; a hold, once lifted by name, no longer blocks.
    gated = any(found.rule.startswith("e-11 ") for found in proposal.findings)
    in_the_way = [found for found in proposal.findings if blocks(found)]
    answered = not in_the_way or (stands.signed and all(may_lift(found) for found in in_the_way))
    return gated and answered and stands.disposition not in BLOCKING


def _missing(stands: Standing) -> str:
    proposal = stands.proposal.proposal if stands.proposal is not None else None
    found = [one for one in proposal.findings if blocks(one) and not may_lift(one)] if proposal is not None else []
    return "; ".join(dict.fromkeys(one.rule for one in found))


def _why_not(disposition: Disposition, stands: Standing, lot: str) -> tuple[str, str]:
    if disposition is Disposition.RELEASE:
        missing = _missing(stands)
        if missing:
            return f"{lot} has not shown what its route asks for: {missing}", "give what these findings ask for"
        return f"{lot} may not be released while a hold, a reject or an extension stands", "decide about that first"
    if disposition is Disposition.EXTEND:
        return "no hours to add were proposed", "choose another disposition"
    return f"a reject stands for {lot}", "dispose of it, or return it to hold with a reason"


def _needs_reason(request: SignDisposition, stands: Standing) -> bool:
    was = stands.disposition
    lifts = was is Disposition.HOLD and request.disposition not in BLOCKING
    takes_back = was is Disposition.REJECT and request.disposition is Disposition.HOLD
    return lifts or takes_back or request.disposition is Disposition.RELEASE


def sign_disposition(
    kitchen: Kitchen, lot: str, request: SignDisposition, person: Person, now: Instant, fresh: Proposal | None = None
) -> Result:
    """Return a named approver's decision, which names the proposal that was looked at.

    With `fresh`, the proposal as it stands this minute, the figures that the approver saw are recorded with it.
    """
    if lot not in kitchen.batches:
        return fault("lot", f"no batch has lot code {lot}", "choose one from the list of batches")
    if APPROVER not in person.roles:
        return fault("disposition", f"{person.name} is no approver", "ask an approver to sign")
    stands = standing(kitchen, lot)
    if stands.proposal is None:
        return fault("proposal", f"nothing has been proposed for {lot} yet", "wait until it has been judged")
    check = Check()
    known = any(r.position == request.proposal for r in kitchen.proposals[lot])
    check.that(known, "proposal", f"{request.proposal} is no proposal for {lot}", "open the page of the batch again")
    check.that(
        not known or same_outcome(kitchen, lot, request.proposal), "proposal",
        "a newer proposal says something else", "read what is proposed now, then sign",
    )  # fmt: skip
    # What is recorded may be an hour old; nothing is lifted or released against what the rules say this minute.
    latest = stands.proposal.proposal
    changed = fresh is not None and fresh.outcome() != latest.outcome()
    withdrawn = request.disposition is Disposition.RELEASE and fresh is not None and fresh.blocks_release
    overtaken = changed and fresh is not None and (fresh.disposition in BLOCKING or withdrawn)
    check.that(
        not overtaken or request.disposition in BLOCKING, "disposition",
        "the rules have come to something else since this was proposed",
        "hold it, or look again when it has been judged anew, within the hour",
    )  # fmt: skip
    allowed = choices(stands)
    if request.disposition not in allowed:
        check.that(False, "disposition", *_why_not(request.disposition, stands, lot))
    if _needs_reason(request, stands):
        check.that(
            len(request.reason) >= REASON_MIN, "reason", "this reason is too short to stand up next year",
            "say what you looked at and why you decide so",
        )  # fmt: skip
    check.that(
        request.disposition is not Disposition.HOLD or bool(request.where_kept), "where_kept",
        "where does it stand while it is held?", "name the place, and mark the food there",
    )  # fmt: skip
    seen = as_now(kitchen, lot, fresh)
    grown = seen is not None and seen != stands.proposal.proposal
    position = kitchen.position + 1 if grown else request.proposal
    signed = SignOff(lot, request.disposition, request.reason, person.id, position, request.where_kept)
    shown: list[Event] = [ProposalMade(seen)] if seen is not None and grown else []
    return check.result(person, now, [*shown, DispositionSigned(signed)])


def confirm_row(
    kitchen: Kitchen, request: ConfirmRow, person: Person, now: Instant, rows: Mapping[str, Collection[str]]
) -> Result:
    """Return that a named person compared a rulebook row with its document; `rows` are those that may be confirmed."""
    check = Check()
    if APPROVER not in person.roles:
        return fault("row", f"{person.name} is no approver", "ask an approver to compare it with the document")
    known = rows.get(request.rulebook)
    if check.that(known is not None, "rulebook", f"there is no rulebook {request.rulebook}", "choose one of the list"):
        check.that(
            request.row in (known or ()), "row", f"{request.row} is no row known from memory",
            "choose one that is not confirmed",
        )  # fmt: skip
    done = (request.rulebook, request.row) in kitchen.confirmed
    check.that(not done, "row", f"{request.row} has been confirmed", "there is nothing more to do")
    return check.result(person, now, [RowConfirmed(request.rulebook, request.row, request.document, person.id)])

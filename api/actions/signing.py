"""Signing: a named person decides about a batch, or confirms a rulebook row. Pure: no clock, no I/O."""

from collections.abc import Collection, Mapping

from alerts.disposition import bars_release
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
    # What cannot be told at release no signature makes up for; a hold, once lifted by name, no longer blocks.
    lifted = not proposal.blocks_release or stands.signed
    return not bars_release(proposal.findings) and lifted and stands.disposition not in BLOCKING


def _why_not(disposition: Disposition, stands: Standing, lot: str) -> tuple[str, str]:
    if disposition is Disposition.RELEASE:
        what = f"{lot} may not be released while a hold or a reject stands, or a stage or its nitrite cannot be told"
        return what, "lift the hold first, or enter what is missing"
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
    overtaken = fresh is not None and fresh.disposition in BLOCKING and fresh.outcome() != latest.outcome()
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

"""How a batch stands: what was signed, or what is proposed and still waits. Pure: no clock, no I/O."""

from dataclasses import dataclass

from collector.findings import Disposition, Proposal
from collector.kitchen import Kitchen, ProposalRecord, SignOffRecord

BLOCKING = (Disposition.HOLD, Disposition.REJECT)


@dataclass(frozen=True, slots=True)
class Standing:
    """The disposition that binds now, and whether a named person has signed it."""

    disposition: Disposition | None
    """None before anything was proposed or signed."""
    signed: bool
    proposal: ProposalRecord | None
    sign_off: SignOffRecord | None

    @property
    def waits(self) -> bool:
        """Return whether something is proposed that nobody has signed: anything but to carry on."""
        return not self.signed and self.disposition not in (None, Disposition.CONTINUE)


def _looked_at(kitchen: Kitchen, lot: str, position: int) -> Proposal | None:
    return next((r.proposal for r in kitchen.proposals.get(lot, ()) if r.position == position), None)


def same_outcome(kitchen: Kitchen, lot: str, position: int) -> bool:
    """Return whether the latest proposal for a batch says what the one at a position said."""
    latest, looked = kitchen.proposal_of(lot), _looked_at(kitchen, lot, position)
    return latest is not None and looked is not None and latest.proposal.outcome() == looked.outcome()


def as_now(kitchen: Kitchen, lot: str, fresh: Proposal | None) -> Proposal | None:
    """Return the latest proposal with its figures as they are now, as long as it says the same as the one recorded.

    A proposal is recorded when its outcome changes; an excursion that goes on meanwhile grows in its figures alone.
    """
    record = kitchen.proposal_of(lot)
    if record is None or fresh is None or fresh.outcome() != record.proposal.outcome():
        return None if record is None else record.proposal
    return fresh


def standing(kitchen: Kitchen, lot: str) -> Standing:
    """Return how a batch stands.

    A signature holds for the proposal that was looked at. When a newer proposal says something else, the batch
    waits for another signature; meanwhile the stronger of the two binds, so that news alone never lifts a hold.
    """
    proposed, signed = kitchen.proposal_of(lot), kitchen.sign_off_of(lot)
    if signed is None:
        return Standing(None if proposed is None else proposed.proposal.disposition, False, proposed, None)
    decided = signed.sign_off.disposition
    if proposed is None or same_outcome(kitchen, lot, signed.sign_off.proposal):
        return Standing(decided, True, proposed, signed)
    newer = proposed.proposal.disposition
    if decided is Disposition.REJECT or (decided is Disposition.HOLD and newer is not Disposition.REJECT):
        return Standing(decided, True, proposed, signed)
    return Standing(newer, False, proposed, signed)

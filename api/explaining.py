"""The one paragraph of a batch, as pages and the command say it."""

from alerts.explain import paragraph
from alerts.rulebook.book import Rulebook
from api.actions.standing import as_now, standing
from api.tonight import zone_of
from collector.batches import Batch
from collector.findings import Proposal
from collector.kitchen import Kitchen


def zone_of_batch(kitchen: Kitchen, batch: Batch) -> str:
    """Return the time zone of the walls between which a batch was started."""
    return zone_of(kitchen, next((p.unit for p in batch.placements if p.unit is not None), None))


def explained(kitchen: Kitchen, lot: str, fresh: Proposal | None, book: Rulebook | None) -> str:
    """Return a batch in one paragraph; `fresh` is what the rules propose this minute, None where only the journal is.

    `book` is the shipped rulebook of its site, None where there is none.
    """
    batch, stands = kitchen.batches[lot], standing(kitchen, lot)
    proposal, zone = as_now(kitchen, lot, fresh), zone_of_batch(kitchen, batch)
    return paragraph(batch, proposal, kitchen, book, zone, binds=stands.disposition, signed=stands.signed)

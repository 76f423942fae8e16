"""What the JSON API says of instruments."""

from api.answers import Answer, Stamp


class InstrumentAnswer(Answer):
    """An instrument, its last check, and when the next is due; figures in K, of a scale in g."""

    instrument: str
    kind: str
    unit: str | None
    state: str
    due_at: Stamp | None
    out_since: Stamp | None
    checked_at: Stamp | None
    as_found: float | None
    as_left: float | None
    tolerance: float | None
    lots: tuple[str, ...]
    """Batches judged by it since."""

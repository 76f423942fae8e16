"""What a person or a program may send about instruments, notes, tasks, and batches that are split or merged."""

from typing import Annotated, Literal

from pydantic import Field, StringConstraints

from api.schemas import Code, Figure, Moment, Name, Request, Short, Words

InstrumentKind = Literal["channel", "probe", "scale"]
Channel = Annotated[str, StringConstraints(min_length=1, max_length=400)]


class TakeOut(Request):
    """A sensor is taken out to be checked."""

    channel: Channel
    from_at: Moment | None = None


class PutBack(Request):
    """A sensor stands in its place again."""

    channel: Channel
    until_at: Moment | None = None


class EnterCheck(Request):
    """An instrument was compared with a reference; figures in K, of a scale in g."""

    instrument: Channel
    kind: InstrumentKind
    reference: Name
    as_found: Figure
    as_left: Figure
    checked_at: Moment | None = None
    due_at: Moment | None = None
    tolerance: Figure | None = None


class PinNote(Request):
    """A note for the next shift."""

    text: Words


class SeeNote(Request):
    """One has read the note of that journal position."""

    note: int


class ReportTask(Request):
    """What was due is done."""

    task: Name
    done_at: Moment | None = None
    note: Short = ""


class SplitBatch(Request):
    """Some tubs become a batch of their own."""

    child: Code
    tubs: Annotated[tuple[Name, ...], Field(strict=False, min_length=1, max_length=50)]


class NewTub(Request):
    """A tub of the new batch, and the unit that it stands in."""

    tub: Name
    unit: Name


class IntoTub(Request):
    """Into which new tub the meat of an old one went."""

    lot: Code
    tub: Name
    into: Name


class MergeBatches(Request):
    """Batches become one. With one new tub alone, all meat goes into it and `into` may be left out."""

    child: Code
    lots: Annotated[tuple[Code, ...], Field(strict=False, min_length=1, max_length=20)]
    tubs: Annotated[tuple[NewTub, ...], Field(strict=False, min_length=1, max_length=50)]
    into: Annotated[tuple[IntoTub, ...], Field(strict=False, max_length=500)] = ()

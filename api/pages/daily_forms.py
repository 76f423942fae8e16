"""Forms of a batch's page for tasks that are done, and for splitting and merging it."""

from api.actions.dividing import standing_tubs
from api.pages.batch_forms import NOW_HINT, unit_options
from api.pages.forms import Field, Form, Kind
from collector.batches import Batch
from collector.kitchen import Kitchen


def task_form(batch: Batch) -> Form:
    """Return the form for a task that is done."""
    fields = (
        Field("task", "What was done", hint="Turned, weighed down, topped up, brine looked at.", needed=True),
        Field("note", "What was seen", half=True),
        Field("done_at", "When", Kind.WHEN, NOW_HINT, optional="", half=True),
    )
    return Form("task", "Say what was done", f"/batches/{batch.lot}/task", "Write it down", fields)


def split_form(batch: Batch) -> Form:
    """Return the form that makes some tubs a batch of their own."""
    stand = ", ".join(standing_tubs(batch))
    fields = (
        Field("child", "Lot code of the new batch", needed=True, half=True),
        Field("tubs", "Tubs that go into it", Kind.LIST, f"With commas between; now here: {stand}.", needed=True),
    )
    note = "They keep their whole history, and any hold. At least one tub stays. It counts from now on."
    return Form("split", "Split it", f"/batches/{batch.lot}/split", "Split the batch", fields, note=note)


def merge_form(kitchen: Kitchen, batch: Batch) -> Form:
    """Return the form by which an approver makes one batch of this one and others, in one tub."""
    others = [lot for lot, one in sorted(kitchen.batches.items()) if one.ended_at is None and lot != batch.lot]
    living = ", ".join(others[:20]) or "none"
    fields = (
        Field("lots", "With which lots", Kind.LIST, f"With commas between; living: {living}.", needed=True),
        Field("child", "Lot code of the new batch", needed=True),
        Field("tubs.0.tub", "Tub that all of it lies in now", needed=True, half=True),
        Field("tubs.0.unit", "It stands in", Kind.CHOICE, options=unit_options(kitchen), needed=True, half=True),
    )
    note = "It carries the history of each and is judged by the worst. Nothing on hold or rejected is mixed."
    return Form("merge", "Merge with others", f"/batches/{batch.lot}/merge", "Sign with my name", fields, note=note)


def daily_forms(kitchen: Kitchen, batch: Batch) -> dict[str, Form]:
    """Return these forms of a batch by the last part of their address."""
    return {"task": task_form(batch), "split": split_form(batch), "merge": merge_form(kitchen, batch)}

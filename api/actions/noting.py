"""Notes for the next shift, who has read them, and tasks that are done. Pure: no clock, no I/O."""

from api.actions.faults import Check, Faults, Result, fault, living
from api.schemas_daily import PinNote, ReportTask, SeeNote
from collector.events_making import NotePinned, NoteSeen, TaskReported
from collector.kitchen import Kitchen, Person
from collector.logs import TaskDone
from collector.sample import Instant


def pin_note(kitchen: Kitchen, request: PinNote, person: Person, now: Instant) -> Result:
    """Return a note for the next shift."""
    return Check().result(person, now, [NotePinned(request.text)])


def see_note(kitchen: Kitchen, request: SeeNote, person: Person, now: Instant) -> Result:
    """Return that somebody read a note."""
    note = next((one for one in kitchen.notes if one.position == request.note), None)
    if note is None:
        return fault("note", "there is no such note", "open Tonight again")
    check = Check()
    check.that(person.id not in note.seen_by, "note", "you have read it already", "nothing more is asked of you")
    return check.result(person, now, [NoteSeen(request.note)])


def report_task(kitchen: Kitchen, lot: str, request: ReportTask, person: Person, now: Instant) -> Result:
    """Return that what was due is done."""
    batch = living(kitchen, lot)
    if isinstance(batch, Faults):
        return batch
    check, at = Check(), now if request.done_at is None else request.done_at
    if check.past("done_at", at, now):
        check.that(at >= batch.started_at, "done_at", "that was before the batch began", "enter when it was done")
    done = TaskDone(request.task, round(at, 3), person.id, request.note)
    return check.result(person, at, [TaskReported(lot, done)])

"""Splitting and merging batches, notes for the next shift and tasks done, as acts and as forms."""

from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.actions.dividing import merge_batches, split_batch
from api.actions.faults import Faults, Result
from api.actions.noting import pin_note, report_task, see_note
from api.app import create_app
from api.auth.sessions import begin, cookie_name, form_token
from api.office import Office
from api.schemas_daily import MergeBatches, PinNote, ReportTask, SeeNote, SplitBatch
from collector.batches import Placement
from collector.events import BatchStarted, Draft
from collector.kitchen import Kitchen
from tests.office import DAY, NOW, made_kitchen, made_office

KITCHEN = made_kitchen()
BO, CY = KITCHEN.people["bo"], KITCHEN.people["cy"]
BELLY = KITCHEN.batches["BELLY-32"]
SECOND = Draft(
    NOW - DAY, "bo", BatchStarted("BELLY-33", BELLY.plan, BELLY.as_made, (Placement("rack 2", "fridge", NOW - DAY),))
)
TWO = made_kitchen(SECOND)


def said(result: Result) -> str:
    assert isinstance(result, Faults), result
    return " / ".join(f"{fault.field}: {fault.what}; {fault.mend}" for fault in result.found)


def split(child: str, *tubs: str) -> Result:
    return split_batch(KITCHEN, "BRISKET-14", SplitBatch(child=child, tubs=tubs), BO, NOW)


def merged(kitchen: Kitchen = TWO, lot: str = "BELLY-32", **more: Any) -> Result:
    body = {"child": "BELLY-40", "lots": ["BELLY-33"], "tubs": [{"tub": "rack", "unit": "fridge"}], **more}
    return merge_batches(kitchen, lot, MergeBatches.model_validate(body), CY, NOW)


def test_a_tub_becomes_a_batch_with_its_history_and_its_hold() -> None:
    result = split("BRISKET-15", "2")
    assert not isinstance(result, Faults)
    kitchen = made_kitchen(*result)
    child = kitchen.batches["BRISKET-15"]
    assert (child.tubs, child.started_at) == (("2",), KITCHEN.batches["BRISKET-14"].started_at)
    assert kitchen.proposals["BRISKET-15"] == kitchen.proposals["BRISKET-14"]


def test_a_split_that_cannot_be_is_refused() -> None:
    assert "lot code ham-31 is taken" in said(split("ham-31", "2"))
    assert "nothing of BRISKET-14 would stay" in said(split("B-1", "1", "2"))
    assert "has no tub 9" in said(split("B-1", "9"))


def test_batches_alike_become_one_that_carries_both() -> None:
    result = merged()
    assert not isinstance(result, Faults)
    kitchen = made_kitchen(SECOND, *result)
    child = kitchen.batches["BELLY-40"]
    assert {(s.lot, s.tub, s.into) for s in child.strands} == {
        ("BELLY-32", "rack 1", "rack"), ("BELLY-33", "rack 2", "rack"),
    }  # fmt: skip
    assert child.as_made.meat_kg == 2 * BELLY.as_made.meat_kg
    assert kitchen.batches["BELLY-33"].ended_at is not None


@pytest.mark.parametrize(
    ("more", "what"),
    [
        ({"lots": ["BRISKET-14"]}, "BRISKET-14 is not to be used (hold)"),
        ({"lots": ["HAM-31"]}, "differ in packing"),
        ({"lots": ["BELLY-32"]}, "one batch alone"),
        ({"lots": ["NONE-1"]}, "no batch has lot code NONE-1"),
        ({"child": "HAM-31"}, "lot code HAM-31 is taken"),
        ({"tubs": [{"tub": "rack", "unit": "cellar"}]}, "no unit is called cellar"),
        ({"into": [{"lot": "BELLY-32", "tub": "rack 1", "into": "rack"}]}, "where tub rack 2 of BELLY-33 went"),
    ],
)
def test_a_merge_that_cannot_be_is_refused(more: dict[str, Any], what: str) -> None:
    assert what in said(merged(**more))


def test_a_note_is_read_once_by_each_and_a_task_not_before_its_batch() -> None:
    pinned = pin_note(KITCHEN, PinNote(text="turn the ham"), BO, NOW)
    assert not isinstance(pinned, Faults)
    kitchen = made_kitchen(*pinned)
    position = kitchen.notes[0].position
    seen = see_note(kitchen, SeeNote(note=position), CY, NOW)
    assert not isinstance(seen, Faults)
    after = made_kitchen(*pinned, *seen)
    assert after.notes[0].seen_by == ("cy",)
    assert "read it already" in said(see_note(after, SeeNote(note=position), CY, NOW))
    assert "no such note" in said(see_note(KITCHEN, SeeNote(note=1), CY, NOW))
    early = ReportTask(task="turn 1", done_at=NOW - 30 * DAY)
    assert "before the batch began" in said(report_task(KITCHEN, "HAM-31", early, BO, NOW))


def send(client: TestClient, office: Office, person: str, address: str, fields: dict[str, str]) -> tuple[int, str]:
    session = begin(office.working, person, office.security_clock())
    client.cookies.set(cookie_name(office.settings), session)
    answer = client.post(address, data={"form_token": form_token(session), **fields})
    return answer.status_code, answer.headers.get("location", "") or answer.text


def test_people_pin_notes_report_tasks_split_and_merge_by_forms_as_their_roles_allow() -> None:
    office = made_office()
    office.present.decide(lambda kitchen: [SECOND])
    headers = {"Origin": "http://testserver"}
    with TestClient(create_app(office), follow_redirects=False, headers=headers) as client:
        assert send(client, office, "bo", "/notes", {"text": "Turn the ham at six."}) == (303, "/?done=note")
        assert "Nobody has read it yet." in client.get("/").text
        position = str(office.present.kitchen.notes[0].position)
        assert send(client, office, "cy", "/notes/seen", {"note": position}) == (303, "/?done=seen")
        page = client.get("/").text
        assert "Read by Cyrus Okafor." in page
        assert "On hold or rejected now" in page
        assert send(client, office, "vi", "/notes", {"text": "no, really"})[0] == 403
        assert send(client, office, "bo", "/notes", {"text": ""})[0] == 422
        task = {"task": "turn 2", "note": "clear brine"}
        assert send(client, office, "bo", "/batches/HAM-31/task", task)[0] == 303
        tubs = {"child": "BRISKET-15", "tubs": "2"}
        assert send(client, office, "bo", "/batches/BRISKET-14/split", tubs)[0] == 303
        assert client.get("/batches/BRISKET-15").status_code == 200
        merge = {"child": "BELLY-40", "lots": "BELLY-33", "tubs.0.tub": "rack", "tubs.0.unit": "fridge"}
        assert send(client, office, "bo", "/batches/BELLY-32/merge", merge)[0] == 403
        assert send(client, office, "cy", "/batches/BELLY-32/merge", merge)[0] == 303
        assert client.get("/batches/BELLY-40").status_code == 200

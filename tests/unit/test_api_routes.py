"""What the JSON API says and takes: words, pages, faults, and its shape, which nobody changes unannounced."""

import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.auth.roles import Role
from api.auth.tokens import issue_token
from api.office import Office
from collector.findings import Disposition
from collector.health import Part, State
from collector.storage import StoreFailed
from tests.office import DAY, NOW, made_office, with_health

SNAPSHOT = Path(__file__).parent / "openapi.json"
RENEW = "CUREVIGIL_RENEW"


def client_of(office: Office, person: str = "bo", role: Role = Role.OPERATOR) -> TestClient:
    secret, _ = issue_token(office.working, person, role, NOW, name="test", lasts_s=3600.0)
    return TestClient(create_app(office), headers={"Authorization": f"Bearer {secret}"})


@pytest.fixture
def office() -> Office:
    return made_office()


@pytest.fixture
def client(office: Office) -> Iterator[TestClient]:
    with client_of(office) as client:
        yield client


@pytest.fixture(scope="module")
def still() -> Iterator[tuple[TestClient, Office]]:
    """One office for everything that must change nothing."""
    office = made_office()
    with client_of(office) as client:
        yield client, office


def got(client: TestClient, path: str) -> Any:
    answer = client.get(f"/api/v1{path}")
    assert answer.status_code == 200, answer.text
    return answer.json()


def walked(client: TestClient, path: str, limit: int) -> list[Any]:
    """Return every item of a list, asked for in pages."""
    items, sign = [], "&" if "?" in path else "?"
    page = got(client, f"{path}{sign}limit={limit}")
    while True:
        assert len(page["items"]) <= limit
        items += page["items"]
        if page["next"] is None:
            return items
        page = client.get(f"/api/v1{path}", params={"limit": limit, "after": page["next"]}).json()


def test_a_unit_says_what_is_known_now_with_the_caution(client: TestClient) -> None:
    unit = got(client, "/units/coldroom")
    assert unit["sentence"] == "Warmest meat 4.1 °C (estimate), limit 5.0 °C. Air 8.1 °C, rising."
    assert unit["batches"] == ["BRISKET-14", "HAM-31"]
    assert unit["alarms"] == ["A21"]
    assert unit["estimates"][0]["at"] == "2026-11-25T07:09:30Z"
    assert "Estimates only" in unit["caution"]
    (belly,) = got(client, "/units/fridge")["estimates"]
    assert (belly["claimed_low_c"], belly["claimed_high_c"]) == (2.8, 3.4)


def test_a_batch_says_what_is_proposed_in_words_and_what_may_be_signed(client: TestClient) -> None:
    batch = got(client, "/batches/BRISKET-14")
    assert (batch["disposition"], batch["signed"], batch["may_sign"]) == ("hold", False, ["hold", "continue", "reject"])
    assert any("Leave it cold" in line for line in batch["proposal"]["text"])
    assert batch["proposal"]["decide_by_at"] == "2026-11-26T07:10:00Z"
    assert batch["proposal"]["findings"][0]["outcome"] == "outside"
    assert batch["started_at"] == "2026-11-21T07:10:00Z"
    assert len(batch["hand_readings"]) == len(batch["actions"]) == 1


def test_an_alarm_says_what_to_look_at_first_and_never_what_becomes_of_the_food(client: TestClient) -> None:
    alarm = got(client, "/alarms/A21")
    assert alarm["text"].startswith("Cold room: meat may pass 5.0 °C from 03:40 (estimate).")
    assert alarm["first_steps"][0] == "Is the door shut? Has it power? Does the fan turn?"
    words = json.dumps(alarm).lower()
    assert not [word for word in Disposition if word in words.replace("continues", "")]


def test_lists_come_in_pages_that_hold_every_item_once(client: TestClient) -> None:
    for path, key, count in (
        ("/units", "id", 3), ("/batches", "lot", 3), ("/channels", "channel", 4), ("/people", "id", 4),
        ("/journal", "position", 21), ("/rulebook-rows", "row", None), ("/alarms", "id", 1),
    ):  # fmt: skip
        items = [item[key] for item in walked(client, path, 2)]
        assert items == [item[key] for item in got(client, f"{path}?limit=1000")["items"]]
        assert len(set(items)) == len(items)
        assert count in (None, len(items))


def test_channels_that_nobody_has_claimed_can_be_asked_for(client: TestClient) -> None:
    items = got(client, "/channels?unassigned=true")["items"]
    assert [item["channel"] for item in items] == ["new/air"]
    assert items[0]["assignment"] is None
    assert items[0]["last_value"] == 3.0


def test_readings_are_given_as_sent_from_an_instant_until_another(client: TestClient, office: Office) -> None:
    page = got(client, "/readings?channel=new/air&from=2026-11-25T07:08:00Z&until=2026-11-25T07:09:00Z")
    assert [(r["measured_at"], r["value"], r["doubts"]) for r in page["items"]] == [("2026-11-25T07:08:00Z", 2.9, [])]
    path = f"/readings?channel=cold/air&from={NOW - 5 * DAY}"
    items, page = [], got(client, f"{path}&limit=100")
    while page["next"] is not None:
        items += page["items"]
        page = got(client, f"{path}&limit=100&after={page['next']}")
    kept = office.readings.series("cold/air", NOW - 5 * DAY, NOW)
    assert [item["value"] for item in items + page["items"]] == kept.values.tolist()


def test_an_entry_of_the_journal_says_who_and_what(client: TestClient) -> None:
    entry = got(client, "/journal?after=20")["items"][0]
    assert (entry["position"], entry["kind"], entry["by"]) == (21, "AlarmRaised", "watch")
    assert entry["body"]["condition"]["unit"] == "coldroom"


def test_what_was_done_is_seen_at_once(client: TestClient, office: Office) -> None:
    done = client.post("/api/v1/alarms/A21/answers", json={"answer": "going", "arriving_at": NOW + 900.0})
    assert done.json() == {"entries": [22]}
    alarm = got(client, "/alarms/A21")
    assert (alarm["state"], alarm["acknowledged_by"], alarm["arriving_at"]) == (
        "acknowledged alarm", "bo", "2026-11-25T07:25:00Z",
    )  # fmt: skip


SENT: list[tuple[str, str, object, str]] = [
    ("/units/attic", "GET", None, "404"),
    ("/batches/NONE-1", "GET", None, "404"),
    ("/alarms/A9", "GET", None, "404"),
    ("/batches/NONE-1/end", "POST", {"reason": "gone away"}, "404"),
    ("/alarms/A9/answers", "POST", {"answer": "cannot"}, "404"),
    ("/alarms?after=B7", "GET", None, "after"),
    ("/journal?after=-1", "GET", None, "after"),
    ("/journal?after=x", "GET", None, "after"),
    ("/units?limit=0", "GET", None, "limit"),
    ("/units?limit=1001", "GET", None, "limit"),
    ("/readings?from=0", "GET", None, "channel"),
    ("/readings?channel=cold/air&from=noon", "GET", None, "from"),
    ("/readings?channel=cold/air&from=2026-11-25T07:00:00", "GET", None, "from"),
    ("/readings?channel=cold/air&from=1795590600&until=1795580600", "GET", None, "until"),
    ("/readings?channel=cold/air&from=1795590600&after=x", "GET", None, "after"),
    ("/batches/HAM-31/moves", "POST", {"tub": "blue", "unit": "attic"}, "unit"),
    ("/batches/HAM-31/moves", "POST", {"tub": "blue", "unit": "fridge", "by": "ada"}, "by"),
    ("/batches/HAM-31/moves", "POST", {"unit": "fridge"}, "tub"),
    ("/batches/HAM-31/moves", "POST", {"tub": 7, "unit": "fridge"}, "tub"),
    ("/batches/HAM-31/moves", "POST", [], "body"),
    ("/batches/HAM-31/stages", "POST", {"stage": "pickle"}, "stage"),
    ("/hand-readings", "POST", {"value": "3", "where": "brine", "probe": "p", "lot": "HAM-31"}, "value"),
    ("/hand-readings", "POST", {"value": True, "where": "brine", "probe": "p", "lot": "HAM-31"}, "value"),
    ("/batches", "POST", {"lot": "T-1", "plan": {}, "as_made": {"meat_kg": 1}, "tubs": []}, "plan.name"),
    ("/alarms/A21/answers", "POST", {"answer": "maybe"}, "answer"),
    ("/alarms/A21/answers", "POST", {"answer": "going"}, "arriving_at"),
]


@pytest.mark.parametrize(("path", "method", "body", "fault"), SENT, ids=lambda value: str(value)[:50])
def test_what_cannot_be_is_refused_by_field_and_nothing_is_done(
    path: str, method: str, body: object, fault: str, still: tuple[TestClient, Office]
) -> None:
    client, office = still
    before = office.journal.head()
    answer = client.request(method, f"/api/v1{path}", json=body)
    assert office.journal.head() == before
    assert answer.headers["content-type"] == "application/json"
    if fault == "404":
        assert answer.status_code == 404
        assert answer.json()["error"].startswith("There is no")
        return
    assert answer.status_code == 422
    found = answer.json()["faults"]
    assert fault in [one["field"] for one in found]
    assert all(one["what"] and one["mend"] for one in found)


def test_a_body_that_is_no_json_is_refused_in_words(client: TestClient) -> None:
    answer = client.post("/api/v1/hand-readings", content=b"{not", headers={"content-type": "application/json"})
    assert answer.status_code == 422
    assert answer.json()["faults"][0]["what"] == "is no JSON"


def test_figures_that_are_no_numbers_are_refused(client: TestClient) -> None:
    for figure in (b"NaN", b"Infinity", b"-Infinity", b"1e999"):
        body = b'{"value": %s, "where": "brine", "probe": "p", "lot": "HAM-31"}' % figure
        answer = client.post("/api/v1/hand-readings", content=body, headers={"content-type": "application/json"})
        assert answer.status_code == 422
        assert answer.json()["faults"][0]["field"] == "value"


def test_a_signature_on_an_older_proposal_is_refused_when_the_newer_says_something_else(office: Office) -> None:
    from collector.events import Draft, ProposalMade
    from tests.office import WARM, proposal

    looked = office.present.kitchen.proposals["BRISKET-14"][0].position
    newer = Draft(NOW, "rules", ProposalMade(proposal("BRISKET-14", Disposition.REJECT, WARM)))
    office.present.decide(lambda kitchen: [newer])
    body = {"disposition": "hold", "reason": "as proposed", "proposal": looked, "where_kept": "shelf 2"}
    with client_of(office, "cy", Role.APPROVER) as client:
        answer = client.post("/api/v1/batches/BRISKET-14/sign-offs", json=body)
    assert answer.status_code == 422
    assert answer.json()["faults"][0]["what"] == "a newer proposal says something else"


def test_health_says_no_more_to_the_public_than_whether_it_works(office: Office) -> None:
    failed = with_health(office, Part("store", State.FAILED, NOW, "the disk is full", {"free": 0.0}))
    silent = with_health(office)
    for shown, status, works in ((office, 200, True), (failed, 503, False), (silent, 503, False)):
        with TestClient(create_app(shown)) as client:
            answer = client.get("/health")
        assert (answer.status_code, answer.json()) == (status, {"works": works})
    with client_of(failed) as client:
        answer = client.get("/api/v1/health").json()
    assert answer["parts"][0]["sentence"] == "the disk is full"
    assert answer["parts"][0]["since_at"] == "2026-11-25T07:10:00Z"


def test_metrics_come_as_text(client: TestClient) -> None:
    answer = client.get("/metrics")
    assert answer.headers["content-type"] == "text/plain; version=0.0.4; charset=utf-8"
    assert 'curevigil_part_works{part="broker"} 1' in answer.text


def test_a_store_that_refuses_is_said_and_nothing_of_the_inside(
    client: TestClient, office: Office, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*args: object, **named: object) -> None:
        raise StoreFailed("/var/lib/kitchen/journal.db: disk full")

    monkeypatch.setattr(office.journal, "append", refuse)
    answer = client.post("/api/v1/alarms/A21/answers", json={"answer": "cannot"})
    assert answer.status_code == 503
    assert "journal.db" not in answer.text


def shape() -> str:
    """Return the schema of the JSON API as it is now."""
    return json.dumps(create_app(made_office()).openapi(), indent=1, sort_keys=True, ensure_ascii=False) + "\n"


def test_the_shape_of_the_api_changes_only_where_the_snapshot_announces_it() -> None:
    if os.environ.get(RENEW) == "openapi":
        SNAPSHOT.write_text(shape(), encoding="utf-8")
    assert SNAPSHOT.read_text(encoding="utf-8") == shape(), f"announce it: run this test once with {RENEW}=openapi"


def test_the_snapshot_holds_the_api_alone() -> None:
    paths = json.loads(SNAPSHOT.read_text(encoding="utf-8"))["paths"]
    assert all(path.startswith(("/api/v1/", "/health", "/metrics")) for path in paths)

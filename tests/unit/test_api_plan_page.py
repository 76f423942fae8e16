"""The page that says what a plan comes to: it answers, keeps nothing, and names what is wrong in its field."""

from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.auth.sessions import begin, cookie_name
from api.office import Office
from tests.office import made_office

TYPED = {
    "plan.name": "Five days", "plan.meat": "beef", "plan.cut": "brisket", "plan.method": "immersion",
    "plan.packing": "under brine", "plan.route": "cooked", "plan.cure_days": "5", "plan.thickness_mm": "55",
    "plan.meat_kg": "2", "plan.water_kg": "2", "plan.salt_kg": "0,2", "plan.sugar_kg": "0.1",
    "plan.curing_salt_kg": "0.03", "plan.nitrite_percent": "0.6", "plan.vessel": "plastic", "plan.brine_c": "4",
}  # fmt: skip


@pytest.fixture
def office() -> Office:
    return made_office()


@pytest.fixture
def client(office: Office) -> Iterator[TestClient]:
    with TestClient(create_app(office), follow_redirects=False, headers={"Origin": "http://testserver"}) as client:
        client.cookies.set(cookie_name(office.settings), begin(office.working, "bo", office.security_clock()))
        yield client


def ask(client: TestClient, **changes: str) -> tuple[int, str]:
    page = client.get("/plan").text
    token = page.partition('name="form_token" value="')[2].partition('"')[0]
    answer = client.post("/plan", data={**TYPED, **changes, "form_token": token})
    return answer.status_code, answer.text


def test_a_plan_is_answered_and_nothing_is_kept(client: TestClient, office: Office) -> None:
    before = office.present.catch_up().position
    status, text = ask(client)
    assert status == 200
    assert "10.31 % salt" in text and "41.6 ppm" in text and "not nitrite-protected" in text
    assert 'value="0,2"' in text, "what was typed stands there still"
    assert office.present.catch_up().position == before


def test_what_cannot_work_is_marked_refused_in_words(client: TestClient) -> None:
    status, text = ask(client, **{"plan.vessel": "bare aluminium", "plan.nitrite_percent": "6.25"})
    assert status == 200
    assert text.count("Refused:") >= 2 and "aluminium" in text and "Method Two 433" in text


@pytest.mark.parametrize(
    ("field", "value", "word"),
    [("plan.cure_days", "0", "outside"), ("plan.thickness_mm", "thick", "number"), ("plan.meat_kg", "", "empty")],
)
def test_what_cannot_be_a_plan_is_named_in_its_field(client: TestClient, field: str, value: str, word: str) -> None:
    status, text = ask(client, **{field: value})
    assert status == 422
    assert 'id="answers"' not in text

"""Codes, tokens and sessions over the JSON API: who may give them out, and that they work."""

from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.auth.entry import From, by_code, by_password, set_password
from api.auth.roles import Role
from api.auth.sessions import begin, find
from api.auth.tokens import issue_token
from api.doing import Refused
from api.office import Office
from api.routes.access import router
from tests.office import NOW, made_office

U = "/api/v1"
CODE: dict[str, Any] = {}
TOKEN = {"person": "bo", "name": "scale by the door", "role": "operator"}
ADMIN_ONLY = [
    ("POST", f"{U}/people/bo/codes", CODE),
    ("GET", f"{U}/tokens", None),
    ("POST", f"{U}/tokens", TOKEN),
    ("POST", f"{U}/tokens/none/end", None),
]
ANYBODYS = [("GET", f"{U}/sessions", None), ("POST", f"{U}/sessions/none/end", None)]


@pytest.fixture
def office() -> Office:
    return made_office()


@pytest.fixture
def client(office: Office) -> TestClient:
    return TestClient(create_app(office))


def bearer(office: Office, person: str, role: Role | None) -> dict[str, str]:
    secret, _ = issue_token(office.working, person, role, NOW, name="test", lasts_s=3600.0)
    return {"Authorization": f"Bearer {secret}"}


def test_the_tables_name_every_route() -> None:
    assert len(ADMIN_ONLY) + len(ANYBODYS) == len(router.routes)


@pytest.mark.parametrize(("method", "path", "body"), [*ADMIN_ONLY, *ANYBODYS])
def test_nobody_gives_out_nothing(client: TestClient, method: str, path: str, body: object) -> None:
    assert client.request(method, path, json=body).status_code == 401


@pytest.mark.parametrize(
    ("person", "role"), [("vi", None), ("bo", Role.OPERATOR), ("cy", Role.APPROVER), ("ada", Role.APPROVER)]
)
@pytest.mark.parametrize(("method", "path", "body"), ADMIN_ONLY)
def test_only_an_admin_gives_out_codes_and_tokens(
    client: TestClient, office: Office, person: str, role: Role | None, method: str, path: str, body: object
) -> None:
    sent = bearer(office, person, role)
    before = repr(office.working)
    assert client.request(method, path, json=body, headers=sent).status_code == 403
    assert repr(office.working) == before


def test_a_code_that_was_given_out_lets_its_person_in_once(client: TestClient, office: Office) -> None:
    answer = client.post(f"{U}/people/bo/codes", json={"lasts_h": 2}, headers=bearer(office, "ada", Role.ADMIN))
    assert answer.status_code == 201
    assert answer.json()["until_at"] == "2026-11-25T09:10:00Z"
    assert by_code(office, answer.json()["code"], From("here")).person.id == "bo"
    with pytest.raises(Refused):
        by_code(office, answer.json()["code"], From("here"))


@pytest.mark.parametrize(("fresh", "works"), [(False, True), (True, False)])
def test_a_fresh_start_takes_password_and_sessions_away(
    client: TestClient, office: Office, fresh: bool, works: bool
) -> None:
    bo = office.present.kitchen.people["bo"]
    set_password(office, bo, "salt beef on rye")
    token = by_password(office, "bo", "salt beef on rye", From("here")).token
    sent = bearer(office, "ada", Role.ADMIN)
    assert client.post(f"{U}/people/bo/codes", json={"fresh_start": fresh}, headers=sent).status_code == 201
    assert (find(office.working, token, NOW) is not None) is works


def test_a_token_is_said_once_works_and_ends(client: TestClient, office: Office) -> None:
    sent = bearer(office, "ada", Role.ADMIN)
    given = client.post(f"{U}/tokens", json=TOKEN, headers=sent).json()
    mine = {"Authorization": f"Bearer {given['token']}"}
    assert client.get(f"{U}/units", headers=mine).status_code == 200
    listed = client.get(f"{U}/tokens", headers=sent)
    assert given["key"] in {token["key"] for token in listed.json()["items"]} and given["token"] not in listed.text
    assert client.post(f"{U}/tokens/{given['key']}/end", headers=sent).json() == {"ended": given["key"]}
    assert client.get(f"{U}/units", headers=mine).status_code == 401
    assert client.post(f"{U}/tokens/{given['key']}/end", headers=sent).status_code == 404


@pytest.mark.parametrize(
    ("path", "body", "field"),
    [
        ("tokens", {**TOKEN, "role": "approver"}, "role"),
        ("tokens", {**TOKEN, "role": "owner"}, "role"),
        ("tokens", {**TOKEN, "person": "nobody"}, "person"),
        ("tokens", {**TOKEN, "name": "\u202eabc"}, "name"),
        ("tokens", {**TOKEN, "lasts_days": 0}, "lasts_days"),
        ("tokens", {**TOKEN, "lasts_days": 401}, "lasts_days"),
        ("tokens", {**TOKEN, "secret": "mine"}, "secret"),
        ("people/bo/codes", {"lasts_h": 73}, "lasts_h"),
        ("people/bo/codes", {"lasts_h": "1"}, "lasts_h"),
        ("people/bo/codes", {"fresh_start": "no"}, "fresh_start"),
    ],
)
def test_a_faulty_request_says_which_field(
    client: TestClient, office: Office, path: str, body: dict[str, object], field: str
) -> None:
    sent = bearer(office, "ada", Role.ADMIN)
    before = repr(office.working)
    answer = client.post(f"{U}/{path}", json=body, headers=sent)
    assert answer.status_code == 422
    assert [fault["field"] for fault in answer.json()["faults"]] == [field]
    assert repr(office.working) == before


def test_a_code_for_nobody_is_not_given(client: TestClient, office: Office) -> None:
    sent = bearer(office, "ada", Role.ADMIN)
    assert client.post(f"{U}/people/nobody/codes", json=CODE, headers=sent).status_code == 404


def test_people_see_and_end_their_own_sessions_alone(client: TestClient, office: Office) -> None:
    begin(office.working, "ada", NOW, "phone")
    theirs = begin(office.working, "bo", NOW, "tablet")
    client.cookies.set("curevigil", begin(office.working, "ada", NOW, "office"))
    first = client.get(f"{U}/sessions?limit=1").json()
    rest = client.get(f"{U}/sessions?after={first['next']}").json()
    mine = [*first["items"], *rest["items"]]
    assert {(s["browser"], s["this"]) for s in mine} == {("phone", False), ("office", True)} and rest["next"] is None
    ours = {"Origin": "http://testserver"}
    phone = next(s["key"] for s in mine if not s["this"])
    assert client.post(f"{U}/sessions/{phone}/end", headers=ours).json() == {"ended": phone}
    session = find(office.working, theirs, NOW)
    assert session is not None
    assert client.post(f"{U}/sessions/{session.key}/end", headers=ours).status_code == 404
    assert find(office.working, theirs, NOW) is not None
    assert len(client.get(f"{U}/sessions").json()["items"]) == 1


def test_tokens_are_listed_page_by_page(client: TestClient, office: Office) -> None:
    sent = bearer(office, "ada", Role.ADMIN)
    for _ in range(4):
        bearer(office, "bo", None)
    seen: list[str] = []
    after = ""
    while True:
        page = client.get(f"{U}/tokens?limit=2{after}", headers=sent).json()
        seen += [token["key"] for token in page["items"]]
        if page["next"] is None:
            break
        after = f"&after={page['next']}"
    assert len(seen) == len(set(seen)) == 5

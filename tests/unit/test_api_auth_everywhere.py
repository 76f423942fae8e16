"""What holds for every route of the application, pages and JSON API alike, whoever wrote it."""

import re

import pytest
from fastapi import FastAPI
from starlette.routing import BaseRoute, Mount, Route
from starlette.testclient import TestClient

from api.app import create_app
from api.auth.sessions import begin
from api.office import Office
from tests.office import NOW, made_office

OURS = {"origin": "http://testserver"}


@pytest.fixture
def office() -> Office:
    return made_office()


@pytest.fixture
def client(office: Office) -> TestClient:
    return TestClient(create_app(office), follow_redirects=False, raise_server_exceptions=False)


def every_route(app: FastAPI) -> set[tuple[str, str]]:
    """Return method and path of every route that the application has; static files apart."""
    found: set[tuple[str, str]] = set()
    waiting: list[BaseRoute] = list(app.routes)
    while waiting:
        one = waiting.pop()
        inner = getattr(one, "original_router", None)
        if inner is not None:
            waiting += inner.routes
        elif isinstance(one, Route):
            found |= {(method, one.path) for method in one.methods or () if method != "HEAD"}
        else:
            assert isinstance(one, Mount) and one.path == "/static", one
    assert len(found) > 40 and PUBLIC <= found
    return found


PUBLIC = {
    ("GET", "/health"), ("GET", "/sign-in"), ("POST", "/sign-in"), ("POST", "/sign-in/password"), ("GET", "/a/{token}"),
    ("POST", "/a/{token}"), ("GET", "/static/charts.js"),
}  # fmt: skip


def test_nothing_but_what_is_named_here_answers_nobody(client: TestClient, office: Office) -> None:
    before = (office.journal.head(), repr(office.working))
    for method, path in sorted(every_route(create_app(office)) - PUBLIC):
        answer = client.request(method, re.sub(r"\{[^}]+\}", "x", path), headers=OURS)
        turned_away = answer.status_code == 401 or (
            answer.status_code == 303 and answer.headers["location"].startswith("/sign-in")
        )
        assert turned_away, f"{method} {path} answers nobody with {answer.status_code}"
    assert (office.journal.head(), repr(office.working)) == before


def test_no_form_of_any_page_is_taken_without_its_token(client: TestClient, office: Office) -> None:
    client.cookies.set("curevigil", begin(office.working, "ada", NOW))
    before = office.journal.head()
    posts = {p for m, p in every_route(create_app(office)) if m == "POST" and not p.startswith("/api/")}
    for path in sorted(posts - {p for _, p in PUBLIC}):
        answer = client.post(re.sub(r"\{[^}]+\}", "BRISKET-14", path), data={"reason": "x"}, headers=OURS)
        assert answer.status_code == 403, f"POST {path} answered {answer.status_code}"
    assert office.journal.head() == before


def test_looking_changes_nothing(client: TestClient, office: Office) -> None:
    client.cookies.set("curevigil", begin(office.working, "ada", NOW))
    before = (office.journal.head(), office.readings.head(), repr(office.working))
    gets = {p for m, p in every_route(create_app(office)) if m == "GET"} - {"/live"}
    names = {"unit": "coldroom", "lot": "BRISKET-14", "alarm": "A21"}
    for path in sorted(gets):
        answer = client.get(re.sub(r"\{(\w+)[^}]*\}", lambda found: names.get(found[1], "x"), path))
        assert answer.status_code < 500, f"GET {path} answered {answer.status_code}"
    assert (office.journal.head(), office.readings.head(), repr(office.working)) == before

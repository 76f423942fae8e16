"""What the application does before any route is asked: who asks, from where, with how much; and how it fails."""

import json
from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest
from fastapi import APIRouter, FastAPI, Request
from pydantic import BaseModel
from starlette.testclient import TestClient

from api.app import create_app
from api.auth.codes import issue_code
from api.auth.roles import Role
from api.auth.sessions import IDLE_S, begin, form_token
from api.auth.signed import Admin, Form, SignedIn
from api.auth.tokens import issue_token
from api.doing import NotThere
from api.headers import LARGEST_BODY, POLICY
from api.office import Office, Settings
from collector.events import Draft, PersonDescribed
from collector.present import Present
from collector.storage import MemoryJournal, MemoryWorking, StoreFailed
from tests.office import NOW, Clock, drafts, made_office

HOST = "kitchen.example"
SECRET = "the-words-that-must-not-leak"


class Sent(BaseModel):
    model_config = {"extra": "forbid", "strict": True}

    count: int


router = APIRouter()


@router.get("/try/page")
def page(who: SignedIn) -> str:
    return who.person.id


@router.get("/api/try")
def program(who: SignedIn) -> list[str]:
    return [who.person.id, *who.person.roles]


@router.post("/api/try")
def change(who: SignedIn, sent: Sent) -> int:
    return sent.count


@router.get("/api/try/admin")
def admin(who: Admin) -> str:
    return who.person.id


@router.post("/try/form")
def form(sent: Form) -> list[str]:
    return sorted(sent)


@router.get("/{kind}/fails/{how}")
def fails(kind: str, how: str) -> None:
    raise {
        "store": StoreFailed(SECRET),
        "bug": KeyError(SECRET),
        "gone": NotThere("there is no batch <b>X</b>"),
    }[how]


@router.post("/try/read")
async def read(request: Request) -> int:
    return len(await request.body())


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture(scope="module")
def readings() -> Office:
    """Return an office for what is slow to make and no request here changes."""
    return made_office()


@pytest.fixture
def office(clock: Clock, readings: Office) -> Office:
    journal = MemoryJournal()
    present = Present(journal, clock)
    present.decide(lambda kitchen: drafts())
    return replace(
        readings, present=present, journal=journal, working=MemoryWorking(), clock=clock, security_clock=clock
    )


def app_of(office: Office) -> FastAPI:
    app = create_app(office)
    app.include_router(router)
    return app


def client_of(office: Office) -> TestClient:
    return TestClient(app_of(office), f"http://{HOST}", follow_redirects=False, raise_server_exceptions=False)


@pytest.fixture
def client(office: Office) -> Iterator[TestClient]:
    with client_of(office) as client:
        yield client


@pytest.fixture
def sign(office: Office, client: TestClient) -> Callable[[str], str]:
    def sign(person: str) -> str:
        token = begin(office.working, person, office.security_clock())
        client.cookies.set("curevigil", token)
        return token

    return sign


OURS = {"origin": f"http://{HOST}"}


def test_nobody_is_sent_to_sign_in_and_back(client: TestClient) -> None:
    answer = client.get("/try/page?a=1&next=//evil.example")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/sign-in?next=/try/page%3Fa%3D1%26next%3D//evil.example"


def test_a_program_or_a_form_without_a_session_is_told_so(client: TestClient) -> None:
    for answer in (client.get("/api/try"), client.post("/api/try", json={"count": 1}), client.post("/try/form")):
        assert answer.status_code == 401
    assert client.get("/api/try").headers["www-authenticate"] == "Bearer"
    assert client.get("/try/page", headers={"accept": "text/event-stream"}).status_code == 401


def test_a_session_says_who_asks_until_it_ends(client: TestClient, sign: Callable[[str], str], clock: Clock) -> None:
    sign("bo")
    assert client.get("/try/page").json() == "bo"
    clock.now += IDLE_S
    assert client.get("/try/page").status_code == 303


def test_a_session_of_somebody_unknown_opens_nothing(client: TestClient, sign: Callable[[str], str]) -> None:
    sign("nobody")
    assert client.get("/api/try").status_code == 401


def test_roles_are_those_of_this_moment(client: TestClient, sign: Callable[[str], str], office: Office) -> None:
    sign("ada")
    assert client.get("/api/try/admin").status_code == 200
    office.present.decide(lambda kitchen: [Draft(NOW, "x", PersonDescribed("ada", "Ada Brandt", ("operator",)))])
    answer = client.get("/api/try/admin")
    assert answer.status_code == 403 and "role admin" in answer.json()["error"]


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        (OURS, 200),
        ({**OURS, "sec-fetch-site": "same-origin"}, 200),
        ({"sec-fetch-site": "same-origin"}, 200),
        ({"origin": f"https://{HOST.upper()}"}, 200),
        ({}, 403),
        ({"origin": "null"}, 403),
        ({"origin": "http://evil.example"}, 403),
        ({"origin": f"http://{HOST}.evil.example"}, 403),
        ({"origin": f"http://evil.example/{HOST}"}, 403),
        ({"origin": "http://[bad"}, 403),
        ({"origin": f"http://{HOST}:8080"}, 403),
        ({**OURS, "sec-fetch-site": "cross-site"}, 403),
        ({**OURS, "sec-fetch-site": "same-site"}, 403),
        ({"origin": "http://evil.example", "sec-fetch-site": "same-origin"}, 403),
    ],
)
def test_a_change_by_cookie_needs_a_page_of_ours(
    client: TestClient, sign: Callable[[str], str], headers: dict[str, str], status: int
) -> None:
    token = sign("bo")
    assert client.post("/api/try", json={"count": 1}, headers=headers).status_code == status
    sent = client.post("/try/form", data={"form_token": form_token(token)}, headers=headers)
    assert sent.status_code == status
    assert client.get("/api/try", headers=headers).status_code == 200, "looking needs no origin"


def test_the_public_address_counts_as_ours_behind_a_proxy(office: Office) -> None:
    office = replace(office, settings=Settings(plain_http=True, public_address="https://salt.example/"))
    client = client_of(office)
    client.cookies.set("curevigil", begin(office.working, "bo", NOW))
    assert client.post("/api/try", json={"count": 1}, headers={"origin": "https://salt.example"}).status_code == 200


@pytest.mark.parametrize("token", [None, "", "wrong", "\u00e9\u00e9", "x" * 9000])
def test_a_form_without_the_token_of_its_session_is_refused(
    client: TestClient, sign: Callable[[str], str], token: str | None
) -> None:
    sign("bo")
    data = {} if token is None else {"form_token": token}
    answer = client.post("/try/form", data=data, headers=OURS)
    assert answer.status_code == 403 and "nothing was done" in answer.text


def test_the_form_token_of_another_session_is_refused(
    client: TestClient, sign: Callable[[str], str], office: Office
) -> None:
    other = form_token(begin(office.working, "bo", NOW))
    mine = form_token(sign("bo"))
    assert client.post("/try/form", data={"form_token": other}, headers=OURS).status_code == 403
    assert client.post("/try/form", data={"form_token": mine, "a": "1"}, headers=OURS).json() == ["a", "form_token"]


def test_a_bearer_token_has_its_role_and_no_more_than_its_person(client: TestClient, office: Office) -> None:
    def ask(person: str, role: Role | None) -> list[str]:
        secret, _ = issue_token(office.working, person, role, NOW, name="t", lasts_s=60.0)
        answer = client.get("/api/try", headers={"authorization": f"Bearer {secret}"})
        return list(answer.json())

    assert ask("ada", Role.APPROVER) == ["ada", "approver"]
    assert ask("ada", None) == ["ada"]
    assert ask("bo", Role.ADMIN) == ["bo"]


def test_a_bearer_token_needs_no_origin_sends_no_form_and_ends(
    client: TestClient, office: Office, clock: Clock
) -> None:
    secret, _ = issue_token(office.working, "bo", Role.OPERATOR, NOW, name="t", lasts_s=60.0)
    bearer = {"authorization": f"bearer {secret}"}
    assert client.post("/api/try", json={"count": 2}, headers=bearer).json() == 2
    assert client.post("/try/form", data={"form_token": ""}, headers=bearer).status_code == 403
    assert client.get(f"/api/try?token={secret}&access_token={secret}").status_code == 401
    clock.now += 60.0
    assert client.get("/api/try", headers=bearer).status_code == 401


@pytest.mark.parametrize(
    "said", ["", "Bearer", "Bearer ", "Basic Ym86Ym8=", "Bearer cvt_", "Bearer " + "x" * 5000, "ÿ"]
)
def test_any_other_authorization_opens_nothing_even_beside_a_session(
    client: TestClient, sign: Callable[[str], str], said: str
) -> None:
    sign("bo")
    assert client.get("/api/try", headers={"authorization": said.encode("latin-1")}).status_code == 401


PLACES = ["/", "/sign-in", "/health", "/api/try", "/nowhere", "/static/nothing.js", "/try/fails/bug", "/api/fails/bug"]


@pytest.mark.parametrize("path", PLACES)
def test_every_answer_carries_the_headers(client: TestClient, path: str) -> None:
    headers = client.get(path).headers
    assert headers["content-security-policy"] == POLICY
    assert "unsafe" not in POLICY and "default-src 'none'" in POLICY and "frame-ancestors 'none'" in POLICY
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"
    assert headers["cache-control"] == ("no-cache" if path.startswith("/static/") else "no-store")
    assert "strict-transport-security" not in headers, "plain HTTP promises nothing about TLS"


def test_with_tls_a_browser_is_told_to_stay_with_it(office: Office) -> None:
    said = client_of(replace(office, settings=Settings())).get("/health").headers["strict-transport-security"]
    assert int(said.removeprefix("max-age=")) >= 31_536_000


@pytest.mark.parametrize("path", ["/docs", "/redoc", "/openapi.json", "/api/openapi.json"])
def test_the_schema_is_not_public(client: TestClient, path: str) -> None:
    assert client.get(path).status_code in (303, 401, 404)


def test_a_request_brings_one_mebibyte_at_most_whether_it_says_so_or_not(client: TestClient) -> None:
    def bit_by_bit(size: int) -> Iterator[bytes]:
        for _ in range(0, size, 4096):
            yield b"x" * 4096

    assert client.post("/try/read", content=b"x" * LARGEST_BODY).json() == LARGEST_BODY
    assert client.post("/try/read", content=b"x" * (LARGEST_BODY + 1)).status_code == 413
    assert client.post("/try/read", content=bit_by_bit(LARGEST_BODY)).json() == LARGEST_BODY
    assert client.post("/try/read", content=bit_by_bit(LARGEST_BODY + 4096)).status_code == 413
    assert client.post("/try/read", content=b"x", headers={"content-length": "9" * 5000}).status_code == 413


@pytest.mark.parametrize(("how", "status"), [("store", 503), ("bug", 500), ("gone", 404)])
@pytest.mark.parametrize("kind", ["api", "try"])
def test_a_failure_says_what_to_do_and_nothing_of_what_went_on_inside(
    client: TestClient, kind: str, how: str, status: int
) -> None:
    answer = client.get(f"/{kind}/fails/{how}")
    assert answer.status_code == status
    assert SECRET not in answer.text and "Traceback" not in answer.text
    assert kind == "api" or "<b>" not in answer.text
    assert answer.headers["content-type"] == ("application/json" if kind == "api" else "text/html; charset=utf-8")


def test_the_log_names_the_route_that_failed_and_not_the_path(
    client: TestClient, caplog: pytest.LogCaptureFixture
) -> None:
    client.get("/secret-of-a-link/fails/bug")
    ours = [r.getMessage() for r in caplog.records if r.name == "api.errors"]
    assert ours == ["unexpected fault method=GET route=/{kind}/fails/{how}"]


HOSTILE: list[bytes] = [
    b"", b"{", b"null", b"[]", b"\xff\xfe", b'{"count": NaN}', b'{"count": "1"}', b'{"count": 1, "count2": 1}',
    b'{"count": true}', b'{"count": 1e400}', b"[" * 100_000, b'{"count": ' + b"9" * 5000 + b"}",
    b'{"\\ud800": 1, "count": 1}', b'{"count": {"a": []}}',
]  # fmt: skip


@pytest.mark.parametrize("body", HOSTILE, ids=range(len(HOSTILE)))
def test_a_hostile_body_is_refused_with_words_and_never_repeated(
    client: TestClient, sign: Callable[[str], str], body: bytes
) -> None:
    sign("bo")
    answer = client.post("/api/try", content=body, headers={**OURS, "content-type": "application/json"})
    assert answer.status_code in (400, 422), answer.text
    said = json.loads(answer.text)
    assert said["error"] and all(set(f) == {"field", "what", "mend"} for f in said["faults"])
    assert len(answer.text) < 2000


@pytest.mark.parametrize(
    "path", ["/%00", "/%ff", "/api/v1/batches/%00", "/..%2f..%2fetc/passwd", "/static/%2e%2e/app.py"]
)
def test_a_hostile_path_never_breaks_anything(client: TestClient, sign: Callable[[str], str], path: str) -> None:
    sign("bo")
    answer = client.get(path)
    assert 400 <= answer.status_code < 500 and "create_app" not in answer.text


@pytest.mark.parametrize("cookie", ["", "x", "é", "x" * 4000, "../../..", "\x7f"])
def test_a_hostile_cookie_opens_nothing(client: TestClient, cookie: str) -> None:
    answer = client.get("/api/try", headers={"cookie": f"curevigil={cookie}".encode("latin-1")})
    assert answer.status_code == 401


@pytest.mark.parametrize(
    "onward", ["//evil.example", "//[", "http://[", "/\\evil.example", "/\t/evil.example", "/\r\nx: y", "\x00", "evil"]
)
def test_signing_in_leads_nobody_away(client: TestClient, office: Office, onward: str) -> None:
    assert client.get("/sign-in", params={"next": onward}).status_code == 200
    code = issue_code(office.working, "bo", NOW, lasts_s=60.0)
    answer = client.post("/sign-in", data={"code": code, "next": onward}, headers=OURS)
    assert answer.status_code == 303 and answer.headers["location"] == "/password?next=/"


def test_signing_in_leads_back_to_the_whole_address(client: TestClient, office: Office) -> None:
    code = issue_code(office.working, "bo", NOW, lasts_s=60.0)
    answer = client.post("/sign-in", data={"code": code, "next": "/journal?a=1&b=2"}, headers=OURS)
    assert answer.headers["location"] == "/password?next=/journal%3Fa%3D1%26b%3D2"
    assert "/journal?a=1&amp;b=2" in client.get(answer.headers["location"]).text


def test_signing_in_needs_a_page_of_ours_too(client: TestClient, office: Office) -> None:
    code = issue_code(office.working, "bo", NOW, lasts_s=60.0)
    sent = client.post("/sign-in", data={"code": code}, headers={"origin": "http://evil.example"})
    assert sent.status_code == 403 and "set-cookie" not in sent.headers


def test_the_fourth_wrong_code_waits_and_says_how_long(client: TestClient) -> None:
    said = [client.post("/sign-in", data={"code": "AAAA-BBBB-CCCC"}, headers=OURS) for _ in range(4)]
    assert [answer.status_code for answer in said] == [422, 422, 422, 429]
    assert said[3].headers["retry-after"] == "2" and "Wait 2 s" in said[3].text

"""Whatever a program sends is answered in words, never by a fault of ours; what was written can be read back."""

import json
from typing import Any
from urllib.parse import quote

import pytest
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api.app import create_app
from api.auth.roles import Role
from api.auth.tokens import issue_token
from api.office import Office
from collector.present import Present
from tests.office import DAY, NOW, made_office

PLAN: dict[str, Any] = {
    "name": "Tongue", "meat": "beef", "cut": "tongue", "method": "immersion", "packing": "under brine",
    "route": "cooked", "cure_days": 6, "thickness_mm": 70, "meat_kg": 1.4, "tau_hours": 5.0, "bone_in": False,
}  # fmt: skip
SHEET: dict[str, Any] = {"meat_kg": 3.05, "brine_c": 3.9, "meat_c": 3.1, "supplier_lots": ["HF-1"]}
BODIES: list[tuple[str, dict[str, Any]]] = [
    ("/batches", {"lot": "T-1", "plan": PLAN, "as_made": SHEET, "tubs": [{"tub": "w", "unit": "fridge"}]}),
    ("/batches/HAM-31/as-made", {"as_made": SHEET, "reason": "weighed again"}),
    ("/batches/HAM-31/moves", {"tub": "blue", "unit": "fridge", "bench_c": None, "at": NOW - 5.0}),
    ("/batches/HAM-31/placements", {"tub": "blue", "reason": "moved by the baker", "placements": [
        {"unit": "coldroom", "from_at": NOW - 8 * DAY, "until_at": NOW - DAY}, {"unit": "fridge", "from_at": NOW - DAY},
    ]}),
    ("/batches/HAM-31/stages", {"stage": "soak", "from_at": NOW - 5.0}),
    ("/batches/BELLY-32/end", {"reason": "cooked and eaten", "ended_at": NOW - 5.0}),
    ("/batches/HAM-31/actions", {
        "excursion_at": NOW - DAY, "cause": "door", "control_regained": "shut", "prevention": "closer",
        "food_disposed": "kept",
    }),
    ("/hand-readings", {"value": 3.4, "where": "brine", "probe": "p", "lot": "HAM-31", "measured_at": NOW - 5.0}),
    ("/assignments", {
        "channel": "new/air", "quantity": "air_temperature", "unit": "chamber", "place": "wall", "interval_s": 60.0,
    }),
    ("/assignments/end", {"channel": "fridge/air", "reason": "probe broken", "until_at": NOW - 5.0}),
    ("/alarms/A21/answers", {"answer": "going", "arriving_at": NOW + 600.0, "note": ""}),
    ("/batches/BRISKET-14/sign-offs", {"disposition": "hold", "reason": "as seen", "proposal": 18, "where_kept": "x"}),
    ("/rulebook-rows/confirmations", {"rulebook": "US", "row": "x", "document": "the table"}),
    ("/site-limits", {"limit": "excursion.hold", "value": 3.0, "reason": "our own plan says so"}),
    ("/people", {"person": "di", "name": "Di Marsh", "roles": ["operator"]}),
]  # fmt: skip

JUNK = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=40),
    st.sampled_from(
        ["\ud800", "a\u202eb", "\x00", "../..", "NaN", "1e999", "2026-11-25T07:00:00Z", "x" * 5000, "'; --"]
    ),
    st.sampled_from([1e308, -1e308, 5e-324, 10**30, -1, NOW, NOW + 1e9]),
    st.lists(st.integers(), max_size=3),
    st.dictionaries(st.text(max_size=5), st.integers(), max_size=3),
)


def places(body: Any, above: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Return the path of everything within a body."""
    inner = body.items() if isinstance(body, dict) else enumerate(body) if isinstance(body, list) else ()
    found = [above] if above else []
    for key, value in inner:
        found += places(value, (*above, key))
    return found


def spoilt(body: dict[str, Any], path: tuple[Any, ...], junk: object) -> dict[str, Any]:
    """Return the body with junk at a path."""
    copy: dict[str, Any] = json.loads(json.dumps(body))
    inner: Any = copy
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = junk
    return copy


@pytest.fixture(scope="module")
def admin() -> tuple[TestClient, Office]:
    """Somebody who may do almost everything; roles are held by other tests."""
    office = made_office()
    secret, _ = issue_token(office.working, "ada", Role.ADMIN, NOW, name="test", lasts_s=3600.0)
    app = create_app(office)
    return TestClient(app, headers={"Authorization": f"Bearer {secret}"}, raise_server_exceptions=False), office


def rebuilt(office: Office) -> bool:
    """Return whether the journal as written folds to the state that is shown."""
    fresh = Present(office.journal, lambda: NOW)
    return fresh.catch_up() == office.present.kitchen


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(chance=st.data())
def test_junk_in_any_field_is_answered_in_words_and_the_journal_can_still_be_read(
    admin: tuple[TestClient, Office], chance: st.DataObject
) -> None:
    client, office = admin
    path, body = chance.draw(st.sampled_from(BODIES))
    junk = chance.draw(JUNK)
    sent = json.dumps(spoilt(body, chance.draw(st.sampled_from(places(body))), junk)).encode()
    answer = client.post(f"/api/v1{path}", content=sent, headers={"content-type": "application/json"})
    assert answer.status_code in (201, 403, 404, 422), answer.text
    if answer.status_code != 201:
        assert answer.json()["error"]
    assert rebuilt(office)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(body=st.binary(max_size=200))
def test_any_bytes_as_a_body_are_answered_in_words(admin: tuple[TestClient, Office], body: bytes) -> None:
    answer = admin[0].post("/api/v1/hand-readings", content=body, headers={"content-type": "application/json"})
    assert answer.status_code in (400, 422)


@pytest.mark.parametrize("body", [b"[" * 100_000, b"1" * 5000, b'{"value": ' + b"9" * 5000 + b"}", b"\xff\xfe", b""])
def test_a_body_made_to_break_a_reader_is_answered_in_words(admin: tuple[TestClient, Office], body: bytes) -> None:
    answer = admin[0].post("/api/v1/hand-readings", content=body, headers={"content-type": "application/json"})
    assert answer.status_code in (400, 422)
    assert answer.json()["error"]


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    path=st.sampled_from(["units", "channels", "batches", "alarms", "journal", "people", "rulebook-rows", "readings"]),
    after=st.one_of(st.text(max_size=20), st.from_regex(r"A?-?\d{1,30}(:\d+)?", fullmatch=True)),
    limit=st.one_of(st.integers(), st.text(max_size=5)),
    from_at=st.one_of(st.just(NOW - DAY), st.floats(), st.text(max_size=20)),
)
def test_any_cursor_and_any_limit_are_answered_in_words(
    admin: tuple[TestClient, Office], path: str, after: str, limit: object, from_at: object
) -> None:
    sent = {"after": after, "limit": str(limit), "from": str(from_at), "channel": "cold/air"}
    answer = admin[0].get(f"/api/v1/{path}", params=sent)
    assert answer.status_code in (200, 422), answer.text


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(name=st.text(min_size=1, max_size=30))
def test_any_name_in_an_address_is_there_or_not(admin: tuple[TestClient, Office], name: str) -> None:
    for kind in ("units", "batches", "alarms"):
        url = (
            admin[0]
            .build_request("GET", "/api/v1/x")
            .url.copy_with(raw_path=f"/api/v1/{kind}/".encode() + _quoted(name))
        )
        assert admin[0].get(str(url)).status_code in (200, 307, 404, 405)


def _quoted(name: str) -> bytes:
    return quote(name, safe="").encode()

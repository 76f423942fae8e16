"""Every route of the JSON API for every role: who may, who may not, and that asking changes nothing."""

from collections.abc import Iterator
from typing import Any, NamedTuple

import pytest
from fastapi.routing import APIRoute
from fastapi.testclient import TestClient

from api.app import create_app
from api.auth.roles import Role
from api.auth.tokens import issue_token
from api.office import Office
from api.routes.all_routes import routers
from collector.batches import Placement
from collector.events import BatchStarted, Draft
from collector.events_making import NotePinned, SensorUnderTest
from collector.events_watching import AlarmShelved, UnitOutOfService, WorkPlanned
from tests.office import DAY, NOW, made_kitchen, made_office

ROLES = (None, "viewer", "operator", "approver", "admin")
PEOPLE = {"viewer": ("vi", None), "operator": ("bo", Role.OPERATOR), "approver": ("cy", Role.APPROVER)}
MAY: dict[str, set[str | None]] = {
    "anybody": set(ROLES),
    "viewer": {"viewer", "operator", "approver", "admin"},
    "operator": {"operator", "approver", "admin"},
    "approver": {"approver"},
    "admin": {"admin"},
}
KITCHEN = made_kitchen()
BRISKET = KITCHEN.proposals["BRISKET-14"][0].position


class Call(NamedTuple):
    """One route, asked as it should be, and the least that may ask."""

    method: str
    path: str
    route: str
    least: str
    body: dict[str, Any] | None = None


PLAN = {
    "name": "Tongue", "meat": "beef", "cut": "tongue", "method": "immersion", "packing": "under brine",
    "route": "cooked", "cure_days": 6, "thickness_mm": 70, "meat_kg": 1.4,
}  # fmt: skip
SHEET = {"meat_kg": 3.05, "brine_c": 3.9, "meat_c": 3.1}
START = {"lot": "T-1", "plan": PLAN, "as_made": SHEET, "tubs": [{"tub": "white", "unit": "fridge"}]}
HALVES = [
    {"unit": "coldroom", "from_at": NOW - 4 * DAY, "until_at": NOW - DAY}, {"unit": "fridge", "from_at": NOW - DAY},
]  # fmt: skip
ACTION = {
    "excursion_at": NOW - DAY, "cause": "door ajar", "control_regained": "shut it", "prevention": "new closer",
    "food_disposed": "kept",
}  # fmt: skip
HAND = {"value": 3.4, "where": "brine", "probe": "probe 1", "lot": "HAM-31"}
SIGN = {"disposition": "hold", "reason": "as proposed", "proposal": BRISKET, "where_kept": "shelf 2"}
CLAIM = {"channel": "new/air", "quantity": "air_temperature", "unit": "chamber", "place": "on the wall"}
MEMORY = sorted(row.id for row in made_office().rulebooks["US"].limits.values() if row.known == "memory")[0]
HEAD = KITCHEN.position + 1
BELLY = BatchStarted(
    "BELLY-33", KITCHEN.batches["BELLY-32"].plan, KITCHEN.batches["BELLY-32"].as_made,
    (Placement("rack 2", "fridge", NOW - DAY),),
)  # fmt: skip
B, C, U = "/api/v1/batches/BRISKET-14", "/api/v1/batches/{lot}", "/api/v1"

CALLS = [
    Call("GET", "/health", "/health", "anybody"),
    Call("GET", "/metrics", "/metrics", "viewer"),
    Call("GET", f"{U}/health", f"{U}/health", "viewer"),
    Call("GET", f"{U}/units", f"{U}/units", "viewer"),
    Call("GET", f"{U}/units/coldroom", f"{U}/units/{{unit}}", "viewer"),
    Call("GET", f"{U}/channels", f"{U}/channels", "viewer"),
    Call("GET", f"{U}/readings?channel=cold/air&from={NOW - DAY}", f"{U}/readings", "viewer"),
    Call("GET", f"{U}/batches", f"{U}/batches", "viewer"),
    Call("GET", B, C, "viewer"),
    Call("GET", f"{U}/alarms", f"{U}/alarms", "viewer"),
    Call("GET", f"{U}/alarms/A21", f"{U}/alarms/{{alarm}}", "viewer"),
    Call("GET", f"{U}/journal", f"{U}/journal", "viewer"),
    Call("GET", f"{U}/rulebook-rows", f"{U}/rulebook-rows", "viewer"),
    Call("GET", f"{U}/people", f"{U}/people", "viewer"),
    Call("GET", f"{U}/curing-salts", f"{U}/curing-salts", "viewer"),
    Call("POST", f"{U}/curing-salts/confirmations", f"{U}/curing-salts/confirmations", "operator",
         {"curing_salt_lot": "CS-0412", "nitrite_percent": 6.25}),
    Call("GET", f"{U}/instruments", f"{U}/instruments", "viewer"),
    Call("POST", f"{U}/instruments/checks", f"{U}/instruments/checks", "operator",
         {"instrument": "fridge/air", "kind": "channel", "reference": "melting ice", "as_found": 0.2, "as_left": 0.2}),
    Call("POST", f"{U}/instruments/back", f"{U}/instruments/back", "operator", {"channel": "cold/air"}),
    Call("POST", f"{U}/instruments/out", f"{U}/instruments/out", "operator", {"channel": "cold/air"}),
    Call("POST", f"{U}/notes", f"{U}/notes", "operator", {"text": "turn the ham at six"}),
    Call("POST", f"{U}/notes/seen", f"{U}/notes/seen", "operator", {"note": HEAD}),
    Call("POST", f"{B}/tasks", f"{C}/tasks", "operator", {"task": "turn 2"}),
    Call("POST", f"{B}/split", f"{C}/split", "operator", {"child": "BRISKET-15", "tubs": ["2"]}),
    Call("POST", f"{U}/batches/BELLY-32/merge", f"{C}/merge", "approver",
         {"child": "BELLY-40", "lots": ["BELLY-33"], "tubs": [{"tub": "rack", "unit": "fridge"}]}),
    Call("POST", f"{U}/batches", f"{U}/batches", "operator", START),
    Call("POST", f"{B}/as-made", f"{C}/as-made", "operator", {"as_made": SHEET, "reason": "weighed again"}),
    Call("POST", f"{B}/moves", f"{C}/moves", "operator", {"tub": "1", "unit": "fridge"}),
    Call("POST", f"{B}/placements", f"{C}/placements", "operator",
         {"tub": "1", "placements": HALVES, "reason": "moved by the baker"}),
    Call("POST", f"{B}/actions", f"{C}/actions", "operator", ACTION),
    Call("POST", f"{B}/stages", f"{C}/stages", "operator", {"stage": "soak"}),
    Call("POST", f"{U}/batches/BELLY-32/end", f"{C}/end", "operator", {"reason": "cooked and eaten"}),
    Call("POST", f"{B}/core-logs", f"{C}/core-logs", "operator",
         {"stage": "cook", "probe": "probe 1", "points": [{"at": NOW - 7200, "core_c": 4}, {"at": NOW, "core_c": 71}]}),
    Call("POST", f"{B}/soaks", f"{C}/soaks", "operator", {"from_at": NOW - 7200, "until_at": NOW, "water_c": 4}),
    Call("POST", f"{B}/labels", f"{C}/labels", "operator", {"words": "mustard", "cook_before_eating": True}),
    Call("POST", f"{U}/batches/BELLY-32/disposals", f"{C}/disposals", "operator",
         {"mass_kg": 0.4, "how": "cut up and dyed", "witness": "Ada Brandt"}),
    Call("POST", f"{B}/plan", f"{C}/plan", "approver", {"route": "sold raw", "reason": "ordered by a butcher"}),
    Call("POST", f"{U}/hand-readings", f"{U}/hand-readings", "operator", HAND),
    Call("POST", f"{U}/assignments", f"{U}/assignments", "operator", CLAIM),
    Call("POST", f"{U}/assignments/end", f"{U}/assignments/end", "operator",
         {"channel": "fridge/air", "reason": "probe broken"}),
    Call("POST", f"{U}/alarms/A21/answers", f"{U}/alarms/{{alarm}}/answers", "operator", {"answer": "passing on"}),
    Call("POST", f"{U}/alarms/A21/shelvings", f"{U}/alarms/{{alarm}}/shelvings", "operator",
         {"reason": "the coil is being thawed"}),
    Call("POST", f"{U}/alarms/A21/shelvings/end", f"{U}/alarms/{{alarm}}/shelvings/end", "operator", {}),
    Call("POST", f"{U}/units/chamber/out-of-service", f"{U}/units/{{unit}}/out-of-service", "operator",
         {"reason": "new fan"}),
    Call("POST", f"{U}/units/chamber/in-service", f"{U}/units/{{unit}}/in-service", "operator", {}),
    Call("POST", f"{U}/units/coldroom/planned-work", f"{U}/units/{{unit}}/planned-work", "operator",
         {"what": "cleaning", "until_at": NOW + 3600.0}),
    Call("POST", f"{U}/units/coldroom/planned-work/end", f"{U}/units/{{unit}}/planned-work/end", "operator",
         {"work": f"W{HEAD}"}),
    Call("POST", f"{B}/sign-offs", f"{C}/sign-offs", "approver", SIGN),
    Call("POST", f"{U}/rulebook-rows/confirmations", f"{U}/rulebook-rows/confirmations", "approver",
         {"rulebook": "US", "row": MEMORY, "document": "the table itself"}),
    Call("GET", f"{U}/site-limits", f"{U}/site-limits", "viewer"),
    Call("POST", f"{U}/site-limits", f"{U}/site-limits", "approver",
         {"limit": "excursion.hold", "value": 3.0, "reason": "our own plan says so"}),
    Call("POST", f"{U}/people", f"{U}/people", "admin", {"person": "di", "name": "Di Marsh", "roles": ["operator"]}),
]  # fmt: skip

BEFORE: dict[str, list[Draft]] = {
    f"{U}/instruments/back": [Draft(NOW - 60.0, "bo", SensorUnderTest("cold/air", NOW - 60.0))],
    f"{U}/notes/seen": [Draft(NOW - 60.0, "bo", NotePinned("turn the ham at six"))],
    f"{U}/alarms/{{alarm}}/shelvings/end": [Draft(NOW - 60.0, "bo", AlarmShelved("A21", NOW + 3600.0, "thawing"))],
    f"{U}/units/{{unit}}/in-service": [Draft(NOW - 60.0, "bo", UnitOutOfService("chamber", "new fan"))],
    f"{U}/units/{{unit}}/planned-work/end": [
        Draft(NOW - 60.0, "bo", WorkPlanned("coldroom", "cleaning", NOW - 60.0, NOW + 3600.0))
    ],
    f"{C}/merge": [Draft(NOW - 60.0, "bo", BELLY)],
}
"""What must have happened before a call can be carried out."""


def headers(office: Office, role: str | None) -> dict[str, str]:
    if role is None:
        return {}
    person, kind = PEOPLE.get(role, ("ada", Role.ADMIN))
    secret, _ = issue_token(office.working, person, kind, NOW, name="test", lasts_s=3600.0)
    return {"Authorization": f"Bearer {secret}"}


@pytest.fixture(scope="module")
def shared() -> Iterator[tuple[TestClient, Office]]:
    """One office for everything that must change nothing."""
    office = made_office()
    with TestClient(create_app(office)) as client:
        yield client, office


def asked(client: TestClient, call: Call, sent: dict[str, str]) -> int:
    return int(client.request(call.method, call.path, json=call.body, headers=sent).status_code)


def routes() -> set[tuple[str, str]]:
    """Return method and path of every route of the JSON API."""
    found = [route for router in routers for route in router.routes if isinstance(route, APIRoute)]
    return {(method, route.path) for route in found for method in route.methods or ()}


def test_the_table_names_every_route() -> None:
    assert {(call.method, call.route) for call in CALLS} == routes()


REFUSED = [(call, role) for call in CALLS for role in ROLES if role not in MAY[call.least]]
ALLOWED = [(call, role) for call in CALLS for role in ROLES if role in MAY[call.least]]


def named(value: object) -> str:
    return f"{value.method} {value.route}" if isinstance(value, Call) else str(value)


@pytest.mark.parametrize(("call", "role"), REFUSED, ids=named)
def test_who_may_not_is_refused_and_nothing_changes(
    call: Call, role: str | None, shared: tuple[TestClient, Office]
) -> None:
    client, office = shared
    before = office.journal.head()
    assert asked(client, call, headers(office, role)) == (401 if role is None else 403)
    assert office.journal.head() == before


@pytest.mark.parametrize(("call", "role"), [(c, r) for c, r in ALLOWED if c.method == "GET"], ids=named)
def test_who_may_look_does_and_looking_changes_nothing(
    call: Call, role: str | None, shared: tuple[TestClient, Office]
) -> None:
    client, office = shared
    sent = headers(office, role)
    before = (office.journal.head(), office.readings.head(), repr(office.working))
    assert asked(client, call, sent) == 200
    assert (office.journal.head(), office.readings.head(), repr(office.working)) == before


@pytest.mark.parametrize(("call", "role"), [(c, r) for c, r in ALLOWED if c.method == "POST"], ids=named)
def test_who_may_act_does_and_the_journal_names_them(call: Call, role: str) -> None:
    office = made_office()
    office.present.decide(lambda kitchen: BEFORE.get(call.route, []))
    before = office.journal.head()
    with TestClient(create_app(office)) as client:
        assert asked(client, call, headers(office, role)) == 201
    entries = office.journal.read(before, 10)
    assert {entry.by for entry in entries} == {PEOPLE.get(role, ("ada",))[0]}


@pytest.mark.parametrize("call", [c for c in CALLS if c.least != "anybody"], ids=named)
def test_a_wrong_or_ended_token_is_nobody(call: Call, shared: tuple[TestClient, Office]) -> None:
    client, office = shared
    ended, _ = issue_token(office.working, "ada", Role.ADMIN, NOW - 7200.0, name="old", lasts_s=3600.0)
    for secret in ("cvt_wrong", "", ended):
        assert asked(client, call, {"Authorization": f"Bearer {secret}"}) == 401

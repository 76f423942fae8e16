"""The stop at the scale as people and programs meet it: the form, the page of the bags, the JSON API."""

import re
from collections.abc import Iterator
from dataclasses import replace

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.auth.roles import Role
from api.auth.sessions import begin, cookie_name, form_token
from api.auth.tokens import issue_token
from api.office import Office
from tests.office import NOW, made_office

ORIGIN = "http://testserver"
NEW = {
    "lot": "LOIN-7", "plan.name": "Loin", "plan.meat": "pork", "plan.cut": "loin",
    "plan.method": "dry by weight of meat",
    "plan.packing": "open", "plan.route": "cooked", "plan.cure_days": "6", "plan.thickness_mm": "60",
    "plan.meat_kg": "2", "plan.salt_kg": "0.06", "plan.curing_salt_kg": "0.005", "plan.nitrite_percent": "0.6",
    "plan.product_class": "dry", "tubs.0.tub": "red", "tubs.0.unit": "fridge", "as_made.meat_kg": "2",
    "as_made.salt_kg": "0.06", "as_made.curing_salt_kg": "0.03", "as_made.curing_salt_lot": "CS-0500",
    "as_made.nitrite_percent": "0.6", "as_made.meat_c": "3", "stage": "cure",
}  # fmt: skip
BAG = {"curing_salt_lot": "CS-0500", "nitrite_percent": "0.6"}


@pytest.fixture
def office() -> Office:
    return made_office()


@pytest.fixture
def client(office: Office) -> Iterator[TestClient]:
    with TestClient(create_app(office), follow_redirects=False, headers={"Origin": ORIGIN}) as client:
        yield client


def send(client: TestClient, office: Office, person: str, address: str, fields: dict[str, str]) -> tuple[int, str]:
    session = begin(office.working, person, office.security_clock())
    client.cookies.set(cookie_name(office.settings), session)
    answer = client.post(address, data={"form_token": form_token(session), **fields})
    return answer.status_code, answer.headers.get("location", "") or answer.text


def test_a_dose_of_six_times_is_started_only_after_two_people_have_read_the_bag(
    client: TestClient, office: Office
) -> None:
    status, text = send(client, office, "bo", "/batches/new", NEW)
    assert status == 422
    assert "0.03 kg of curing salt is more than 2 times the plan" in text
    assert 'href="/curing-salts"' in text
    assert send(client, office, "bo", "/curing-salts", BAG) == (303, "/curing-salts?done=read")
    status, text = send(client, office, "bo", "/curing-salts", BAG)
    assert status == 422
    assert "has read the bag of this lot already" in text
    assert send(client, office, "bo", "/batches/new", NEW)[0] == 422
    assert send(client, office, "ada", "/curing-salts", BAG) == (303, "/curing-salts?done=read")
    page = client.get("/curing-salts").text
    assert page.count("0.6 % nitrite, 0 % nitrate") == 2
    assert "Ada Brandt" in page
    assert send(client, office, "bo", "/batches/new", NEW) == (303, "/batches/LOIN-7?done=start")
    assert office.present.kitchen.batches["LOIN-7"].plan.product_class == "dry"


def test_who_may_not_write_sees_the_bags_and_no_form(client: TestClient, office: Office) -> None:
    client.cookies.set(cookie_name(office.settings), begin(office.working, "vi", office.security_clock()))
    page = client.get("/curing-salts").text
    assert "No bag has been read yet." in page
    assert "I have read it" not in page
    assert send(client, office, "vi", "/curing-salts", BAG)[0] == 403


def test_a_plan_over_its_limit_is_refused_beside_its_field(client: TestClient, office: Office) -> None:
    strong = {**NEW, "plan.curing_salt_kg": "0.03", "plan.nitrite_percent": "6.25"}
    status, text = send(client, office, "bo", "/batches/new", strong)
    assert status == 422
    assert "937.5 ppm NaNO2 is over the limit of 625" in text
    status, text = send(client, office, "bo", "/batches/new", {**NEW, "plan.vessel": "copper bowl"})
    assert status == 422
    assert "bare copper" in text


def test_programs_list_and_confirm_what_bags_say(client: TestClient, office: Office) -> None:
    def asked(person: str) -> dict[str, str]:
        secret, _ = issue_token(office.working, person, Role.OPERATOR, NOW, name="test", lasts_s=3600.0)
        return {"Authorization": f"Bearer {secret}"}

    for person in ("bo", "ada"):
        answer = client.post("/api/v1/curing-salts/confirmations", json={**BAG, "nitrite_percent": 0.6},
                             headers=asked(person))  # fmt: skip
        assert answer.status_code == 201
    first = client.get("/api/v1/curing-salts?limit=1", headers=asked("bo")).json()
    assert [(one["curing_salt_lot"], one["person"]) for one in first["items"]] == [("CS-0500", "ada")]
    rest = client.get("/api/v1/curing-salts", params={"after": first["next"]}, headers=asked("bo")).json()
    assert [one["person"] for one in rest["items"]] == ["bo"]


def test_a_sheet_that_is_corrected_on_its_form_keeps_everything_else_that_was_entered(
    client: TestClient, office: Office
) -> None:
    full = {
        **NEW, "as_made.curing_salt_kg": "0.005", "as_made.nitrate_percent": "0", "as_made.pumped_kg": "2.2",
        "as_made.brine_state": "fresh", "as_made.scale_division_g": "1", "as_made.delivery_c": "2.5",
        "as_made.use_by_at": "2026-12-01T00:00", "as_made.scale": "bench scale 2",
    }  # fmt: skip
    assert send(client, office, "bo", "/batches/new", full)[0] == 303
    before = office.present.kitchen.batches["LOIN-7"].as_made
    page = client.get("/batches/LOIN-7").text
    shown = page.split('id="sheet"')[1].split("</form>")[0]
    again = dict(re.findall(r'name="(as_made\.[a-z_]+)" value="([^"]*)"', shown))
    again |= {"as_made.brine_state": "fresh"} if 'value="fresh" selected' in shown else {}
    sent = {**again, "as_made.meat_c": "3.2", "reason": "misread the probe"}
    assert send(client, office, "bo", "/batches/LOIN-7/as-made", sent)[0] == 303
    assert office.present.kitchen.batches["LOIN-7"].as_made == replace(before, meat_c=3.2)
    assert "dry, chosen by Bo Lindqvist" in client.get("/batches/LOIN-7").text

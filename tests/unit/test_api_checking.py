"""Sensors out for a check, and instruments compared with a reference, as people and programs meet them."""

from collections.abc import Iterator
from typing import Any

import pytest
from fastapi.testclient import TestClient

from alerts.rulebook.shelf import load
from api.actions.checking import enter_check, put_back, take_out
from api.actions.faults import Faults, Result
from api.app import create_app
from api.auth.sessions import begin, cookie_name, form_token
from api.instruments_now import instruments_now
from api.office import Office
from api.pages.wording import date_text
from api.schemas_daily import EnterCheck, PutBack, TakeOut
from collector.kitchen import Kitchen
from tests.office import DAY, NOW, made_kitchen, made_office

US = load("US")
KITCHEN = made_kitchen()
BO = KITCHEN.people["bo"]
CHECK = {"instrument": "cold/air", "kind": "channel", "reference": "melting ice", "as_found": 0.2, "as_left": 0.1}


def entered(kitchen: Kitchen = KITCHEN, **more: Any) -> Result:
    return enter_check(kitchen, EnterCheck.model_validate({**CHECK, **more}), BO, NOW, US)


def said(result: Result) -> str:
    assert isinstance(result, Faults), result
    return " / ".join(f"{fault.field}: {fault.what}; {fault.mend}" for fault in result.found)


def after(result: Result) -> Kitchen:
    assert not isinstance(result, Faults), result
    return made_kitchen(*result)


def test_a_check_takes_tolerance_and_next_day_from_the_rulebook() -> None:
    check = after(entered()).calibrations[0]
    assert check.tolerance == US.scaled("check.tolerance_fixed")
    assert check.due_at == NOW + US.scaled("check.interval_fixed")
    hand = after(entered(kind="probe", instrument="HAND probe 1")).calibrations[0]
    assert (hand.instrument, hand.tolerance) == ("hand probe 1", US.scaled("check.tolerance_hand"))


@pytest.mark.parametrize(
    ("more", "what"),
    [
        ({"as_found": -20.5}, "outside −20 to 20 K"),
        ({"due_at": NOW - 60}, "has passed already"),
        ({"due_at": NOW + 3000 * DAY}, "more than 365 days after"),
        ({"checked_at": NOW + DAY}, "has not come yet"),
        ({"instrument": "new/air"}, "nobody has assigned new/air"),
        ({"instrument": "cold/door"}, "measures no temperature"),
        ({"instrument": "cold/air", "kind": "probe"}, "cold/air is a channel"),
        ({"instrument": "bench scale", "kind": "scale"}, "how far off a scale may be"),
        ({"tolerance": 9.0}, "leave it empty"),
    ],
)
def test_a_check_that_cannot_be_is_refused_with_its_mend(more: dict[str, Any], what: str) -> None:
    assert what in said(entered(**more))


def test_an_error_found_beyond_tolerance_is_taken_off_the_readings_before_it() -> None:
    kitchen = after(entered(as_found=-2.0, as_left=0.0))
    first = next(a for a in kitchen.assignments if a.channel == "cold/air")
    assert (first.offset_c, first.until_at) == (2.0, NOW)


def test_a_sensor_is_out_once_and_back_once_and_its_time_out_is_a_gap() -> None:
    out = take_out(KITCHEN, TakeOut(channel="cold/air", from_at=NOW - 3600), BO, NOW)
    kitchen = after(out)
    assert kitchen.assigned("cold/air", NOW) is None
    assert "is out for a check already" in said(take_out(kitchen, TakeOut(channel="cold/air"), BO, NOW))
    early = PutBack(channel="cold/air", until_at=NOW - 7200)
    assert "taken out later" in said(put_back(kitchen, early, BO, NOW))
    back = put_back(kitchen, PutBack(channel="cold/air", until_at=NOW - 60), BO, NOW)
    assert not isinstance(out, Faults)
    assert not isinstance(back, Faults)
    assert made_kitchen(*out, *back).assigned("cold/air", NOW) is not None
    assert "is not out" in said(put_back(KITCHEN, PutBack(channel="cold/air"), BO, NOW))
    assert "nobody has assigned" in said(take_out(KITCHEN, TakeOut(channel="new/air"), BO, NOW))


def test_overdue_and_soon_due_instruments_are_told_with_what_was_judged_by_them() -> None:
    kitchen = after(entered(due_at=NOW + 40 * DAY))

    def state(now: float) -> str:
        every = instruments_now(kitchen, lambda unit: US, now)
        return next(one.state for one in every if one.instrument == "cold/air")

    assert (state(NOW), state(NOW + 10 * DAY), state(NOW + 40 * DAY)) == ("checked", "due soon", "overdue")
    cold = next(one for one in instruments_now(kitchen, lambda unit: US, NOW) if one.instrument == "cold/air")
    assert cold.lots == ("BRISKET-14", "HAM-31")


@pytest.fixture
def office() -> Office:
    return made_office()


@pytest.fixture
def client(office: Office) -> Iterator[TestClient]:
    headers = {"Origin": "http://testserver"}
    with TestClient(create_app(office), follow_redirects=False, headers=headers) as client:
        yield client


def send(client: TestClient, office: Office, person: str, address: str, fields: dict[str, str]) -> tuple[int, str]:
    session = begin(office.working, person, office.security_clock())
    client.cookies.set(cookie_name(office.settings), session)
    answer = client.post(address, data={"form_token": form_token(session), **fields})
    return answer.status_code, answer.headers.get("location", "") or answer.text


def test_a_cook_takes_a_sensor_out_enters_its_check_and_puts_it_back(client: TestClient, office: Office) -> None:
    channel = {"channel": "cold/air"}
    assert send(client, office, "bo", "/sensors/out", channel) == (303, "/sensors?done=out")
    assert "under test since" in client.get("/sensors").text
    assert send(client, office, "bo", "/sensors/out", channel)[0] == 422
    found = {**{name: str(value) for name, value in CHECK.items()}, "as_found": "-1.5"}
    assert send(client, office, "bo", "/sensors/check", found) == (303, "/sensors?done=checked")
    assert send(client, office, "bo", "/sensors/back", channel)[0] == 422  # not later than the instant it was taken
    office.clock.now += 600.0  # type: ignore[attr-defined]
    assert send(client, office, "bo", "/sensors/back", channel) == (303, "/sensors?done=back")
    page = client.get("/sensors").text
    assert "as found −1.5 K, OUTSIDE" in page
    status, text = send(client, office, "bo", "/sensors/check", {**found, "as_found": "25"})
    assert status == 422
    assert "outside −20 to 20 K" in text


def test_who_may_not_write_sees_the_checks_and_no_form(client: TestClient, office: Office) -> None:
    assert send(client, office, "vi", "/sensors/out", {"channel": "cold/air"})[0] == 403
    page = client.get("/sensors").text
    assert "No check is written down" in page
    assert "/sensors/check" not in page


def test_the_day_of_a_check_is_told_with_its_year() -> None:
    assert date_text(NOW + 356 * DAY, "America/New_York") == "Tue 16 Nov 2027"
    assert date_text(None, "America/New_York") == "an unknown day"

"""Shelving, units out of service and planned work: what is refused and how to mend it, what follows, what is read."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.actions.faults import Faults, Result
from api.actions.placing import move_tub
from api.actions.servicing import end_work, plan_work, put_in_service, put_out_of_service
from api.actions.shelving import shelve_alarm, unshelve_alarm
from api.app import create_app
from api.auth.sessions import begin, cookie_name, form_token
from api.office import Office
from api.pages.live import Seen, changed, estimates_now
from api.pages.telling import entry_words, lots_of
from api.schemas import MoveTub
from api.schemas_watching import EndWork, PlanWork, PutInService, PutOutOfService, ShelveAlarm, UnshelveAlarm
from collector import events as e
from collector import events_watching as w
from collector.events import Draft
from collector.findings import Condition
from collector.kitchen import Kitchen, Person
from tests.office import NOW, made_kitchen, made_office

H = 3600.0
BO = Person("bo", "Bo Lindqvist", ("operator",))
KITCHEN = made_kitchen()
HEAD = KITCHEN.position + 1
DOOR = Condition("coldroom", "door_open", "door", False, NOW - 60.0, sentence="door_open")


def after(*events: e.Event, at: float = NOW - 60.0) -> Kitchen:
    return made_kitchen(*(Draft(at, "ada", event) for event in events))


SHELVED = after(w.AlarmShelved("A21", NOW + H, "thawing the coil"))
OUT = after(w.UnitOutOfService("chamber", "new fan"))
WORKED = after(w.WorkPlanned("coldroom", "cleaning", NOW + H, NOW + 2 * H))
OVER = after(e.AlarmReturned("A21", "product_warm_returned", {}))


def shelve(kitchen: Kitchen = KITCHEN, alarm: str = "A21", **said: Any) -> Result:
    return shelve_alarm(kitchen, alarm, ShelveAlarm.model_validate({"reason": "thawing the coil", **said}), BO, NOW)


def unshelve(kitchen: Kitchen = SHELVED, alarm: str = "A21") -> Result:
    return unshelve_alarm(kitchen, alarm, UnshelveAlarm(), BO, NOW)


def out(kitchen: Kitchen = KITCHEN, unit: str = "chamber") -> Result:
    return put_out_of_service(kitchen, unit, PutOutOfService(reason="new fan"), BO, NOW)


def back(kitchen: Kitchen = OUT, unit: str = "chamber") -> Result:
    return put_in_service(kitchen, unit, PutInService(), BO, NOW)


def work(kitchen: Kitchen = KITCHEN, unit: str = "coldroom", **said: Any) -> Result:
    request = {"what": "cleaning", "until_at": NOW + H, **said}
    return plan_work(kitchen, unit, PlanWork.model_validate(request), BO, NOW)


def ended(kitchen: Kitchen = WORKED, name: str = f"W{HEAD}", unit: str = "coldroom") -> Result:
    return end_work(kitchen, unit, EndWork(work=name), BO, NOW)


USED = after(w.AlarmShelved("A21", NOW + 2 * H - 60.0, "thawing"), w.AlarmUnshelved("A21", "clock"))
HALF = after(w.AlarmShelved("A21", NOW + H - 60.0, "thawing"), w.AlarmUnshelved("A21", "clock"))
REFUSED: list[tuple[Callable[[], Result], str, str, str]] = [
    (lambda: shelve(alarm="A9"), "alarm", "no alarm A9", "list of standing alarms"),
    (lambda: shelve(OVER), "alarm", "is over", "list of standing alarms"),
    (lambda: shelve(SHELVED), "alarm", "shelved until 03:10 already", "end that first"),
    (lambda: shelve(minutes=121.0), "minutes", "2 h 00 in all at most, and 2 h 00 of it are left", "2 h 00 at most"),
    (lambda: shelve(HALF, minutes=61.0), "minutes", "1 h 00 of it are left", "for 1 h 00 at most"),
    (lambda: shelve(USED, minutes=1.0), "minutes", "0 min of it are left", "going, passing on or cannot"),
    (lambda: shelve(minutes=0.5), "minutes", "less than a minute", "whole minutes"),
    (lambda: shelve(minutes=-10.0), "minutes", "less than a minute", "whole minutes"),
    (
        lambda: shelve(after(e.AlarmRaised(DOOR)), f"A{HEAD}", minutes=481.0), "minutes", "for 8 h 00 at most",
        "shelved again once it was told",
    ),
    (lambda: unshelve(KITCHEN), "alarm", "not shelved", "nothing to end"),
    (lambda: unshelve(alarm="A9"), "alarm", "no alarm A9", "list of standing alarms"),
    (lambda: out(unit="cellar"), "unit", "no unit is called cellar", "chamber, coldroom, fridge"),
    (lambda: out(OUT), "unit", "out of service already", "back into service"),
    (
        lambda: out(unit="coldroom"), "unit", "not empty: BRISKET-14 tub 1, BRISKET-14 tub 2, HAM-31 tub blue",
        "carry them to a unit that is cold enough",
    ),
    (lambda: back(KITCHEN), "unit", "in service", "nothing to put back"),
    (lambda: back(unit="cellar"), "unit", "no unit is called cellar", "chamber"),
    (lambda: work(unit="cellar"), "unit", "no unit is called cellar", "chamber"),
    (lambda: work(from_at=NOW - 120.0), "from_at", "has passed", "leave it empty"),
    (lambda: work(from_at=NOW + 40 * 86_400.0, until_at=NOW + 40 * 86_400.0 + H), "from_at", "month ahead", "nearer"),
    (lambda: work(until_at=NOW - 1.0), "until_at", "ends before it begins", "later time"),
    (lambda: work(until_at=NOW + 60.0), "until_at", "less than five minutes", "nothing need be announced"),
    (lambda: work(until_at=NOW + 4 * H + 1.0), "until_at", "4 h 00 at most", "put the unit out of service"),
    (lambda: work(WORKED, until_at=NOW + 0.5 * H), "from_at", "cleaning is planned from", "leave an hour between"),
    (
        lambda: work(WORKED, from_at=NOW + 2.5 * H, until_at=NOW + 4 * H), "from_at", "less than an hour away",
        "leave an hour between",
    ),
    (lambda: ended(name="W1"), "work", "no work W1", "unit's page"),
    (lambda: ended(unit="fridge"), "work", "no work", "unit's page"),
    (lambda: ended(after(w.WorkPlanned("coldroom", "cleaning", NOW - H, NOW - 1))), "work", "over already", "nothing"),
]  # fmt: skip


@pytest.mark.parametrize(("act", "field", "what", "mend"), REFUSED, ids=[f"{what}" for _, _, what, _ in REFUSED])
def test_what_cannot_be_is_refused_with_what_is_wrong_and_how_to_mend_it(
    act: Callable[[], Result], field: str, what: str, mend: str
) -> None:
    result = act()
    assert isinstance(result, Faults)
    assert [one for one in result.found if one.field == field and what in one.what and mend in one.mend], result.found


DONE: list[tuple[Callable[[], Result], e.Event]] = [
    (lambda: shelve(), w.AlarmShelved("A21", NOW + H, "thawing the coil")),
    (lambda: shelve(minutes=120.0), w.AlarmShelved("A21", NOW + 2 * H, "thawing the coil")),
    (
        lambda: shelve(after(e.AlarmRaised(DOOR)), f"A{HEAD}", minutes=480.0),
        w.AlarmShelved(f"A{HEAD}", NOW + 8 * H, "thawing the coil"),
    ),
    (lambda: unshelve(), w.AlarmUnshelved("A21", "hand")),
    (lambda: out(), w.UnitOutOfService("chamber", "new fan")),
    (lambda: back(), w.UnitInService("chamber", "somebody put it back")),
    (lambda: work(), w.WorkPlanned("coldroom", "cleaning", NOW, NOW + H)),
    (
        lambda: work(WORKED, from_at=NOW + 3 * H, until_at=NOW + 7 * H),
        w.WorkPlanned("coldroom", "cleaning", NOW + 3 * H, NOW + 7 * H),
    ),
    (lambda: work(WORKED, unit="fridge"), w.WorkPlanned("fridge", "cleaning", NOW, NOW + H)),
    (lambda: ended(), w.WorkEnded(f"W{HEAD}", "hand")),
]


@pytest.mark.parametrize(("act", "event"), DONE, ids=[f"{type(v).__name__} {n}" for n, (_, v) in enumerate(DONE)])
def test_what_can_be_is_one_event_at_its_time_by_whoever_asked(act: Callable[[], Result], event: e.Event) -> None:
    assert act() == (Draft(NOW, "bo", event),)


def test_work_that_was_called_off_is_in_nobodys_way() -> None:
    off = after(w.WorkPlanned("coldroom", "cleaning", NOW + H, NOW + 2 * H), w.WorkEnded(f"W{HEAD}", "hand"))
    assert not isinstance(work(off), Faults)
    assert isinstance(ended(off), Faults)


def test_a_tub_that_is_put_into_a_unit_out_of_service_says_that_it_is_back_in_service() -> None:
    moved = move_tub(OUT, "BELLY-32", MoveTub(tub="rack 1", unit="chamber"), BO, NOW)
    assert not isinstance(moved, Faults)
    assert [type(draft.event).__name__ for draft in moved] == ["TubMoved", "UnitInService"]
    entry = e.Entry(99, NOW, NOW, "bo", moved[1].event)
    said = "Curing chamber is in service again. Reason: a tub of BELLY-32 was put into it."
    assert entry_words(entry, OUT, "UTC") == said
    assert lots_of(entry, OUT) == ("BELLY-32",)
    assert len(move_tub(KITCHEN, "BELLY-32", MoveTub(tub="rack 1", unit="chamber"), BO, NOW)) == 1  # type: ignore[arg-type]


class Somebody:
    """A person with a browser."""

    def __init__(self, office: Office, person: str) -> None:
        self.office = office
        self.client = TestClient(create_app(office), follow_redirects=False, headers={"Origin": "http://testserver"})
        self.session = begin(office.working, person, office.security_clock())
        self.client.cookies.set(cookie_name(office.settings), self.session)

    def see(self, address: str) -> str:
        answer = self.client.get(address)
        assert answer.status_code == 200, answer.text
        return str(answer.text)

    def send(self, address: str, **fields: str) -> tuple[int, str]:
        answer = self.client.post(address, data={"form_token": form_token(self.session), **fields})
        return answer.status_code, answer.headers.get("location", "") or answer.text


@pytest.fixture
def bo() -> Iterator[Somebody]:
    somebody = Somebody(made_office(), "bo")
    with somebody.client:
        yield somebody


def test_an_alarm_is_shelved_on_its_page_and_shown_so_wherever_it_is_listed(bo: Somebody) -> None:
    assert 'action="/alarms/A21/shelve"' in bo.see("/alarms/A21")
    assert bo.send("/alarms/A21/shelve", reason="thawing the coil", minutes="45") == (303, "/alarms/A21")
    said = "Shelved by Bo Lindqvist at 02:10 until 02:55: thawing the coil"
    for address in ("/alarms/A21", "/", "/units/coldroom"):
        assert said in bo.see(address)
        assert "shelved</p>" in bo.see(address)
    page = bo.see("/alarms/A21")
    assert 'action="/alarms/A21/unshelve"' in page
    assert 'action="/alarms/A21/shelve"' not in page
    answer = bo.client.get("/api/v1/alarms/A21").json()
    assert answer["state"] == "shelved alarm"
    assert (answer["shelved"]["by"], answer["shelved"]["until_at"]) == ("bo", "2026-11-25T07:55:00Z")
    assert "Alarm A21 was shelved until Wed 25 Nov, 02:55. Reason: thawing the coil" in bo.see("/journal")


def test_a_shelving_is_ended_on_the_alarms_page(bo: Somebody) -> None:
    bo.send("/alarms/A21/shelve", reason="thawing the coil", minutes="45")
    assert bo.send("/alarms/A21/unshelve") == (303, "/alarms/A21")
    page = bo.see("/alarms/A21")
    assert "nobody has answered" in page
    assert "Told again, no longer shelved" in page
    assert bo.client.get("/api/v1/alarms/A21").json()["shelved"] is None


def test_a_shelving_without_a_reason_or_for_too_long_is_shown_again_with_what_is_wrong(bo: Somebody) -> None:
    status, text = bo.send("/alarms/A21/shelve", reason="", minutes="600")
    assert (status, "is not entered" in text) == (422, True)
    status, text = bo.send("/alarms/A21/shelve", reason="thawing the coil", minutes="600")
    assert (status, "shelve it for 2 h 00 at most" in text) == (422, True)
    assert "thawing the coil</textarea>" in text
    assert not bo.office.present.kitchen.alarms["A21"].shelvings


def test_an_empty_unit_goes_out_of_service_and_back_on_its_page(bo: Somebody) -> None:
    assert bo.send("/units/chamber/out-of-service", reason="new fan") == (303, "/units/chamber?done=out")
    said = "Out of service since Wed 25 Nov 02:10, by Bo Lindqvist: new fan."
    page = bo.see("/units/chamber?done=out")
    assert said in page
    assert "nothing of it is told" in page
    assert page.count('action="/units/chamber/in-service"') == 1
    assert 'action="/units/chamber/out-of-service"' not in page
    tonight = bo.see("/")
    assert "Out of service, and planned work" in tonight
    assert said in tonight
    answer = bo.client.get("/api/v1/units/chamber").json()
    assert answer["out_of_service"] == {"since_at": "2026-11-25T07:10:00Z", "by": "bo", "reason": "new fan"}
    assert bo.send("/units/chamber/in-service") == (303, "/units/chamber?done=back")
    assert bo.client.get("/api/v1/units/chamber").json()["out_of_service"] is None


def test_a_unit_with_tubs_offers_no_way_out_of_service_and_refuses_it_in_words(bo: Somebody) -> None:
    assert 'action="/units/coldroom/out-of-service"' not in bo.see("/units/coldroom")
    status, text = bo.send("/units/coldroom/out-of-service", reason="new fan")
    assert status == 422
    assert "it is not empty: BRISKET-14 tub 1" in text
    assert "carry them to a unit that is cold enough" in text


def test_work_is_planned_listed_and_ended_on_the_units_page(bo: Somebody) -> None:
    sent = {"what": "cleaning", "from_at": "2026-11-25T03:00", "until_at": "2026-11-25T04:30", "note": "the floor."}
    assert bo.send("/units/coldroom/planned-work", **sent) == (303, "/units/coldroom?done=planned")
    said = "Cleaning Wed 25 Nov, 03:00 until 04:30, planned by Bo Lindqvist: the floor."
    page = bo.see("/units/coldroom")
    assert said in page
    # It is 02:10: what has not begun is called off, not ended.
    assert "Call it off" in page and "End it now" not in page
    assert said in bo.see("/")
    (one,) = bo.client.get("/api/v1/units/coldroom").json()["planned_work"]
    assert (one["from_at"], one["until_at"]) == ("2026-11-25T08:00:00Z", "2026-11-25T09:30:00Z")
    assert bo.send("/units/coldroom/planned-work/end", work=one["id"]) == (303, "/units/coldroom?done=ended")
    assert said not in bo.see("/units/coldroom")
    assert bo.client.get("/api/v1/units/coldroom").json()["planned_work"] == []
    assert "Cold room: planned cleaning ended before its time: ended by hand." in bo.see("/journal")
    status, text = bo.send("/units/coldroom/planned-work/end", work="W999")
    assert (status, "no work W999 is planned" in text) == (422, True)


MISSING: list[tuple[str, str, dict[str, Any]]] = [
    ("/alarms/A999/shelve", "/alarms/A999/shelvings", {"reason": "thawing the coil"}),
    ("/alarms/A999/unshelve", "/alarms/A999/shelvings/end", {}),
    ("/units/cellar/out-of-service", "/units/cellar/out-of-service", {"reason": "new fan"}),
    ("/units/cellar/in-service", "/units/cellar/in-service", {}),
    ("/units/cellar/planned-work", "/units/cellar/planned-work", {"what": "cleaning", "until_at": NOW + H}),
    ("/units/cellar/planned-work/end", "/units/cellar/planned-work/end", {"work": "W1"}),
]


@pytest.mark.parametrize(("page", "route", "body"), MISSING, ids=[page for page, _, _ in MISSING])
def test_what_is_not_there_cannot_be_put_aside(bo: Somebody, page: str, route: str, body: dict[str, Any]) -> None:
    assert bo.send(page)[0] == 404
    assert bo.client.post(f"/api/v1{route}", json=body).status_code == 404


def test_whoever_may_only_look_sees_the_state_and_no_form() -> None:
    office = made_office()
    office.present.decide(lambda kitchen: [Draft(NOW, "bo", w.WorkPlanned("coldroom", "loading", NOW, NOW + H))])
    viola = Somebody(office, "vi")
    with viola.client:
        assert "Loading until 03:10, planned by Bo Lindqvist." in viola.see("/units/coldroom")
        for address in ("/units/coldroom", "/units/chamber", "/alarms/A21"):
            page = viola.see(address)
            assert not any(word in page for word in ("planned-work", "out-of-service", "/shelve"))
        assert viola.send("/alarms/A21/shelve", reason="thawing the coil", minutes="45")[0] == 403


def test_a_shelving_whose_time_is_over_is_shown_as_over_although_nobody_wrote_it_down() -> None:
    office = replace(made_office(), clock=lambda: NOW + 2 * H)
    office.present.decide(lambda kitchen: [Draft(NOW, "bo", w.AlarmShelved("A21", NOW + H, "thawing"))])
    somebody = Somebody(office, "bo")
    with somebody.client:
        assert "Shelved by" not in somebody.see("/alarms/A21")


def test_an_open_page_of_the_unit_renews_itself_when_something_of_it_is_put_aside() -> None:
    office = made_office()
    seen = Seen(office.present.kitchen.position, estimates_now(office))
    for event, unit in (
        (w.AlarmShelved("A21", NOW + H, "thawing"), "coldroom"),
        (w.AlarmUnshelved("A21", "hand"), "coldroom"),
        (w.UnitOutOfService("chamber", "new fan"), "chamber"),
        (w.UnitInService("chamber", "it runs"), "chamber"),
        (w.WorkPlanned("fridge", "loading", NOW, NOW + H), "fridge"),
    ):
        office.present.decide(lambda kitchen, event=event: [Draft(NOW, "bo", event)])  # type: ignore[misc]
        assert unit in changed(office, seen)

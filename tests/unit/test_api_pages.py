"""What people see and type: every page, every form, with what is refused beside its field and nothing written."""

import gzip
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from alerts.channels.drill import Tried
from api.app import create_app
from api.auth.codes import FIRST_RUN, issue_code
from api.auth.links import issue_link
from api.auth.sessions import begin, cookie_name, form_token
from api.office import Office
from api.pages.forms import Field, Kind, compacted, entered, instant_of, local_field
from api.pages.live import Seen, changed, estimates_now
from api.pages.sign_in import own_address
from collector import events as e
from collector.batches import Stage
from collector.events import Draft
from collector.events_watching import AlarmShelved
from collector.findings import Condition, Disposition
from collector.message import Source
from collector.rota import RotaStep
from tests.office import NOW, WARM, ZONE, made_office, proposal

HOLD = Disposition.HOLD
ORIGIN = "http://testserver"
STATIC = Path(__file__).parents[2] / "api" / "static"
PAGES = (
    "/", "/units/coldroom", "/units/chamber", "/batches", "/batches/BRISKET-14", "/batches/HAM-31",
    "/batches/BRISKET-14/record", "/batches/HAM-31/record", "/batches/BELLY-32/record",
    "/batches/BRISKET-14/hold-sheet", "/batches/HAM-31/hold-sheet", "/batches/BRISKET-14/labels",
    "/batches/new", "/channels", "/journal", "/password", "/read", "/people", "/curing-salts", "/sensors",
    "/plan",
)  # fmt: skip
TOO_SURE = re.compile(r"\b(?:safe|ok|all clear)\b", re.IGNORECASE)


@pytest.fixture
def office() -> Office:
    return made_office(bundle=b"export {};" * 1000)


@pytest.fixture
def client(office: Office) -> Iterator[TestClient]:
    with TestClient(create_app(office), follow_redirects=False, headers={"Origin": ORIGIN}) as client:
        yield client


class Somebody:
    """A person with a browser."""

    def __init__(self, client: TestClient, office: Office, person: str) -> None:
        self.client, self.office = client, office
        self.session = begin(office.working, person, office.security_clock())
        client.cookies.set(cookie_name(office.settings), self.session)

    def see(self, address: str, status: int = 200) -> str:
        answer = self.client.get(address)
        assert answer.status_code == status, answer.text
        return str(answer.text)

    def send(self, address: str, **fields: str) -> tuple[int, str]:
        sent = {name.replace("__", "."): value for name, value in fields.items()}
        answer = self.client.post(address, data={"form_token": form_token(self.session), **sent})
        return answer.status_code, answer.headers.get("location", "") or answer.text


@pytest.fixture
def ada(client: TestClient, office: Office) -> Somebody:
    return Somebody(client, office, "ada")


def alarm_of(office: Office) -> str:
    return next(iter(office.present.kitchen.alarms))


@pytest.mark.parametrize("address", PAGES)
def test_every_page_says_the_caution_and_nothing_too_sure(ada: Somebody, address: str) -> None:
    text = ada.see(address)
    assert "Estimates only: local rules and a responsible or licensed person come first." in text
    assert not TOO_SURE.search(re.sub(r"<[^>]+>", " ", text))


@pytest.mark.parametrize("address", PAGES)
def test_no_page_carries_script_or_style_of_its_own(ada: Somebody, address: str) -> None:
    text = ada.see(address)
    assert not re.search(r"<style|\sstyle=|<script(?![^>]* src=)|\son[a-z]+=|javascript:", text)


@pytest.mark.parametrize("address", PAGES)
def test_a_page_with_its_script_and_style_weighs_less_than_the_budget(ada: Somebody, address: str) -> None:
    shared = sum((STATIC / name).stat().st_size for name in ("paper.css", "pages.js", "sound.js", "mark.svg"))
    assert len(ada.see(address).encode()) + shared <= 150_000


@pytest.mark.parametrize("address", PAGES)
def test_whoever_has_not_signed_in_is_sent_to_do_so(client: TestClient, address: str) -> None:
    answer = client.get(address)
    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/sign-in")


@pytest.mark.parametrize("person", ["vi", "bo"])
def test_what_a_role_may_not_do_is_not_offered(client: TestClient, office: Office, person: str) -> None:
    somebody = Somebody(client, office, person)
    assert 'action="/batches/BRISKET-14/sign"' not in somebody.see("/batches/BRISKET-14")
    assert 'action="/channels/claim"' not in somebody.see("/channels")
    assert ('value="going"' in somebody.see("/")) == (person == "bo")


def test_tonight_begins_with_the_alarm_then_holds_then_units_by_time_left(ada: Somebody) -> None:
    text = ada.see("/")
    parts = ("Cold room: meat may pass 5.0 °C", "03:40", "04:40", "I am going", "Do not use", "HOLD", "Units,")
    found = [text.index(part) for part in parts]
    assert found == sorted(found)
    units = text[text.index("Units,") :]
    assert units.index("Cold room") < units.index("Fridge by the pass") < units.index("Curing chamber")
    assert "Meat may pass the limit in 1 h 30 (estimate)." in units
    assert "No limit in sight (estimate)." in units


def test_a_unit_of_which_nothing_is_known_is_never_given_time(ada: Somebody) -> None:
    chamber = ada.see("/").split("Curing chamber")[1]
    assert "no sensor watches its air" in chamber
    assert "No limit in sight" not in chamber


def test_going_needs_a_time_and_is_written_down_with_it(ada: Somebody, office: Office) -> None:
    alarm = alarm_of(office)
    status, text = ada.send(f"/alarms/{alarm}/answer", answer="going", arriving_at="")
    assert status == 422
    assert "there by when?" in text
    status, to = ada.send(f"/alarms/{alarm}/answer", answer="going", arriving_at="2026-11-25T02:30")
    assert (status, to) == (303, "/?done=answer")
    assert office.present.kitchen.alarms[alarm].arriving_at == NOW + 1200.0
    assert "Ada Brandt is going, there by 02:30" in ada.see("/")


def test_who_cannot_go_need_not_say_when(ada: Somebody, office: Office) -> None:
    alarm = alarm_of(office)
    assert ada.send(f"/alarms/{alarm}/answer", answer="cannot", arriving_at="2026-11-25T02:30")[0] == 303
    assert office.present.kitchen.alarms[alarm].answer == "cannot"


def test_a_batch_shows_what_is_proposed_and_why_before_all_else(ada: Somebody) -> None:
    text = ada.see("/batches/BRISKET-14")
    parts = ("Proposed: HOLD.", "do not cook, sell or throw it away yet", "Decide by", "Because:", "7.4 °C", "<h2>Now")
    found = [text.index(part) for part in parts]
    assert found == sorted(found)


def test_a_batch_shows_the_interval_that_is_claimed_for_its_estimate(ada: Somebody) -> None:
    assert "Warmest tub 3.1 °C (estimate, 2.8 to 3.4 °C with 90 %)." in ada.see("/batches/BELLY-32")


def test_a_batch_tells_who_wrote_down_what(ada: Somebody) -> None:
    text = ada.see("/batches/BRISKET-14")
    assert "Measured by hand: 3.4 °C, brine, BRISKET-14, tub 1, with hand probe 1" in text
    assert "Bo Lindqvist, entry" in text


def proposal_of(office: Office, lot: str) -> str:
    record = office.present.kitchen.proposal_of(lot)
    assert record is not None
    return str(record.position)


def test_a_hold_is_signed_with_a_reason_and_a_place(ada: Somebody, office: Office) -> None:
    where = {"proposal": proposal_of(office, "BRISKET-14"), "disposition": "hold"}
    status, text = ada.send("/batches/BRISKET-14/sign", **where, reason="no", where_kept="")
    assert status == 422
    assert "is too short" in text
    status, text = ada.send("/batches/BRISKET-14/sign", **where, reason="The core was not measured.", where_kept="")
    assert "where does it stand while it is held?" in text
    assert office.present.kitchen.sign_off_of("BRISKET-14") is None
    status, to = ada.send(
        "/batches/BRISKET-14/sign", **where, reason="The core was not measured.", where_kept="shelf 2, red label"
    )
    assert (status, to) == (303, "/batches/BRISKET-14?done=sign")
    text = ada.see(to)
    assert "Signed: hold." in text
    assert "Ada Brandt signed" in text
    assert "shelf 2, red label" in ada.see("/")


def test_who_signs_on_an_older_proposal_is_shown_the_newer_one_and_signs_that(ada: Somebody, office: Office) -> None:
    old = proposal_of(office, "BELLY-32")
    office.present.decide(lambda kitchen: [Draft(NOW, "rules", e.ProposalMade(proposal("BELLY-32", HOLD, WARM)))])
    words = {"disposition": "hold", "reason": "The core was not measured.", "where_kept": "shelf 2"}
    status, text = ada.send("/batches/BELLY-32/sign", proposal=old, **words)
    assert status == 422
    assert "a newer proposal says something else" in text
    assert f'name="proposal" value="{proposal_of(office, "BELLY-32")}"' in text
    assert ada.send("/batches/BELLY-32/sign", proposal=proposal_of(office, "BELLY-32"), **words)[0] == 303


def test_a_move_to_the_bench_asks_how_warm_it_is_there_and_keeps_what_was_typed(ada: Somebody, office: Office) -> None:
    status, text = ada.send("/batches/BRISKET-14/move", tub="2", unit="", bench_c="", at="2026-11-25T02:05")
    assert status == 422
    assert "how warm is the air there?" in text
    assert 'value="2026-11-25T02:05"' in text
    assert ada.send("/batches/BRISKET-14/move", tub="2", unit="", bench_c="21,5", at="2026-11-25T02:05")[0] == 303
    last = office.present.kitchen.batches["BRISKET-14"].placements[-1]
    assert (last.unit, last.bench_c, last.from_at) == (None, 21.5, NOW - 300.0)


BAD_HANDS = [
    ({"value": "warm"}, "“warm” is no number"),
    ({"value": ""}, "is not entered"),
    ({"value": "34"}, ""),
    ({"value": "340"}, "is outside"),
    ({"value": "nan"}, "is no number"),
    ({"probe": " "}, "is not entered"),
    ({"measured_at": "2026-11-26T02:00"}, "has not come yet"),
    ({"measured_at": "2026-03-08T02:30"}, "is no time that the clock on the wall showed"),
    ({"measured_at": "yesterday"}, "is no time that the clock on the wall showed"),
    ({"measured_at": "2026-10-01T02:00"}, "before the batch began"),
    ({"tub": "9"}, "has no tub 9"),
    ({"measure": "taste"}, "is none of the choices"),
    ({"where": "moon"}, "is none of the choices"),
]


@pytest.mark.parametrize(("wrong", "said"), BAD_HANDS, ids=lambda value: str(value)[:40])
def test_a_hand_reading_that_cannot_be_is_shown_again_with_why(
    ada: Somebody, office: Office, wrong: dict[str, str], said: str
) -> None:
    head = office.journal.head()
    right = {"value": "3.9", "measure": "temperature", "where": "brine", "probe": "hand probe 2", "tub": "1"}
    status, text = ada.send("/batches/BRISKET-14/hand", **{**right, **wrong})
    if not said:
        assert status == 303
        return
    assert status == 422
    assert said in text
    assert office.journal.head() == head


def test_a_corrective_action_has_four_fields_and_begins_with_the_excursion(ada: Somebody, office: Office) -> None:
    assert 'value="2026-11-20T02:10"' in ada.see("/batches/BRISKET-14").split('id="action"')[1]
    words = {"cause": "Door ajar", "control_regained": "Shut", "prevention": "Closer", "food_disposed": "Kept"}
    at = {"excursion_at": "2026-11-23T02:10"}
    assert "is not entered" in ada.send("/batches/BRISKET-14/action", **at, **{**words, "cause": ""})[1]
    assert ada.send("/batches/BRISKET-14/action", **at, **words)[0] == 303
    assert len(office.present.kitchen.batches["BRISKET-14"].actions) == 2


def test_an_empty_field_of_the_as_made_sheet_is_not_entered_and_never_zero(ada: Somebody, office: Office) -> None:
    sheet = {"as_made__meat_kg": "3.05", "as_made__brine_c": "", "reason": "brine was not measured"}
    assert ada.send("/batches/BRISKET-14/as-made", **sheet)[0] == 303
    made = office.present.kitchen.batches["BRISKET-14"].as_made
    assert (made.brine_c, made.salt_kg, made.meat_kg) == (None, None, 3.05)
    assert "not entered" in ada.see("/batches/BRISKET-14")


def test_where_a_tub_stood_is_corrected_row_by_row(ada: Somebody, office: Office) -> None:
    rows = {
        "tub": "1", "reason": "it stood in the fridge over night",
        "placements__0__from_at": "2026-11-21T02:10", "placements__0__until_at": "2026-11-22T08:00",
        "placements__0__unit": "coldroom", "placements__0__bench_c": "",
        "placements__1__from_at": "2026-11-22T08:00", "placements__1__until_at": "", "placements__1__unit": "fridge",
        "placements__2__from_at": "", "placements__2__until_at": "", "placements__2__unit": "",
    }  # fmt: skip
    hole = {**rows, "placements__1__from_at": "2026-11-22T09:00"}
    status, text = ada.send("/batches/BRISKET-14/places", **hole)
    assert status == 422
    assert "must end exactly where the next begins" in text
    assert ada.send("/batches/BRISKET-14/places", **rows)[0] == 303
    placed = [p.unit for p in office.present.kitchen.batches["BRISKET-14"].placements if p.tub == "1"]
    assert placed == ["coldroom", "fridge"]


def test_a_batch_on_hold_does_not_end_and_another_goes_on_to_its_next_stage(ada: Somebody, office: Office) -> None:
    assert "is on hold" in ada.send("/batches/BRISKET-14/end", reason="eaten")[1]
    assert ada.send("/batches/BELLY-32/stage", stage="rest")[0] == 303
    assert office.present.kitchen.batches["BELLY-32"].stages[-1].stage == "rest"
    assert office.present.kitchen.batches["BRISKET-14"].ended_at is None


NEW = {
    "lot": "LOIN-7", "plan__name": "Loin", "plan__meat": "pork", "plan__cut": "loin", "plan__method": "immersion",
    "plan__packing": "under brine", "plan__route": "cooked", "plan__cure_days": "4", "plan__thickness_mm": "60",
    "plan__meat_kg": "2", "tubs__0__tub": "", "tubs__0__unit": "coldroom", "tubs__1__tub": "red",
    "tubs__1__unit": "fridge", "as_made__meat_kg": "2,05", "as_made__brine_c": "3", "stage": "cure",
    "as_made__supplier_lots": "A-1, B-2",
}  # fmt: skip


def test_a_batch_is_started_from_the_form(ada: Somebody, office: Office) -> None:
    assert ada.send("/batches/new", **NEW) == (303, "/batches/LOIN-7?done=start")
    batch = office.present.kitchen.batches["LOIN-7"]
    assert [(p.tub, p.unit) for p in batch.placements] == [("red", "fridge")]
    assert (batch.as_made.meat_kg, batch.as_made.salt_kg, batch.as_made.supplier_lots) == (2.05, None, ("A-1", "B-2"))
    assert "Not judged yet." in ada.see("/batches/LOIN-7")


BAD_STARTS = [
    ({"lot": "brisket-14"}, "is taken"),
    ({"lot": "a b"}, "characters that cannot stand here"),
    ({"lot": ""}, "is not entered"),
    ({"plan__cure_days": "400"}, "is outside"),
    ({"plan__meat": "fish"}, "is none of the choices"),
    ({"tubs__1__tub": ""}, "is not entered"),
    ({"tubs__1__unit": "attic"}, "no unit is called attic"),
    ({"tubs__0__tub": "RED"}, "two tubs have the same name"),
    ({"plan__packing": "open"}, "has no brine"),
    ({"as_made__meat_kg": "0"}, "is nothing"),
    ({"started_at": "2026-01-01T00:00"}, "more than 90 days ago"),
]


@pytest.mark.parametrize(("wrong", "said"), BAD_STARTS, ids=lambda value: str(value)[:40])
def test_a_sheet_that_cannot_be_is_shown_again_with_why(
    ada: Somebody, office: Office, wrong: dict[str, str], said: str
) -> None:
    head = office.journal.head()
    status, text = ada.send("/batches/new", **{**NEW, **wrong})
    assert status == 422
    assert said in text
    assert office.journal.head() == head


def test_a_thousand_batches_come_in_pages_of_a_weight_that_a_phone_takes(ada: Somebody, office: Office) -> None:
    one = office.present.kitchen.batches["BELLY-32"]
    started = [e.BatchStarted(f"LOT-{n:04}", one.plan, one.as_made, one.placements) for n in range(1000)]
    office.present.decide(lambda kitchen: [Draft(NOW, "bo", event) for event in started])
    found: list[str] = []
    address: str | None = "/batches"
    while address is not None:
        text = ada.see(address)
        assert len(text.encode()) < 130_000
        found += re.findall(r'href="/batches/(LOT-\d+)"', text)
        more = re.search(r'href="([^"]+)">More batches', text)
        address = more[1] if more else None
    assert found == [f"LOT-{n:04}" for n in range(1000)]


def test_a_channel_is_claimed_and_given_up(ada: Somebody, office: Office) -> None:
    assert "new/air" in ada.see("/channels").split("Claimed")[0]
    claim = {"channel": "new/air", "quantity": "air_temperature", "unit": "chamber", "place": "top shelf"}
    claim |= {"interval_s": "60", "uncertainty_c": "0.5"}
    status, text = ada.send("/channels/claim", **{**claim, "quantity": "door"})
    assert status == 422
    assert "this channel sends Cel, not 1" in text
    assert ada.send("/channels/claim", **claim) == (303, "/channels?done=claimed")
    assert office.present.kitchen.assigned("new/air", NOW) is not None
    assert ada.send("/channels/end", channel="cold/door", reason="broken off")[0] == 303
    assert office.present.kitchen.assigned("cold/door", NOW + 1.0) is None
    assert "nothing has ever arrived" in ada.send("/channels/claim", **{**claim, "channel": "none/such"})[1]


def test_the_journal_is_told_in_words_in_pages(ada: Somebody, office: Office) -> None:
    kitchen = office.present.kitchen
    person = kitchen.people["vi"]
    office.present.decide(
        lambda kitchen: [Draft(NOW, "ada", e.PersonDescribed("vi", f"Viola {n}", person.roles)) for n in range(60)]
    )
    newest = ada.see("/journal")
    assert "Viola 59" in newest
    assert "Viola 5 " not in newest
    older = re.search(r'href="(/journal\?upto=\d+)">Older', newest)
    assert older is not None
    assert "Alarm: Meat warming." in ada.see(older[1])


def test_every_kind_of_event_has_its_words() -> None:
    from api.pages.telling import WORDS

    assert set(WORDS) == set(e.KINDS.values())


def test_a_link_can_be_opened_any_number_of_times_and_answers_once(client: TestClient, office: Office) -> None:
    alarm = alarm_of(office)
    token = issue_link(office.working, alarm, "bo", office.security_clock())
    head = office.journal.head()
    for _ in range(3):
        text = client.get(f"/a/{token}").text
        assert "Bo Lindqvist, will you go?" in text
    assert office.journal.head() == head
    given = re.search(r'name="form_token" value="([^"]+)"', text)
    assert given is not None
    sent = {"form_token": given[1], "answer": "going", "arriving_at": ""}
    assert client.post(f"/a/{token}", data=sent).status_code == 422
    assert client.post(f"/a/{token}", data={**sent, "form_token": "other"}).status_code == 403
    sent["arriving_at"] = "2026-11-25T02:30"
    assert "Thank you, Bo Lindqvist" in client.post(f"/a/{token}", data=sent).text
    assert office.present.kitchen.alarms[alarm].acknowledged_by == "bo"
    assert client.post(f"/a/{token}", data=sent).status_code == 404
    assert client.get(f"/a/{token}").status_code == 404


def told_bo(office: Office, alarm: str, *states: str, channel: str = "email") -> None:
    now = office.clock()
    steps = [e.AlarmTold(alarm, "raised", "bo", channel, state, "no route" * (state == "failed")) for state in states]
    office.present.decide(lambda kitchen: [Draft(now, "watch", step) for step in steps])


def test_that_a_link_was_opened_is_written_down_once_and_answers_nothing(client: TestClient, office: Office) -> None:
    alarm = alarm_of(office)
    told_bo(office, alarm, "attempting", "accepted")
    token, head = issue_link(office.working, alarm, "bo", office.security_clock()), office.journal.head()
    for _ in range(3):
        client.get(f"/a/{token}")
    assert office.journal.head() == head + 1
    standing = office.present.kitchen.alarms[alarm]
    assert [(s.person, s.by) for s in standing.seen] == [("bo", "link")]
    assert standing.acknowledged_at is None


def test_the_page_of_an_alarm_shows_every_step_of_its_telling(client: TestClient, office: Office) -> None:
    alarm, bo = alarm_of(office), Somebody(client, office, "bo")
    told_bo(office, alarm, "attempting", "failed", channel="webhook")
    told_bo(office, alarm, "attempting")
    renewed = client.get(f"/alarms/{alarm}", headers={"sec-fetch-dest": "empty"}).text
    assert "email: attempting, no answer yet" in renewed
    assert "webhook: failed" in renewed and "(no route)" in renewed
    assert "opened the page" not in renewed
    told_bo(office, alarm, "accepted")
    text = bo.see(f"/alarms/{alarm}")
    assert "email: accepted" in text and "Bo Lindqvist: opened the page" in text


def test_whoever_was_not_told_leaves_no_trace_by_looking(ada: Somebody, office: Office) -> None:
    alarm = alarm_of(office)
    told_bo(office, alarm, "attempting", "accepted")
    assert "opened the page" not in ada.see(f"/alarms/{alarm}")
    assert office.present.kitchen.alarms[alarm].seen == ()


def test_a_link_that_never_was_shows_nothing_of_the_kitchen(client: TestClient) -> None:
    answer = client.get("/a/none")
    assert answer.status_code == 404
    assert "BRISKET" not in answer.text


def test_a_code_lets_in_and_a_password_is_offered(client: TestClient, office: Office) -> None:
    code = issue_code(office.working, "bo", office.security_clock(), lasts_s=60.0)
    answer = client.post("/sign-in", data={"code": code.lower().replace("-", " "), "next": "/batches"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/password?next=/batches")
    assert "Later" in client.get("/password?next=/batches").text
    assert client.get("/").status_code == 200


def test_a_wrong_code_says_so(client: TestClient) -> None:
    answer = client.post("/sign-in", data={"code": "0000-0000-0000"})
    assert answer.status_code == 422
    assert "not known" in answer.text


def test_the_first_code_asks_who_it_is(client: TestClient) -> None:
    office = made_office()
    described = [Draft(NOW, "ada", e.PersonDescribed(p, p, ())) for p in ("ada",)]
    office.present.decide(lambda kitchen: described)
    with TestClient(create_app(office), follow_redirects=False, headers={"Origin": ORIGIN}) as fresh:
        code = issue_code(office.working, FIRST_RUN, office.security_clock(), lasts_s=60.0)
        assert "Who are you?" in fresh.post("/sign-in", data={"code": code}).text
        sent = {"code": code, "name": "Kit Ashdown", "person": "kit"}
        assert fresh.post("/sign-in", data=sent).status_code == 303
    assert office.present.kitchen.people["kit"].roles == ("operator", "approver", "admin")


def test_signing_out_ends_the_session(ada: Somebody) -> None:
    assert ada.send("/sign-out") == (303, "/sign-in")
    ada.client.cookies.set("curevigil", ada.session)
    assert ada.client.get("/").status_code == 303


def test_a_form_without_our_token_changes_nothing(ada: Somebody, office: Office) -> None:
    head = office.journal.head()
    answer = ada.client.post("/batches/BRISKET-14/hand", data={"value": "3", "probe": "x"})
    assert answer.status_code == 403
    assert office.journal.head() == head


def rung(text: str) -> tuple[str, str]:
    found = re.search(r'id="sound" hidden data-told="([^"]*)" data-unanswered="([^"]*)" data-rang="0"', text)
    assert found is not None
    return found[1], found[2]


def test_an_open_page_rings_for_what_wakes_somebody_until_it_is_answered_and_again_if_that_is_not_kept(
    ada: Somebody, office: Office
) -> None:
    alarm = next(a.id for a in office.present.kitchen.alarms.values() if a.condition.wakes)
    assert rung(ada.see("/")) == rung(ada.see(f"/alarms/{alarm}")) == (f"{alarm}.0", f"{alarm}.0")
    ada.send(f"/alarms/{alarm}/answer", answer="going", arriving_at="2026-11-25T02:30")
    assert rung(ada.see("/")) == (f"{alarm}.0", "")
    at = office.clock() + 3600.0
    again = e.AlarmTold(alarm, "again arrival-1-0", "ada", "log", "accepted")
    office.present.decide(lambda kitchen: [Draft(at, "watch", again)])
    assert rung(ada.see("/")) == (f"{alarm}.1", f"{alarm}.1")


def test_an_open_page_is_silent_about_what_waits_for_the_morning_and_about_what_is_shelved(
    ada: Somebody, office: Office
) -> None:
    alarm = next(a for a in office.present.kitchen.alarms.values() if a.condition.wakes)
    cold = replace(alarm.condition, kind="product_freezing", wakes=False)
    now = office.clock()
    office.present.decide(lambda kitchen: [Draft(now, "watch", e.AlarmRaised(cold))])
    assert rung(ada.see("/"))[0] == f"{alarm.id}.0"
    office.present.decide(lambda kitchen: [Draft(now, "ada", AlarmShelved(alarm.id, now + 600.0, "being mended"))])
    assert rung(ada.see("/")) == ("", "")


def test_the_page_of_an_alarm_says_where_its_tubs_could_go_below_what_to_look_at_first(office: Office) -> None:
    told = replace(office, moving=lambda kitchen, alarm, now: f"Fridge 2 has room, for {alarm.id}.")
    alarm = next(a.id for a in office.present.kitchen.alarms.values() if a.condition.kind == "product_warm")
    with TestClient(create_app(told), follow_redirects=False, headers={"Origin": ORIGIN}) as client:
        text = Somebody(client, told, "ada").see(f"/alarms/{alarm}")
    assert text.index("Move tubs only if") < text.index(f"Fridge 2 has room, for {alarm}.")


@pytest.mark.parametrize("address", ["/units/none", "/batches/NONE", "/alarms/none", "/batches/NONE/chart.json", "/x"])
def test_an_address_that_leads_nowhere_says_so(ada: Somebody, address: str) -> None:
    text = ada.see(address, 404)
    assert "Traceback" not in text


LED_AWAY = ["//evil.example", "https://evil.example", "/\\evil.example", "evil", "", "/a\r\nX: y", "javascript:x"]


@pytest.mark.parametrize("address", LED_AWAY)
def test_sign_in_never_leads_to_another_place(address: str) -> None:
    assert own_address(address) == "/"
    assert own_address("/batches/HAM-31?done=x") == "/batches/HAM-31?done=x"


def test_what_is_typed_is_shown_again_as_text_never_as_markup(ada: Somebody) -> None:
    _, text = ada.send("/batches/BRISKET-14/hand", value="<script>x</script>", probe='"><b>')
    assert "<script>x" not in text
    assert "&lt;script&gt;" in text


def test_a_chart_is_sent_for_a_batch_and_for_a_unit(ada: Somebody) -> None:
    batch = ada.client.get("/batches/BRISKET-14/chart.json").json()
    assert {"line", "rect", "point", "area"} <= {layer["mark"]["type"] for layer in batch["layer"]}
    unit = ada.client.get("/units/coldroom/chart.json").json()
    assert any(layer["mark"]["type"] == "line" for layer in unit["layer"])


def test_the_chart_script_is_packed_kept_and_known_by_its_tag(client: TestClient) -> None:
    answer = client.get("/static/charts.js")
    assert answer.text.startswith("export {};")
    assert "max-age" in answer.headers["cache-control"]
    assert answer.headers["content-encoding"] == "gzip"
    again = client.get("/static/charts.js", headers={"If-None-Match": answer.headers["etag"]})
    assert again.status_code == 304
    plain = client.get("/static/charts.js", headers={"Accept-Encoding": "identity"})
    assert len(gzip.compress(plain.content)) < len(plain.content)


def test_the_stream_names_what_changed_and_then_is_quiet(office: Office) -> None:
    seen = Seen(office.present.kitchen.position, estimates_now(office))
    assert changed(office, seen) == []
    office.present.decide(lambda kitchen: [Draft(NOW, "bo", e.StageBegun("HAM-31", Stage.REST, NOW))])
    assert changed(office, seen) == ["journal", "HAM-31"]
    assert changed(office, seen) == []


def test_rows_without_a_key_are_left_out_and_the_others_move_up() -> None:
    sent = {"tubs.0.tub": "", "tubs.0.unit": "a", "tubs.2.tub": "x", "tubs.2.unit": "b", "lot": "L"}
    assert compacted(sent, {"tubs": "tub"}) == {"tubs.0.tub": "x", "tubs.0.unit": "b", "lot": "L"}


def test_a_comma_and_a_minus_sign_are_read_as_people_type_them() -> None:
    fields = (Field("a", "", Kind.NUMBER), Field("b.c", "", Kind.NUMBER), Field("d", ""))
    assert entered(fields, {"a": "−1,5", "b.c": "2 000", "d": ""}, "UTC") == ({"a": -1.5, "b": {"c": 2000.0}}, [])


def test_a_time_of_the_walls_goes_round() -> None:
    assert local_field(NOW, ZONE) == "2026-11-25T02:10"
    assert instant_of("2026-11-25T02:10", ZONE) == NOW
    with pytest.raises(ValueError, match="forward"):
        instant_of("2026-03-08T02:30", ZONE)


MAPPING = """[[source]]
topic = "kitchen/{device}"
format = "mapped"
[[source.measurement]]
channel = "{device}/air"
value = "/celsius"
unit = "Cel"
"""


def test_a_pasted_message_shows_what_it_would_become_and_keeps_nothing(ada: Somebody, office: Office) -> None:
    before = (office.journal.head(), office.readings.head())
    status, text = ada.send("/read", topic="kitchen/gauge", message='{"celsius": 4.1}', mapping=MAPPING)
    assert status == 200
    assert "gauge/air = 4.1 Cel at 2026-11-25T07:10:00.000Z (by receipt)" in text
    assert "sent again, it would be state: kept as it came" in text
    status, text = ada.send("/read", topic="kitchen/gauge", message='{"celsius": 4.1}', mapping=MAPPING, retained="yes")
    assert "gauge/air = 4.1" not in text
    assert "No reading." in text
    assert "sent again, it is state: kept as it came, from nobody knows when, and no reading" in text
    status, text = ada.send("/read", topic="kitchen/gauge", message='{"celsius": NaN}', mapping=MAPPING)
    assert (status, "It cannot be read" in text) == (200, True)
    assert (office.journal.head(), office.readings.head()) == before


def test_a_pasted_message_is_read_by_the_settings_where_no_mapping_is_pasted(client: TestClient) -> None:
    office = replace(made_office(), sources=(Source("cold/#", "senml"),))
    with TestClient(create_app(office), follow_redirects=False, headers={"Origin": ORIGIN}) as other:
        vi = Somebody(other, office, "vi")
        text = vi.send("/read", topic="cold/air", message='[{"n":"cold/air","u":"Cel","v":3.5}]')[1]
        assert "cold/air = 3.5 Cel" in text
        assert "no source takes this topic" in vi.send("/read", topic="warm/air", message="1")[1]


def test_cbor_is_pasted_as_hex_or_base64(ada: Somebody) -> None:
    mapping = MAPPING.replace('"mapped"', '"mapped"\nencoding = "cbor"')
    for text in ("a16763656c73697573f94480", "oWdjZWxzaXVz+USA"):
        assert "gauge/air = 4.5 Cel" in ada.send("/read", topic="kitchen/gauge", message=text, mapping=mapping)[1]
    status, text = ada.send("/read", topic="kitchen/gauge", message="4.5 degrees", mapping=mapping)
    assert (status, "paste it as hex or as Base64" in text) == (422, True)


def test_what_is_wrong_with_a_pasted_mapping_is_said_and_nothing_pasted_is_markup(ada: Somebody) -> None:
    status, text = ada.send("/read", topic="<b>", message="<script>x</script>", mapping="[[source]]\ntopic = 1")
    assert status == 422
    assert "source 1 topic" in text
    assert "<script>x" not in text


def called_by(office: Office, calls: list[str]) -> Office:
    def drill(person: str) -> list[Tried]:
        calls.append(person)
        return [Tried("webhook", False, "ConnectError"), Tried("email", True, "the mail server has taken it")]

    return replace(office, reach={"bo": ("webhook", "email")}, drill=drill)


def test_a_drill_shows_what_happened_on_each_way_and_only_an_admin_may_hold_one(office: Office) -> None:
    calls: list[str] = []
    with TestClient(create_app(called_by(office, calls)), headers={"Origin": ORIGIN}) as client:
        ada = Somebody(client, office, "ada")
        assert "webhook, then email; called at once" in ada.see("/people")
        status, text = ada.send("/people/call-test", person="bo")
        assert (status, calls) == (422, [])
        assert "an alarm stands: no drill until it is over" in text
        office.present.decide(lambda kitchen: [Draft(NOW, "watch", e.AlarmReturned(alarm_of(office), "", {}))])
        status, text = ada.send("/people/call-test", person="bo")
        assert (status, calls) == (200, ["bo"])
        assert "webhook: FAILED (ConnectError)" in text
        assert "email: taken; ask them whether it arrived" in text
        assert ada.send("/people/call-test", person="vi")[0] == 422
        assert ada.send("/people/call-test", person="<b>")[0] == 422
        bo = Somebody(client, office, "bo")
        assert "Call Bo" not in bo.see("/people")
        assert bo.send("/people/call-test", person="bo")[0] == 403
    assert calls == ["bo"]


def test_the_page_of_people_says_who_is_on_call_now_and_until_when(ada: Somebody, office: Office) -> None:
    night, day = RotaStep("cy", 0.0, "21:00", "07:00"), RotaStep("bo", 0.0, "07:00", "21:00")
    rota = e.RotaDescribed((day, night, RotaStep("ada", 600.0)))
    office.present.decide(lambda kitchen: [Draft(NOW, "system", rota)])
    text = ada.see("/people")
    assert "Cyrus Okafor at once, then Ada Brandt after 10 min." in text
    assert "From Wed 25 Nov, 07:00 it is otherwise." in text
    assert "called at once, 07:00 to 21:00" in text


def test_what_wakes_nobody_stands_in_the_morning_list_and_not_among_the_alarms(ada: Somebody, office: Office) -> None:
    figures: dict[str, float | int | str | None] = {
        "unit_name": "Cold room",
        "channels": "cold/air",
        "since_at": NOW - 900.0,
    }
    silent = Condition(
        "coldroom",
        "channel_silent",
        "sensor",
        False,
        NOW - 900.0,
        (),
        sentence="channel_silent",
        parameters=figures,
    )
    office.present.decide(lambda kitchen: [Draft(NOW, "watch", e.AlarmRaised(silent))])
    text = ada.see("/")
    listed = text[text.index("For the morning") : text.index('id="holds"')]
    assert "no reading from cold/air" in listed and "told at 07:00" in listed
    assert text.count("no reading from cold/air") == 1

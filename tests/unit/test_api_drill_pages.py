"""Confirming a drill: by its link without signing in, or on the page of people."""

import re
from collections.abc import Iterator
from dataclasses import replace

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.auth.links import issue_link
from api.auth.sessions import begin, cookie_name, form_token
from api.check import doubts
from api.office import Office
from collector.drills import Drill
from collector.events import Draft, Event
from collector.events_drill import DrillAnswered, DrillEnded, DrillStarted, DrillTold
from collector.settings import Settings, parse
from collector.toml_faults import Fault
from tests.office import NOW, made_office

ORIGIN = "http://testserver"
SETTINGS = """
[broker]
address = "127.0.0.1"
port = 1
[[source]]
topic = "kitchen/#"
format = "senml"
[stores]
folder = "/var/lib/curevigil"
[web]
public_address = "https://curevigil.example"
"""


@pytest.fixture
def office() -> Office:
    return made_office()


@pytest.fixture
def client(office: Office) -> Iterator[TestClient]:
    with TestClient(create_app(office), follow_redirects=False, headers={"Origin": ORIGIN}) as client:
        yield client


def write(office: Office, *events: Event) -> None:
    office.present.decide(lambda kitchen: [Draft(NOW, "watch", event) for event in events])


def drill(office: Office) -> Drill:
    return list(office.present.kitchen.drills.values())[-1]


def token_in(text: str) -> str:
    found = re.search(r'name="form_token" value="([^"]+)"', text)
    assert found is not None
    return found[1]


def test_a_drill_s_link_asks_first_confirms_once_and_touches_nothing_but_the_drill(
    client: TestClient, office: Office
) -> None:
    write(office, DrillStarted("calls", ("bo", "cy")))
    link = issue_link(office.working, drill(office).id, "bo", office.security_clock())
    before, head = office.present.kitchen, office.journal.head()
    for _ in range(2):
        text = client.get(f"/a/{link}").text
        assert "Bo Lindqvist, this drill has reached you" in text
        assert "no alarm: nobody need go" in text
    assert office.journal.head() == head
    assert client.post(f"/a/{link}", data={"form_token": "other"}).status_code == 403
    sent = {"form_token": token_in(text)}
    assert "Thank you, Bo Lindqvist" in client.post(f"/a/{link}", data=sent).text
    assert drill(office).missing == ("cy",)
    assert client.post(f"/a/{link}", data=sent).status_code == 404
    after = office.present.kitchen
    assert replace(after, drills={}, position=0) == replace(before, drills={}, position=0)
    assert office.journal.head() == head + 1


def test_a_link_of_a_forgotten_drill_or_a_forgotten_person_leads_nowhere(client: TestClient, office: Office) -> None:
    write(office, DrillStarted("calls", ("bo",)))
    for name, person in ((drill(office).id, "nobody"), ("D99999", "bo")):
        link = issue_link(office.working, name, person, office.security_clock())
        assert client.get(f"/a/{link}").status_code == 404


def test_whoever_is_signed_in_is_asked_on_every_page_and_confirms_for_nobody_else(
    client: TestClient, office: Office
) -> None:
    session = begin(office.working, "bo", office.security_clock())
    client.cookies.set(cookie_name(office.settings), session)
    assert "Last drill: none that called everybody." in client.get("/people").text
    write(office, DrillStarted("calls", ("cy",)))
    assert "I got it" not in client.get("/people").text
    sent = {"form_token": form_token(session), "drill": drill(office).id, "person": "cy"}
    assert client.post("/people/drill", data=sent).status_code == 303
    assert drill(office).answered == ()
    write(office, DrillEnded(drill(office).id, "two hours are over", ("cy",)), DrillStarted("calls", ("bo", "cy")))
    assert all("I got it" in client.get(page).text for page in ("/", "/people", "/journal"))
    sent["drill"] = drill(office).id
    assert client.post("/people/drill", data=sent).headers["location"] == "/people"
    text = client.get("/people").text
    assert "1 of 2 has confirmed; Cy" in text
    assert "I got it" not in text
    assert client.post("/people/drill", data={**sent, "drill": "<b>"}).status_code == 303


def test_the_journal_says_in_words_what_a_drill_was(client: TestClient, office: Office) -> None:
    session = begin(office.working, "ada", office.security_clock())
    client.cookies.set(cookie_name(office.settings), session)
    write(office, DrillStarted("calls", ("bo",)))
    for occasion in ("call", "missing", "over"):
        write(office, DrillTold(drill(office).id, "bo", "webhook", "accepted", occasion=occasion))
    write(office, DrillAnswered(drill(office).id, "bo", "link"))
    text = client.get("/journal").text
    for what in ("drill", "who has not confirmed drill", "the end of drill"):
        assert f"Bo Lindqvist was told of {what} {drill(office).id} by webhook: accepted." in text
    assert "A drill began: whether calls reach Bo Lindqvist." in text
    assert f"Bo Lindqvist confirmed drill {drill(office).id}, by the link." in text


def read(text: str) -> Settings | tuple[Fault, ...]:
    return parse(text, {}, lambda path: "")


@pytest.mark.parametrize("weekly", ["Tuesday 10:00", "Tue 24:00", "Tue 10", "Tue  10:00", "10:00", "", "Tue 1O:00"])
def test_a_weekly_time_that_is_none_is_refused_with_words(weekly: str) -> None:
    found = read(f'{SETTINGS}[drill]\nweekly = "{weekly}"\n')
    assert isinstance(found, tuple)
    assert found[0].key == "drill weekly"
    assert "Tue 10:00" in found[0].mend or "empty" in found[0].what


def test_a_kitchen_that_never_rehearses_is_advised_to(office: Office) -> None:
    without, weekly = read(SETTINGS), read(SETTINGS + '[drill]\nweekly = "tue 10:00"\n')
    assert isinstance(without, Settings) and isinstance(weekly, Settings)
    assert weekly.drill is not None and weekly.drill.weekly == "Tue 10:00"
    kitchen = office.present.kitchen
    assert "drill" in [fault.key for fault in doubts(without, kitchen, NOW)]
    assert "drill" not in [fault.key for fault in doubts(weekly, kitchen, NOW)]

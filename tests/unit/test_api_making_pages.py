"""The forms by which a batch leaves: what is typed, what is refused beside its field, what the page says then."""

import re
from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.auth.sessions import begin, cookie_name, form_token
from api.office import Office
from collector.batches import Route, Stage
from collector.events import Draft, ProposalMade
from collector.findings import Disposition, Outcome, Tier
from tests.office import NO_COOK, NOW, SHOWN, WARM, WITHIN, finding, made_office, proposal

ORIGIN = "http://testserver"
LOT = "/batches/BELLY-32"


class Somebody:
    """A person with a browser."""

    def __init__(self, client: TestClient, office: Office, person: str) -> None:
        self.client, self.office = client, office
        self.session = begin(office.working, person, office.security_clock())
        client.cookies.set(cookie_name(office.settings), self.session)

    def see(self, address: str) -> str:
        return str(self.client.get(address).text)

    def send(self, address: str, **fields: str) -> tuple[int, str]:
        sent = {name.replace("__", "."): value for name, value in fields.items()}
        answer = self.client.post(address, data={"form_token": form_token(self.session), **sent})
        return answer.status_code, answer.headers.get("location", "") or answer.text


@pytest.fixture
def office() -> Office:
    return made_office(bundle=b"export {};")


@pytest.fixture
def client(office: Office) -> Iterator[TestClient]:
    with TestClient(create_app(office), follow_redirects=False, headers={"Origin": ORIGIN}) as client:
        yield client


@pytest.fixture
def ada(client: TestClient, office: Office) -> Somebody:
    return Somebody(client, office, "ada")


def plain(text: str) -> str:
    return re.sub(r"<[^>]+>", " ", text)


def test_a_cook_is_pasted_as_lines_and_stands_in_the_timeline(ada: Somebody, office: Office) -> None:
    status, to = ada.send(f"{LOT}/core", stage="cook", probe="probe 1", entries="00:10 4.0\r\n01:40 71,5\r\n")
    assert (status, to) == (303, f"{LOT}?done=core")
    log = office.present.kitchen.batches["BELLY-32"].core_logs[-1]
    assert [core_c for _, core_c in log.points] == [4.0, 71.5]
    assert log.points[1][0] - log.points[0][0] == 5400.0
    text = ada.see(to)
    assert "The core log is written down" in text
    assert "core while it was cooked, by probe 1: 4.0 °C at 00:10, 71.5 °C at 01:40" in text
    assert '<option value="cool" selected>' in text.split('id="core"')[1]


def test_a_line_that_cannot_be_read_is_told_beside_the_lines_and_they_stay(ada: Somebody, office: Office) -> None:
    status, text = ada.send(f"{LOT}/core", stage="cook", probe="probe 1", entries="00:10 4.0\r\nhalf past one 71")
    assert status == 422
    assert "line 2, “half past one 71”, cannot be read" in text
    assert "00:10 4.0\nhalf past one 71</textarea>" in text.replace("\r\n", "\n")
    assert not office.present.kitchen.batches["BELLY-32"].core_logs


def test_a_soak_and_a_label_are_written_down(ada: Somebody, office: Office) -> None:
    span = {"from_at": "2026-11-24T20:00", "until_at": "2026-11-24T23:00", "water_c": "4"}
    assert ada.send(f"{LOT}/soak", **span)[0] == 303
    assert ada.send(f"{LOT}/label", words="mustard\r\ncured with nitrite", cook_before_eating="yes")[0] == 303
    batch = office.present.kitchen.batches["BELLY-32"]
    assert batch.soaks[-1].until_at - batch.soaks[-1].from_at == 3 * 3600.0
    assert (batch.labels[-1].words, batch.labels[-1].cook_before_eating) == ("mustard\ncured with nitrite", True)
    status, text = ada.send(f"{LOT}/soak", **{**span, "until_at": "2026-11-24T19:00"})
    assert (status, "it ends before it begins" in text) == (422, True)


def test_what_was_destroyed_names_its_witness(ada: Somebody, office: Office) -> None:
    assert "is not entered" in ada.send(f"{LOT}/disposal", mass_kg="0,4", how="cut up and dyed")[1]
    assert ada.send(f"{LOT}/disposal", mass_kg="0,4", how="cut up and dyed", witness="Bo Lindqvist")[0] == 303
    assert "0.4 kg was destroyed: cut up and dyed. Seen by Bo Lindqvist." in ada.see(LOT)
    assert "is on hold" in ada.send("/batches/BRISKET-14/disposal", mass_kg="1", how="dyed it", witness="Bo")[1]


def test_an_approver_changes_the_route_with_a_reason(ada: Somebody, office: Office) -> None:
    status, text = ada.send(f"{LOT}/route", route="sold raw", reason="why not")
    assert (status, "too short to stand up next year" in text) == (422, True)
    assert ada.send(f"{LOT}/route", route="sold raw", reason="the butcher orders it")[0] == 303
    batch = office.present.kitchen.batches["BELLY-32"]
    assert (batch.plan.route, batch.plan_changes[-1].person) == (Route.SOLD_RAW, "ada")
    assert "the plan was changed. Reason: the butcher orders it" in ada.see(LOT)


def test_a_window_is_sent_only_where_something_of_it_was_entered(ada: Somebody, office: Office) -> None:
    said = {"process": "approved process 31", "reason": "the process was approved", "windows__0__stage": "rest"}
    assert ada.send(f"{LOT}/plan", **said)[0] == 303
    assert not office.present.kitchen.batches["BELLY-32"].plan.windows
    half = {**said, "windows__0__stage": "smoke", "windows__0__highest_c": "32"}
    status, text = ada.send(f"{LOT}/plan", **half)
    assert (status, "is not entered" in text) == (422, True)
    whole = {**half, "windows__0__lowest_c": "20", "windows__0__longest_days": "0,5", "windows__0__source": "house"}
    assert ada.send(f"{LOT}/plan", **whole)[0] == 303
    window = office.present.kitchen.batches["BELLY-32"].plan.windows[0]
    assert (window.stage, window.highest_c, window.longest_s, window.source) == (Stage.SMOKE, 32.0, 43_200.0, "house")


def test_an_operator_logs_and_does_not_change_the_plan(client: TestClient, office: Office) -> None:
    bo = Somebody(client, office, "bo")
    text = bo.see(LOT)
    assert f'action="{LOT}/core"' in text
    assert f'action="{LOT}/route"' not in text
    assert bo.send(f"{LOT}/route", route="sold raw", reason="the butcher orders it")[0] == 403


def test_an_ended_batch_may_still_be_given_its_logs(ada: Somebody, office: Office) -> None:
    assert ada.send(f"{LOT}/end", reason="eaten at once")[0] == 303
    text = ada.see(LOT)
    assert f'action="{LOT}/core"' in text
    assert f'action="{LOT}/disposal"' not in text
    assert f'action="{LOT}/route"' not in text
    assert ada.send(f"{LOT}/core", stage="cook", probe="probe 1", entries="00:10 71")[0] == 303


def test_what_a_release_waits_for_stands_with_the_proposal(ada: Somebody, office: Office) -> None:
    waits = ProposalMade(proposal("BELLY-32", Disposition.CONTINUE, WITHIN, SHOWN, NO_COOK))
    office.present.decide(lambda kitchen: [Draft(NOW, "rules", waits)])
    above, _, below = plain(ada.see(LOT)).partition("Every finding")
    assert above.index("Before it is released:") < above.index("There is no log of the cooking.")
    assert "The cure has run its length." in below


def test_the_pan_is_offered_before_the_bin(ada: Somebody, office: Office) -> None:
    offered = finding("e-11 route", Outcome.OUTSIDE, Tier.NONE, "e-11 divert", {"blocks": 0})
    held = ProposalMade(proposal("BELLY-32", Disposition.HOLD, WARM, offered))
    office.present.decide(lambda kitchen: [Draft(NOW, "rules", held)])
    text = plain(ada.see(LOT))
    words = "What stands against it is killed by cooking. Before it is discarded: an approver may change its route"
    assert text.partition("In one paragraph")[0].count(words) == 1
    assert text.index("Decide by") > 0 and text.index(words) < text.index("Because:")


def test_a_locked_route_leaves_cooked_and_nothing_else(ada: Somebody, office: Office) -> None:
    assert ada.send(f"{LOT}/route", route="sold raw", reason="the butcher orders it")[0] == 303
    lock = finding("e-3 salmonella", Outcome.OUTSIDE, Tier.HOLD, "e-3 cook or discard",
                   {"hazard": "Salmonella", "tub": "rack 1", "share": 1.2, "threshold": 1.0})  # fmt: skip
    held = ProposalMade(proposal("BELLY-32", Disposition.HOLD, lock))
    office.present.decide(lambda kitchen: [Draft(NOW, "rules", held)])
    form = ada.see(LOT).split('id="route"')[1].split("</form>")[0]
    assert re.findall(r'<option value="([^"]*)"', form) == ["cooked"]


def test_a_release_is_proposed_and_signed(ada: Somebody, office: Office) -> None:
    shown = ProposalMade(proposal("BELLY-32", Disposition.RELEASE, WITHIN, SHOWN))
    office.present.decide(lambda kitchen: [Draft(NOW, "rules", shown)])
    text = ada.see(LOT)
    assert "Proposed: release." in text
    assert "The cure has run its length." in text
    looked = {"proposal": str(office.present.kitchen.position), "disposition": "release"}
    status, text = ada.send(f"{LOT}/sign", **looked, reason="fine")
    assert status == 422
    assert ada.send(f"{LOT}/sign", **looked, reason="cook and cooling logs read, seal looked at")[0] == 303
    assert "Signed: release." in ada.see(LOT)

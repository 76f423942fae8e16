"""The record of a batch, its paragraph, hold sheet and labels: each figure with its source, nothing too sure."""

import html
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from fastapi.testclient import TestClient

from alerts.explain import bases_of, one_person, standing_of
from alerts.judgement import judged
from alerts.rulebook.shelf import load, names
from alerts.rulebook.site_limits import with_site_limits
from alerts.sentences_findings import finding_text, finding_words
from api.app import create_app
from api.auth.sessions import begin, cookie_name
from api.cli import main
from api.explaining import explained
from api.office import Office
from api.pages.record import evidence_text
from collector import events as e
from collector import events_making as m
from collector.books_sql import open_books
from collector.events import Draft
from collector.findings import Disposition, Evidence, Finding, Outcome, SignOff, Tier
from collector.journal_sql import SqlJournal
from collector.logs import Calibration, CoreLog, LabelApplied
from collector.present import Present
from collector.readings import Reading
from collector.sample import Message
from collector.storage import Arrival
from collector.stores_sqlite import BOOKS
from tests.office import DAY, NOW, ZONE, Clock, drafts, made_kitchen, made_office, proposal

LOTS = ("BRISKET-14", "HAM-31", "BELLY-32")
TOO_SURE = re.compile(r"\b(?:safe|ok|okay|all clear|fine|good|no problem|harmless|nothing to worry)\b", re.IGNORECASE)
COMFORT = "estimates only: local rules and a responsible or licensed person come first."
UNKNOWN = Finding(
    "e-6", Outcome.CANNOT_TELL, Tier.HOLD, "e-6 hold",
    {"tub": "1", "minutes": 180.0, "cause": "no reading came", "bound_c": 9.1, "limit_c": 5.0, "above_minutes": 120.0,
     "house": "15 min"},
    Evidence(NOW - DAY, NOW, ("cold/air",), 900, 10_800.0, "longest gap", 180.0, "min", 15.0),
    ("gap.shortest", "cold.limit", "gone.row"),
)  # fmt: skip


def signed(lot: str, person: str, disposition: Disposition, kitchen_position: int) -> Draft:
    return Draft(NOW - 60.0, person, e.DispositionSigned(SignOff(lot, disposition, "as proposed", person,
                                                                 kitchen_position, "bottom shelf")))  # fmt: skip


@pytest.fixture
def office() -> Office:
    return made_office()


@pytest.fixture
def client(office: Office) -> Iterator[TestClient]:
    with TestClient(create_app(office), follow_redirects=False) as client:
        client.cookies.set(cookie_name(office.settings), begin(office.working, "ada", office.security_clock()))
        yield client


def seen(client: TestClient, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.text
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", answer.text)))


def add(office: Office, *more: Draft) -> None:
    office.present.decide(lambda kitchen: list(more))


@pytest.mark.parametrize("lot", LOTS)
def test_the_record_shows_source_and_edition_of_every_limit_behind_every_finding(
    client: TestClient, office: Office, lot: str
) -> None:
    text, book = seen(client, f"/batches/{lot}/record"), office.rulebooks["US"]
    made = office.present.kitchen.proposal_of(lot)
    assert made is not None
    for found in made.proposal.findings:
        assert f"Rule {found.rule}: {str(found.outcome).replace('_', ' ')}" in text
        for row in found.limits:
            limit = book.limits[row]
            assert f"{row}: {limit.printed}." in text
            assert f"Source: {limit.cited}. Edition: {limit.edition}." in text


def test_every_row_of_every_rulebook_has_a_source_an_edition_and_a_way_it_is_known_to_print() -> None:
    kitchen = made_kitchen()
    for name in names():
        book = load(name)
        for row in book.limits:
            found = Finding("e-2", Outcome.WITHIN, Tier.NONE, "e-2 within", {}, UNKNOWN.evidence, (row,))
            (basis,) = bases_of(found, kitchen, book)
            assert basis.source and basis.edition and basis.known and basis.printed
            assert ("house" in basis.standing) == (book.limits[row].known == "house" or book.limits[row].borrowed)


def test_a_house_limit_is_called_house_and_a_row_that_is_gone_is_called_unknown() -> None:
    kitchen, book = made_kitchen(), load("US")
    gap, _, gone = bases_of(UNKNOWN, kitchen, book)
    assert (gap.standing, gap.known) == ("house limit", "no published source: this house chose it")
    assert gap.source == "house: no published source"
    assert (gone.standing, gone.source) == ("unknown", "not in the rulebook that is shipped now")


@pytest.mark.parametrize(
    ("row", "kind"),
    [
        ("cold.limit", "model code: law only where it was adopted"),
        ("nitrite.immersion", "law"),
        ("excursion.hold", "house limit"),
    ],
)
def test_law_model_code_and_house_are_told_apart(row: str, kind: str) -> None:
    assert standing_of(load("US").limits[row]) == kind


def test_a_withdrawn_law_is_not_called_law() -> None:
    rows = [row for row in load("US").limits.values() if "now reserved" in row.source and not row.borrowed]
    assert rows
    assert {standing_of(row) for row in rows} == {"guidance or published figure"}


def test_a_limit_of_the_site_names_who_set_it_and_why() -> None:
    own = m.SiteLimitSet("cold.limit", 4.0, "our fish stands beside it", "ada")
    kitchen, book = made_kitchen(Draft(NOW - 10.0, "ada", own)), load("US")
    assert with_site_limits(book, kitchen.site_limits).limits["cold.limit"].set_by
    _, cold, _ = bases_of(UNKNOWN, kitchen, book)
    assert cold.standing == "the site's own"
    assert "our fish stands beside it" in cold.known
    assert "stricter than the shipped 5.0 °C" in cold.known


def test_a_row_from_memory_says_so_until_a_named_person_has_confirmed_it() -> None:
    book = load("US")
    row = next(limit.id for limit in book.limits.values() if limit.known == "memory" and not limit.borrowed)
    found = Finding("e-8", Outcome.WITHIN, Tier.NONE, "e-2 within", {}, UNKNOWN.evidence, (row,))
    (before,) = bases_of(found, made_kitchen(), book)
    confirmed = Draft(NOW - 10.0, "ada", e.RowConfirmed("US", row, "the printed edition", "ada"))
    (after,) = bases_of(found, made_kitchen(confirmed), book)
    assert before.known == "from memory: nobody has compared it with the document"
    assert after.known == "compared with the printed edition by Ada Brandt"


def test_unknown_time_is_named_in_the_record_and_in_the_paragraph(client: TestClient, office: Office) -> None:
    add(office, Draft(NOW - 30.0, "rules", e.ProposalMade(proposal("BELLY-32", Disposition.HOLD, UNKNOWN))))
    text = seen(client, "/batches/BELLY-32/record")
    told = "Time for which nothing trustworthy is known of it: 3 h."
    assert told in text
    assert "3 h of it unknown" in text
    assert told in explained(office.present.kitchen, "BELLY-32", None, office.rulebooks["US"])


def test_a_gap_in_the_readings_stands_in_the_record_with_its_local_times(client: TestClient) -> None:
    text = seen(client, "/batches/BRISKET-14/record")
    gaps = text.partition(" Gaps ")[2].partition("Measured by hand")[0]
    assert re.search(r"Tub 1: Mon 23 Nov, 20:\d\d to (Mon 23|Tue 24) Nov, \d\d:\d\d \(\d h.*?\): ", gaps)


def test_what_the_sheet_lacks_is_said_to_be_unknown(client: TestClient) -> None:
    text = seen(client, "/batches/BRISKET-14/record").partition("What is not known")[2]
    assert "Not entered on the as-made sheet: temperature at delivery" in text.partition("What each rule says")[0]


@pytest.mark.parametrize(("person", "same"), [("bo", False), ("ada", True)])
def test_a_batch_planned_and_decided_by_one_person_says_same_person(
    client: TestClient, office: Office, person: str, same: bool
) -> None:
    lot = "HAM-31" if same else "BRISKET-14"
    kitchen = office.present.kitchen
    assert kitchen.batches[lot].planned_by == person
    made = kitchen.proposal_of(lot)
    assert made is not None
    add(office, signed(lot, "ada", made.proposal.disposition, made.position))
    record = office.present.kitchen.sign_offs[lot][0]
    assert one_person(office.present.kitchen.batches[lot], record) is same
    assert ("same person" in seen(client, f"/batches/{lot}/record")) is same
    assert ("same person" in explained(office.present.kitchen, lot, None, office.rulebooks["US"])) is same


def test_whoever_logged_the_cook_and_signs_is_one_person_too(office: Office) -> None:
    made = office.present.kitchen.proposal_of("BRISKET-14")
    assert made is not None
    log = CoreLog("cook", "probe 1", ((NOW - 3000.0, 71.0),), "cy")
    add(office, signed("BRISKET-14", "cy", Disposition.HOLD, made.position))
    assert "same person" not in explained(office.present.kitchen, "BRISKET-14", None, office.rulebooks["US"])
    add(office, Draft(NOW - 50.0, "cy", m.CoreLogged("BRISKET-14", log)))
    assert "same person" in explained(office.present.kitchen, "BRISKET-14", None, office.rulebooks["US"])


@pytest.mark.parametrize("lot", LOTS)
def test_what_the_rules_really_find_is_told_with_figures_that_are_in_the_book(office: Office, lot: str) -> None:
    kitchen, book = office.present.kitchen, office.rulebooks["US"]
    found = judged(kitchen, lot, office.readings.series, book, NOW, "curevigil 0.1")
    assert found is not None
    add(office, Draft(NOW - 1.0, "rules", e.ProposalMade(found)))
    with TestClient(create_app(office), follow_redirects=False) as client:
        client.cookies.set(cookie_name(office.settings), begin(office.working, "ada", office.security_clock()))
        text = seen(client, f"/batches/{lot}/record")
    assert len(found.findings) > 5
    for one in found.findings:
        assert finding_text(one, ZONE) in text
        assert evidence_text(one.evidence, ZONE) in text
        for basis in bases_of(one, kitchen, book):
            assert basis.standing != "unknown"
            assert f"{basis.row}: {basis.printed}." in text
            assert f"Source: {basis.source}. Edition: {basis.edition}. Known: {basis.known}." in text
    told = explained(office.present.kitchen, lot, None, book)
    assert not TOO_SURE.search(told)
    assert not TOO_SURE.search(text)
    said = {finding_words(one, ZONE) for one in found.findings}
    assert {words: told.count(words) for words in said if told.count(words) > 1} == {}
    assert all(finding_words(one, ZONE) in told for one in found.findings if one.tier is not Tier.NONE)


@pytest.mark.parametrize("lot", LOTS)
@pytest.mark.parametrize("disposition", Disposition)
@pytest.mark.parametrize("decided", [None, *Disposition])
def test_no_paragraph_has_a_word_of_comfort(lot: str, disposition: Disposition, decided: Disposition | None) -> None:
    fresh = Draft(NOW - 90.0, "rules", e.ProposalMade(proposal(lot, disposition, UNKNOWN)))
    first = made_kitchen(fresh)
    made = first.proposal_of(lot)
    assert made is not None
    kitchen = first if decided is None else made_kitchen(fresh, signed(lot, "cy", decided, made.position))
    told = explained(kitchen, lot, None, load("US"))
    assert not TOO_SURE.search(told)
    assert told.lower().endswith(COMFORT)
    assert "\n" not in told
    assert "an approver (Ada Brandt or Cyrus Okafor)" in told or decided in (Disposition.REJECT, Disposition.RELEASE)


def test_a_signed_hold_binds_in_the_paragraph_though_the_rules_propose_to_carry_on() -> None:
    kitchen = made_kitchen()
    made = kitchen.proposal_of("BRISKET-14")
    assert made is not None
    more = (
        signed("BRISKET-14", "cy", Disposition.HOLD, made.position),
        Draft(NOW - 5.0, "rules", e.ProposalMade(proposal("BRISKET-14", Disposition.CONTINUE))),
    )
    told = explained(made_kitchen(*more), "BRISKET-14", None, load("US"))
    assert "Signed: hold. The rules propose otherwise now: carry on. Leave it cold;" in told
    assert "Nothing waits for a signature" not in told


def test_an_instrument_shows_what_was_found_and_when_it_is_due(client: TestClient, office: Office) -> None:
    assert "cold/air air temperature, by the evaporator no check is entered under this name" in seen(
        client, "/batches/BRISKET-14/record"
    )
    check = Calibration("cold/air", "channel", NOW - 40 * DAY, "melting ice", 0.2, 0.0, NOW - DAY, "bo", 0.5)
    add(office, Draft(NOW - 40.0, "bo", m.CalibrationEntered(check)))
    text = seen(client, "/batches/BRISKET-14/record")
    assert "against melting ice by Bo Lindqvist: as found +0.2 K, as left +0 K; due Tue 24 Nov, 02:10 (overdue)" in text


def test_the_hold_sheet_says_what_since_when_why_by_when_and_where(client: TestClient) -> None:
    text = seen(client, "/batches/BRISKET-14/hold-sheet")
    for words in (
        "HOLD", "DO NOT USE", "BRISKET-14", "Since Wednesday 25 November, 01:10.", "at the longest for 4 h 30 min",
        "An approver decides by Thursday 26 November, 02:10.", "Tub 1: in Cold room since",
        "Leave it cold; do not cook, sell or throw it away yet.", "Nobody has signed it yet. It binds all the same.",
    ):  # fmt: skip
        assert words in text


def test_there_is_no_hold_sheet_without_a_hold_and_no_comfort_either(client: TestClient) -> None:
    text = seen(client, "/batches/BELLY-32/hold-sheet")
    assert "DO NOT USE" not in text
    assert "That is no release" in text


def test_each_tub_has_a_label_and_the_allergens_are_those_that_were_entered(client: TestClient, office: Office) -> None:
    before = seen(client, "/batches/BRISKET-14/labels")
    assert "not entered; ask before it is served" in before
    assert "HOLD: DO NOT USE" in before
    add(
        office,
        Draft(NOW - 9.0, "bo", m.LabelReported("BRISKET-14", LabelApplied("Contains mustard.", True, NOW, "bo"))),
    )
    text = seen(client, "/batches/BRISKET-14/labels")
    assert [f"Tub {tub}" in text for tub in ("1", "2")] == [True, True]
    assert "Contains mustard. Cook before eating." in text
    assert "Cure until Thursday 26 November, 02:10" in text


def test_the_command_says_the_same_paragraph_as_the_journal_and_names_the_lots_it_knows(tmp_path: Path) -> None:
    journal = SqlJournal(open_books(tmp_path / BOOKS))
    Present(journal, Clock()).decide(lambda kitchen: drafts())
    journal.close()
    said = CliRunner().invoke(main, ["explain", "BRISKET-14", "--data", str(tmp_path)])
    assert said.exit_code == 0, said.output
    assert said.output.strip() == explained(made_kitchen(), "BRISKET-14", None, load("US"))
    other = CliRunner().invoke(main, ["explain", "NO-1", "--data", str(tmp_path)])
    assert other.exit_code == 1
    assert "knows: BELLY-32, BRISKET-14, HAM-31" in other.output


def test_evidence_without_a_reading_never_says_that_nothing_was_unknown() -> None:
    bare = Evidence(NOW - DAY, NOW, ("cold/air",), 0, 0.0, "core log", None, "", None)
    told = evidence_text(bare, ZONE)
    assert "rests on no reading" in told
    assert "no unknown time" not in told
    assert "no unknown time inside it" in evidence_text(replace(bare, readings=7), ZONE)
    assert "3 h of it unknown" in evidence_text(replace(bare, readings=7, gap_s=10_800.0), ZONE)


def test_an_excursion_that_only_late_readings_tell_of_says_when_it_was_learned_on_the_page_and_in_the_record(
    office: Office, client: TestClient
) -> None:
    book = load("US")
    office = replace(
        office,
        judged=lambda lot: judged(
            office.present.kitchen, lot, office.readings.series, book, office.clock(), "curevigil"
        ),
    )
    lost_from, came_at = NOW - 30 * 3600.0, NOW - 6 * 3600.0
    said = []
    for minute in range(180):
        at = lost_from + 60.0 * minute
        reading = Reading("cold/air", at, 18.0, "Cel", came_at, at)
        said.append(Arrival(Message("cold/air", b"", came_at), (reading,)))
    office.readings.append(said)
    with TestClient(create_app(office), follow_redirects=False) as client:
        client.cookies.set(cookie_name(office.settings), begin(office.working, "ada", office.security_clock()))
        page, record = seen(client, "/batches/BRISKET-14"), seen(client, "/batches/BRISKET-14/record")
    learned = "Learned at Tue 24 Nov, 20:10, from readings that arrived late."
    assert re.search(rf"Tub 1 was above its limit from [^.]*, at most [0-9.]+ °C \(estimate\). {learned}", page)
    assert "was learned at Tue 24 Nov, 20:10, from readings that arrived late." in record


def test_what_was_known_when_it_happened_says_nothing_of_learning(client: TestClient) -> None:
    assert "Learned at" not in seen(client, "/batches/BRISKET-14")
    assert "Learned at" not in seen(client, "/batches/BRISKET-14/record")

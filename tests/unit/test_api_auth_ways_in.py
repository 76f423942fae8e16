"""Codes, passwords, back-off, sessions, tokens and links, on a working store in memory and a clock that is set."""

import threading
from dataclasses import replace

import pytest
from starlette.responses import Response

from api.auth import passwords
from api.auth.backoff import LONGEST_S, begin_attempt, forgive, wait_s
from api.auth.codes import ALPHABET, FIRST_RUN, issue_code, look_at_code, take_code
from api.auth.entry import (
    Entered,
    From,
    anybody_has_account,
    by_code,
    by_password,
    code_is_first_run,
    fresh_start,
    set_password,
)
from api.auth.links import LASTS_S, issue_link, link_form_token, read_link, take_link
from api.auth.refused import Wait
from api.auth.roles import Role, allowed, narrowed
from api.auth.sessions import IDLE_S, KIND, SEEN, begin, end, end_all, find, form_token, put_cookie, sessions_of
from api.auth.sessions import LONGEST_S as SESSION_LONGEST_S
from api.auth.tokens import all_tokens, end_token, find_token, issue_token
from api.doing import Refused
from api.office import Office, Settings
from collector.events import Draft, PersonDescribed
from collector.kitchen import Person
from collector.present import Present
from collector.storage import MemoryJournal, MemoryWorking
from tests.office import NOW, Clock, made_office

HERE, ELSEWHERE = From("192.0.2.7", "a tablet"), From("198.51.100.9")
GOOD = "salt beef on rye at noon"
ADA = Person("ada", "Ada Brandt", ("operator", "approver", "admin"))


def office_of_nobody(clock: Clock) -> Office:
    journal = MemoryJournal()
    return replace(made_office(clock=clock), present=Present(journal, clock), journal=journal)


def refusal(caught: pytest.ExceptionInfo[Refused]) -> str:
    return "; ".join(f"{f.field} {f.what}" for f in caught.value.faults)


def kept_in(working: MemoryWorking) -> str:
    return repr(working)


@pytest.mark.parametrize(
    ("roles", "may"),
    [
        ((), set()),
        (("operator",), {Role.OPERATOR}),
        (("approver",), {Role.OPERATOR, Role.APPROVER}),
        (("admin",), {Role.OPERATOR, Role.ADMIN}),
        (("owner",), set()),
    ],
)
def test_approver_and_admin_include_operator_and_not_each_other(roles: tuple[str, ...], may: set[Role]) -> None:
    assert {role for role in Role if allowed(Person("p", "P", roles), role)} == may


def test_a_narrowed_person_never_has_more_than_before() -> None:
    assert narrowed(Person("p", "P", ("operator",)), Role.ADMIN).roles == ()
    assert narrowed(Person("p", "P", ("approver",)), Role.OPERATOR).roles == ("operator",)
    assert narrowed(Person("p", "P", ("admin",)), None).roles == ()


def test_a_code_works_once_and_is_kept_only_as_a_digest() -> None:
    working = MemoryWorking()
    code = issue_code(working, "bo", NOW, lasts_s=60.0)
    letters = code.replace("-", "")
    assert len(letters) == 12 and set(letters) <= set(ALPHABET) and len(ALPHABET) == 32
    assert letters not in kept_in(working) and code not in kept_in(working)
    first, second = take_code(working, code, NOW + 1.0), take_code(working, code, NOW + 1.0)
    assert first is not None and first.person == "bo" and second is None


def test_a_code_is_read_as_people_type_it() -> None:
    working = MemoryWorking()
    code = issue_code(working, "bo", NOW, lasts_s=60.0)
    typed = f"  {code.lower().replace('-', ' ').replace('0', 'o').replace('1', 'l')} "
    assert take_code(working, typed, NOW) is not None


def test_a_code_ends_with_its_time_and_with_its_uses() -> None:
    working = MemoryWorking()
    late = issue_code(working, "bo", NOW, lasts_s=60.0)
    assert look_at_code(working, late, NOW + 60.0) is None
    twice = issue_code(working, "bo", NOW, lasts_s=60.0, uses=2)
    assert [take_code(working, twice, NOW) is not None for _ in range(3)] == [True, True, False]
    twice = issue_code(working, "bo", NOW, lasts_s=60.0, uses=2)
    take_code(working, twice, NOW)
    assert look_at_code(working, twice, NOW + 60.0) is None


def test_of_many_who_take_a_code_at_once_as_many_get_it_as_it_has_uses() -> None:
    working = MemoryWorking()
    code = issue_code(working, "bo", NOW, lasts_s=60.0, uses=3)
    got: list[bool] = []
    start = threading.Barrier(16)

    def attempt() -> None:
        start.wait()
        got.append(take_code(working, code, NOW) is not None)

    threads = [threading.Thread(target=attempt) for _ in range(16)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sum(got) == 3


@pytest.mark.parametrize("typed", ["", "-", "AAAA-BBBB-CCCC", "\ud800", "\x00" * 10_000, "é" * 50, "O" * 12])
def test_what_is_no_code_lets_nobody_in(typed: str) -> None:
    office = made_office()
    issue_code(office.working, "bo", NOW, lasts_s=60.0)
    with pytest.raises(Refused) as caught:
        by_code(office, typed, HERE)
    assert refusal(caught) == "code this code is not known, used up or over"


def test_waiting_doubles_from_the_fourth_attempt_to_a_quarter_of_an_hour() -> None:
    assert [wait_s(n) for n in range(7)] == [0.0, 0.0, 0.0, 2.0, 4.0, 8.0, 16.0]
    assert wait_s(1000) == LONGEST_S == 900.0


def test_an_attempt_that_comes_too_early_is_not_looked_at_and_counts_for_nothing() -> None:
    working = MemoryWorking()
    for _ in range(3):
        begin_attempt(working, "bo", "here", NOW)
    for _ in range(5):
        with pytest.raises(Wait) as caught:
            begin_attempt(working, "bo", "here", NOW + 1.0)
        assert caught.value.wait_s == 1.0
    begin_attempt(working, "bo", "here", NOW + 2.0)
    forgive(working, "bo", "here")
    begin_attempt(working, "bo", "here", NOW + 2.0)


def test_who_guesses_elsewhere_keeps_nobody_out_of_their_own_account() -> None:
    office = made_office()
    set_password(office, ADA, GOOD)
    for _ in range(3):
        with pytest.raises(Refused):
            by_password(office, "ada", "guess guess", ELSEWHERE)
    with pytest.raises(Wait):
        by_password(office, "ada", GOOD, ELSEWHERE)
    assert by_password(office, "ada", GOOD, HERE).person.id == "ada"


def test_a_wrong_password_and_a_missing_account_get_the_same_answer() -> None:
    office = made_office()
    set_password(office, ADA, GOOD)
    said = []
    for name in ("ada", "bo", "nobody", "\ud800", "x" * 10_000):
        with pytest.raises(Refused) as caught:
            by_password(office, name, "not this one", HERE)
        said.append(refusal(caught))
    assert len(set(said)) == 1


def test_a_missing_account_costs_a_hash_too(monkeypatch: pytest.MonkeyPatch) -> None:
    hashes: list[bool] = []
    real = passwords._hasher

    class Counted:
        def verify(self, kept: str, password: bytes) -> bool:
            hashes.append(True)
            return real.verify(kept, password)

    monkeypatch.setattr(passwords, "_hasher", Counted())
    with pytest.raises(Refused):
        by_password(made_office(), "nobody", "not this one", HERE)
    assert hashes == [True]


def test_the_hash_of_nobody_is_well_formed_and_of_the_same_cost() -> None:
    assert passwords.NOBODYS.startswith(passwords.hashed(GOOD)[: len("$argon2id$v=19$m=47104,t=1,p=1$")])
    assert passwords.fits(None, GOOD) is False


def test_a_password_is_kept_as_argon2id_of_the_published_cost() -> None:
    office = made_office()
    set_password(office, ADA, GOOD)
    kept = kept_in(office.working)  # type: ignore[arg-type]
    assert "$argon2id$v=19$m=47104,t=1,p=1$" in kept and GOOD not in kept


@pytest.mark.parametrize(
    ("password", "why"),
    [
        ("", "shorter than 8"),
        ("seven77", "shorter than 8"),
        ("Password", "tried first"),
        ("CornedBeef", "tried first"),
        ("abababababab", "tried first"),
        ("Ada Brandt", "own name"),
        ("brandt2026!", "own name"),
        ("x" * 257, "longer than 256"),
    ],
)
def test_a_password_that_is_tried_first_is_refused(password: str, why: str) -> None:
    office = made_office()
    with pytest.raises(Refused) as caught:
        set_password(office, ADA, password)
    assert why in refusal(caught)
    assert not anybody_has_account(office.working)


@pytest.mark.parametrize(
    "password", ["eightlet", "xyz" * 64, "pökeln für Ostern", "🥩🧂🌊 brine", "   spaces   count   "]
)
def test_any_other_password_of_8_to_256_characters_is_accepted(password: str) -> None:
    office = made_office()
    set_password(office, ADA, password)
    assert not by_password(office, " ADA ", password, HERE).needs_password
    with pytest.raises(Refused):
        by_password(office, "ada", password.strip() + "x", HERE)


def test_the_same_letters_fit_however_a_keyboard_composes_them() -> None:
    assert passwords.fits(passwords.hashed("po\u0308keln fu\u0308r"), "pökeln für")


def test_no_more_than_two_hashes_are_made_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    now, most, lock, gate = [0], [0], threading.Lock(), threading.Event()

    class Slow:
        def verify(self, kept: str, password: bytes) -> bool:
            with lock:
                now[0] += 1
                most[0] = max(most[0], now[0])
                if now[0] == 2:
                    gate.set()
            gate.wait(5.0)
            with lock:
                now[0] -= 1
            return True

    monkeypatch.setattr(passwords, "_hasher", Slow())
    threads = [threading.Thread(target=passwords.fits, args=("kept", "x")) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert most == [2]


def test_who_stands_in_line_beyond_eight_is_told_to_wait(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(passwords, "_in_line", threading.BoundedSemaphore(1))
    with passwords._Turn(), pytest.raises(Wait):
        passwords.hashed(GOOD)
    passwords.hashed(GOOD)


def test_a_new_password_ends_every_other_session_and_asks_for_the_old_one() -> None:
    office = made_office()
    set_password(office, ADA, GOOD)
    old, new = (by_password(office, "ada", GOOD, HERE).token for _ in range(2))
    with pytest.raises(Refused) as caught:
        set_password(office, ADA, "brisket under brine", now_has="guessed it")
    assert "now_has" in refusal(caught)
    here = find(office.working, new, NOW)
    assert here is not None
    set_password(office, ADA, "brisket under brine", now_has=GOOD, session=here.key)
    assert find(office.working, old, NOW) is None and find(office.working, new, NOW) is not None


def test_a_fresh_start_ends_sessions_and_password_and_gives_a_code() -> None:
    office = made_office()
    set_password(office, ADA, GOOD)
    token = by_password(office, "ada", GOOD, HERE).token
    code = fresh_start(office, "ada", lasts_s=60.0)
    assert find(office.working, token, NOW) is None
    with pytest.raises(Refused):
        by_password(office, "ada", GOOD, HERE)
    entered = by_code(office, code, HERE)
    assert entered.person.id == "ada" and entered.needs_password


def test_the_first_code_makes_whoever_types_it_the_first_admin_once() -> None:
    clock = Clock()
    office = office_of_nobody(clock)
    code = issue_code(office.working, FIRST_RUN, NOW, lasts_s=60.0, uses=2)
    assert code_is_first_run(office, code)
    with pytest.raises(Refused) as caught:
        by_code(office, code, HERE, person="not a name!", name="")
    assert {f.field for f in caught.value.faults} == {"person", "name"}
    with pytest.raises(Refused):
        by_code(office, code, HERE, person="system", name="System")
    entered = by_code(office, code, HERE, person="mia", name="Mia Holt")
    assert entered == Entered(Person("mia", "Mia Holt", ("operator", "approver", "admin")), entered.token, True)
    assert not code_is_first_run(office, code)
    with pytest.raises(Refused) as caught:
        by_code(office, code, HERE, person="eve", name="Eve")
    assert "has an admin already" in refusal(caught)
    assert set(office.present.kitchen.people) == {"mia"}


def test_a_code_for_somebody_who_is_gone_lets_nobody_in() -> None:
    office = made_office()
    code = issue_code(office.working, "gone", NOW, lasts_s=60.0)
    with pytest.raises(Refused) as caught:
        by_code(office, code, HERE)
    assert "no longer of this site" in refusal(caught)


def test_signing_in_rotates_the_session() -> None:
    office = made_office()
    first = by_code(office, issue_code(office.working, "bo", NOW, lasts_s=60.0), HERE).token
    session = find(office.working, first, NOW)
    assert session is not None
    again = replace(HERE, session=session.key)
    second = by_code(office, issue_code(office.working, "bo", NOW, lasts_s=60.0), again).token
    assert first != second and find(office.working, first, NOW) is None
    assert find(office.working, second, NOW) is not None


def test_a_session_ends_after_twelve_idle_hours_and_after_thirty_days() -> None:
    working = MemoryWorking()
    token = begin(working, "bo", NOW)
    assert find(working, token, NOW + IDLE_S - 1.0) is not None, "a second short of idle"
    assert find(working, token, NOW + 2 * IDLE_S - 2.0) is not None, "the request before kept it alive"
    assert find(working, token, NOW + 3 * IDLE_S) is None, "idle since"
    token, at = begin(working, "bo", NOW), NOW
    while at < NOW + SESSION_LONGEST_S - IDLE_S:
        at += IDLE_S / 2
        assert find(working, token, at) is not None
    assert find(working, token, NOW + SESSION_LONGEST_S) is None


def test_a_session_is_kept_as_a_digest_and_marked_at_most_once_a_minute() -> None:
    working = MemoryWorking()
    token = begin(working, "bo", NOW, "tablet")
    assert token not in kept_in(working) and form_token(token) not in kept_in(working)
    before = kept_in(working)
    find(working, token, NOW + 59.0)
    assert kept_in(working) == before
    find(working, token, NOW + 60.0)
    assert kept_in(working) != before


def test_marking_a_session_as_seen_never_brings_back_one_that_was_ended() -> None:
    working = MemoryWorking()
    token = begin(working, "bo", NOW)
    key = sessions_of(working, "bo", NOW)[0].key
    end(working, key)
    working.put(SEEN, key, {"at": NOW}, until_at=NOW + IDLE_S)
    assert find(working, token, NOW) is None and working.all(KIND, NOW) == {}


def test_sessions_are_listed_and_ended_for_their_own_person_alone() -> None:
    working = MemoryWorking()
    mine, other = begin(working, "bo", NOW, "phone"), begin(working, "ada", NOW)
    begin(working, "bo", NOW + 1.0, "tablet")
    assert [s.browser for s in sessions_of(working, "bo", NOW + 2.0)] == ["tablet", "phone"]
    assert end_all(working, "bo", NOW + 2.0) == 2
    assert find(working, mine, NOW + 2.0) is None and find(working, other, NOW + 2.0) is not None


@pytest.mark.parametrize(("plain", "name", "secure"), [(False, "__Host-curevigil", True), (True, "curevigil", False)])
def test_the_cookie_is_bound_to_the_host_unless_http_is_plain(plain: bool, name: str, secure: bool) -> None:
    response = Response()
    put_cookie(response, "token", Settings(plain_http=plain))
    said = response.headers["set-cookie"]
    assert said.startswith(f"{name}=token;") and "HttpOnly" in said and "SameSite=lax" in said and "Path=/" in said
    assert ("Secure" in said) is secure and "Domain" not in said


def test_a_token_is_kept_as_a_digest_until_it_ends() -> None:
    working = MemoryWorking()
    secret, token = issue_token(working, "bo", Role.OPERATOR, NOW, name="scale", lasts_s=60.0)
    assert secret.startswith("cvt_") and len(secret) >= 4 + 43 and secret not in kept_in(working)
    assert find_token(working, secret, NOW) == token and all_tokens(working, NOW) == [token]
    assert find_token(working, secret, NOW + 60.0) is None
    assert find_token(working, secret.removeprefix("cvt_"), NOW) is None
    end_token(working, token.key)
    assert find_token(working, secret, NOW) is None


def test_a_link_opens_often_and_is_used_once() -> None:
    working = MemoryWorking()
    token = issue_link(working, "A20", "bo", NOW)
    assert token not in kept_in(working) and link_form_token(token) not in kept_in(working)
    for _ in range(5):
        assert read_link(working, token, NOW + LASTS_S - 1.0) is not None
    taken = take_link(working, token, NOW + 1.0)
    assert taken is not None and (taken.alarm, taken.person) == ("A20", "bo")
    assert take_link(working, token, NOW + 1.0) is None and read_link(working, token, NOW + 1.0) is None
    assert read_link(working, issue_link(working, "A20", "bo", NOW), NOW + LASTS_S) is None


def test_no_number_of_guesses_locks_a_link() -> None:
    working = MemoryWorking()
    token = issue_link(working, "A20", "bo", NOW)
    for guess in range(200):
        assert take_link(working, f"guess {guess}", NOW) is None
    assert read_link(working, token, NOW) is not None


def test_a_person_who_lost_a_role_loses_it_at_once() -> None:
    office = made_office()
    office.present.decide(lambda kitchen: [Draft(NOW, "ada", PersonDescribed("bo", "Bo Lindqvist", ()))])
    entered = by_code(office, issue_code(office.working, "bo", NOW, lasts_s=60.0), HERE)
    assert not allowed(entered.person, Role.OPERATOR)

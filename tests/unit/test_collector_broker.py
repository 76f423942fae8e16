import random

import pytest

from collector.broker import UNSUPPORTED_PROTOCOL, WEEK_S, Attempt, Broker, Choice


def choice(protocol: str = "auto", chance: int = 1) -> Choice:
    assert protocol in ("auto", "5", "3.1.1")
    return Choice(Broker("here", protocol=protocol), random.Random(chance))  # type: ignore[arg-type]


def test_a_session_shorter_than_a_week_is_refused() -> None:
    with pytest.raises(ValueError, match="forgotten too soon"):
        Broker("here", session_expiry_s=WEEK_S - 1)


def test_a_client_without_an_id_is_refused() -> None:
    with pytest.raises(ValueError, match="that has an id"):
        Broker("here", client_id="")


def test_a_broker_without_a_topic_is_refused() -> None:
    with pytest.raises(ValueError, match="nothing would ever arrive"):
        Broker("here", topics=())


def test_a_password_is_never_printed() -> None:
    assert "hush" not in repr(Broker("here", username="collector", password="hush"))


def test_a_broker_that_does_not_know_mqtt_5_is_asked_again_at_once_with_the_older_version() -> None:
    chosen = choice()
    assert str(chosen.protocol) == "5"
    assert chosen.after(Attempt("5", reached=True, refused=UNSUPPORTED_PROTOCOL), 0.1) == 0.0
    assert str(chosen.protocol) == "3.1.1"


def test_silence_and_a_hang_up_without_a_word_are_answered_with_the_older_version() -> None:
    chosen = choice()
    chosen.after(Attempt("5", reached=True), 5.0)
    assert str(chosen.protocol) == "3.1.1"


def test_silence_to_both_versions_tries_them_in_turn() -> None:
    chosen = choice()
    tried = []
    for _ in range(4):
        tried.append(chosen.protocol)
        chosen.after(Attempt(chosen.protocol, reached=True), 5.0)
    assert tried == ["5", "3.1.1", "5", "3.1.1"]


def test_what_worked_once_is_kept_through_later_silence() -> None:
    chosen = choice()
    chosen.works(Attempt("5", reached=True, answered=True))
    chosen.after(Attempt("5", reached=True, answered=True), 100.0)
    chosen.after(Attempt("5", reached=True), 30.0)
    assert str(chosen.protocol) == "5"
    assert not chosen.may_fall_back


def test_an_older_version_that_worked_is_kept_until_the_broker_refuses_it() -> None:
    chosen = choice()
    chosen.works(Attempt("3.1.1", reached=True, answered=True))
    chosen.after(Attempt("3.1.1", reached=True, answered=True), 100.0)
    assert str(chosen.protocol) == "3.1.1"
    chosen.after(Attempt("3.1.1", reached=True, refused=UNSUPPORTED_PROTOCOL), 0.1)
    assert str(chosen.protocol) == "5"


@pytest.mark.parametrize("attempt", [Attempt("5"), Attempt("5", reached=True, refused=0x86)])
def test_a_broker_that_is_away_or_refuses_our_name_is_not_asked_in_another_version(attempt: Attempt) -> None:
    chosen = choice()
    assert chosen.after(attempt, 0.1) > 0
    assert str(chosen.protocol) == "5"


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_a_version_that_was_set_is_never_left(version: str) -> None:
    chosen = choice(version)
    assert not chosen.may_fall_back
    for refused in (0, UNSUPPORTED_PROTOCOL):
        chosen.after(Attempt(chosen.protocol, reached=True, refused=refused), 0.1)
        assert str(chosen.protocol) == version


@pytest.mark.parametrize("chance", range(20))
def test_pauses_double_from_one_second_to_thirty_each_within_a_third_of_its_size(chance: int) -> None:
    chosen = choice(chance=chance)
    for nominal_s in (1, 2, 4, 8, 16, 30, 30, 30):
        assert 0.7 * nominal_s <= chosen.after(Attempt("5"), 0.0) <= 1.3 * nominal_s


def test_pauses_differ_from_client_to_client() -> None:
    assert len({choice(chance=chance).after(Attempt("5"), 0.0) for chance in range(20)}) == 20


def test_a_connection_that_lasted_makes_the_next_pause_short_again_and_a_brief_one_does_not() -> None:
    chosen = choice()
    for _ in range(5):
        chosen.after(Attempt("5"), 0.0)
    assert chosen.after(Attempt("5", reached=True, answered=True), 0.5) > 15.0
    assert chosen.after(Attempt("5", reached=True, answered=True), 60.0) <= 1.3


def test_connections_that_end_soon_are_counted_until_one_lasts() -> None:
    chosen = choice()
    for _ in range(3):
        chosen.after(Attempt("5", reached=True, answered=True), 0.5)
    assert chosen.brief == 3
    chosen.after(Attempt("5"), 0.5)
    assert chosen.brief == 3
    chosen.after(Attempt("5", reached=True, answered=True), 60.0)
    assert chosen.brief == 0

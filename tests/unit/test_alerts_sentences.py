"""Every sentence a person is told about an alarm."""

import re
from dataclasses import replace

import pytest

from alerts.sentences import (
    CAUTION,
    KEYS,
    TITLES,
    alarm_text,
    clock_text,
    first_steps,
    message,
    sentence,
    span_text,
)
from collector.findings import Condition
from collector.kitchen import Alarm

AT = 1_764_036_000.0  # 02:00 UTC, 25 November 2025
FIGURES: dict[str, float | int | str | None] = {
    "unit_name": "Cold room 2", "limit_c": 5.0, "air_c": 8.1, "tubs": 3, "lots": "B14, B15", "since_at": AT,
    "early_at": AT + 9600, "likely_at": AT + 14_400,
}  # fmt: skip
WARM = Condition(
    "room",
    "product_warm",
    "temperature",
    True,
    AT,
    ("B14", "B15"),
    AT + 9600,
    AT + 14_400,
    None,
    "product_may_pass",
    FIGURES,
)


def test_the_first_line_says_which_meat_since_when_and_what_to_do() -> None:
    assert alarm_text(Alarm("A1", WARM, AT), "Europe/London") == (
        "Cold room 2: meat may pass 5.0 °C from 04:40 (estimate). Air 8.1 °C, above the limit since 02:00. "
        "3 tubs (B14, B15). Someone must go."
    )


@pytest.mark.parametrize(
    ("warmth", "said"),
    [
        ("unusual", "in its mean warmer than is usual for this unit."),
        ("no pause", "above its own mean since 02:00, longer than is usual."),
        ("back", "no longer above the limit."),
    ],
)
def test_air_that_is_not_above_the_limit_is_not_said_to_be(warmth: str, said: str) -> None:
    text = alarm_text(Alarm("A1", replace(WARM, parameters={**WARM.parameters, "warmth": warmth}), AT), "Europe/London")
    assert f"Air 8.1 °C, {said} 3 tubs" in text


def test_times_are_those_of_the_site() -> None:
    assert clock_text(AT, "Europe/Rome") == "03:00"
    assert clock_text(AT, "Europe/Rome", day=True) == "Tue 25 Nov 03:00"
    assert clock_text(None, "Europe/Rome") == "an unknown time"


@pytest.mark.parametrize(("seconds", "said"), [(7800, "2 h 10"), (1500, "25 min"), (29, "0 min"), (3600, "1 h 00")])
def test_spans_are_said_as_people_say_them(seconds: float, said: str) -> None:
    assert span_text(seconds) == said


@pytest.mark.parametrize("key", KEYS)
def test_every_sentence_can_be_said_with_nothing_known(key: str) -> None:
    said = sentence(key, {}, "UTC")
    assert "{" not in said
    assert said


@pytest.mark.parametrize("key", KEYS)
def test_no_sentence_promises_or_disposes(key: str) -> None:
    said = sentence(key, FIGURES, "UTC").lower()
    assert not re.search(r"\b(safe|ok|okay|all clear|fine|reject|discard|throw)\b", said)


def test_every_kind_has_a_title_first_steps_and_a_return() -> None:
    for kind in TITLES:
        assert first_steps(replace(WARM, kind=kind))
        assert f"{kind}_returned" in KEYS


def test_the_return_says_how_long_and_how_warm() -> None:
    back = Alarm(
        "A1", WARM, AT, returned_at=AT + 20_000, return_sentence="product_warm_returned",
        return_parameters={"over_s": 7800, "peak_c": 6.4, "air_c": 3.8, "limit_c": 5.0, "over_lots": "B14"},
    )  # fmt: skip
    assert alarm_text(back, "Europe/London") == (
        "Cold room 2: back, air 3.8 °C. Meat was above 5.0 °C for 2 h 10, at most 6.4 (estimate). "
        "Lot B14 needs a decision before use."
    )


def test_the_body_lists_what_to_look_at_in_order_and_ends_with_the_caution() -> None:
    first, body = message(Alarm("A1", WARM, AT), "Europe/London", "https://here.example/a/x")
    assert first.startswith("Cold room 2: meat may pass")
    lines = body.splitlines()
    assert lines[0].startswith("1. Is the door shut?")
    assert lines[1] == "2. Keep the door shut."
    assert "Meat is likely to pass its limit at 06:00 (estimate)." in lines
    assert "Say that you are going: https://here.example/a/x" in lines
    assert lines[-1] == CAUTION


def test_what_can_wait_asks_for_an_answer_and_for_nobody_to_go() -> None:
    _, body = message(Alarm("A1", replace(WARM, wakes=False), AT), "Europe/London", "https://here.example/a/x")
    assert "Answer: https://here.example/a/x" in body.splitlines()
    assert "going" not in body


@pytest.mark.parametrize("key", KEYS)
def test_one_sensor_and_several_have_their_own_verbs(key: str) -> None:
    one, several = (sentence(key, FIGURES | {"channels": names}, "UTC") for names in ("a/air", "a/air, b/air"))
    assert not re.search(r"(?<!of )a/air (have|are|jump|seem|move|tell|read) ", one) or key.startswith(
        "sensors_disagree"
    )
    assert not re.search(r"(?<!of a/air, )b/air (has|is|jumps|seems|moves|tells|reads) ", several)


def test_one_lot_and_several_have_their_own_verbs_and_none_leaves_no_hole() -> None:
    back: dict[str, float | int | str | None] = {"unit_name": "Cellar", "air_c": 3.0, "over_s": 600, "limit_c": 5.0}
    ends = {
        "B1": "Lot B1 needs a decision",
        "B1, B2": "Lots B1, B2 need a decision",
        "": "What stood in it needs a dec",
    }
    for lots, words in ends.items():
        assert words in sentence("product_warm_returned", {**back, "over_lots": lots}, "UTC")


def test_an_instant_a_day_ahead_is_told_with_its_day() -> None:
    silent: dict[str, float | int | str | None] = {
        "unit_name": "Cellar",
        "channels": "c/air",
        "since_at": AT,
        "limit_c": 5.0,
    }
    soon, late = (sentence("channel_silent", {**silent, "early_at": AT + h * 3600.0}, "Europe/Rome") for h in (19, 26))
    assert "from 22:00 (estimate)" in soon
    assert "from Wed 05:00 (estimate)" in late


def test_what_began_days_ago_is_told_with_its_day() -> None:
    said = sentence("calibration_overdue", {"unit_name": "Cellar", "channels": "c/air", "since_at": AT}, "Europe/Rome")
    assert "since Tue 25 Nov 03:00" in said


def test_tubs_that_nobody_counted_are_not_said_to_be_none() -> None:
    assert "Nothing is curing" not in sentence("unwatched", {"unit_name": "Cellar"}, "UTC")
    assert "Nothing is curing in it." in sentence("unwatched", {"unit_name": "Cellar", "tubs": 0}, "UTC")


def test_a_first_line_of_many_silent_rooms_names_two_first_and_never_more_than_six_at_once() -> None:
    names = {f"name_{n}": f"The long cold room at the north gate {n}" for n in range(1, 13)}
    said = sentence("units_silent", {**names, "units": 12, "since_at": AT}, "UTC")
    assert said.startswith("Power or network: nothing heard from The long cold room at the north gate 1, ")
    assert "and 10 more since 02:00. Someone must go." in said and said.endswith(" and 6 more.")
    back = sentence("nothing_arrives_returned", {"back": ", ".join(names.values()), "still": ""}, "UTC")
    assert back.count("north gate") == 6 and " and 6 more. " in back


def test_what_falls_silent_and_what_is_heard_again_is_said_once() -> None:
    figures = {"site_name": "Harbour", "back": "A, B", "still": "C"}
    assert sentence("nothing_arrives_returned", figures, "UTC") == (
        "Readings arrive again from A, B; still silent: C. What happened meanwhile counts as unknown."
    )

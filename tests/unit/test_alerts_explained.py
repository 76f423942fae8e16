"""A cause that becomes clear while an alarm stands: shown, told with what is told next, and never by itself."""

import re
from dataclasses import replace

import pytest

from alerts.alarms import step
from alerts.explained import LOOKED_FOR_S
from alerts.sentences import first_steps, looks_like, message
from alerts.sentences_cause import CAUSES, DOUBTED
from collector.events import AlarmChanged, AlarmRaised, Draft
from collector.events_watching import AlarmExplained
from collector.findings import Condition
from collector.fold import fold
from collector.kitchen import Alarm, Kitchen
from collector.storage import MemoryJournal

T = 1_780_000_000.0
WARM = Condition(
    "room", "product_warm", "temperature", True, T, ("B1",), T + 9000, T + 12000, T + 20000, "product_may_pass",
    {"unit_name": "Room", "limit_c": 5.0, "air_c": 8.0, "since_at": T, "tubs": 1, "lots": "B1", "early_at": T + 9000},
)  # fmt: skip


def because(cause: str, condition: Condition = WARM) -> Condition:
    figures: dict[str, float | int | str | None] = {"cause": cause, "cause_at": T - 600.0, "cause_k": 4.26}
    return replace(condition, parameters={**condition.parameters, **figures})


DOUBT = replace(WARM, parameters={**WARM.parameters, "cause": "", "cause_doubted": 1})


class Desk:
    """A journal with the state it folds to."""

    def __init__(self) -> None:
        self.journal, self.kitchen = MemoryJournal(), Kitchen()

    def look(self, condition: Condition, at: float = T + 60) -> list[type]:
        drafts: list[Draft] = step(self.kitchen, [condition], ["room"], at)
        self.kitchen = fold(self.journal.append(drafts, seen=self.kitchen.position, recorded_at=0.0), self.kitchen)
        return [type(d.event) for d in drafts]

    @property
    def alarm(self) -> Alarm:
        return self.kitchen.alarms["A1"]

    @property
    def cause(self) -> object:
        return self.alarm.condition.parameters.get("cause")


def test_a_cause_that_becomes_clear_is_recorded_once_and_changes_nothing_else() -> None:
    desk = Desk()
    assert desk.look(WARM) == [AlarmRaised]
    before = desk.alarm
    assert desk.look(because("door")) == [AlarmExplained]
    assert desk.look(because("door")) == []
    assert desk.cause == "door"
    parameters = before.condition.parameters
    assert replace(desk.alarm, condition=replace(desk.alarm.condition, parameters=parameters)) == before


def test_the_cause_goes_out_with_what_is_told_next() -> None:
    desk = Desk()
    desk.look(because("cooling"))
    assert desk.look(replace(WARM, sentence="product_has_passed")) == [AlarmChanged]
    assert desk.cause == "cooling"
    assert "cooling that fails" in message(desk.alarm, "UTC")[1].splitlines()[0]


@pytest.mark.parametrize(
    ("first", "then", "stays"),
    [
        ("door", "cooling", "door"),
        ("defrost", "setting", "defrost"),
        ("cooling", "door", "cooling"),
        ("cooling", "setting", "setting"),
        ("setting", "creep", "setting"),
    ],
)
def test_the_first_clear_cause_stays_but_cooling_gives_way_to_a_setting(first: str, then: str, stays: str) -> None:
    desk = Desk()
    desk.look(because(first))
    desk.look(because(then))
    assert desk.cause == stays


def test_a_cause_that_is_no_longer_seen_stays() -> None:
    desk = Desk()
    desk.look(because("defrost"))
    assert desk.look(WARM) == []
    assert desk.cause == "defrost"


def test_half_a_day_later_no_new_cause_is_found() -> None:
    desk = Desk()
    desk.look(WARM)
    assert desk.look(because("setting"), at=T + LOOKED_FOR_S + 61) == []
    assert desk.look(DOUBT, at=T + LOOKED_FOR_S + 61) == []
    assert desk.look(because("setting"), at=T + LOOKED_FOR_S) == [AlarmExplained]


def test_a_sensor_in_doubt_withdraws_the_cause_for_good() -> None:
    desk = Desk()
    desk.look(because("creep"))
    assert desk.look(DOUBT, at=T + 3600) == [AlarmExplained]
    assert desk.cause == ""
    assert looks_like(desk.alarm.condition, "UTC") == DOUBTED
    assert desk.look(because("creep")) == []


def test_a_sensor_in_doubt_hours_later_withdraws_nothing() -> None:
    desk = Desk()
    desk.look(because("door"))
    assert desk.look(DOUBT, at=T + 5 * 3600) == []
    assert desk.cause == "door"


def test_each_cause_is_said_with_its_evidence_and_leads_what_to_look_at() -> None:
    for cause in CAUSES:
        said = looks_like(because(cause), "Europe/Paris")
        assert said.startswith("Looks like ") and said.endswith(".") and "{" not in said and "unknown" not in said
        asked = re.split(r"(?<=[?.]) ", " ".join(first_steps(because(cause))))
        assert len(set(asked)) == len(asked), f"{cause}: something is asked twice"
        # Whatever is likely, nothing is left out of what is looked at in any case.
        assert set(re.split(r"(?<=[?.]) ", " ".join(first_steps(WARM)))) <= set(asked)
    assert "since 22:16" in looks_like(because("door"), "Europe/Paris")
    assert "4.3 °C higher" in looks_like(because("setting"), "UTC")


def test_without_a_cause_nothing_is_said() -> None:
    assert looks_like(WARM, "UTC") == ""
    assert "Looks like" not in "".join(message(Alarm("A1", WARM, T), "UTC"))


def test_a_cause_nobody_heard_of_says_nothing_and_a_missing_figure_is_unknown() -> None:
    assert looks_like(because("moonlight"), "UTC") == ""
    bare = replace(WARM, parameters={**WARM.parameters, "cause": "door"})
    assert looks_like(bare, "UTC").endswith("since an unknown time.")

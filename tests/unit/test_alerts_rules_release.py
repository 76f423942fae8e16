"""What a release asks for on each route, where the notation of the cases does not reach."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import pytest

from alerts.case import Case, case_of
from alerts.history import BatchHistory
from alerts.rulebook.shelf import load
from alerts.rules import judge
from alerts.rules_kill import cook_table, judge_cook, judge_cooling, opened
from alerts.rules_release import judge_release, may_divert, may_lift
from alerts.rules_stages import judge_come_up, judge_stages
from alerts.rules_uncooked import judge_aw, judge_parasites
from collector.batches import HandReading, Method, Plan, Where
from collector.findings import Evidence, Finding, Outcome, Tier

HistoryOf = Callable[[Mapping[str, Any]], BatchHistory]
US, GB = load("US"), load("GB")
FROM_MEMORY = frozenset(row.id for row in US.limits.values() if row.known == "memory")
DAY = 86_400.0
COOKED = {"stage": "cook", "begins": "100 h", "points": ["0 min 4.0", "150 min 71.0"]}


def case(history_of: HistoryOf, confirmed: frozenset[str] = FROM_MEMORY, **story: Any) -> Case:
    history = history_of({"air": ["6 d at 3.0"], **story})
    return case_of(history, US, confirmed, history.judged_until_at)


def cooled(history_of: HistoryOf, first: int, second: int, **more: Any) -> Case:
    """Return a batch that went from 54.4 to 26.7 °C in so many minutes, and on to 7.2 °C in so many more."""
    points = ["0 min 54.4", f"{first} min 26.7", f"{first + second} min 7.2"]
    return case(history_of, core=[COOKED, {"stage": "cool", "begins": "103 h", "points": points}], **more)


def found(rule: str, tier: Tier, sentence: str = "") -> Finding:
    nothing = Evidence(0.0, 0.0, (), 0, 0.0, "m", None, "", None)
    return Finding(rule, Outcome.OUTSIDE, tier, sentence or rule, {}, nothing)


# --------------------------------------------------------------------------- cooling of nitrite-protected meat


@pytest.mark.parametrize(
    ("first", "second", "outcome", "tier"),
    [
        (300, 600, Outcome.WITHIN, Tier.NONE),
        (301, 600, Outcome.OUTSIDE, Tier.HOLD),
        (300, 601, Outcome.OUTSIDE, Tier.HOLD),
        (120, 240, Outcome.WITHIN, Tier.NONE),
    ],
)
def test_each_stage_of_cured_cooling_has_its_border(
    history_of: HistoryOf, first: int, second: int, outcome: Outcome, tier: Tier
) -> None:
    said = judge_cooling(cooled(history_of, first, second), True)
    assert (said.outcome, said.tier) == (outcome, tier)


@pytest.mark.parametrize(
    ("protected", "outcome", "sentence"),
    [
        (True, Outcome.WITHIN, "e-11 cooling within"),
        (False, Outcome.OUTSIDE, "e-11 cooling slow"),
        (None, Outcome.CANNOT_TELL, "e-11 cooling nitrite unknown"),
    ],
)
def test_only_nitrite_that_is_known_to_be_enough_gives_more_time(
    history_of: HistoryOf, protected: bool | None, outcome: Outcome, sentence: str
) -> None:
    said = judge_cooling(cooled(history_of, 240, 480), protected)
    assert (said.outcome, said.sentence) == (outcome, sentence)
    assert said.tier is (Tier.NONE if protected else Tier.HOLD)


def test_times_from_memory_give_nothing_before_they_are_confirmed(history_of: HistoryOf) -> None:
    said = judge_cooling(cooled(history_of, 240, 480, confirmed=frozenset()), True)
    assert (said.outcome, said.tier, said.sentence) == (Outcome.CANNOT_TELL, Tier.HOLD, "e-11 cooling not confirmed")


def test_a_slow_cooling_stays_slow_when_the_meat_is_cooked_and_cooled_again(history_of: HistoryOf) -> None:
    slow = {"stage": "cool", "begins": "103 h", "points": ["0 min 57.0", "200 min 21.0", "400 min 5.0"]}
    again = {"stage": "cook", "begins": "115 h", "points": ["0 min 5.0", "100 min 72.0"]}
    quick = {"stage": "cool", "begins": "118 h", "points": ["0 min 57.0", "60 min 21.0", "200 min 5.0"]}
    assert judge_cooling(case(history_of, core=[COOKED, slow, again, quick]), False).tier is Tier.HOLD
    assert judge_cooling(case(history_of, core=[COOKED, again, quick]), False).outcome is Outcome.WITHIN


def test_a_cooling_before_the_last_cook_does_not_count_for_it(history_of: HistoryOf) -> None:
    quick = {"stage": "cool", "begins": "103 h", "points": ["0 min 57.0", "60 min 21.0", "200 min 5.0"]}
    again = {"stage": "cook", "begins": "115 h", "points": ["0 min 5.0", "100 min 72.0"]}
    assert judge_cooling(case(history_of, core=[COOKED, quick, again]), False).sentence == "e-11 cooling missing"


def test_of_two_pieces_the_worse_one_counts(history_of: HistoryOf) -> None:
    raw = {"stage": "cook", "probe": "P2", "begins": "100.5 h", "points": ["0 min 4.0", "120 min 50.0"]}
    assert judge_cook(case(history_of, core=[COOKED, raw], opened=False)).tier is Tier.HOLD
    slow = {"stage": "cool", "probe": "P2", "begins": "103 h", "points": ["0 min 57.0", "130 min 21.0", "300 min 5.0"]}
    quick = {"stage": "cool", "begins": "103 h", "points": ["0 min 57.0", "60 min 21.0", "200 min 5.0"]}
    assert judge_cooling(case(history_of, core=[COOKED, quick, slow]), False).tier is Tier.HOLD


def test_a_cook_that_goes_on_is_not_yet_short(history_of: HistoryOf) -> None:
    going = {"stage": "cook", "begins": "142 h", "points": ["0 min 4.0", "60 min 40.0"]}
    said = judge_cook(case(history_of, core=[going], stages=["cure for 5 d", "cook"]))
    assert (said.outcome, said.tier, said.sentence) == (Outcome.CANNOT_TELL, Tier.NONE, "e-11 cook not yet")
    assert judge_cook(case(history_of, core=[going], stages=["cure for 5 d", "store"])).tier is Tier.HOLD


# --------------------------------------------------------------------------------------------------- which table it is


@pytest.mark.parametrize(
    ("said", "table"),
    [
        ({"opened": False}, "cook.whole"),
        ({"opened": True}, "cook.opened"),
        ({"opened": None}, "cook.opened"),
        ({"opened": False, "method": Method.INJECTED}, "cook.opened"),
        ({"opened": False, "pump_percent": 10.0}, "cook.opened"),
        ({"opened": False, "cut": "shoulder, boned and rolled"}, "cook.opened"),
        ({"opened": False, "meat": "offal"}, "cook.opened"),
        ({"opened": False, "meat": "poultry"}, "cook.poultry"),
        ({"opened": False, "meat": "game"}, "cook.poultry"),
        ({"opened": False, "meat": "hedgehog"}, "cook.poultry"),
    ],
)
def test_what_no_table_names_is_cooked_by_a_hotter_one(history_of: HistoryOf, said: dict[str, Any], table: str) -> None:
    plan: Plan = replace(history_of({"air": ["1 d at 3.0"]}).batch.plan, **said)
    assert cook_table(plan) == table


def test_whether_it_was_opened_is_known_from_how_it_is_made_or_not_at_all(history_of: HistoryOf) -> None:
    plan = history_of({"air": ["1 d at 3.0"]}).batch.plan
    assert opened(plan) is None
    assert opened(replace(plan, method=Method.INJECTED)) is True


def test_great_britain_cooks_at_70_degrees_for_two_minutes(history_of: HistoryOf) -> None:
    history = history_of({"air": ["6 d at 3.0"], "opened": False})
    for seconds, tier in ((120, Tier.NONE), (119, Tier.HOLD)):
        points = ["0 min 4.0", "150 min 70.0", f"{150 + seconds / 60} min 70.0"]
        told = history_of({"air": ["6 d at 3.0"], "opened": False, "core": [{**COOKED, "points": points}]})
        known = frozenset(row.id for row in GB.limits.values() if row.known == "memory")
        assert judge_cook(case_of(told, GB, known, history.judged_until_at)).tier is tier


# ------------------------------------------------------------------------------------------------------------ parasites

HAM = {
    "meat": "pork", "route": "uncooked", "cut": "ham", "packing": "open", "method": "dry in excess", "tau": "1 min",
    "cure": "40 d", "parasites": "published cure", "process": "9 CFR 318.10",
    "stages": ["cure for 40 d", "rest for 6 d", "dry"],
}  # fmt: skip
DRIED = ["40 d at 3.0", "6 d at 3.0", "12 h at 32.3", "269 h at 32.3"]


def cured(history_of: HistoryOf, air: list[str], salt_kg: float | None = 0.12, **more: Any) -> Finding:
    history = history_of({**HAM, "air": air, **more})
    batch = replace(history.batch, as_made=replace(history.batch.as_made, salt_kg=salt_kg))
    history = replace(history, batch=batch)
    (said,) = judge_parasites(case_of(history, US, more.get("checked", FROM_MEMORY), history.judged_until_at))
    return said


def test_the_published_cure_of_hams_is_shown_by_days_salt_and_drying(history_of: HistoryOf) -> None:
    assert cured(history_of, DRIED).outcome is Outcome.WITHIN


@pytest.mark.parametrize(
    ("air", "salt_kg", "lacking"),
    [
        (["40 d at 3.0", "6 d at 3.0", "240 h at 32.3"], 0.12, "drying or smoking"),
        (["1 d at 2.0", "39 d at 3.0", *DRIED[1:]], 0.12, "40 d of cure"),
        (DRIED, 0.119, "of salt"),
        (DRIED, None, "not entered"),
    ],
)
def test_one_thing_short_of_the_published_cure_is_enough(
    history_of: HistoryOf, air: list[str], salt_kg: float | None, lacking: str
) -> None:
    said = cured(history_of, air, salt_kg)
    assert (said.outcome, said.tier, said.parameters["blocks"]) == (Outcome.CANNOT_TELL, Tier.NONE, 1)
    assert lacking in str(said.parameters["lacking"])


def test_the_published_cure_counts_only_once_its_rows_are_confirmed(history_of: HistoryOf) -> None:
    history = history_of({**HAM, "air": DRIED})
    history = replace(
        history, batch=replace(history.batch, as_made=replace(history.batch.as_made, salt_kg=0.12))
    )  # fmt: skip
    (said,) = judge_parasites(case_of(history, US, frozenset(), history.judged_until_at))
    assert said.outcome is Outcome.CANNOT_TELL


@pytest.mark.parametrize(
    ("meat", "cut", "asked"),
    [
        ("pork", "loin", True), ("game", "wild boar, leg", True), ("game", "haunch", True), ("offal", "tongue", True),
        ("game", "venison, haunch", False), ("offal", "ox tongue", False), ("beef", "round", False),
        ("poultry", "breast", False), ("pork", "deer salami, but pork", True), ("hedgehog", "whole", True),
    ],
)  # fmt: skip
def test_parasites_are_asked_after_in_all_but_the_meats_known_to_be_free(
    history_of: HistoryOf, meat: str, cut: str, asked: bool
) -> None:
    one = case(history_of, route="uncooked")
    batch = replace(one.history.batch, plan=replace(one.history.batch.plan, meat=meat, cut=cut))
    assert bool(judge_parasites(replace(one, history=replace(one.history, batch=batch)))) is asked


def test_officially_tested_meat_is_enough_in_great_britain_and_not_in_the_united_states(history_of: HistoryOf) -> None:
    history = history_of({"air": ["6 d at 3.0"], "meat": "pork", "parasites": "officially tested meat"})
    for book, outcome in ((US, Outcome.OUTSIDE), (GB, Outcome.WITHIN)):
        (said,) = judge_parasites(case_of(history, book, FROM_MEMORY, history.judged_until_at))
        assert said.outcome is outcome


# ------------------------------------------------------------------------------------------------------- water activity


def measured(value: float, after_d: float, tub: str | None = None) -> HandReading:
    at = 1_772_452_800.0 + after_d * DAY
    return HandReading(at, "aw", value, Where.CORE, "m1", "B14", tub=tub, method="dew point")


@pytest.mark.parametrize(
    ("readings", "outcome"),
    [
        ([measured(0.93, 1), measured(0.91, 2)], Outcome.WITHIN),
        ([measured(0.91, 1), measured(0.93, 2)], Outcome.OUTSIDE),
        ([measured(0.91, 2, "1"), measured(0.93, 1, "2")], Outcome.OUTSIDE),
        ([measured(0.91, 2, "1"), measured(0.93, 1, "2"), measured(0.92, 3, "2")], Outcome.WITHIN),
    ],
)
def test_the_latest_measurement_of_each_tub_counts_and_the_highest_of_them(
    history_of: HistoryOf, readings: list[HandReading], outcome: Outcome
) -> None:
    one = case(history_of, route="uncooked")
    batch = replace(one.history.batch, hand_readings=tuple(readings))
    assert judge_aw(replace(one, history=replace(one.history, batch=batch))).outcome is outcome


def test_a_figure_of_no_process_counts_for_nothing(history_of: HistoryOf) -> None:
    assert judge_aw(case(history_of, process_aw=0.97, hand=["aw 0.95 by x after 2 d"])).outcome is Outcome.OUTSIDE
    named = case(history_of, process="process 3", process_aw=0.97, hand=["aw 0.95 by x after 2 d"])
    assert judge_aw(named).outcome is Outcome.WITHIN


# --------------------------------------------------------------------------- heating, stages, signatures


def test_the_heating_is_bounded_by_when_the_cook_began(history_of: HistoryOf) -> None:
    late = {"stage": "cook", "begins": "121 h", "points": ["0 min 30.0", "60 min 54.4", "80 min 71.0"]}
    (said,) = judge_come_up(case(history_of, core=[late], stages=["cure for 5 d", "cook for 6 h", "store"]))
    assert (said.outcome, said.parameters["minutes"]) == (Outcome.WITHIN, 120.0)
    (said,) = judge_come_up(case(history_of, core=[late]))
    assert (said.outcome, said.tier, said.parameters["blocks"]) == (Outcome.CANNOT_TELL, Tier.NONE, 1)


def test_the_slow_heating_of_an_earlier_cook_is_not_forgotten(history_of: HistoryOf) -> None:
    slow = {"stage": "cook", "begins": "100 h", "points": ["0 min 10.0", "400 min 54.4"]}
    again = {"stage": "cook", "begins": "120 h", "points": ["0 min 5.0", "100 min 72.0"]}
    (said,) = judge_come_up(case(history_of, core=[slow, again]))
    assert said.tier is Tier.HOLD


def test_a_window_of_a_cold_stage_excuses_nothing(history_of: HistoryOf) -> None:
    warm = case(
        history_of,
        tau="1 min",
        air=["24 h at 3.0", "5 h at 8.0", "24 h at 3.0"],
        windows=["cure 0 to 12 for 9 d, house"],
    )
    assert warm.windows == ()
    assert judge_stages(warm) == ()


def test_stretches_of_one_stage_share_the_time_of_its_window(history_of: HistoryOf) -> None:
    one = case(
        history_of,
        tau="1 min",
        cure="1 d",
        air=["24 h at 3.0", "6 h at 30.0", "6 h at 3.0", "6 h at 30.0", "6 h at 3.0"],
        stages=["cure for 24 h", "smoke for 6 h", "store for 6 h", "smoke for 6 h", "store"],
        windows=["smoke 20 to 32 for 8 h, house"],
    )
    first, second = one.windows
    assert (first.ends_at - first.from_at, second.ends_at - second.from_at) == (8 * 3600.0, 2 * 3600.0)
    (said,) = [one for one in judge_stages(one) if one.rule == "e-1 smoke"]
    assert (said.tier, said.parameters["minutes"]) == (Tier.RECORDED, 240.0)


def test_a_signature_lifts_a_hold_and_nothing_that_has_to_be_shown() -> None:
    lifts = [found("e-2", Tier.HOLD), found("e-5", Tier.EXTEND), found("e-11 cooling", Tier.HOLD)]
    lifts += [found("e-11 cure", Tier.NONE, "e-11 cure short"), found("e-1 heating", Tier.HOLD, "e-1 heated slowly")]
    assert all(may_lift(one) for one in lifts)
    never = [
        found("e-2", Tier.REJECT), found("e-11 cook", Tier.HOLD, "e-11 cook short"),
        found("e-11 cooling", Tier.NONE, "e-11 cooling missing"), found("e-8", Tier.HOLD, "e-8 over as made"),
        found("e-3 salmonella", Tier.HOLD, "e-3 cook or discard"), found("e-1 dry", Tier.NONE, "e-1 no window"),
    ]  # fmt: skip
    assert not any(may_lift(one) for one in never)


def test_cooking_is_offered_only_where_it_answers_everything() -> None:
    assert may_divert([found("e-3 salmonella", Tier.HOLD), found("e-2", Tier.HOLD), found("e-6", Tier.RECORDED)])
    assert not may_divert([found("e-3 salmonella", Tier.HOLD), found("e-3 staphylococcus_aureus", Tier.HOLD)])
    assert not may_divert([found("e-2", Tier.RECORDED)])


def test_every_route_asks_for_its_own_items(history_of: HistoryOf) -> None:
    asked = {
        route: {one.rule for one in judge_release(case(history_of, route=route, meat="pork"), (), None)}
        for route in ("cooked", "uncooked", "sold raw")
    }
    assert asked == {
        "cooked": {"e-11 cure", "e-11 cook", "e-11 cooling"},
        "uncooked": {"e-11 cure", "e-11 process", "e-11 parasites", "e-11 aw"},
        "sold raw": {"e-11 cure", "e-11 label"},
    }


@pytest.mark.parametrize(("hours", "tier"), [(48.0, Tier.NONE), (48.1, Tier.RECORDED), (None, None)])
def test_a_boiled_brine_is_judged_by_its_age_and_never_by_the_cooling_of_food(
    history_of: HistoryOf, hours: float | None, tier: Tier | None
) -> None:
    history = history_of({"air": ["2 d at 3.0"]})
    boiled = None if hours is None else history.batch.started_at - hours * 3600.0
    batch = replace(history.batch, as_made=replace(history.batch.as_made, brine_boiled_at=boiled))
    judged = judge(replace(history, batch=batch), US, FROM_MEMORY, history.judged_until_at)
    said = {one.rule: one for one in judged}
    assert (said["e-7 brine"].tier if hours is not None else said.get("e-7 brine")) is tier

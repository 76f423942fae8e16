"""What a plan comes to, by the household brine that many cook by (common practice, no source) and by bad plans."""

from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from alerts.planning import Answer, Tone, answers, for_more_meat, is_refused, scaled_plan, tasks
from alerts.rulebook.shelf import load
from api.cli import main
from collector.batches import Method, Packing, Plan, Route

US = load("US")
DAY = 86_400.0
HOUSEHOLD = Plan(
    "Five days under brine", "beef", "brisket", Method.IMMERSION, Packing.UNDER_BRINE, Route.COOKED, 5 * DAY, 55.0, 2.0,
    water_kg=2.0, salt_kg=0.2, sugar_kg=0.1, curing_salt_kg=0.03, nitrite_percent=0.6, brine_c=4.0, vessel="plastic",
    vessel_area_cm2=400.0, stacked_mm=60.0, soak_s=3600.0,
)  # fmt: skip


def said(plan: Plan, about: str) -> list[Answer]:
    return [one for one in answers(plan, US) if one.about == about]


def test_a_household_brine_passes_is_lawful_and_is_not_nitrite_protected() -> None:
    assert not is_refused(answers(HOUSEHOLD, US))
    (strength,) = said(HOUSEHOLD, "strength")
    assert "10.31 % salt" in strength.words
    (nitrite,) = said(HOUSEHOLD, "nitrite")
    assert "41.6 ppm" in nitrite.words and nitrite.tone is Tone.ANSWERED
    (protection,) = said(HOUSEHOLD, "protection")
    assert protection.tone is Tone.WARNED and "not nitrite-protected" in protection.words


def test_how_far_salt_gets_is_said_by_practice_and_by_diffusion_and_that_they_disagree() -> None:
    (time,) = said(HOUSEHOLD, "time")
    assert "by diffusion" in time.words and "By practice" in time.words and "disagree" in time.words
    assert "borrowed" in time.source, "no published rule goes by the thickness of a piece in brine"


def test_a_stronger_curing_salt_fails_method_two_and_the_other_figure_is_shown() -> None:
    strong = replace(HOUSEHOLD, nitrite_percent=6.25)
    assert is_refused(answers(strong, US))
    words = " ".join(one.words for one in said(strong, "nitrite"))
    assert "Method Two 433" in words and "Method One at 10 % pick-up 80.5" in words and "approver" in words


def test_without_a_composition_nitrite_cannot_be_told() -> None:
    unknown = replace(HOUSEHOLD, nitrite_percent=None)
    assert [one.tone for one in said(unknown, "nitrite")] == [Tone.CANNOT_TELL]
    assert [one.tone for one in said(unknown, "protection")] == [Tone.CANNOT_TELL]
    assert [one.tone for one in said(unknown, "salometer")] == [Tone.CANNOT_TELL]


def test_protection_names_the_figure_that_falls_short_where_the_other_method_does_not() -> None:
    (protection,) = said(replace(HOUSEHOLD, nitrite_percent=6.25), "protection")
    assert protection.tone is Tone.WARNED and "80.5 ppm by the lower method, under 100 ppm" in protection.words


@pytest.mark.parametrize(
    ("change", "about", "word"),
    [
        ({"brine_c": 31.0}, "filling", "too warm"),
        ({"vessel": "bare aluminium pan"}, "vessel", "aluminium"),
        ({"stacked_mm": 140.0}, "cover", "does not cover"),
        ({"salt_kg": 2.0}, "salt_kg", "dissolves"),
    ],
)
def test_what_cannot_work_is_refused_with_the_reason(change: dict[str, object], about: str, word: str) -> None:
    found = [one for one in said(replace(HOUSEHOLD, **change), about) if one.tone is Tone.REFUSED]  # type: ignore[arg-type]
    assert found and word in found[0].words


def test_stainless_steel_is_warned_of_for_a_long_cure_only() -> None:
    assert [one.tone for one in said(replace(HOUSEHOLD, vessel="stainless"), "vessel")] == [Tone.WARNED]
    assert said(replace(HOUSEHOLD, vessel="stainless", cure_s=2 * DAY), "vessel") == []


@given(st.floats(0.05, 50.0))
def test_scaling_a_plan_keeps_its_strength_and_its_nitrite(factor: float) -> None:
    bigger = scaled_plan(HOUSEHOLD, factor)
    for about in ("strength", "nitrite"):
        assert [one.words for one in said(bigger, about)] == [one.words for one in said(HOUSEHOLD, about)]


def test_more_meat_in_the_same_brine_lowers_the_nitrite_and_needs_cover() -> None:
    more = for_more_meat(HOUSEHOLD, 6.0)
    assert said(more, "nitrite")[0].words != said(HOUSEHOLD, "nitrite")[0].words
    assert said(more, "strength") == said(HOUSEHOLD, "strength")


def test_every_answer_with_a_number_of_the_rulebook_names_its_source() -> None:
    silent = [one.about for one in answers(HOUSEHOLD, US) if not one.source and one.tone is not Tone.CANNOT_TELL]
    assert silent == []


def test_turning_and_checking_end_with_the_cure() -> None:
    names = [task.name for task in tasks(HOUSEHOLD)]
    assert names == ["cover", "turn 1", "brine check 1", "turn 2", "brine check 2", "take out", "soak"]


PLAN_FILE = """authority = "US"
name = "Five days"
meat = "beef"
cut = "brisket"
method = "immersion"
packing = "under brine"
route = "cooked"
cure_days = 5.0
thickness_mm = 55.0
meat_kg = 2.0
water_kg = 2.0
salt_kg = 0.2
"""


@pytest.mark.parametrize(
    ("before", "after", "code", "words"),
    [
        ("", "", 0, "The brine is 9.09 % salt"),
        ("salt_kg = 0.2", "salt_kg = 2.0", 1, "REFUSED"),
        ("meat_kg = 2.0", "meat_kg = -2.0", 1, "line 10: meat_kg"),
        ('authority = "US"\n', "", 1, "authority"),
        ("cure_days", "cure_day", 1, "did you mean cure_days?"),
    ],
)
def test_the_command_answers_refuses_and_names_what_is_wrong(
    tmp_path: Path, before: str, after: str, code: int, words: str
) -> None:
    file = tmp_path / "plan.toml"
    file.write_text(PLAN_FILE.replace(before, after) if before else PLAN_FILE, encoding="utf-8")
    ran = CliRunner().invoke(main, ["plan", str(file)])
    assert (ran.exit_code, words in ran.output) == (code, True), ran.output


def test_the_command_scales(tmp_path: Path) -> None:
    file = tmp_path / "plan.toml"
    file.write_text(PLAN_FILE, encoding="utf-8")
    one, two = (CliRunner().invoke(main, ["plan", str(file), *more]).output for more in ([], ["--scale", "3"]))
    assert one.splitlines()[2] == two.splitlines()[2]

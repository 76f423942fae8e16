"""`curevigil salt`: what it says of the trade's own example, and what it does not answer."""

import pytest
from click.testing import CliRunner, Result

from api.cli import main

TRADE = ("--thickness-mm", "55", "--days", "5", "--brine", "9.1", "--piece-kg", "2")


def salt(*words: str) -> Result:
    return CliRunner().invoke(main, ["salt", *words], prog_name="curevigil")


def test_five_days_of_a_joint_are_told_by_practice_and_by_diffusion_and_how_far_they_are_apart() -> None:
    # Common practice, no source: 200 g of salt in 2 litres of water, five days, a joint about 55 mm thick.
    said = salt(*TRADE).output
    assert "by diffusion: mean 2.7 to 3.8 % water-phase salt, centre 0.1 to 1.0 %" in said
    assert "2 % has reached 13 to 18 mm below each face" in said
    assert "15.2 days for the whole piece" in said
    assert "9 mm below each face count as cured" in said
    assert "they disagree: diffusion asks for 0.62 times the days of practice" in said
    assert "a responsible or licensed person come first" in said


def test_a_rule_by_weight_has_no_depth() -> None:
    said = salt(*TRADE, "--rule", "brine cure, hams and shoulders").output
    assert "15.4 to 17.6 days" in said
    assert "count as cured" not in said


def test_a_bath_that_weakens_is_told_with_its_end() -> None:
    said = salt(*TRADE, "--bath-ratio", "1").output
    assert "4.5 % at equilibrium" in said or "4.6 % at equilibrium" in said


def test_a_brine_that_is_too_weak_never_brings_it() -> None:
    said = salt(*TRADE, "--target", "12").output
    assert "the centre after never days" not in said
    assert "by diffusion the centre never reaches 12 %" in said


@pytest.mark.parametrize("words", [("--temperature", "-5"), ("--brine", "40"), ("--rule", "a guess"), ("--days", "-1")])
def test_what_cannot_be_is_refused(words: tuple[str, str]) -> None:
    assert salt(*TRADE, *words).exit_code == 2

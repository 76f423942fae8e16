"""`curevigil brine`: what it says of masses, and what it refuses."""

from click.testing import CliRunner, Result

from api.cli import main


def brine(*words: str) -> Result:
    return CliRunner().invoke(main, ["brine", *words], prog_name="curevigil")


def test_a_common_brine_is_told_in_each_way_of_the_trade() -> None:
    words = "--water 2 --salt 0.2 --sugar 0.1 --curing-salt 0.03 --nitrite 6.25 --at 4"
    found = brine(*words.split())
    assert found.exit_code == 0
    assert found.output.splitlines() == [
        "strength 10.2 % (all salt over salt and water, sugar left out)",
        "salt: 114 g for a kg of water; 110 g in a litre of brine at 4 °C",
        "a salometer made for 60 °F reads 49 °SAL at 4 °C; its sugar reads as salt",
        "it freezes from -6.8 °C down",
        "water activity 0.933 at 25 °C, of the brine, not the meat",
        "Estimates only: local rules and a responsible or licensed person come first.",
    ]


def test_a_curing_salt_of_unknown_make_counts_as_no_salt_and_is_said() -> None:
    found = brine("--water", "2", "--salt", "0.2", "--curing-salt", "0.03")
    assert "strength 9.1 %" in found.output
    assert "none of it counts as salt" in found.output


def test_more_salt_than_water_holds_is_said_and_not_reckoned_with() -> None:
    found = brine("--water", "1", "--salt", "0.5")
    assert "more salt than water holds at 4 °C (26.3 %)" in found.output
    assert "°SAL" not in found.output


def test_a_cold_brine_near_saturation_is_past_the_scale_and_gives_no_ice() -> None:
    found = brine("--water", "1", "--salt", "0.356", "--at", "2")
    assert "does not show it" in found.output
    assert "freezes" not in found.output


def test_what_is_no_brine_is_refused_with_the_reason() -> None:
    for words, reason in (
        (("--water", "0", "--salt", "0.2"), "a brine has water"),
        (("--water", "1", "--salt", "0.1", "--at", "80"), "a brine temperature"),
        (("--water", "1", "--salt", "0.1", "--nitrite", "101"), "cannot be"),
    ):
        found = brine(*words)
        assert found.exit_code == 1
        assert reason in found.output


TRADE = "--water 2 --salt 0.2 --sugar 0.1 --curing-salt 0.03 --meat 2"


def test_one_brine_is_told_by_both_methods_and_by_what_its_bag_says() -> None:
    weak, strong = brine(*TRADE.split(), "--nitrite", "0.6"), brine(*TRADE.split(), "--nitrite", "6.25")
    assert "nitrite by Method Two, brine and meat even: 42 ppm as NaNO2, 28 ppm as the ion" in weak.output
    assert "nitrite by Method One, 10 % picked up: 80 ppm" in strong.output
    assert "nitrite by Method Two, brine and meat even: 433 ppm" in strong.output
    assert "once even with 2 kg of meat" in strong.output


def test_without_the_bag_nothing_is_said_of_nitrite_but_that() -> None:
    found = brine(*TRADE.split())
    assert "ppm" not in found.output
    assert "its nitrite is unknown" in found.output


def test_meat_above_the_brine_is_said_with_what_is_missing() -> None:
    high = brine(*TRADE.split(), "--floor", "500", "--height", "110")
    flat = brine(*TRADE.split(), "--floor", "500", "--height", "60")
    assert "does not cover the meat: 1.61 kg more" in high.output
    assert "20 mm of brine above it" in flat.output
    sunk = brine(*TRADE.split(), "--floor", "500", "--height", "20")
    assert sunk.exit_code == 1
    assert "cannot lie only 20 mm high" in sunk.output

"""The rows of the shipped rulebooks: as their documents print them, and what they must never be taken for."""

import math
from importlib.resources import files
from pathlib import Path

import pytest
from click.testing import CliRunner

from alerts.rulebook.book import ProductClass, Rulebook
from alerts.rulebook.compare import differences
from alerts.rulebook.loader import read_rulebook
from alerts.rulebook.shelf import load, names
from api.cli import main
from collector.batches import Method, Route
from collector.findings import Tier

NO2_IN_NANO2 = 46.0055 / 68.9953
"""Mass of the ion in the salt, from atomic masses; (EU) 2023/2108 uses 0.67."""
BOOKS = ("US", "GB", "EU")


def shipped(name: str) -> str:
    return (files("alerts.rulebook") / f"{name.lower()}.toml").read_text(encoding="utf-8")


def class_of(name: str, product: str) -> ProductClass:
    return load(name).classes[product]


def test_a_rulebook_is_shipped_for_each_authority() -> None:
    assert set(names()) == set(BOOKS)


# 9 CFR 424.21(c) and 424.22(b), as quoted; GB: SI 2007/1778 schedule 1; EU: (EU) 2023/2108, in part from memory.
INGOING = [
    ("US", "immersed", 200, "ppm NaNO2", 700), ("US", "dry", 625, "ppm NaNO2", 2187),
    ("US", "comminuted", 156, "ppm NaNO2", 1718), ("US", "bacon.pumped", 120, "ppm NaNO2", 0),
    ("US", "bacon.immersed", 120, "ppm NaNO2", 0), ("US", "bacon.dry", 200, "ppm NaNO2", 0),
    ("GB", "non_heat_treated", 150, "ppm NaNO2", 150), ("GB", "heat_treated", 150, "ppm NaNO2", 0),
    ("GB", "sterilised", 100, "ppm NaNO2", None), ("EU", "non_heat_treated", 80, "ppm NO2", None),
    ("EU", "heat_treated", 80, "ppm NO2", None), ("EU", "sterilised", 55, "ppm NO2", None),
]  # fmt: skip


@pytest.mark.parametrize(("book", "product", "ppm", "unit", "nitrate"), INGOING)
def test_what_may_go_in_is_what_the_law_says_in_its_own_unit(
    book: str, product: str, ppm: float, unit: str, nitrate: float | None
) -> None:
    one, limits = class_of(book, product), load(book).limits
    assert one.ingoing is not None
    row = limits[one.ingoing]
    assert (row.value, row.unit, row.scaled) == (ppm, unit, ppm)
    assert (limits[one.nitrate_ingoing].value if one.nitrate_ingoing is not None else None) == nitrate


RESIDUAL = [
    ("wiltshire_bacon", 175, 105), ("wiltshire_ham", 100, 60), ("cured_tongue", 50, 30), ("dry_bacon", 175, 105),
    ("dry_ham", 100, 60), ("raw_ham_wet", 50, 30), ("raw_ham_dry", 50, 30),
]  # fmt: skip


@pytest.mark.parametrize(("product", "salt", "ion"), RESIDUAL)
def test_classes_with_a_residual_limit_only_are_left_to_a_laboratory(product: str, salt: float, ion: float) -> None:
    for book, ppm, unit in (("GB", salt, "ppm NaNO2"), ("EU", ion, "ppm NO2")):
        one = class_of(book, product)
        assert one.residual_only
        assert one.chosen_by == "person"
        assert one.residual is not None
        row = load(book).limits[one.residual]
        assert (row.value, row.unit) == (ppm, unit)
        assert row.reaches is Tier.HOLD


def test_a_class_that_nothing_judges_is_out_of_scope_for_every_plan() -> None:
    for book, product in (("US", "comminuted"), ("GB", "sterilised"), ("EU", "sterilised")):
        one = class_of(book, product)
        assert not one.judged
        assert not any(one.fits(method, route, "pork") for method in Method for route in Route)


@pytest.mark.parametrize("book", BOOKS)
@pytest.mark.parametrize("method", Method)
@pytest.mark.parametrize("route", Route)
@pytest.mark.parametrize("meat", ["pork", "beef", "lamb", "poultry", "game", "offal"])
def test_every_plan_has_one_class_that_nobody_has_to_choose(book: str, method: Method, route: Route, meat: str) -> None:
    found = load(book).classes_for(method, route, meat)
    assert len([one for one in found if one.chosen_by != "person"]) == 1


def test_ion_and_salt_are_never_compared_as_they_stand() -> None:
    # A batch dosed at the US 156 ppm of the salt is 104 of the ion: above the 80 of (EU) 2023/2108.
    ion, salt = load("EU").limits["nitrite.non_heat_treated"], load("GB").limits["nitrite.non_heat_treated"]
    assert (ion.unit, salt.unit) == ("ppm NO2", "ppm NaNO2")
    assert 156 * NO2_IN_NANO2 == pytest.approx(104.0, abs=0.05)
    assert 156 * NO2_IN_NANO2 > ion.value
    assert ion.value / NO2_IN_NANO2 == pytest.approx(120.0, abs=0.05)
    assert salt.value * NO2_IN_NANO2 == pytest.approx(100.0, abs=0.05)
    assert "as the ion" in ion.note


def test_every_row_of_nitrite_or_nitrate_says_of_what_it_is_a_ppm() -> None:
    for book in BOOKS:
        for row in load(book).limits.values():
            assert row.unit != "ppm"
            if row.unit.startswith("ppm"):
                assert row.unit.split()[1] in ("NaNO2", "NO2", "NaNO3", "NO3")


def test_the_pumped_limit_is_that_of_a_gallon_of_pickle_at_10_lb() -> None:
    # 9 CFR 424.21(c): 2 lb of nitrite in 100 gal at 10 % pump. With water's 8.345 lb a gallon it would be 239.7.
    row = load("US").limits["nitrite.immersion"]
    assert row.value == pytest.approx(2 * 0.10 * 1e6 / (100 * 10))
    assert pytest.approx(239.7, abs=0.05) == 2 * 0.10 * 1e6 / (100 * 8.345)
    assert "239.7" in row.note
    dry = load("US").limits["nitrite.dry"]
    assert dry.value == 1e6 / (16 * 100), "1 oz to 100 lb"


def test_strength_is_salt_in_brine_never_salt_on_water() -> None:
    for book in BOOKS:
        limits = load(book).limits
        assert "of water" in limits["brine.weakest"].note
        assert limits["brine.weakest"].scaled == 0.05
        assert 5 / 105 < limits["brine.weakest"].scaled, "5 g on 100 g of water is weaker than 5 %"
        saturated = limits["brine.saturation"].scaled
        # 358.6 g salt on a kg of water at 60 °F is 26.395 %: as salt on water the same brine would pass 35 %.
        assert saturated == pytest.approx(358.6 / 1358.6, abs=5e-5)


def test_3_5_per_cent_aqueous_salt_is_not_the_same_as_aw_0_97() -> None:
    limits = load("GB").limits
    salt = limits["sealed.factor_salt"].value
    aw = 1 - 0.0052471 * salt - 0.00012206 * salt**2  # Resnik and Chirife 1988, from memory
    assert aw == pytest.approx(0.980, abs=5e-4)
    assert aw > limits["sealed.factor_aw"].value


@pytest.mark.parametrize("book", BOOKS)
def test_the_four_hours_of_display_are_no_general_allowance(book: str) -> None:
    row = load(book).limits["excursion.hold"]
    assert (row.value, row.unit, row.known, row.source) == (4, "h", "house", "house")
    assert "no general legal allowance" in row.note
    assert row.reaches is Tier.HOLD
    laws = [one for one in load(book).limits.values() if one.known == "read" and "paragraph 5" in one.source]
    assert laws == []


def test_the_law_stands_beside_the_house_limit_and_decides_nothing() -> None:
    for book, lawful in (("GB", 8.0), ("EU", 7.0)):
        limits = load(book).limits
        assert (limits["cold.limit"].value, limits["cold.limit"].known) == (5.0, "house")
        assert (limits["cold.law"].value, limits["cold.law"].reaches) == (lawful, Tier.NONE)
        assert "cold.law" in load(book).rule("e-0").limits


@pytest.mark.parametrize("book", ["GB", "EU"])
def test_poultry_and_offal_limits_bind_approved_premises_only(book: str) -> None:
    limits = load(book).limits
    assert (limits["cold.poultry"].value, limits["cold.offal"].value) == (4.0, 3.0)
    assert "only at premises approved" in limits["cold.poultry"].note
    assert "only at premises approved" in limits["cold.offal"].note
    assert "cold.poultry" not in load("US").limits


@pytest.mark.parametrize("book", ["GB", "EU"])
def test_bands_of_table_a2_are_said_to_be_foreign_outside_the_us(book: str) -> None:
    rows = [row for name, row in load(book).limits.items() if name.startswith("a2.")]
    assert rows
    assert all(row.borrowed and row.known == "memory" and row.reaches is Tier.HOLD for row in rows)
    assert all("house use of a foreign table" in row.cited for row in rows)
    assert not any(row.borrowed for name, row in load("US").limits.items() if name.startswith("a2."))


@pytest.mark.parametrize("book", BOOKS)
def test_a_reading_between_two_printed_bands_belongs_to_the_warmer(book: str) -> None:
    # 50 to 51 °F and 70 to 71 °F: 10.3 °C and 21.05 °C.
    rules = [rule for rule in load(book).rules if rule.id.startswith("e-3 ")]
    assert len(rules) == 7
    for rule in rules:
        for between, begins in ((10.3, 10.0), (21.05, 21.0)):
            band = [b for b in load(book).bands(rule) if (b.above_c or 0) < between <= (b.up_to_c or math.inf)]
            assert [b.above_c for b in band] == [begins]


def test_a_sealed_bag_has_ten_days_above_3_degrees_or_thirty_days_in_the_us() -> None:
    assert load("US").limits["sealed.longest"].printed == "30 d"
    for book in ("GB", "EU"):
        limits = load(book).limits
        assert (limits["sealed.longest"].printed, limits["sealed.above"].printed) == ("10 d", "3.0 °C")
    assert load("EU").limits["sealed.longest"].borrowed
    assert not load("GB").limits["sealed.longest"].borrowed


# FDA Food Code 3-401.11(B), 2013, as a manual for ships reproduces it: °C, and the time in seconds.
ROASTS = [
    (54.4, 6720), (55.0, 5340), (56.1, 3360), (57.2, 2160), (57.8, 1680), (58.9, 1080), (60.0, 720), (61.1, 480),
    (62.2, 300), (62.8, 240), (63.9, 134), (65.0, 85), (66.1, 54), (67.2, 34), (68.3, 22), (69.4, 14), (70.0, 0),
]  # fmt: skip


def test_the_roast_table_is_that_of_the_food_code() -> None:
    assert [(row.at_c, row.scaled) for row in load("US").rows("cook.whole")] == ROASTS


def test_opened_meat_and_poultry_have_tables_of_their_own() -> None:
    book = load("US")
    assert [(row.at_c, row.scaled) for row in book.rows("cook.opened")] == [(63, 180), (66, 60), (68, 17), (70, 1)]
    assert [(row.at_c, row.scaled) for row in book.rows("cook.poultry")] == [(74, 15)]
    assert min(row.at_c or 0 for row in book.rows("cook.opened")) > min(
        row.at_c or 0 for row in book.rows("cook.whole")
    )


@pytest.mark.parametrize("book", ["GB", "EU"])
@pytest.mark.parametrize("table", ["cook.whole", "cook.opened", "cook.poultry"])
def test_outside_the_us_meat_is_cooked_at_70_degrees_for_2_minutes_or_the_like(book: str, table: str) -> None:
    rows = [(row.at_c, row.scaled) for row in load(book).rows(table)]
    assert rows == [(60, 5580), (65, 840), (70, 120), (75, 30), (80, 6)]


# Former 9 CFR 318.10, as reproduced: °C and seconds; freezing °C and days for thin and for thick pieces.
HEAT = [
    (49.0, 75600), (50.0, 34200), (51.1, 16200), (52.2, 7200), (53.4, 3600), (54.5, 1800), (55.6, 900), (56.7, 360),
    (57.8, 180), (58.9, 120), (60.0, 60), (61.1, 60), (62.2, 0),
]  # fmt: skip


@pytest.mark.parametrize("book", BOOKS)
def test_parasites_are_killed_by_the_published_frost_and_heat(book: str) -> None:
    found = load(book)
    day = 86_400
    assert [(row.at_c, row.scaled) for row in found.rows("parasite.heat")] == HEAT
    thin = [(row.at_c, row.scaled / day) for row in found.rows("parasite.freeze_thin")]
    thick = [(row.at_c, row.scaled / day) for row in found.rows("parasite.freeze_thick")]
    assert thin == [(-28.9, 6), (-23.3, 10), (-15.0, 20)]
    assert thick == [(-28.9, 12), (-23.3, 20), (-15.0, 30)]
    # From memory: °F and days of drying or smoking after the cure.
    dry = {75: 35, 80: 25, 85: 18, 90: 11, 95: 9, 100: 7, 105: 6, 110: 5, 115: 4, 120: 3, 125: 2, 130: 1.5}
    rows = found.rows("parasite.drying")
    assert {round((row.at_c or 0) * 1.8 + 32): row.scaled / day for row in rows} == dry
    assert {row.known for row in rows} == {"memory"}


@pytest.mark.parametrize("book", BOOKS)
def test_cured_cooling_needs_the_nitrite_that_makes_meat_protected(book: str) -> None:
    found = load(book)
    ways = {name: [(s.from_c, s.to_c, s.scaled / 3600) for s in found.steps(name)] for name in found.cooling}
    assert ways == {
        "two_stage": [(57, 21, 2), (57, 5, 6)],
        "cured": [(54.4, 26.7, 5), (26.7, 7.2, 10)],
    }
    assert found.cooling["two_stage"].nitrite is None
    needed = found.cooling["cured"].nitrite
    assert needed is not None
    assert (found.limits[needed].value, found.limits[needed].unit) == (100, "ppm NaNO2")


@pytest.mark.parametrize("book", BOOKS)
def test_warm_stages_have_the_published_window(book: str) -> None:
    found = load(book)
    ham, shoulder, rest = (found.windows[name] for name in ("ham", "shoulder", "ham.equalise"))
    assert (ham.after, shoulder.after) == ("window.ham_cure", "window.shoulder_cure")
    limits = found.limits
    said = [limits[name].printed for name in ("window.ham_cure", "window.shoulder_cure", "window.ceiling")]
    assert said == ["45 d", "25 d", "35.0 °C"]
    assert (rest.coolest, rest.warmest) == ("window.equalise_low", "window.equalise_high")
    come_up = limits["cook.come_up"]
    assert (come_up.from_c, come_up.to_c, come_up.scaled) == (10.0, 54.4, 6 * 3600)


HOUSE = {
    "nitrite.reject_factor": 2, "nitrite.least_share": 50, "nitrite.method_one_pickup": 10, "scale.stop_factor": 2,
    "salt.aqueous_least": 2.5, "brine.weakest": 5, "check.notice": 30, "check.tolerance_fixed": 0.5,
    "check.tolerance_hand": 1.0, "neighbour.difference": 1.5, "neighbour.time": 2, "start.brine_age": 48,
    "vessel.stainless_longest": 72,
}  # fmt: skip


@pytest.mark.parametrize("book", BOOKS)
def test_numbers_without_a_source_say_house(book: str) -> None:
    limits = load(book).limits
    assert {name: limits[name].value for name in HOUSE} == HOUSE
    assert {limits[name].known for name in HOUSE} == {"house"}


@pytest.mark.parametrize("book", BOOKS)
def test_show_prints_every_limit_class_and_table_of_every_rulebook(book: str) -> None:
    answer = CliRunner().invoke(main, ["rulebook", "show", book])
    assert answer.exit_code == 0
    text = " ".join(answer.output.split())
    found = load(book)
    for row in found.limits.values():
        start = text.index(f" {row.id} {row.printed}")
        printed = text[start : start + 900]
        assert f"source: {row.source}; edition {row.edition}" in printed, row.id
        assert (row.note or row.id) in printed, row.id
    for one in found.classes.values():
        assert f"{one.id}: {one.words}" in text
    words = [one.words for one in found.tables.values()]
    words += [one.words for one in found.cooling.values()] + [one.words for one in found.windows.values()]
    assert [said for said in words if said not in text] == []
    assert max(map(len, answer.output.splitlines())) <= 100


def test_a_rulebook_does_not_differ_from_itself() -> None:
    assert differences(load("US"), load("US")) == ()


def test_a_changed_limit_is_told_with_old_and_new_value_and_source() -> None:
    text = shipped("US").replace('id = "excursion.hold"\nvalue = 4\n', 'id = "excursion.hold"\nvalue = 3\n')
    new = read_rulebook(text)
    assert isinstance(new, Rulebook)
    (one,) = differences(load("US"), new)
    assert (one.kind, one.id, one.old, one.new, one.also, one.source) == (
        "limit", "excursion.hold", "4 h", "3 h", (), "house",
    )  # fmt: skip


def test_what_only_one_rulebook_has_is_told_on_its_side() -> None:
    found = {(one.kind, one.id): one for one in differences(load("US"), load("GB"))}
    assert (found["limit", "cold.law"].old, found["limit", "cold.law"].new) == ("", "8.0 °C")
    assert (found["limit", "nitrite.dry"].old, found["limit", "nitrite.dry"].new) == ("625 ppm NaNO2", "")
    assert (found["limit", "sealed.longest"].old, found["limit", "sealed.longest"].new) == ("30 d", "10 d")
    assert ("class", "bacon.dry") in found
    assert found["class", "heat_treated"].new == "there"
    assert ("rule", "e-10") in found
    back = {(one.kind, one.id): one for one in differences(load("GB"), load("US"))}
    assert back.keys() == found.keys()
    assert all((one.old, one.new) == (back[key].new, back[key].old) for key, one in found.items())


def test_diff_compares_two_shipped_rulebooks_and_a_file(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text(shipped("US").replace("value = 625\n", "value = 500\n"), encoding="utf-8")
    mine = CliRunner().invoke(main, ["rulebook", "diff", "us", str(file)])
    file.write_text("id = 3", encoding="utf-8")
    faulty = CliRunner().invoke(main, ["rulebook", "diff", "us", str(file)])
    assert mine.exit_code == 0
    assert "1 difference\n" in mine.output
    assert "limit nitrite.dry: 625 ppm NaNO2 → 500 ppm NaNO2" in mine.output
    assert "source: 9 CFR 424.21(c)" in mine.output
    assert faulty.exit_code == 1
    assert "file id: 3 is not a text in quotes" in faulty.output


def test_diff_compares_two_shipped_rulebooks() -> None:
    both = CliRunner().invoke(main, ["rulebook", "diff", "US", "EU"])
    assert both.exit_code == 0
    assert "limit sealed.longest: 30 d → 10 d" in both.output
    nothing = CliRunner().invoke(main, ["rulebook", "diff", "US", "MARS"])
    assert nothing.exit_code == 1
    assert "MARS is no file, and no shipped rulebook; shipped are EU, GB, US" in nothing.output

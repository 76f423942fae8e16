"""Vessels by the words that people use for them."""

import pytest

from alerts.vessel import bare_metal, stainless


@pytest.mark.parametrize(
    ("said", "metal"),
    [
        ("aluminium", "aluminium"), ("bare Aluminum pan", "aluminum"), ("cast-iron pot", "iron"),
        ("galvanised tub", "galvanised"), ("chipped enamel", "chipped enamel"), ("plastic", ""), ("", ""),
        ("stainless steel", ""), ("enamel", ""), ("environmental plastic", ""), ("glass", ""),
    ],
)  # fmt: skip
def test_bare_metal_is_told_from_the_words(said: str, metal: str) -> None:
    assert bare_metal(said) == metal


def test_stainless_is_no_bare_metal_and_is_told_apart() -> None:
    assert stainless("Stainless steel tub")
    assert not stainless("plastic")

"""The rulebooks that are shipped, read from beside this module. Shell: it reads files of the package."""

from functools import cache
from importlib.resources import files

from alerts.rulebook.book import Rulebook
from alerts.rulebook.loader import read_rulebook


class NoSuchRulebookError(LookupError):
    """No rulebook is shipped for an authority."""


def names() -> tuple[str, ...]:
    """Return the authorities for which a rulebook is shipped, in order."""
    found = (entry.name for entry in files("alerts.rulebook").iterdir() if entry.name.endswith(".toml"))
    return tuple(sorted(name.removesuffix(".toml").upper() for name in found))


@cache
def load(authority: str) -> Rulebook:
    """Return the shipped rulebook of an authority (`US`); NoSuchRulebookError where there is none."""
    if authority not in names():
        raise NoSuchRulebookError(f"no rulebook is shipped for {authority!r}; there is one for {', '.join(names())}")
    text = (files("alerts.rulebook") / f"{authority.lower()}.toml").read_text(encoding="utf-8")
    book = read_rulebook(text)
    assert isinstance(book, Rulebook), f"the shipped rulebook {authority} is faulty: {book}"
    return book

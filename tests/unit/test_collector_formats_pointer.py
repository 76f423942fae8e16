"""JSON Pointer: the vectors of RFC 6901, sections 5 and 6, and those of its public test data for errors."""

import pytest

from collector.formats.pointer import is_from_root, value_at
from collector.sample import Refusal

DOCUMENT: dict[str, object] = {
    "foo": ["bar", "baz"],
    "": 0,
    "a/b": 1,
    "c%d": 2,
    "e^f": 3,
    "g|h": 4,
    "i\\j": 5,
    'k"l': 6,
    " ": 7,
    "m~n": 8,
}
VECTORS = [
    ("", DOCUMENT),
    ("/foo", ["bar", "baz"]),
    ("/foo/0", "bar"),
    ("/", 0),
    ("/a~1b", 1),
    ("/c%d", 2),
    ("/e^f", 3),
    ("/g|h", 4),
    ("/i\\j", 5),
    ('/k"l', 6),
    ("/ ", 7),
    ("/m~0n", 8),
]
FRAGMENTS = [
    ("#", DOCUMENT),
    ("#/foo", ["bar", "baz"]),
    ("#/foo/0", "bar"),
    ("#/", 0),
    ("#/a~1b", 1),
    ("#/c%25d", 2),
    ("#/e%5Ef", 3),
    ("#/g%7Ch", 4),
    ("#/i%5Cj", 5),
    ("#/k%22l", 6),
    ("#/%20", 7),
    ("#/m~0n", 8),
]
ERRORS = [
    ("foo", "pointer_syntax"),
    ("/~", "pointer_syntax"),
    ("/~2", "pointer_syntax"),
    ("/m~", "pointer_syntax"),
    ("#/%2", "pointer_syntax"),
    ("#/%FF", "pointer_syntax"),
    ("/" + "a" * 501, "pointer_syntax"),
    ("/foo/01", "pointer_missing"),
    ("/foo/-1", "pointer_missing"),
    ("/foo/2", "pointer_missing"),
    ("/foo/-", "pointer_missing"),
    ("/foo/", "pointer_missing"),
    ("/foo/0/0", "pointer_missing"),
    ("/foo/٠", "pointer_missing"),
    ("/foo/" + "9" * 400, "pointer_missing"),
    ("/nowhere", "pointer_missing"),
    ("//", "pointer_missing"),
]


@pytest.mark.parametrize(("pointer", "value"), [*VECTORS, *FRAGMENTS])
def test_a_pointer_of_the_rfc_gives_its_value(pointer: str, value: object) -> None:
    assert value_at(DOCUMENT, pointer) == value


@pytest.mark.parametrize(("pointer", "code"), ERRORS)
def test_a_pointer_without_value_is_a_refusal(pointer: str, code: str) -> None:
    refusal = value_at(DOCUMENT, pointer)
    assert isinstance(refusal, Refusal)
    assert refusal.code == code


def test_the_escape_of_a_slash_is_resolved_before_that_of_a_tilde() -> None:
    assert value_at({"~1": "tilde one", "/": "slash"}, "/~01") == "tilde one"


def test_null_is_a_value_and_no_refusal() -> None:
    assert value_at({"a": None}, "/a") is None


def test_only_the_fragment_form_starts_from_the_top() -> None:
    assert is_from_root("#/Time")
    assert not is_from_root("/Time")

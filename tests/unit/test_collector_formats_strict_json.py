"""Strict JSON: what Python's own reader lets through is refused, by a code, without an exception."""

import pytest

from collector.formats import strict_json
from collector.formats.strict_json import DEEPEST, LIMIT_BYTES, PACK_LIMIT_BYTES, loads
from collector.sample import Refusal

HOSTILE = [
    (b'{"a":NaN}', "not_finite"),
    (b"Infinity", "not_finite"),
    (b"[-Infinity]", "not_finite"),
    (b"1e400", "not_finite"),
    (b'{"a":-1e400}', "not_finite"),
    (b'{"a":1,"a":2}', "duplicate_key"),
    (b'[{"x":{"a":1,"b":2,"a":1}}]', "duplicate_key"),
    (b'{"a":1,"\\u0061":2}', "duplicate_key"),
    (b"[" * 5000 + b"]" * 5000, "too_deep"),
    (b"[" * 5000, "too_deep"),
    (b'{"a":' * 5000 + b"1" + b"}" * 5000, "too_deep"),
    (b'["]"' + b',["]"' * 40 + b"]" * 41, "too_deep"),
    (b"1" * 400, "huge_number"),
    (b"-" + b"9" * 21, "huge_number"),
    (b"1" * 5000, "huge_number"),
    (b"0." + b"1" * 400, "huge_number"),
    (b'"\\ud800"', "lone_surrogate"),
    (b'{"\\uDFFF":1}', "lone_surrogate"),
    (b'[{"a":["\\ude00\\ud83d"]}]', "lone_surrogate"),
    (b'"\xed\xa0\x80"', "not_utf8"),
    (b'{"a":"\xff"}', "not_utf8"),
    ('{"a":1}'.encode("utf-16"), "not_utf8"),
    (b"\xef\xbb\xbf1", "not_json"),
    (b"", "empty"),
    (b" \n", "empty"),
    (b"{'a':1}", "not_json"),
    (b'{"a":1,}', "not_json"),
    (b"[1] 2", "not_json"),
    (b'"a\nb"', "not_json"),
    (b"01", "not_json"),
    (b".5", "not_json"),
    (b'"' + b'\\"' * 30_000, "not_json"),
    (b'"' * 60_001, "not_json"),
    (b"[]" * 30_000, "not_json"),
    (b" " * LIMIT_BYTES + b"1", "too_large"),
]


@pytest.mark.parametrize(("payload", "code"), HOSTILE, ids=lambda given: repr(given)[:24])
def test_a_hostile_payload_is_refused_by_its_code(payload: bytes, code: str) -> None:
    refusal = loads(payload)
    assert isinstance(refusal, Refusal)
    assert refusal.code == code
    assert refusal.reason
    assert len(refusal.reason) < 250
    assert refusal.reason.isprintable()


@pytest.mark.parametrize(
    ("payload", "value"),
    [
        (b'{"a":[1,2.5,true,null,"x"]}', {"a": [1, 2.5, True, None, "x"]}),
        (b"18446744073709551616", 2**64),
        (b'"\\ud83e\\uddc2"', "\U0001f9c2"),
        (b'"\\\\ud800"', "\\ud800"),
        ('"Küche"'.encode(), "Küche"),
        (b'["[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[{{{{"]', ["[" * 40 + "{" * 4]),
        (b'["\\"[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[["]', ['"' + "[" * 38]),
        (b" 4.1 ", 4.1),
    ],
)
def test_plain_json_is_read(payload: bytes, value: object) -> None:
    assert loads(payload) == value


def test_the_deepest_nesting_is_read_and_one_more_is_not() -> None:
    assert DEEPEST == 32
    deep = b"[" * DEEPEST + b"]" * DEEPEST
    assert not isinstance(loads(deep), Refusal)
    assert not isinstance(loads(b"[" + b"[]," * 100 + b"1]"), Refusal)
    refusal = loads(b"[" + deep + b"]")
    assert isinstance(refusal, Refusal)
    assert refusal.code == "too_deep"


def test_a_pack_may_be_longer_where_the_caller_says_so() -> None:
    payload = b"[" + b"1," * 40_000 + b"1]"
    assert isinstance(loads(payload), Refusal)
    assert not isinstance(loads(payload, limit_bytes=PACK_LIMIT_BYTES), Refusal)


def test_what_is_quoted_from_a_payload_is_short_and_printable() -> None:
    shown = strict_json.quoted("a\x00\u202e\ud800é" + "x" * 500)
    assert shown.isprintable()
    assert len(shown) < 100
    assert "é" in shown

"""Strict CBOR: what lures a reader is refused by a code, within bounds of time and memory, without an exception."""

import time
import tracemalloc

import cbor2
import pytest

from collector.formats.strict_cbor import MOST_CONTAINERS, loads
from collector.formats.strict_json import DEEPEST, LIMIT_BYTES
from collector.sample import Refusal

ARRAY_64K = bytes.fromhex("99fff0")
HOSTILE: dict[str, tuple[bytes, str]] = {
    "nothing": (b"", "empty"),
    "5,000 arrays in each other": (b"\x81" * 5000 + b"\x01", "too_deep"),
    "5,000 maps in each other": (b"\xa1\x61a" * 5000 + b"\x01", "too_deep"),
    "60,000 tags in each other": (b"\xc4" * 60_000 + b"\x01", "too_deep"),
    "an array of 2**64 items": (bytes.fromhex("9bffffffffffffffff"), "not_cbor"),
    "an array of 4 Gi items": (bytes.fromhex("9affffffff01"), "not_cbor"),
    "a map of 2**64 items": (bytes.fromhex("bbffffffffffffffff"), "not_cbor"),
    "a text of 4 GiB": (bytes.fromhex("7affffffff61"), "not_cbor"),
    "a text of 2**64 bytes": (bytes.fromhex("7bffffffffffffffff61"), "not_cbor"),
    "a byte string of 4 GiB": (bytes.fromhex("5affffffff") + b"x" * 60_000, "not_cbor"),
    "an array of indefinite length": (bytes.fromhex("9f01ff"), "indefinite"),
    "a map of indefinite length": (bytes.fromhex("bf616101ff"), "indefinite"),
    "a text of indefinite length": (bytes.fromhex("7f6161ff"), "indefinite"),
    "5,000 indefinite arrays": (b"\x9f" * 5_000, "indefinite"),
    "a key twice": (bytes.fromhex("a2616101616102"), "duplicate_key"),
    "a key as number and as its digits": (bytes.fromhex("a20101613102"), "duplicate_key"),
    "an array for a key": (bytes.fromhex("a1810102"), "bad_key"),
    "a byte string for a key": (bytes.fromhex("a1416102"), "bad_key"),
    "a fraction for a key": (bytes.fromhex("a1f93e0002"), "bad_key"),
    "a map for a key": (bytes.fromhex("a1a1010202"), "not_cbor"),
    "not a number": (bytes.fromhex("a16163f97e00"), "not_finite"),
    "infinity deep inside": (bytes.fromhex("8181a16163f97c00"), "not_finite"),
    "a text that is no UTF-8": (bytes.fromhex("61ff"), "not_utf8"),
    "a text with half a character": (bytes.fromhex("63eda080"), "not_utf8"),
    "a number without bounds": (b"\xc2\x59\xff\x00" + b"\xff" * 0xFF00, "tag"),
    "a pattern": (bytes.fromhex("d8236161"), "tag"),
    "an array that holds itself": (bytes.fromhex("d81c81d81d00"), "tag"),
    "repeated texts by number": (bytes.fromhex("d9010082616161" + "61"), "tag"),
    "a tag that nobody knows": (bytes.fromhex("d9fff001"), "tag"),
    "a time in a byte string": (bytes.fromhex("c14101"), "tag"),
    "a decimal fraction of texts": (bytes.fromhex("c482616101"), "tag"),
    "a decimal fraction beyond all numbers": (bytes.fromhex("c4821bffffffffffffffff01"), "not_finite"),
    "two items": (b"\x01\x02", "not_cbor"),
    "half an item": (bytes.fromhex("a1616119"), "not_cbor"),
    "an item of a reserved kind": (b"\x1c", "not_cbor"),
    "an end without a beginning": (b"\xff", "not_cbor"),
    "undefined": (b"\xf7", "bad_item"),
    "65,000 empty arrays": (ARRAY_64K + b"\x80" * 0xFFF0, "too_many"),
    "65,000 empty maps": (ARRAY_64K + b"\xa0" * 0xFFF0, "too_many"),
    "32,000 arrays in pairs": (bytes.fromhex("997fe0") + b"\x81\x80" * 0x7FE0, "too_many"),
    "more maps than are read": (bytes.fromhex("991f41") + b"\xa0" * (MOST_CONTAINERS + 1), "too_many"),
    "a byte too many": (ARRAY_64K + b"\x00" * (LIMIT_BYTES - 2), "too_large"),
}


@pytest.mark.parametrize(("payload", "code"), HOSTILE.values(), ids=HOSTILE.keys())
def test_a_hostile_payload_is_refused_by_its_code_soon_and_in_bounded_memory(payload: bytes, code: str) -> None:
    took_s = []
    for _ in range(3):
        begun = time.perf_counter()
        refusal = loads(payload)
        took_s.append(time.perf_counter() - begun)
        assert isinstance(refusal, Refusal)
        assert refusal.code == code
        assert refusal.reason.isprintable()
    # The best of three: another process may hold the machine for longer than that.
    assert min(took_s) < 0.010
    tracemalloc.start()
    loads(payload)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 10 * len(payload) + 1_000_000


@pytest.mark.parametrize(
    ("payload", "value"),
    [
        ("d9d9f7a1616301", {"c": 1}),
        ("c48221190141", 3.21),
        ("c4820103", 30.0),
        ("a220fb40106666666666660101", {"-1": 4.1, "1": 1}),
        ("81c11a514b67b0", [1363896240]),
    ],
)
def test_what_a_device_may_send_beside_the_plain_items(payload: str, value: object) -> None:
    assert loads(bytes.fromhex(payload)) == value


def test_whole_numbers_that_are_keys_get_the_names_that_are_given() -> None:
    assert loads(bytes.fromhex("a2200121f5"), labels={-1: "bver"}) == {"bver": 1, "-2": True}


def test_a_crowded_looking_payload_of_texts_is_read() -> None:
    # Continuation bytes of UTF-8 look like the heads of arrays to whoever counts bytes.
    text = "\u4e00" * 15_000
    assert loads(cbor2.dumps({"note": text})) == {"note": text}


def test_the_deepest_nesting_is_read_and_one_more_is_not() -> None:
    deepest = loads(b"\x81" * DEEPEST + b"\x01")
    assert isinstance(deepest, list)
    one_more = loads(b"\x81" * (DEEPEST + 1) + b"\x01")
    assert isinstance(one_more, Refusal)

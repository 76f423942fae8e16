"""JSON as RFC 8259 means it, and no wider: what Python's reader lets through by kindness is refused here. Pure."""

import json
import re

import numpy as np

from collector.sample import Refusal

LIMIT_BYTES = 64 * 1024
"""The longest payload of one reading or a few. House limit."""
PACK_LIMIT_BYTES = 1024 * 1024
"""The longest pack, for a device that has queued readings through an outage. House limit."""
DEEPEST = 32
"""Levels of arrays and objects that may stand in each other. House limit."""
LONGEST_INTEGER = 20
"""Digits of 2**64; longer ones are no count and no measurement. House limit."""
LONGEST_NUMBER = 64
"""Characters of one number with fraction or exponent; a double needs 25 at most. House limit."""

# Possessive, and the closing quote is optional: an open string full of escaped quotes is read once, not once per quote.
_STRING = re.compile(rb'"(?:[^"\\]++|\\.)*+"?', re.DOTALL)
_NOT_A_BRACKET = bytes(set(range(256)) - set(b"[]{}"))
_SURROGATE_ESCAPE = re.compile(r"\\u[dD][89a-fA-F]")


class _Refused(ValueError):
    """Carries a refusal out of the reader's own hooks; never leaves this module."""

    def __init__(self, refusal: Refusal) -> None:
        super().__init__(refusal.reason)
        self.refusal = refusal


def loads(payload: bytes, *, limit_bytes: int = LIMIT_BYTES) -> object | Refusal:
    """Return what the payload says (dict, list, str, float, int, bool or None), or why it is refused; never raises.

    >>> loads(b'{"temperature": 4.1}')
    {'temperature': 4.1}
    >>> loads(b'{"temperature": NaN}').code
    'not_finite'
    """
    text = _text(payload, limit_bytes)
    if isinstance(text, Refusal):
        return text
    if _depth(payload) > DEEPEST:
        return Refusal(
            "too_deep", f"arrays and objects stand deeper than {DEEPEST} levels in each other; send it flatter"
        )
    if text.startswith("\ufeff"):
        return Refusal("not_json", "not JSON: it begins with a byte order mark; send JSON as in RFC 8259")
    try:
        value: object = _READER.decode(text)
    except _Refused as refused:
        return refused.refusal
    except json.JSONDecodeError as error:
        return Refusal("not_json", f"not JSON: {error.msg} at character {error.pos}; send JSON as in RFC 8259")
    if _SURROGATE_ESCAPE.search(text) and any(_has_lone_surrogate(s) for s in _strings(value)):
        return Refusal(
            "lone_surrogate", "a text holds half a character (lone surrogate); send both halves, or plain UTF-8"
        )
    return value


def quoted(text: str, longest: int = 60) -> str:
    r"""Return a text from outside as it may stand in a sentence: in quotes, unprintable characters escaped, cut short.

    >>> quoted("a\tb", 60) == r"'a\tb'"
    True
    """
    return repr(text if len(text) <= longest else text[:longest] + "...")


def _text(payload: bytes, limit_bytes: int) -> str | Refusal:
    if len(payload) > limit_bytes:
        return Refusal("too_large", f"{len(payload)} bytes where at most {limit_bytes} are read; send smaller messages")
    if not payload.strip():
        return Refusal("empty", "the payload is empty; nothing was measured")
    try:
        return payload.decode("utf-8")
    except UnicodeDecodeError as error:
        return Refusal("not_utf8", f"byte {error.start} is not UTF-8; send UTF-8 text")


def _depth(payload: bytes) -> int:
    """Return an upper bound of the nesting, exact wherever it is above the limit and the brackets pair up."""
    if payload.count(b"[") + payload.count(b"{") <= DEEPEST:
        return 0
    brackets = np.frombuffer(_STRING.sub(b"", payload).translate(None, _NOT_A_BRACKET), dtype=np.uint8)
    opens = (brackets == ord("[")) | (brackets == ord("{"))
    return int(np.cumsum(np.where(opens, 1, -1)).max(initial=0))


def _constant(name: str) -> object:
    raise _Refused(Refusal("not_finite", f"{name} is no number in JSON; leave the value out or send null"))


def _integer(digits: str) -> int:
    if len(digits.lstrip("-")) > LONGEST_INTEGER:
        raise _Refused(Refusal("huge_number", f"an integer of more than {LONGEST_INTEGER} digits; send a measurement"))
    return int(digits)


def _fraction(digits: str) -> float:
    if len(digits) > LONGEST_NUMBER:
        raise _Refused(Refusal("huge_number", f"a number of more than {LONGEST_NUMBER} characters; send fewer digits"))
    value = float(digits)
    if value in (float("inf"), float("-inf")):
        raise _Refused(
            Refusal("not_finite", f"{digits} is larger than any number that can be kept; send a measurement")
        )
    return value


def _object(pairs: list[tuple[str, object]]) -> dict[str, object]:
    members = dict(pairs)
    if len(members) < len(pairs):
        seen: set[str] = set()
        twice = next(key for key, _ in pairs if key in seen or seen.add(key))  # type: ignore[func-returns-value]
        raise _Refused(Refusal("duplicate_key", f"the name {quoted(twice)} stands twice in one object; send it once"))
    return members


# Made once: `json.loads` with hooks of one's own makes a new reader for every message.
_READER = json.JSONDecoder(
    parse_constant=_constant, parse_float=_fraction, parse_int=_integer, object_pairs_hook=_object
)


def _strings(value: object) -> list[str]:
    found: list[str] = []
    pending = [value]
    while pending:
        match pending.pop():
            case str(text):
                found.append(text)
            case list(items):
                pending.extend(items)
            case dict(members):
                found.extend(members)
                pending.extend(members.values())
    return found


def _has_lone_surrogate(text: str) -> bool:
    return any("\ud800" <= character <= "\udfff" for character in text)

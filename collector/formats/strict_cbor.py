"""CBOR as RFC 8949 means it, and narrower: what a reading needs, and nothing that a reader could be lured by. Pure."""

from collections.abc import Callable, Iterator, Mapping
from io import BytesIO
from math import isfinite

import cbor2

from collector.formats.strict_json import DEEPEST, LIMIT_BYTES, quoted
from collector.sample import Refusal

MOST_CONTAINERS = 8_000
"""Arrays, or maps, of one payload. An empty one takes a byte to send and 64 to keep. House limit."""
MOST_ITEMS = 20_000
"""Items of one payload that may be crowded with arrays: making one costs more than reading it. House limit."""
SELF_DESCRIBED = b"\xd9\xd9\xf7"
"""What a payload may begin with to say that it is CBOR (tag 55799; RFC 8949, section 3.4.6)."""

_TEXT_TIME, _NUMBER_TIME, _DECIMAL = 0, 1, 4
_CONTAINERS = bytes(range(0x80, 0xBC))
_STRINGS = (2, 3)
_PLAIN = frozenset((dict, list, str, bytes, int, float, bool, type(None)))
_WORDS = {
    "nesting depth": ("too_deep", f"arrays, maps and tags stand deeper than {DEEPEST} levels; send it flatter"),
    "indefinite": ("indefinite", "an item of indefinite length; send definite lengths, so that a cut one is seen"),
    "Duplicate map key": ("duplicate_key", "a key stands twice in one map; send it once"),
}
"""What the library says, and what that is here; anything else is no CBOR."""


class _Refused(ValueError):
    """Carries a refusal out of the library's hooks; never leaves this module."""

    def __init__(self, code: str, reason: str) -> None:
        super().__init__(reason)
        self.refusal = Refusal(code, reason)


class _Tags(Mapping[int, Callable[[object, bool], object]]):
    """A reader for every tag: times and decimal fractions become what they hold, all others are refused.

    The library would make dates, patterns, references and numbers of any size of them.
    """

    def __getitem__(self, tag: int) -> Callable[[object, bool], object]:
        return lambda value, _: _untagged(tag, value)

    def __contains__(self, tag: object) -> bool:
        return True

    def __iter__(self) -> Iterator[int]:
        return iter(())

    def __len__(self) -> int:
        return 0


_TAGS = _Tags()


def loads(
    payload: bytes, *, labels: Mapping[int, str] | None = None, limit_bytes: int = LIMIT_BYTES
) -> object | Refusal:
    """Return what the payload says (dict, list, str, bytes, float, int, bool or None), or why not; never raises.

    The keys of its maps become texts: a whole number its digits, or what `labels` call it. Tags 0 and 1 (times) and 4
    (a decimal fraction) become the text or number that they hold; any other tag is refused, and so is what has an
    indefinite length, is not finite, or stands after the one item that a payload is.

    >>> loads(bytes.fromhex("a16474656d70fb4010666666666666"))
    {'temp': 4.1}
    >>> loads(bytes.fromhex("f97e00")).code
    'not_finite'
    """
    if len(payload) > limit_bytes:
        return Refusal("too_large", f"{len(payload)} bytes where at most {limit_bytes} are read; send smaller messages")
    if not payload:
        return Refusal("empty", "the payload is empty; nothing was measured")
    if _is_crowded(payload):
        return _too_many().refusal
    stream = BytesIO(payload.removeprefix(SELF_DESCRIBED))
    try:
        value: object = _decoder(stream, labels or {}).decode()
    except cbor2.CBORDecodeEOF:
        return Refusal("not_cbor", "not CBOR: it ends before its last item does; send it whole")
    except (cbor2.CBORDecodeError, ValueError, TypeError, OverflowError) as error:
        return _reason(error)
    if stream.read(1):
        return Refusal("not_cbor", "not CBOR: more than one item; send one array or map")
    return _refusal(value) or value


def _is_crowded(payload: bytes) -> bool:
    """Return whether a payload that may be full of arrays has too many items; strings are passed over, not read."""
    if len(payload) - len(payload.translate(None, _CONTAINERS)) <= MOST_CONTAINERS:
        return False
    place = items = 0
    while place < len(payload) and items <= MOST_ITEMS:
        kind, size = divmod(payload[place], 32)
        place += 1
        items += 1
        if 24 <= size <= 27:
            width = 1 << (size - 24)
            size = int.from_bytes(payload[place : place + width], "big")
            place += width
        if kind in _STRINGS:
            place += size
    return items > MOST_ITEMS


def _decoder(stream: BytesIO, labels: Mapping[int, str]) -> cbor2.CBORDecoder:
    return cbor2.CBORDecoder(
        stream,
        tag_hook=lambda tag, _: _untagged(tag.tag, tag.value),
        object_hook=_Maps(labels).named,
        semantic_decoders=_TAGS,
        max_depth=DEEPEST,
        allow_indefinite=False,
        allow_duplicate_keys=False,
    )


class _Maps:
    """The maps of one payload, counted, each with its keys as texts."""

    def __init__(self, labels: Mapping[int, str]) -> None:
        self._labels = labels
        self._count = 0

    def named(self, members: Mapping[object, object], _: bool) -> Mapping[object, object]:
        self._count += 1
        if self._count > MOST_CONTAINERS:
            raise _too_many()
        if all(type(key) is str for key in members):
            return members
        named: dict[object, object] = {}
        for key, value in members.items():
            if type(key) is int:
                key = self._labels.get(key, str(key))
            elif type(key) is not str:
                raise _Refused("bad_key", "a key of a map is neither a text nor a whole number; send one of these")
            if key in named:
                raise _Refused("duplicate_key", f"the name {quoted(key)} stands twice in one map; send it once")
            named[key] = value
        return named


def _too_many() -> _Refused:
    return _Refused("too_many", f"more than {MOST_CONTAINERS} arrays or maps; send fewer in one message")


def _untagged(tag: int, value: object) -> object:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if (tag == _TEXT_TIME and isinstance(value, str)) or (tag == _NUMBER_TIME and number):
        return value
    if tag == _DECIMAL and isinstance(value, list | tuple) and [type(part) for part in value] == [int, int]:
        return float(f"{value[1]}e{value[0]}")
    raise _Refused("tag", f"tag {tag} is not read, or holds what it may not; send a plain text or number")


def _reason(error: Exception) -> Refusal:
    cause = error if isinstance(error, _Refused) else error.__cause__
    if isinstance(cause, _Refused):
        return cause.refusal
    if isinstance(cause, UnicodeDecodeError):
        return Refusal("not_utf8", "a text is not UTF-8; send UTF-8, or a byte string")
    said = str(error)
    found = next((Refusal(*meant) for words, meant in _WORDS.items() if words in said), None)
    return found or Refusal("not_cbor", f"not CBOR: {quoted(said, 120)}; send CBOR as in RFC 8949")


def _refusal(value: object) -> Refusal | None:
    """Return why something in the value cannot be read; looks at every level once, without recursion."""
    pending: list[object] = [[value]]
    while pending:
        container = pending.pop()
        items = list(container.values()) if isinstance(container, dict) else container
        assert isinstance(items, list)
        kinds = set(map(type, items))
        if not kinds <= _PLAIN:
            return Refusal("bad_item", "undefined, or a simple value without a meaning; leave it out or send null")
        if float in kinds and not all(isfinite(item) for item in items if type(item) is float):
            return Refusal("not_finite", "a number that is not finite; leave the value out or send null")
        if dict in kinds or list in kinds:
            if len(items) + len(pending) > 2 * MOST_CONTAINERS:
                return _too_many().refusal
            pending += [item for item in items if type(item) in (dict, list)]
    return None

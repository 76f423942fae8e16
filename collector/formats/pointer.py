"""JSON Pointer, RFC 6901: one place in a JSON document. Pure."""

import re
from functools import lru_cache
from urllib.parse import unquote_to_bytes

from collector.formats.strict_json import quoted
from collector.sample import Refusal

LONGEST = 500
"""Characters of one pointer. House limit."""

_INDEX = re.compile(r"0|[1-9][0-9]{0,9}")
_ESCAPE_BROKEN = re.compile(r"~(?![01])")
_PERCENT_BROKEN = re.compile(r"%(?![0-9A-Fa-f]{2})")


@lru_cache(maxsize=1024)
def parse(pointer: str) -> tuple[str, ...] | Refusal:
    """Return the reference tokens of a pointer, unescaped, or what is wrong with its spelling.

    A pointer that begins with `#` is the fragment form of section 6, percent-encoded; `is_from_root` tells them apart.

    >>> parse("/m~0n/0")
    ('m~n', '0')
    """
    text = _from_fragment(pointer[1:]) if pointer.startswith("#") else pointer
    if isinstance(text, Refusal):
        return text
    if len(text) > LONGEST:
        return _misspelt(pointer, f"is longer than {LONGEST} characters")
    if not text:
        return ()
    if not text.startswith("/"):
        return _misspelt(pointer, "must be empty or begin with /")
    if _ESCAPE_BROKEN.search(text):
        return _misspelt(pointer, "has a ~ that is not ~0 (for ~) or ~1 (for /)")
    # ~1 first: `~01` is the key `~1`, not `/` (RFC 6901, section 4).
    return tuple(token.replace("~1", "/").replace("~0", "~") for token in text[1:].split("/"))


def is_from_root(pointer: str) -> bool:
    """Return whether the pointer is in fragment form, and so always meant from the top of the document."""
    return pointer.startswith("#")


def value_at(document: object, pointer: str) -> object | Refusal:
    """Return the value at the pointer, or why there is none (`pointer_syntax`, `pointer_missing`); never raises.

    >>> value_at({"foo": ["bar", "baz"]}, "/foo/1")
    'baz'
    """
    tokens = parse(pointer)
    if isinstance(tokens, Refusal):
        return tokens
    value = document
    for token in tokens:
        if isinstance(value, dict) and token in value:
            value = value[token]
        elif isinstance(value, list) and _INDEX.fullmatch(token) and int(token) < len(value):
            value = value[int(token)]
        else:
            return Refusal("pointer_missing", f"nothing stands at {quoted(pointer)} (looked for {quoted(token)})")
    return value


def _from_fragment(fragment: str) -> str | Refusal:
    if _PERCENT_BROKEN.search(fragment):
        return _misspelt("#" + fragment, "has a % that is not followed by two hexadecimal digits")
    try:
        return unquote_to_bytes(fragment).decode("utf-8")
    except UnicodeError:
        return _misspelt("#" + fragment, "is not UTF-8 once the % are resolved")


def _misspelt(pointer: str, what: str) -> Refusal:
    return Refusal("pointer_syntax", f"the pointer {quoted(pointer)} {what}")

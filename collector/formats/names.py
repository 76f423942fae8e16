"""Topics and channel names: what may be one, which filter takes which topic, and names made from their parts. Pure."""

import re
from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Literal, TypeAlias

from collector.formats import pointer
from collector.formats.strict_json import quoted
from collector.sample import Refusal

LONGEST_TOPIC = 512
"""Characters. House limit; MQTT allows 65,535 bytes."""
LONGEST_CHANNEL = 200
"""Characters. House limit."""

Part: TypeAlias = tuple[Literal["text", "capture", "pointer"], str]

# C0, DEL, C1, line and paragraph separators, and half characters, which no store can keep.
_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]")
_CAPTURE = re.compile(r"\{([A-Za-z_][A-Za-z0-9_]*)\}")
_BRACES = re.compile(r"\{([^{}]*)\}")


def has_control(text: str) -> bool:
    """Return whether a text holds a character that no name may hold."""
    return _CONTROL.search(text) is not None


def topic_refusal(topic: str) -> Refusal | None:
    """Return why a topic cannot be one a message was sent to (MQTT 3.1.1, section 4.7.3), or None."""
    if not topic:
        return Refusal("bad_topic", "the topic is empty; publish to a named one")
    if len(topic) > LONGEST_TOPIC:
        return Refusal("bad_topic", f"a topic of {len(topic)} characters; at most {LONGEST_TOPIC} are read")
    if has_control(topic):
        return Refusal("bad_topic", f"the topic {quoted(topic)} holds a control character; use printable ones")
    if "+" in topic or "#" in topic:
        return Refusal("bad_topic", f"the topic {quoted(topic)} holds + or #, which belong in filters only")
    return None


def channel_refusal(channel: str) -> Refusal | None:
    """Return why a text cannot name a channel, or None."""
    if not channel or channel != channel.strip():
        return Refusal("bad_channel", f"the channel name {quoted(channel)} is empty or begins or ends with a space")
    if len(channel) > LONGEST_CHANNEL:
        return Refusal(
            "bad_channel", f"a channel name of {len(channel)} characters; at most {LONGEST_CHANNEL} are kept"
        )
    if has_control(channel):
        return Refusal(
            "bad_channel", f"the channel name {quoted(channel)} holds a control character; use printable ones"
        )
    return None


def filter_of(pattern: str) -> str:
    """Return the MQTT topic filter to subscribe with: captures become `+`.

    >>> filter_of("kitchen/{device}/status")
    'kitchen/+/status'
    """
    return "/".join("+" if _CAPTURE.fullmatch(level) else level for level in pattern.split("/"))


def captures(pattern: str, topic: str) -> dict[str, str] | None:
    """Return what the named levels of the pattern hold in this topic, or None where it does not match.

    MQTT rules: `+` is one level, `#` at the end any number of them and the level above; neither takes a topic that
    begins with `$` at its first level. `{_}` is a `+`.

    >>> captures("kitchen/{device}/status", "kitchen/gauge7/status")
    {'device': 'gauge7'}
    """
    if topic.startswith("$") and not pattern.startswith("$"):
        return None
    wanted, levels = pattern.split("/"), topic.split("/")
    if wanted[-1] == "#":
        wanted.pop()
        if len(levels) < len(wanted):
            return None
    elif len(levels) != len(wanted):
        return None
    found: dict[str, str] = {}
    for level, held in zip(wanted, levels, strict=False):
        named = _CAPTURE.fullmatch(level)
        if named:
            found[named[1]] = held
        elif level not in ("+", held):
            return None
    found.pop("_", None)
    return found


def capture_names(pattern: str) -> tuple[str, ...]:
    """Return the names a pattern captures, in their order; `_` is none."""
    named = [_CAPTURE.fullmatch(level) for level in pattern.split("/")]
    return tuple(match[1] for match in named if match and match[1] != "_")


def pattern_faults(pattern: str) -> tuple[str, ...]:
    """Return what is wrong with a topic filter with captures, each with how to mend it."""
    if not pattern:
        return ("the topic is empty: name one, such as kitchen/{device}/status, or # for every topic",)
    faults = []
    if len(pattern) > LONGEST_TOPIC or has_control(pattern):
        faults.append(f"the topic {quoted(pattern)} is too long or holds a control character: use printable ones")
    levels = pattern.split("/")
    for place, level in enumerate(levels):
        if "#" in level and (level != "#" or place < len(levels) - 1):
            faults.append(f"the topic {quoted(pattern)}: # must be the last level and stand alone in it")
        if "+" in level and level != "+":
            faults.append(f"the topic {quoted(pattern)}: + must stand alone in its level")
        if ("{" in level or "}" in level) and not _CAPTURE.fullmatch(level):
            faults.append(
                f"the topic {quoted(pattern)}: a capture fills a whole level, as in kitchen/{{device}}/status, "
                "and its name is made of letters, digits and _"
            )
    names = capture_names(pattern)
    faults += [f"the topic {quoted(pattern)} captures {name} twice: name each once" for name in _twice(names)]
    return tuple(faults)


@lru_cache(maxsize=1024)
def parts(template: str) -> tuple[Part, ...] | Refusal:
    """Return a channel template taken apart: text, `{capture}` and `{/pointer}` or `{#/pointer}`.

    >>> parts("{device}/{/Id}")
    (('capture', 'device'), ('text', '/'), ('pointer', '/Id'))
    """
    found: list[Part] = []
    for place, piece in enumerate(_BRACES.split(template)):
        if place % 2 == 0:
            if "{" in piece or "}" in piece:
                return Refusal("bad_template", f"the channel {quoted(template)} has a brace without its partner")
            found += [("text", piece)] if piece else []
        elif piece.startswith(("/", "#")):
            spelt = pointer.parse(piece)
            if isinstance(spelt, Refusal):
                return Refusal("bad_template", f"the channel {quoted(template)}: {spelt.reason}")
            found.append(("pointer", piece))
        elif _CAPTURE.fullmatch(f"{{{piece}}}"):
            found.append(("capture", piece))
        else:
            return Refusal(
                "bad_template",
                f"the channel {quoted(template)}: {quoted(piece)} is neither a capture nor a pointer beginning with /",
            )
    return tuple(found)


def filled(template: str, named: Mapping[str, str], look_up: Callable[[str], object | Refusal]) -> str | Refusal:
    """Return the channel name that a template makes here, or why it makes none.

    What fills a place may not hold `/`: no device may name itself into the place of another.
    """
    taken_apart = parts(template)
    if isinstance(taken_apart, Refusal):
        return taken_apart
    pieces: list[str] = []
    for kind, text in taken_apart:
        if kind == "capture" and text not in named:
            return Refusal("bad_template", f"the channel {quoted(template)}: the topic captures no {text}")
        piece = text if kind == "text" else _piece(text, named[text] if kind == "capture" else look_up(text))
        if isinstance(piece, Refusal):
            return piece
        pieces.append(piece)
    name = "".join(pieces)
    return channel_refusal(name) or name


def _piece(place: str, value: object | Refusal) -> str | Refusal:
    if isinstance(value, Refusal):
        return Refusal("no_name", f"the channel's name is not in the payload: {value.reason}")
    if isinstance(value, int) and not isinstance(value, bool):
        return str(value)
    if isinstance(value, str) and value.strip() and "/" not in value:
        return value
    return Refusal("no_name", f"{quoted(place)} gives no part of a name; a text without / or an integer does")


def _twice(names: tuple[str, ...]) -> list[str]:
    return sorted({name for name in names if names.count(name) > 1})

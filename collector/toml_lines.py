"""On which line of a TOML text each key stands, so that a fault can name it. Pure: text in, numbers out.

`tomllib` gives the values and forgets where they stood; this walks the same text once more and keeps nothing else. It
relies on the text being TOML: `tomllib` is asked first.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

Place: TypeAlias = tuple[str | int, ...]
"""Keys and indices from the top of the text: `("unit", 1, "limit_c")`."""

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_SPACE = re.compile(r"[ \t]*")
_SCALAR = re.compile(r"[^,\]}\r\n#]*")
_ESCAPED = re.compile(r"\\(?:u([0-9A-Fa-f]{4})|U([0-9A-Fa-f]{8})|(.))", re.DOTALL)
_STRINGS = (
    re.compile(r'"""(?:[^\\]|\\.)*?"{3,5}', re.DOTALL),
    re.compile(r"'''.*?'{3,5}", re.DOTALL),
    re.compile(r'"(?:[^"\\\n]|\\.)*"'),
    re.compile(r"'[^'\n]*'"),
)
_SHORT = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r", '"': '"', "\\": "\\"}


def lines_of(text: str) -> dict[Place, int]:
    r"""Return the line of every key, table and element of a TOML text; the first line is 1.

    >>> lines_of('[broker]\nport = 1883\n[[unit]]\nid = "a"\n[[unit]]\nid = "b"')[("unit", 1, "id")]
    6
    """
    walk = _Walk(text)
    walk.document()
    return walk.lines


def line_of(lines: Mapping[Place, int], place: Place) -> int | None:
    """Return the line of a place, or of the nearest thing around it that is written; None where nothing is.

    >>> line_of({("broker",): 3}, ("broker", "port"))
    3
    """
    for length in range(len(place), 0, -1):
        if place[:length] in lines:
            return lines[place[:length]]
    return None


@dataclass
class _Walk:
    text: str
    at: int = 0
    lines: dict[Place, int] = field(default_factory=dict)
    counts: dict[Place, int] = field(default_factory=dict)
    _counted: tuple[int, int] = (0, 1)

    def document(self) -> None:
        table: Place = ()
        while self._skip(_BLANK) and self.at < len(self.text):
            if self.text[self.at] == "[":
                table = self._header()
            else:
                self._assignment(table)

    def _skip(self, pattern: re.Pattern[str]) -> bool:
        found = pattern.match(self.text, self.at)
        if found is not None:
            self.at = found.end()
        return found is not None

    def _line(self) -> int:
        # Counted on from the last place: the walk never goes back.
        at, line = self._counted
        line += self.text.count("\n", at, self.at)
        self._counted = (self.at, line)
        return line

    def _mark(self, place: Place) -> None:
        self.lines.setdefault(place, self._line())

    def _header(self) -> Place:
        twice = self.text.startswith("[[", self.at)
        self.at += 1 + twice
        keys = self._keys()
        table: Place = ()
        for depth, key in enumerate(keys):
            table = (*table, key)
            self._mark(table)
            last = depth == len(keys) - 1
            if last and twice:
                self.counts[table] = self.counts.get(table, 0) + 1
            if table in self.counts:
                table = (*table, self.counts[table] - 1)
                self._mark(table)
        self.at += 1 + twice
        return table

    def _keys(self) -> list[str]:
        keys = []
        while True:
            self._skip(_SPACE)
            keys.append(self._key())
            self._skip(_SPACE)
            if not self.text.startswith(".", self.at):
                return keys
            self.at += 1

    def _key(self) -> str:
        begin = self.at
        if self._skip(_BARE):
            return self.text[begin : self.at]
        self._string()
        quoted = self.text[begin + 1 : self.at - 1]
        return _ESCAPED.sub(_unescaped, quoted) if self.text[begin] == '"' else quoted

    def _assignment(self, table: Place) -> None:
        begin = self._line()
        place = table
        for key in self._keys():
            place = (*place, key)
            self.lines.setdefault(place, begin)
        self.at += 1
        self._skip(_SPACE)
        self._value(place)

    def _value(self, place: Place) -> None:
        mark = self.text[self.at : self.at + 1]
        if mark == "[":
            self._elements(place)
        elif mark == "{":
            self._pairs(place)
        elif mark in ("'", '"'):
            self._string()
        else:
            self._skip(_SCALAR)

    def _elements(self, place: Place) -> None:
        self.at += 1
        index = 0
        while self._skip(_BLANK) and not self.text.startswith("]", self.at):
            self._mark((*place, index))
            self._value((*place, index))
            index += 1
            self._comma()
        self.at += 1

    def _pairs(self, place: Place) -> None:
        self.at += 1
        while self._skip(_BLANK) and not self.text.startswith("}", self.at):
            self._assignment(place)
            self._comma()
        self.at += 1

    def _comma(self) -> None:
        self._skip(_BLANK)
        if self.text.startswith(",", self.at):
            self.at += 1

    def _string(self) -> None:
        if not any(self._skip(pattern) for pattern in _STRINGS):
            raise ValueError(f"no TOML at character {self.at}")


def _unescaped(found: re.Match[str]) -> str:
    short, long, mark = found.groups()
    return chr(int(short or long, 16)) if short or long else _SHORT.get(mark, mark)

"""Every key of any TOML text has a line; what is no TOML is one fault, and nothing is raised."""

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from collector.toml_faults import Fault, Sheet, read_sheet
from collector.toml_lines import Place

PIECES = st.sampled_from(
    [
        "a", "b", "'c d'", '"e.f"', '"\\u0067"', ".", " = ", "=", "[", "]", "[[", "]]", "{", "}", ",", "\n",
        "\r\n", "# x\n", " ", "1", "-2.5", "true", "inf", "'it#[='", '"q\\"]"', '"""m\n[n]\n"""', "'''o\np = 1\n'''",
        '"""r""s"""', "2026-11-01T00:00:00Z", "2026-11-01 00:00:00+01:00", "07:00:00", '""', "''", '"""t"""""', "0x1F",
    ]
)  # fmt: skip
KEY_LINES = st.tuples(st.sampled_from(["a", "b.c", "'d e'", '"f"']), PIECES, PIECES).map(
    lambda parts: f"{parts[0]} = {parts[1]}{parts[2]}\n"
)
TEXTS = st.lists(
    st.one_of(PIECES, KEY_LINES, st.sampled_from(["[t]\n", "[[u]]\n", "[[u.v]]\n", "[u.w]\n"])), max_size=14
)


def places(values: Any, place: Place = ()) -> list[Place]:
    inner = values.items() if isinstance(values, dict) else enumerate(values) if isinstance(values, list) else ()
    found: list[Place] = [place] if place else []
    for key, value in inner:
        found += places(value, (*place, key))
    return found


@given(TEXTS.map("".join))
def test_every_value_of_a_text_has_a_line_within_it(text: str) -> None:
    sheet = read_sheet(text, "some.toml")
    if isinstance(sheet, Sheet):
        assert [place for place in places(sheet.values) if place not in sheet.lines] == []
        assert all(1 <= line <= text.count("\n") + 1 for line in sheet.lines.values())
    else:
        assert sheet.what.startswith("this is no TOML from ")


@given(st.text(max_size=60))
def test_any_text_is_read_or_is_one_fault(text: str) -> None:
    assert isinstance(read_sheet(text, "some.toml"), Sheet | Fault)

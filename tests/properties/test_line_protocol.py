"""Line protocol: whatever a channel is called, one reading is one line, and the name comes back."""

import re

from hypothesis import given
from hypothesis import strategies as st

from collector.line_protocol import decoded, encoded, reading_line
from collector.readings import Reading

TEXT = st.text(st.characters(blacklist_categories=["Cs"]), min_size=1, max_size=40)
HARD = st.text(st.sampled_from('\\%5C250A ,="\n\ra'), min_size=1, max_size=20)
NUMBER = st.floats(allow_nan=False, allow_infinity=False)


@given(TEXT | HARD)
def test_an_encoded_text_comes_back_and_holds_nothing_that_ends_a_line(text: str) -> None:
    assert decoded(encoded(text)) == text
    assert not re.search(r"[\x00-\x1f\x7f\\]", encoded(text))


@given(TEXT | HARD, TEXT | HARD, NUMBER)
def test_a_reading_is_one_line_whose_first_free_space_ends_the_tags(channel: str, unit: str, value: float) -> None:
    line = reading_line(Reading(channel, 1.5, value, unit, 2.0, 1.25), 3)
    assert "\n" not in line
    assert "\r" not in line
    found = re.fullmatch(
        r'reading,channel=((?:[^ ,=\\]|\\[ ,=])+),n=3 value=(\S+),lag=500i,quality=0i,unit="((?:[^"\\]|\\")*)",'
        r"device=1\.25 1500",
        line,
    )
    assert found is not None, line
    assert decoded(re.sub(r"\\([ ,=])", r"\1", found[1])) == channel
    assert float(found[2]).hex() == value.hex()
    assert decoded(found[3].replace('\\"', '"')) == unit

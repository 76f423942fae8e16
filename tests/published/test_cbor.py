"""CBOR: the examples of its standard, each read as the standard says or refused by the code of what we do not take."""

import json

import pytest

from collector.formats.strict_cbor import loads
from collector.sample import Refusal


def alike(found: object, meant: object) -> bool:
    """Return whether two values are the same to their types and signs, a byte string being `{"hex": ...}`."""
    if isinstance(found, bytes):
        return meant == {"hex": found.hex()}
    return repr(found) == repr(meant)


@pytest.mark.figures("cbor.csv")
def test_an_example_of_the_standard_is_what_it_says_or_refused_by_its_code(row: dict[str, str]) -> None:
    found = loads(bytes.fromhex(row["hex"]))
    if row["refused"]:
        assert isinstance(found, Refusal)
        assert (found.code, row["meaning"]) == (row["refused"], "")
    else:
        assert alike(found, json.loads(row["meaning"])), found

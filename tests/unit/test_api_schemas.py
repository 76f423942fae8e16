"""What may be sent at all: strict kinds, no extra fields, instants with an offset."""

from typing import Any

import pytest
from pydantic import ValidationError

from api.schemas import DescribePerson, EnterHandReading, MoveTub, StartBatch, read_instant, read_instant_of_address

HAND: dict[str, Any] = {"value": 3.3, "where": "brine", "probe": "hand probe 1", "lot": "B-1"}


@pytest.mark.parametrize("text", [1_700_000_000, 1_700_000_000.0, "2023-11-14T22:13:20Z", "2023-11-14T17:13:20-05:00"])
def test_an_instant_comes_as_seconds_or_as_rfc_3339(text: object) -> None:
    assert read_instant(text) == 1_700_000_000.0


@pytest.mark.parametrize(
    "text",
    ["1700000000", "1700000000.0", "2023-11-14T22:13:20Z", "2023-11-14T23:13:20+01:00", "2023-11-14T23:13:20 01:00"],
)
def test_an_instant_in_an_address_may_be_a_number_or_have_lost_its_plus(text: str) -> None:
    assert read_instant_of_address(text) == 1_700_000_000.0


BAD_INSTANTS: list[object] = [
    "yesterday", "2023-11-14T22:13:20", "2023-11-14", "", None, True, float("nan"), float("inf"), 1_700_000_000_000, -5,
    [],
]  # fmt: skip


@pytest.mark.parametrize("value", BAD_INSTANTS, ids=repr)
def test_what_is_no_instant_is_refused_with_the_way_to_write_one(value: object) -> None:
    with pytest.raises(ValueError, match="write|offset"):
        read_instant(value)


BAD = [
    ({"value": "3.3"}, "value"),
    ({"value": True}, "value"),
    ({"value": float("nan")}, "value"),
    ({"value": float("inf")}, "value"),
    ({"where": "fridge"}, "where"),
    ({"measure": "colour"}, "measure"),
    ({"probe": ""}, "probe"),
    ({"probe": "   "}, "probe"),
    ({"probe": "x" * 81}, "probe"),
    ({"probe": "a\x00b"}, "probe"),
    ({"probe": "a\u202eb"}, "probe"),
    ({"lot": "a b"}, "lot"),
    ({"lot": "../x"}, "lot"),
    ({"measured_at": "noon"}, "measured_at"),
    ({"by": "somebody else"}, "by"),
]


@pytest.mark.parametrize(("said", "field"), BAD, ids=lambda value: str(value)[:40])
def test_a_hand_reading_that_is_none_is_refused_by_its_field(said: dict[str, Any], field: str) -> None:
    with pytest.raises(ValidationError) as caught:
        EnterHandReading.model_validate({**HAND, **said})
    assert {error["loc"][0] for error in caught.value.errors()} == {field}


def test_names_lose_their_outer_spaces_and_lists_come_as_lists() -> None:
    assert MoveTub.model_validate({"tub": " 1 "}).tub == "1"
    assert DescribePerson.model_validate({"person": "b", "name": "B", "roles": ["operator"]}).roles == ("operator",)


def test_a_role_that_does_not_exist_cannot_be_given() -> None:
    with pytest.raises(ValidationError):
        DescribePerson.model_validate({"person": "b", "name": "B", "roles": ["owner"]})


def test_no_request_lets_a_person_say_who_they_are() -> None:
    # Who acts comes from the session alone, so no request may carry it.
    assert not {"by", "person", "signed_by"} & set(EnterHandReading.model_fields)
    assert not {"by", "person"} & set(StartBatch.model_fields)

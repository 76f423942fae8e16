"""How the events of older versions become those of the present one. Pure: no clock, no I/O."""

from collections.abc import Callable
from typing import Any

Step = Callable[[dict[str, Any]], dict[str, Any]]

NEWER = {
    "UnitDescribed": 2,
    "BatchStarted": 2,
    "AsMadeCorrected": 2,
    "HandReadingEntered": 2,
    "AlarmTold": 2,
    "RotaDescribed": 2,
}
"""The present version of each kind that has changed since its first."""


def _what_is_missing_was_not_entered(body: dict[str, Any]) -> dict[str, Any]:
    # Later versions only added fields, each with a default that says so.
    return body


def _rota_at_every_hour(body: dict[str, Any]) -> dict[str, Any]:
    return {"steps": [{"person": person, "after_s": after_s} for person, after_s in body["steps"]]}


def _told_with_state(body: dict[str, Any]) -> dict[str, Any]:
    rest = {name: value for name, value in body.items() if name != "accepted"}
    return {**rest, "state": "accepted" if body["accepted"] else "failed"}


STEPS: dict[tuple[str, int], Step] = {
    ("UnitDescribed", 1): _what_is_missing_was_not_entered,
    ("BatchStarted", 1): _what_is_missing_was_not_entered,
    ("AsMadeCorrected", 1): _what_is_missing_was_not_entered,
    ("HandReadingEntered", 1): _what_is_missing_was_not_entered,
    ("AlarmTold", 1): _told_with_state,
    ("RotaDescribed", 1): _rota_at_every_hour,
}
"""From (kind, version) to a function that turns that version's body into the next one's."""

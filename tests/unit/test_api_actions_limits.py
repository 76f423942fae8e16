"""A limit of the site's own, as an approver sets it and takes it back."""

from typing import Any

import pytest

from alerts.rulebook.shelf import load
from api.actions.faults import Faults, Result
from api.actions.limits import set_limit
from api.schemas import SetLimit
from collector.events import Draft
from collector.events_making import SiteLimitSet
from collector.kitchen import Kitchen, Person

NOW = 1_767_268_800.0
ADA = Person("ada", "Ada Field", ("operator", "approver"))
BO = Person("bo", "Bo Reed", ("operator",))
WHY = "our own plan, edition 4"
STANDS = Kitchen(site_limits={"excursion.hold": SiteLimitSet("excursion.hold", 3.0, WHY, "ada")})


def asked(kitchen: Kitchen = STANDS, person: Person = ADA, book: str = "US", **said: Any) -> Result:
    base = {"limit": "excursion.hold", "value": 2.0, "reason": WHY}
    return set_limit(kitchen, SetLimit.model_validate({**base, **said}), person, NOW, load(book))


def test_an_approver_sets_a_limit_under_their_own_name() -> None:
    assert asked() == (Draft(NOW, "ada", SiteLimitSet("excursion.hold", 2.0, WHY, "ada")),)


def test_without_a_value_the_rulebooks_limit_stands_again() -> None:
    assert asked(value=None) == (Draft(NOW, "ada", SiteLimitSet("excursion.hold", None, WHY, "ada")),)


@pytest.mark.parametrize(
    ("said", "field", "what"),
    [
        ({"person": BO}, "limit", "no approver"),
        ({"value": 3.0}, "value", "how it stands"),
        ({"kitchen": Kitchen(), "value": None}, "value", "how it stands"),
        ({"limit": "no.such"}, "limit", "US has no limit no.such"),
        ({"value": 6.0, "reason": "because"}, "reason", "too short"),
        ({"limit": "nitrite.immersion", "value": 201.0}, "value", "bounds nitrite"),
        ({"limit": "a2.clostridium_botulinum_ab.1", "value": 12.0}, "value", "bounds botulinum"),
        ({"limit": "parasite.heat.60", "value": 0.5}, "value", "bounds parasites"),
        ({"limit": "cook.row.60", "value": 11.0}, "value", "bounds cooking"),
        ({"book": "GB", "limit": "cold.limit", "value": 8.5}, "value", "looser than the law's 8.0 °C"),
        ({"book": "EU", "limit": "nitrite.non_heat_treated", "value": 100.0}, "value", "bounds nitrite"),
    ],
)
def test_what_may_not_be_set_is_refused_by_its_field(said: dict[str, Any], field: str, what: str) -> None:
    result = asked(**said)
    assert isinstance(result, Faults)
    assert [fault.field for fault in result.found] == [field]
    assert what in result.found[0].what


def test_a_looser_limit_within_the_law_is_set_with_its_reason() -> None:
    assert not isinstance(asked(book="GB", limit="cold.limit", value=7.5), Faults)

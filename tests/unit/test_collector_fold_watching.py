"""What shelving, units out of service and planned work do to the kitchen."""

import pytest

from collector import events as e
from collector import events_watching as w
from collector.batches import AsMade, Method, Packing, Placement, Plan, Route
from collector.findings import Condition
from collector.fold import fold
from collector.kitchen import Alarm, Kitchen
from collector.readings import Site, Unit
from collector.suspensions import OutOfService, Shelving

T, H = 1_767_268_800.0, 3600.0
PLAN = Plan("Loin", "pork", "loin", Method.IMMERSION, Packing.UNDER_BRINE, Route.COOKED, 120 * H, 65.0, 12.0)
WARM = Condition("room", "product_warm", "temperature", True, T, ("L1",), sentence="product_may_pass")
AIR = Condition("room", "air_far_over", "temperature", False, T, sentence="air_far_over")
DESCRIBED: list[tuple[float, str, e.Event]] = [
    (T, "system", e.SiteDescribed(Site("s", "S", "UTC", "US"))),
    (T, "system", e.UnitDescribed(Unit("room", "s", "Room", "cold room"))),
]


def kitchen(*events: tuple[float, str, e.Event]) -> Kitchen:
    every = [*DESCRIBED, *events]
    return fold(e.Entry(n, T + at if at < T else at, T, by, event) for n, (at, by, event) in enumerate(every, 1))


def alarm(*events: tuple[float, str, e.Event], condition: Condition = WARM) -> Alarm:
    found = kitchen((0.0, "watch", e.AlarmRaised(condition)), *events).alarm("A3")
    assert found is not None
    return found


SHELVED = (60.0, "mara", w.AlarmShelved("A3", T + H, "thawing the coil"))


def started(unit: str | None = "room", until_at: float | None = None) -> e.Event:
    return e.BatchStarted(
        "L1", PLAN, AsMade(12.0), (Placement("1", unit, T, until_at, 18.0 if unit is None else None),)
    )


def test_a_shelving_stands_with_who_until_when_and_why() -> None:
    shelved = alarm(SHELVED)
    assert shelved.shelving == Shelving(T + 60, T + H, "thawing the coil", "mara")
    assert shelved.state == "shelved alarm"


def test_a_shelving_takes_the_place_of_an_answer() -> None:
    shelved = alarm((30.0, "bo", e.AlarmAcknowledged("A3", "going", T + 900)), SHELVED)
    assert (shelved.acknowledged_at, shelved.acknowledged_by, shelved.answer, shelved.arriving_at) == (
        None,
        "",
        "",
        None,
    )


@pytest.mark.parametrize(
    ("by", "event", "why"),
    [
        ("watch", w.AlarmUnshelved("A3", "time"), "time"),
        ("mara", w.AlarmUnshelved("A3", "hand"), "hand"),
        ("bo", e.AlarmAcknowledged("A3", "cannot"), "answered"),
        ("watch", e.AlarmReturned("A3", "product_warm_returned", {}), "returned"),
        ("watch", e.AlarmChanged("A3", WARM), "worse"),
    ],
)
def test_a_shelving_ends_by_time_hand_answer_return_or_what_is_worse_for_the_meat(
    by: str, event: e.Event, why: str
) -> None:
    ended = alarm(SHELVED, (120.0, by, event))
    assert ended.shelving is None
    assert (ended.shelvings[0].ended_at, ended.shelvings[0].ended_by, ended.shelvings[0].why) == (T + 120, by, why)


def test_what_changes_in_the_air_alone_ends_no_shelving() -> None:
    assert alarm(SHELVED, (120.0, "watch", e.AlarmChanged("A3", AIR)), condition=AIR).shelving is not None


def test_what_is_over_is_not_shelved() -> None:
    over = (50.0, "watch", e.AlarmReturned("A3", "product_warm_returned", {}))
    assert alarm(over, SHELVED).shelvings == ()
    assert kitchen(SHELVED).alarms == {}


def test_a_shelving_lasted_until_it_ended_and_its_whole_time_where_the_clock_was_put() -> None:
    assert alarm(SHELVED).shelvings[0].lasted_s == H - 60
    assert alarm(SHELVED, (120.0, "mara", w.AlarmUnshelved("A3", "hand"))).shelvings[0].lasted_s == 60
    assert alarm(SHELVED, (30.0, "mara", w.AlarmUnshelved("A3", "hand"))).shelvings[0].lasted_s == 0
    assert alarm(SHELVED, (120.0, "watch", w.AlarmUnshelved("A3", "clock"))).shelvings[0].lasted_s == H - 60


OUT = (10.0, "mara", w.UnitOutOfService("room", "new compressor"))


def test_an_empty_unit_is_out_of_service_until_somebody_says_otherwise() -> None:
    assert kitchen(OUT).out_of_service == {"room": OutOfService("room", T + 10, "mara", "new compressor")}
    assert kitchen(OUT, (20.0, "mara", w.UnitInService("room", "it runs"))).out_of_service == {}


@pytest.mark.parametrize(
    "events",
    [
        [OUT, (20.0, "mara", started())],
        [(0.0, "mara", started()), OUT],
        [(0.0, "mara", started(None)), OUT, (20.0, "mara", e.TubMoved("L1", Placement("1", "room", T + 20)))],
        [
            (0.0, "mara", started(None)),
            OUT,
            (20.0, "mara", e.PlacementCorrected("L1", "1", (Placement("1", "room", T),), "it stood there")),
        ],
    ],
    ids=["started", "before", "moved", "corrected"],
)
def test_no_tub_ever_stands_in_a_unit_out_of_service(events: list[tuple[float, str, e.Event]]) -> None:
    assert kitchen(*events).out_of_service == {}


def test_a_tub_that_has_left_keeps_no_unit_in_service() -> None:
    moved = (5.0, "mara", e.TubMoved("L1", Placement("1", None, T + 5, None, 18.0)))
    assert list(kitchen((0.0, "mara", started()), moved, OUT).out_of_service) == ["room"]


def test_planned_work_goes_on_from_until_and_no_longer_once_ended() -> None:
    planned = (0.0, "mara", w.WorkPlanned("room", "cleaning", T + H, T + 3 * H, "floor"))
    (work,) = kitchen(planned).planned_work
    assert (work.id, work.what, work.by, work.note) == ("W3", "cleaning", "mara", "floor")
    assert [work.goes_on_at(T + hours * H) for hours in (0.9, 1, 2.9, 3)] == [False, True, True, False]
    (early,) = kitchen(planned, (2 * H, "mara", w.WorkEnded("W3", "hand"))).planned_work
    assert [early.goes_on_at(T + hours * H) for hours in (1, 1.9, 2)] == [True, True, False]
    (off,) = kitchen(planned, (10.0, "mara", w.WorkEnded("W3", "hand"))).planned_work
    assert not any(off.goes_on_at(T + hours * H) for hours in (0.0, 1, 2))


def test_work_is_forgotten_a_week_after_it_was_over() -> None:
    def planned(at: float) -> tuple[float, str, e.Event]:
        return (at, "mara", w.WorkPlanned("room", "loading", T + at, T + at + H))

    assert [work.id for work in kitchen(planned(0.0), planned(6 * 86_400.0)).planned_work] == ["W3", "W4"]
    assert [work.id for work in kitchen(planned(0.0), planned(8 * 86_400.0)).planned_work] == ["W4"]

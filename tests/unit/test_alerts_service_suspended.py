"""The running service and what people have put aside: nobody hears of it, and everybody does once it is over."""

from contextlib import suppress

import pytest

from alerts.channels.base import Sent
from alerts.escalation import Telling
from alerts.service import Service
from collector.batches import AsMade, Method, Packing, Placement, Plan, Route
from collector.events import (
    BatchStarted,
    ChannelAssigned,
    Draft,
    Event,
    PersonDescribed,
    RotaDescribed,
    SiteDescribed,
    UnitDescribed,
)
from collector.events_watching import AlarmShelved, UnitOutOfService, WorkPlanned
from collector.kitchen import Alarm
from collector.present import Present
from collector.readings import Assignment, Quantity, Reading, Site, Unit
from collector.rota import RotaStep
from collector.sample import Message, Quality
from collector.storage import Arrival, MemoryJournal, MemoryReadings, StoreFailed

NOON, H = 1_764_072_000.0, 3600.0
PLAN = Plan(
    "x", "beef", "brisket", Method.IMMERSION, Packing.UNDER_BRINE, Route.COOKED, 432_000.0, 55.0, 3.0, tau_s=21_600.0
)


class Bench:
    """A service over memory stores, with one warm and empty room, and a clock that is set."""

    def __init__(self) -> None:
        self.at = NOON
        self.readings, self.journal = MemoryReadings(), MemoryJournal()
        self.present = Present(self.journal, lambda: self.at)
        self.heard: list[tuple[str, str]] = []
        self.bodies: list[str] = []
        self.write(
            SiteDescribed(Site("s", "Site", "UTC", "US")),
            PersonDescribed("mara", "Mara Lind", ("operator",)),
            RotaDescribed((RotaStep("ana", 0.0),)),
            UnitDescribed(Unit("room", "s", "Room", "cold room", air_limit_c=8.0, air_dwell_s=600.0)),
            ChannelAssigned(Assignment("air", Quantity.AIR_TEMPERATURE, "room", "wall", NOON)),
        )
        self.service = self.new_service()
        self.service.start()

    def new_service(self) -> Service:
        return Service(
            self.present, self.readings, lambda k, lot, now: None, lambda k, u: 5.0, lambda: self.at, {"way": self},
            {"ana": ("way",)},
        )  # fmt: skip

    def send(self, telling: Telling, alarm: Alarm, first_line: str, body: str) -> Sent:
        self.heard.append((alarm.condition.kind, telling.occasion))
        self.bodies.append(body)
        return Sent(True)

    def write(self, *events: Event) -> None:
        self.present.decide(lambda kitchen: [Draft(self.at, "mara", event) for event in events])

    def run(self, until_at: float, air_c: float = 12.0) -> list[tuple[str, str]]:
        """Let it be so warm until an instant; return what was told."""
        before = len(self.heard)
        while self.at < until_at:
            self.at += 60.0
            reading = Reading("air", self.at, air_c, "Cel", self.at, self.at, quality=Quality.GOOD)
            self.readings.append([Arrival(Message("air", b"", self.at), (reading,))])
            self.service.follow()
            self.service.tick()
            self.service.tell()
        return self.heard[before:]

    @property
    def standing(self) -> list[str]:
        return [alarm.condition.kind for alarm in self.present.kitchen.active_alarms()]


def test_a_shelved_alarm_is_told_again_with_who_shelved_it_and_why() -> None:
    bench = Bench()
    assert bench.run(NOON + 1200) == [("air_far_over", "raised")]
    bench.write(AlarmShelved(bench.present.kitchen.active_alarms()[0].id, bench.at + H, "thawing the coil"))
    assert bench.run(NOON + 1140 + H) == []
    assert bench.run(NOON + 1320 + H) == [("air_far_over", "unshelved 1")]
    assert bench.bodies[-1].startswith("Shelved by Mara Lind at 12:20: thawing the coil; still stands.\n")


@pytest.mark.parametrize("restarted", [False, True])
def test_a_clock_that_is_put_back_ends_a_shelving_though_the_program_was_started_meanwhile(restarted: bool) -> None:
    bench = Bench()
    bench.run(NOON + 1200)
    bench.write(AlarmShelved(bench.present.kitchen.active_alarms()[0].id, bench.at + 4 * H, "thawing the coil"))
    bench.run(NOON + 1200 + 2 * H)
    bench.at -= H
    if restarted:
        bench.service = bench.new_service()
        bench.service.start()
    bench.service.tick()
    bench.service.tell()
    assert bench.heard[-1] == ("air_far_over", "unshelved 1")


def test_a_clock_that_is_put_back_is_noticed_although_the_store_refused_at_that_moment(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    bench = Bench()
    bench.run(NOON + 1200)
    bench.write(AlarmShelved(bench.present.kitchen.active_alarms()[0].id, bench.at + 4 * H, "thawing the coil"))
    bench.run(NOON + 1200 + 2 * H)
    bench.at -= H

    def refuse(*drafts: object, **more: object) -> None:
        raise StoreFailed("the disk is full")

    with monkeypatch.context() as patch:
        patch.setattr(bench.journal, "append", refuse)
        for _ in range(3):
            bench.at += 10.0
            with suppress(StoreFailed):
                bench.service.tick()
    bench.at += 10.0
    bench.service.tick()
    bench.service.tell()
    assert bench.heard[-1] == ("air_far_over", "unshelved 1")


def test_a_tub_put_into_a_warm_unit_out_of_service_is_watched_within_the_same_tick() -> None:
    bench = Bench()
    bench.run(NOON + 1200)
    bench.write(UnitOutOfService("room", "new compressor"))
    assert bench.run(NOON + 2 * H) == [("air_far_over", "returned")]
    assert bench.standing == []
    bench.write(BatchStarted("B1", PLAN, AsMade(3.0), (Placement("1", "room", bench.at),)))
    bench.service.tick()
    assert "air_far_over" in bench.standing
    bench.run(NOON + 3 * H)
    assert "product_warm" in bench.standing


def test_planned_work_holds_back_the_air_and_lets_it_be_told_a_dwell_after_its_end() -> None:
    bench = Bench()
    bench.write(WorkPlanned("room", "cleaning", NOON + 300, NOON + 300 + H))
    assert bench.run(NOON + 300 + H + 540) == []
    assert bench.run(NOON + 300 + H + 660) == [("air_far_over", "raised")]

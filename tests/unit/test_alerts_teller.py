"""Telling, step by step: recorded before it is tried, bypassed when it says nothing, made again when it was cut off."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

import pytest

from alerts.channels.base import Channel, Sent
from alerts.escalation import REPEAT_S, Telling
from alerts.teller import PATIENCE_S, Teller
from collector.events import AlarmRaised, AlarmReturned, AlarmTold, Draft, Event, RotaDescribed, SiteDescribed
from collector.findings import Condition
from collector.kitchen import Alarm, Kitchen
from collector.present import Present
from collector.readings import Site
from collector.rota import RotaStep
from collector.storage import MemoryJournal, StoreFailed

NIGHT = 1_764_036_000.0
REACH = {"ana": ("first", "second"), "bo": ("second",)}


@dataclass
class Way:
    """A channel that remembers, and that can be made to fail or to say nothing."""

    heard: list[tuple[str, str]] = field(default_factory=list)
    works: bool = True
    silent: bool = False
    let_go: threading.Event = field(default_factory=threading.Event)
    meanwhile: Callable[[], None] = lambda: None

    def send(self, telling: Telling, alarm: Alarm, first_line: str, body: str) -> Sent:
        self.meanwhile()
        if self.silent:
            assert self.let_go.wait(30)
        self.heard.append((telling.person, telling.occasion))
        return Sent(self.works, "" if self.works else "refused")


class Bench:
    """A standing alarm, two people, and ways to reach them."""

    def __init__(self, at_once: int = 8) -> None:
        self.at = NIGHT
        self.journal = MemoryJournal()
        self.present = Present(self.journal, lambda: self.at)
        self.first, self.second = Way(), Way()
        condition = Condition("room", "product_warm", "temperature", True, NIGHT, ("B1",), sentence="product_may_pass")
        self.write(
            SiteDescribed(Site("s", "S", "Europe/London", "US")),
            RotaDescribed((RotaStep("ana", 0.0), RotaStep("bo", 600.0))),
            AlarmRaised(condition),
        )
        self.teller = self.new_teller(at_once)

    def new_teller(self, at_once: int = 8) -> Teller:
        ways: dict[str, Channel] = {"first": self.first, "second": self.second}
        return Teller(self.present, lambda: self.at, ways, lambda alarm, person, now: "", at_once)

    def write(self, *events: Event) -> None:
        self.present.decide(lambda kitchen: [Draft(self.at, "ana", event) for event in events])

    def tell(self) -> bool:
        self.teller.tell(REACH)
        return True

    @property
    def steps(self) -> list[tuple[str, str, str]]:
        """Every step in the journal: person, channel, state."""
        events = [entry.event for entry in self.journal.read(0, 1000)]
        return [(t.person, t.channel, t.state) for t in events if isinstance(t, AlarmTold)]

    @property
    def alarm(self) -> Alarm:
        alarm = self.present.kitchen.alarm("A3")
        assert alarm is not None
        return alarm


@contextmanager
def silence(way: Way) -> Iterator[None]:
    way.silent = True
    try:
        yield
    finally:
        way.let_go.set()


def test_an_attempt_is_in_the_journal_before_it_is_made() -> None:
    bench = Bench(at_once=1)
    seen: list[list[tuple[str, str, str]]] = []
    bench.first.meanwhile = lambda: seen.append(list(bench.steps))
    bench.tell()
    assert seen == [[("ana", "first", "attempting")]]
    assert bench.steps == [("ana", "first", "attempting"), ("ana", "first", "accepted")]


def test_an_attempt_that_was_cut_off_is_made_again_and_by_the_same_way() -> None:
    bench = Bench(at_once=1)

    def killed() -> None:
        bench.first.meanwhile = lambda: None
        raise KeyboardInterrupt

    bench.first.meanwhile = killed
    with pytest.raises(KeyboardInterrupt):
        bench.tell()
    assert bench.steps == [("ana", "first", "attempting")]
    bench.teller = bench.new_teller(at_once=1)
    bench.tell()
    bench.tell()
    assert bench.first.heard == [("ana", "raised")]
    assert [t.state for t in bench.alarm.told] == ["attempting", "accepted"]


def test_a_way_that_says_nothing_is_followed_by_the_next_and_both_ends_are_kept(
    eventually: Callable[..., None],
) -> None:
    bench = Bench()
    with silence(bench.first):
        eventually(lambda: bench.tell() and bench.second.heard, "the second way is used")
        bench.tell()
        assert [(t.channel, t.state) for t in bench.alarm.told] == [("first", "attempting"), ("second", "accepted")]
    bench.teller.settle()
    assert [(t.channel, t.state) for t in bench.alarm.told] == [("first", "accepted"), ("second", "accepted")]
    bench.tell()
    assert bench.first.heard == bench.second.heard == [("ana", "raised")]
    assert PATIENCE_S < 2.0


def test_while_a_way_may_still_answer_no_other_is_used() -> None:
    bench = Bench()
    with silence(bench.first):
        bench.tell()
        bench.tell()
        assert bench.steps == [("ana", "first", "attempting")]
    bench.teller.settle()


def test_nobody_waits_for_anothers_dead_gateway(eventually: Callable[..., None]) -> None:
    bench = Bench()
    bench.at += 601.0
    with silence(bench.first):
        eventually(lambda: bench.tell() and ("bo", "raised") in bench.second.heard, "bo is told")
        assert bench.first.heard == []
    bench.teller.settle()


def test_all_ways_silent_are_not_called_over_and_over(eventually: Callable[..., None]) -> None:
    bench = Bench()
    with silence(bench.first), silence(bench.second):
        eventually(lambda: bench.tell() and len(bench.steps) == 2, "both ways are tried")
        for _ in range(3):
            bench.teller.tell(REACH)
        assert len(bench.steps) == 2
    bench.teller.settle()


def test_a_failed_way_is_bypassed_and_its_reason_kept() -> None:
    bench = Bench(at_once=1)
    bench.first.works = False
    bench.tell()
    bench.tell()
    assert [(t.channel, t.state, t.detail) for t in bench.alarm.told] == [
        ("first", "failed", "refused"),
        ("second", "accepted", ""),
    ]


def test_a_journal_that_refuses_holds_up_no_alarm_and_learns_of_every_step(monkeypatch: pytest.MonkeyPatch) -> None:
    bench = Bench(at_once=1)
    bench.first.works = False

    def full(*args: object, **more: object) -> object:
        raise StoreFailed("disk full")

    with monkeypatch.context() as store:
        store.setattr(bench.journal, "append", full)
        for _ in range(4):
            with pytest.raises(StoreFailed):
                bench.tell()
    assert (bench.first.heard, bench.second.heard) == ([("ana", "raised")], [("ana", "raised")])
    bench.tell()
    assert [s[1:] for s in bench.steps] == [
        ("first", "attempting"), ("first", "failed"), ("second", "attempting"), ("second", "accepted"),
    ]  # fmt: skip


def test_a_journal_that_cannot_even_be_read_holds_up_no_alarm(monkeypatch: pytest.MonkeyPatch) -> None:
    bench = Bench(at_once=1)

    def gone(*args: object, **more: object) -> object:
        raise StoreFailed("gone")

    with monkeypatch.context() as store:
        store.setattr(bench.journal, "read", gone)
        with pytest.raises(StoreFailed):
            bench.tell()
    assert bench.first.heard == [("ana", "raised")]
    bench.tell()
    assert bench.first.heard == [("ana", "raised")]


def test_whoever_may_have_heard_hears_that_it_is_over() -> None:
    bench = Bench(at_once=1)
    bench.write(AlarmTold("A3", "raised", "ana", "first", "attempting"), AlarmReturned("A3", "emptied", {}))
    bench.tell()
    assert bench.first.heard == [("ana", "returned")]


@pytest.mark.parametrize("stepped_s", [-3600.0, 3600.0])
def test_a_clock_that_is_put_back_or_on_an_hour_silences_nobody(stepped_s: float) -> None:
    bench = Bench(at_once=1)
    bench.tell()
    bench.at += stepped_s
    for _ in range(int(REPEAT_S) + 1):
        bench.at += 1.0
        bench.tell()
    assert ("bo", "raised") in bench.second.heard
    assert 2 <= len(bench.first.heard) <= 3


def test_nobody_stays_untold_because_it_could_not_be_said_where_tubs_may_go() -> None:
    bench = Bench(at_once=1)

    def broken(kitchen: Kitchen, alarm: Alarm, now: float) -> str:
        raise ZeroDivisionError

    bench.teller.moving = broken
    bench.tell()
    assert bench.steps == [("ana", "first", "attempting"), ("ana", "first", "accepted")]


def test_what_is_due_and_finds_no_room_is_known_to_wait_and_is_forgotten_once_it_was_tried(
    monkeypatch: pytest.MonkeyPatch, eventually: Callable[..., None]
) -> None:
    bench = Bench(at_once=2)
    now_s = [50.0]
    monkeypatch.setattr("alerts.teller.monotonic", lambda: now_s[0])
    bench.write(RotaDescribed(tuple(RotaStep(name, 0.0) for name in ("ana", "bo", "cy"))))
    with silence(bench.first), silence(bench.second):
        bench.teller.tell({"ana": ("first",), "bo": ("second",), "cy": ("second",)})
        assert bench.teller.untried_s() == 0.0
        now_s[0] += 0.5
        bench.teller.tell({"ana": ("first",), "bo": ("second",), "cy": ("second",)})
        assert bench.teller.untried_s() == 0.5, "one of the three waits"
    eventually(lambda: all(a.ended.is_set() for a in bench.teller._under_way), "both have answered")
    bench.teller.tell({"ana": ("first",), "bo": ("second",), "cy": ("second",)})
    assert bench.teller.untried_s() == 0.0
    bench.teller.settle()

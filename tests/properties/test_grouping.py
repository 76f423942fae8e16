"""Rooms that fall silent and come back in any order, under one watch that is killed and whose clock is put.

What is claimed of a room from which nothing comes: an alarm that concerns it stands within `NOTICED_S`, and from then
on at every tick until it is heard again, whichever alarm it is, through restarts, cuts between any two writes and a
clock that is put by an hour; one that wakes stands once its meat could have passed its limit.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from alerts.channels.base import Channel, Sent
from alerts.escalation import REPEAT_S, Telling
from alerts.occasions import waits_for_morning
from alerts.service import Service
from collector.batches import AsMade, Method, Packing, Placement, Plan, Route
from collector.events import (
    BatchStarted,
    ChannelAssigned,
    Draft,
    Entry,
    Event,
    PersonDescribed,
    RotaDescribed,
    SiteDescribed,
    UnitDescribed,
)
from collector.kitchen import Alarm, Kitchen
from collector.present import Present
from collector.readings import Assignment, Quantity, Reading, Site, Unit
from collector.rota import RotaStep
from collector.sample import Message
from collector.storage import Arrival, MemoryJournal, MemoryReadings

ROOMS = ("a", "b", "c", "d", "e")
SITE_OF = {"a": "s", "b": "s", "c": "s", "d": "s", "e": "t"}
MEAT = ("a", "c", "e")
# The night in which the clocks of London go back.
START = datetime(2026, 10, 24, 20, 0, tzinfo=ZoneInfo("Europe/London")).timestamp()
BEFORE = START - 14_400.0
TICK_S = 60.0
PARENTS, CHILDREN = ("nothing_arrives", "units_silent"), ("channel_silent", "unwatched")
NOTICED_S = 900.0 + 2 * TICK_S
"""Three readings missed, a quarter of an hour at least; readings and ticks come once a minute."""
COULD_PASS_S = 2058.0
"""From 3 °C towards 25 °C at 6 h, meat passes 5 °C after 6 h ln(22/20)."""
PLAN = Plan("x", "beef", "brisket", Method.IMMERSION, Packing.UNDER_BRINE, Route.COOKED, 864_000.0, 55.0, 3.0,
            tau_s=21_600.0)  # fmt: skip


class Cut(BaseException):
    """The program is killed here."""


class CutJournal(MemoryJournal):
    """A journal at whose next writes the program can be killed, before or after one of them."""

    def __init__(self) -> None:
        super().__init__()
        self.cut: tuple[int, str] | None = None

    def append(
        self, drafts: Sequence[Draft], *, seen: int, recorded_at: float, cursors: Mapping[str, int] | None = None
    ) -> list[Entry]:
        cut = self.cut
        if cut is not None:
            self.cut = (cut[0] - 1, cut[1]) if cut[0] else None
        if cut == (0, "before"):
            raise Cut
        written = super().append(drafts, seen=seen, recorded_at=recorded_at, cursors=cursors)
        if cut == (0, "after"):
            raise Cut
        return written


@dataclass(frozen=True)
class Said:
    """One message that somebody got."""

    true_s: float
    person: str
    alarm: str
    occasion: str


class Way:
    """A way that always works."""

    def __init__(self, machine: "Rooms") -> None:
        self.machine = machine

    def send(self, telling: Telling, alarm: Alarm, first_line: str, body: str) -> Sent:
        for name in (telling.alarm, *telling.others):
            told = self.machine.present.kitchen.alarm(name)
            assert told is not None
            # The record has the attempt before it is made, that of every alarm in a list too.
            occasion = next(t.occasion for t in reversed(told.told) if t.person == telling.person)
            self.machine.said.append(Said(self.machine.true_s, telling.person, name, occasion))
        return Sent(True)


class Rooms(RuleBasedStateMachine):
    """Two sites; `true_s` is time as it passes, and the host's clock may be off it."""

    def __init__(self) -> None:
        super().__init__()
        self.true_s, self.offset_s = 0.0, 0.0
        self.spoke_s = dict.fromkeys(ROOMS, 0.0)
        self.dead: set[str] = set()
        self.covered: set[str] = set()
        self.put_s: list[float] = []
        self.disturbed_s = 0.0
        """When the program was last begun anew, or its clock put."""
        self.said: list[Said] = []
        self.raised_s: dict[str, float] = {}
        self.journal, self.readings = CutJournal(), MemoryReadings()
        self.present = Present(self.journal, lambda: self.at)

    @property
    def at(self) -> float:
        return START + self.true_s + self.offset_s

    def begin(self) -> None:
        self.present = Present(self.journal, lambda: self.at)
        ways: dict[str, Channel] = {"mail": Way(self)}
        self.service = Service(
            self.present, self.readings, lambda kitchen, lot, now: None, lambda kitchen, unit: 5.0, lambda: self.at,
            ways, {"ana": ("mail",), "bo": ("mail",)},
        )  # fmt: skip
        self.service.start()

    def begin_anew(self) -> None:
        self.disturbed_s = self.true_s
        self.journal.cut = None
        self.begin()

    @initialize()
    def describe(self) -> None:
        filled = AsMade(3.0, 3.0, brine_c=3.0, meat_c=3.0)
        told: list[Event] = [
            *(SiteDescribed(Site(s, s, "Europe/London", "US", checks=("07:00",))) for s in ("s", "t")),
            *(PersonDescribed(p, p.title(), ("operator",)) for p in ("ana", "bo")),
            RotaDescribed((RotaStep("ana", 0.0), RotaStep("bo", 300.0))),
            *(UnitDescribed(Unit(r, SITE_OF[r], r.title(), "cold room")) for r in ROOMS),
            *(ChannelAssigned(Assignment(r, Quantity.AIR_TEMPERATURE, r, "wall", BEFORE)) for r in ROOMS),
            *(BatchStarted(f"L{r}", PLAN, filled, (Placement("1", r, BEFORE),)) for r in MEAT),
        ]
        Present(self.journal, lambda: self.at).decide(lambda kitchen: [Draft(BEFORE, "system", e) for e in told])
        for minute in range(240):
            at = BEFORE + 60.0 * minute
            rows = [Reading(room, at, 3.0, "Cel", at, at) for room in ROOMS]
            self.readings.append([Arrival(Message(row.channel, b"", at), (row,)) for row in rows])
        self.begin()
        self.pass_minutes(30)
        assert not self.present.kitchen.alarms

    def hear(self, rooms: Iterable[str]) -> None:
        for n, room in enumerate(rooms):
            at = round(self.at - 1.0 - n, 3)
            reading = Reading(room, at, 3.0, "Cel", at, at)
            self.readings.append([Arrival(Message(room, b"", at), (reading,))])
            self.spoke_s[room] = self.true_s
        self.service.follow()

    def pass_minutes(self, minutes: int) -> None:
        for _ in range(minutes):
            self.true_s += TICK_S
            self.guarded(lambda: self.hear(room for room in ROOMS if room not in self.dead))
            self.guarded(self.service.tick)
            for _ in range(3):
                self.guarded(self.service.tell)
            self.look()

    def guarded(self, act: Callable[[], object]) -> None:
        try:
            act()
        except Cut:
            self.begin_anew()
            self.service.follow()
            self.service.tick()

    @rule(minutes=st.sampled_from([1, 5, 16, 40, 200]))
    def time_passes(self, minutes: int) -> None:
        self.pass_minutes(minutes)

    @rule(rooms=st.sets(st.sampled_from(ROOMS), min_size=1))
    def rooms_fall_silent(self, rooms: set[str]) -> None:
        self.dead |= rooms

    @precondition(lambda self: self.dead)
    @rule(rooms=st.sets(st.sampled_from(ROOMS), min_size=1))
    def rooms_come_back(self, rooms: set[str]) -> None:
        self.dead -= rooms
        self.covered -= rooms

    @rule()
    def the_program_is_started_again(self) -> None:
        self.begin_anew()

    @rule(writes=st.integers(0, 3), when=st.sampled_from(["before", "after"]))
    def the_program_will_be_killed_at_a_write(self, writes: int, when: str) -> None:
        self.journal.cut = (writes, when)

    @rule(by_s=st.sampled_from([-3601.7, 3607.3]))
    def the_clock_is_put(self, by_s: float) -> None:
        if abs(self.offset_s + by_s) > 7300.0:
            return
        self.offset_s += by_s
        self.disturbed_s = self.true_s
        self.put_s.append(self.true_s)

    def look(self) -> None:
        kitchen = self.present.kitchen
        active = kitchen.active_alarms()
        for alarm in active:
            self.raised_s.setdefault(alarm.id, self.true_s)
        self.every_silent_room_is_told_of(active)
        self.what_stands_was_told(kitchen, active)
        self.nothing_is_raised_of_a_room_whose_parent_stands(active)

    def every_silent_room_is_told_of(self, active: Sequence[Alarm]) -> None:
        for room in self.dead:
            about = [a for a in active if a.condition.kind in (*PARENTS, *CHILDREN) and a.condition.concerns(room)]
            since_s = max(self.spoke_s[room], self.disturbed_s)
            assert about or room not in self.covered, f"{room} was told of and is still silent"
            assert about or self.true_s - since_s <= NOTICED_S, f"{room}: silent for {self.true_s - since_s} s, untold"
            if about:
                self.covered.add(room)
            if room in MEAT and self.true_s - since_s > max(NOTICED_S, COULD_PASS_S + TICK_S):
                assert any(a.condition.wakes for a in about), f"nobody is woken for {room}"

    def what_stands_was_told(self, kitchen: Kitchen, active: Sequence[Alarm]) -> None:
        for alarm in active:
            if waits_for_morning(kitchen, alarm, self.at) is None:
                assert any(t.accepted for t in alarm.told), f"{alarm.id} {alarm.condition.key} was told to nobody"

    def nothing_is_raised_of_a_room_whose_parent_stands(self, active: Sequence[Alarm]) -> None:
        for parent in (a for a in active if a.condition.kind in PARENTS):
            for child in (a for a in active if a.condition.kind in CHILDREN):
                room = child.condition.unit
                if room in parent.condition.members and self.spoke_s[room] < self.raised_s[parent.id]:
                    assert self.raised_s[child.id] <= self.raised_s[parent.id], f"{child.condition.key} was raised"

    def alarms(self) -> list[Alarm]:
        return [*self.present.kitchen.alarms.values(), *self.present.kitchen.past_alarms.values()]

    @invariant()
    def the_journal_alone_gives_the_same_state(self) -> None:
        assert Present(self.journal, lambda: self.at).catch_up() == self.present.kitchen

    @invariant()
    def nobody_hears_of_one_parent_twice(self) -> None:
        for alarm in self.alarms():
            if alarm.condition.kind not in PARENTS:
                continue
            # What it says changes once: when meat could have passed its limit; and when no clock says when that was.
            puts = sum(at >= self.raised_s.get(alarm.id, 0.0) for at in self.put_s)
            assert alarm.changes <= 1 + puts, f"{alarm.id} changed {alarm.changes} times"
            for person in ("ana", "bo"):
                mine = [s for s in self.said if (s.person, s.alarm) == (person, alarm.id) and s.occasion != "returned"]
                told = {s.occasion: s.true_s for s in reversed(mine)}
                assert len(told) <= 1 + (alarm.changes > 0 and alarm.woke_at != alarm.raised_at) + puts
                for before, after in zip(mine, mine[1:], strict=False):
                    again = before.occasion == after.occasion
                    cut = before.true_s <= self.disturbed_s
                    assert not again or cut or after.true_s - before.true_s >= REPEAT_S

    @invariant()
    def a_return_is_the_last_word(self) -> None:
        for alarm in self.alarms():
            for person in ("ana", "bo"):
                mine = [s.occasion for s in self.said if (s.person, s.alarm) == (person, alarm.id)]
                assert "returned" not in mine[:-1] or set(mine[mine.index("returned") :]) == {"returned"}
                assert mine[:1] != ["returned"] or any(t.state == "attempting" for t in alarm.told)


TestRooms = Rooms.TestCase
TestRooms.settings = settings(max_examples=40, stateful_step_count=20, deadline=None)

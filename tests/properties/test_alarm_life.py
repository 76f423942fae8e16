"""An alarm's life with everything that goes wrong around it: kills, restarts, dead ways, a clock that is put, DST.

And with everything that people may do besides answering: shelving, planned work, a unit out of service.
"""

from datetime import datetime
from zoneinfo import ZoneInfo

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from alerts.alarms import step
from alerts.channels.base import Channel, Sent
from alerts.escalation import OVER_FOR_S, REPEAT_S, Telling
from alerts.occasions import AT_MOST_S, waits_for_morning
from alerts.suspended import WORK_APART_S, longest_s, put_back
from alerts.teller import Teller
from collector.batches import AsMade, Method, Packing, Placement, Plan, Route
from collector.events import (
    AlarmAcknowledged,
    BatchEnded,
    BatchStarted,
    Draft,
    Event,
    RotaDescribed,
    SiteDescribed,
    UnitDescribed,
)
from collector.events_watching import (
    AlarmShelved,
    AlarmUnshelved,
    UnitInService,
    UnitOutOfService,
    WorkEnded,
    WorkPlanned,
)
from collector.findings import Condition
from collector.kitchen import Alarm
from collector.present import Present
from collector.readings import Site, Unit
from collector.rota import RotaStep
from collector.storage import MemoryJournal

REACH = {"ana": ("hook", "mail"), "bo": ("mail",), "cy": ("mail",)}
ROTA = (
    RotaStep("ana", 0.0),
    RotaStep("bo", 300.0, "23:00", "07:00"),
    RotaStep("cy", 300.0, "07:00", "23:00"),
)
# The night in which the clocks of London go forward, and the day before it.
STARTS = [
    datetime(2026, 3, 28, hour, 30, tzinfo=ZoneInfo("Europe/London")).timestamp() for hour in (23, 9)
]  # fmt: skip
PLAN = Plan("Loin", "pork", "loin", Method.IMMERSION, Packing.UNDER_BRINE, Route.COOKED, 432_000.0, 65.0, 12.0)
DWELL_S = 900.0
LATER = st.sampled_from([0, 0, 15, 75])
"""Steps that pass after something has begun, so that its end is often seen."""
STEP_S = 60.0
SLACK_S = 60.0 + 2 * STEP_S
"""When every way had failed the next round waits up to a minute; the machine looks every minute."""


class Way:
    """A way that works or not, and that can be the last thing the program does."""

    def __init__(self, name: str, machine: "AlarmLife") -> None:
        self.name, self.machine = name, machine

    def send(self, telling: Telling, alarm: Alarm, first_line: str, body: str) -> Sent:
        machine = self.machine
        killed, machine.killed = machine.killed, ""
        if killed == "before":
            raise KeyboardInterrupt
        works = self.name not in machine.broken
        if works:
            if telling.occasion == "raised" and telling.alarm in machine.shelved_before:
                machine.told_although_shelved.append((machine.true_s, telling.alarm, telling.occasion))
            if telling.occasion != "returned" and machine.true_s < machine.quiet_s.get(telling.alarm, 0.0):
                machine.told_although_shelved.append((machine.true_s, telling.alarm, telling.occasion))
            machine.said.append((machine.true_s, telling.person, telling.alarm, telling.occasion))
        if killed:
            raise KeyboardInterrupt
        return Sent(works)


class AlarmLife(RuleBasedStateMachine):
    """One room with meat, one mostly empty; `true_s` is time as it passes, and the domain clock may be hours off it.

    What people put aside is followed in true time: it may last as long as they said, and longer only by what the clock
    was put back while the program was down.
    """

    def __init__(self) -> None:
        super().__init__()
        self.true_s, self.offset_s = 0.0, 0.0
        self.warm, self.passed, self.killed = True, False, ""
        self.broken: set[str] = set()
        self.heard_from_s = 0.0
        self.disturbed_s = [-1.0]
        self.said: list[tuple[float, str, str, str]] = []
        self.answered_s: dict[str, float] = {}
        self.raised_s: dict[str, float] = {}
        self.start = STARTS[0]
        self.clock_at: float | None = None
        """What the watch saw last, in this process."""
        self.unseen_s = 0.0
        """By how much the clock was put on since the watch last looked; below zero, back."""
        self.shelved_s: dict[str, float] = {}
        """Until when each shelved alarm may be silent."""
        self.quiet_s: dict[str, float] = {}
        """Until when it must be, as long as nobody puts the clock."""
        self.unshelved_s: dict[str, float] = {}
        self.shelved_before: dict[str, bool] = {}
        """Whether the meat had passed its limit when the alarm was shelved."""
        self.told_although_shelved: list[tuple[float, str, str]] = []
        self.spare_warm_s: float | None = None
        """Since when the air of the spare unit is too warm."""
        self.held_s = 0.0
        """Until when planned work may hold that back."""
        self.lot = 0
        self.owed_s: dict[str, float] = {}
        """Since when somebody should hear of what wakes nobody."""
        self.over_s: dict[str, float] = {}
        self.over_told: set[str] = set()
        self.journal = MemoryJournal()
        self.begin()

    @property
    def at(self) -> float:
        return self.start + self.true_s + self.offset_s

    def write(self, by: str, *events: Event) -> None:
        self.present.decide(lambda kitchen: [Draft(self.at, by, event) for event in events])

    def begin(self) -> None:
        self.present = Present(self.journal, lambda: self.at)
        ways: dict[str, Channel] = {name: Way(name, self) for name in ("hook", "mail")}
        self.teller = Teller(self.present, lambda: self.at, ways, lambda alarm, person, now: "")
        self.present.catch_up()
        self.clock_at = None

    def watch_sees_the_clock(self) -> None:
        """Let the watch see whether the clock was put back, and reckon how long things may last now."""
        before_at, self.clock_at = self.clock_at, self.at
        lost_s, self.unseen_s = max(0.0, -self.unseen_s), 0.0
        if before_at is None:
            # Whatever it was put back while nobody looked makes longer what was put aside.
            self.held_s += lost_s
            self.shelved_s = {name: until_s + lost_s for name, until_s in self.shelved_s.items()}
            return
        self.present.decide(lambda kitchen: put_back(kitchen, before_at, self.at))
        if lost_s:
            self.shelved_s = {name: min(until_s, self.true_s) for name, until_s in self.shelved_s.items()}
            works = [w.over_at - self.at for w in self.present.kitchen.planned_work if w.unit == "spare"]
            ahead_s = max([0.0, *works])
            self.held_s = min(self.held_s + lost_s, self.true_s + ahead_s + DWELL_S)

    @initialize(start=st.sampled_from(STARTS))
    def describe(self, start: float) -> None:
        self.start = start
        self.write(
            "system",
            SiteDescribed(Site("s", "S", "Europe/London", "US")),
            UnitDescribed(Unit("room", "s", "R", "cold room")),
            UnitDescribed(Unit("spare", "s", "Spare", "cold room", air_dwell_s=DWELL_S)),
            RotaDescribed(ROTA),
        )

    def look(self) -> None:
        sentence = "product_has_passed" if self.passed else "product_may_pass"
        condition = Condition("room", "product_warm", "temperature", True, self.at, ("B1",), sentence=sentence)
        air = Condition("spare", "air_far_over", "temperature", False, self.at, sentence="air_far_over")
        found = [*([condition] if self.warm else []), *([air] if self.spare_warm_s is not None else [])]
        self.watch_sees_the_clock()
        self.present.decide(lambda kitchen: step(kitchen, found, ["room", "spare"], self.at))
        for alarm in self.present.kitchen.active_alarms():
            self.raised_s.setdefault(alarm.id, self.true_s)
            worse = self.passed and not self.shelved_before.get(alarm.id, True)
            if worse and alarm.condition.kind == "product_warm" and alarm.id in self.shelved_s:
                self.shelving_is_over(alarm.id)
        self.the_spare_unit_is_watched()
        for _ in range(4):
            try:
                self.teller.tell(REACH)
            except KeyboardInterrupt:
                self.disturbed_s.append(self.true_s)
                self.begin()

    @rule(warm=st.booleans(), passed=st.booleans())
    def the_room_changes(self, warm: bool, passed: bool) -> None:
        self.warm, self.passed = warm, passed

    @rule(ways=st.sets(st.sampled_from(["hook", "mail"])))
    def ways_break_or_mend(self, ways: set[str]) -> None:
        if "mail" in self.broken and "mail" not in ways:
            self.heard_from_s = self.true_s
        self.broken = ways

    @rule(when=st.sampled_from(["before", "after"]))
    def the_next_attempt_is_cut_off(self, when: str) -> None:
        self.killed = when

    @rule()
    def the_program_is_started_again(self) -> None:
        self.begin()

    @precondition(lambda self: self.said)
    @rule(by_s=st.sampled_from([-3600.0, 3600.0]))
    def the_clock_is_put(self, by_s: float) -> None:
        self.offset_s += by_s
        self.unseen_s += by_s
        self.disturbed_s.append(self.true_s)
        self.quiet_s.clear()

    @rule(warm=st.booleans(), then=LATER)
    def the_spare_unit_warms_or_cools(self, warm: bool, then: int) -> None:
        self.spare_warm_s = (self.true_s if self.spare_warm_s is None else self.spare_warm_s) if warm else None
        self.time_goes_on(then)

    @precondition(lambda self: self.may_be_shelved())
    @rule(which=st.integers(0, 1), minutes=st.integers(1, 480), person=st.sampled_from(sorted(REACH)), then=LATER)
    def somebody_shelves(self, which: int, minutes: int, person: str, then: int) -> None:
        alarms = self.may_be_shelved()
        alarm = alarms[which % len(alarms)]
        for_s = min(minutes * 60.0, longest_s(alarm))
        self.write(person, AlarmShelved(alarm.id, self.at + for_s, "the coil is being thawed"))
        self.shelved_s[alarm.id] = self.true_s + for_s
        if self.unseen_s >= 0:
            # Else the watch ends it with what was put aside before the clock was put back.
            self.quiet_s[alarm.id] = self.true_s + for_s
        self.unshelved_s.pop(alarm.id, None)
        self.shelved_before[alarm.id] = alarm.condition.sentence == "product_has_passed"
        self.time_goes_on(then)

    def may_be_shelved(self) -> list[Alarm]:
        active = self.present.kitchen.active_alarms()
        return [alarm for alarm in active if alarm.shelving is None and longest_s(alarm) >= 60.0]

    @precondition(lambda self: any(alarm.shelving for alarm in self.present.kitchen.active_alarms()))
    @rule()
    def somebody_unshelves(self) -> None:
        alarm = next(alarm for alarm in self.present.kitchen.active_alarms() if alarm.shelving)
        self.write("bo", AlarmUnshelved(alarm.id, "hand"))
        self.shelving_is_over(alarm.id)

    def shelving_is_over(self, alarm: str) -> None:
        self.quiet_s.pop(alarm, None)
        until_s = self.shelved_s.pop(alarm, None)
        if until_s is not None:
            self.unshelved_s[alarm] = min(until_s, self.true_s)

    @precondition(lambda self: all(w.over_at + WORK_APART_S < self.at for w in self.present.kitchen.planned_work))
    @rule(unit=st.sampled_from(["room", "spare"]), ahead=st.integers(0, 60), minutes=st.integers(1, 240), then=LATER)
    def work_is_planned(self, unit: str, ahead: int, minutes: int, then: int) -> None:
        from_at = self.at + ahead * 60.0
        self.write("bo", WorkPlanned(unit, "cleaning", from_at, from_at + minutes * 60.0))
        if unit == "spare":
            self.held_s = self.true_s + (ahead + minutes) * 60.0 + DWELL_S
        self.time_goes_on(then)

    @precondition(lambda self: any(w.over_at > self.at for w in self.present.kitchen.planned_work))
    @rule()
    def work_is_ended(self) -> None:
        work = next(w for w in self.present.kitchen.planned_work if w.over_at > self.at)
        self.write("bo", WorkEnded(work.id, "hand"))
        if work.unit == "spare":
            self.held_s = min(self.held_s, self.true_s + DWELL_S)

    @precondition(lambda self: not self.present.kitchen.standing_in("spare", self.at + 7200.0))
    @rule(out=st.booleans())
    def the_spare_unit_is_put_out_of_service_or_back(self, out: bool) -> None:
        self.write("bo", UnitOutOfService("spare", "new fan") if out else UnitInService("spare", "it runs"))

    @rule()
    def a_tub_is_put_into_the_spare_unit_or_taken_away(self) -> None:
        here = self.present.kitchen.standing_in("spare", self.at + 7200.0)
        if here:
            self.write("bo", BatchEnded(here[0].lot, self.at, "sold"))
            return
        self.lot += 1
        tub = Placement("1", "spare", self.at - 7200.0)
        self.write("bo", BatchStarted(f"L{self.lot}", PLAN, AsMade(12.0), (tub,)))

    def the_spare_unit_is_watched(self) -> None:
        kitchen = self.present.kitchen
        stands = any(alarm.condition.unit == "spare" for alarm in kitchen.active_alarms())
        if "spare" in kitchen.out_of_service:
            assert not stands
            assert not any(batch.ended_at is None for batch in kitchen.batches.values())
        elif self.spare_warm_s is not None and self.true_s > self.held_s:
            assert stands, "nothing was raised in the spare unit"

    @precondition(lambda self: self.present.kitchen.active_alarms())
    @rule(
        person=st.sampled_from(sorted(REACH)),
        answer=st.sampled_from(["going", "cannot"]),
        minutes=st.integers(1, 200),
        which=st.integers(0, 1),
    )
    def somebody_answers(self, person: str, answer: str, minutes: int, which: int) -> None:
        alarms = self.present.kitchen.active_alarms()
        alarm = alarms[which % len(alarms)]
        there_at = self.at + minutes * 60.0 if answer == "going" else None
        said = AlarmAcknowledged(alarm.id, answer, there_at)
        self.present.decide(lambda kitchen: [Draft(self.at, person, said)])
        self.answered_s[alarm.id] = self.true_s
        self.shelving_is_over(alarm.id)

    @rule(steps=st.sampled_from([1, 8, 15, 50]))
    def time_passes(self, steps: int) -> None:
        self.time_goes_on(steps)

    def time_goes_on(self, steps: int) -> None:
        for _ in range(steps):
            self.true_s += STEP_S
            self.look()
            self.nothing_is_silent()
            self.whoever_heard_of_it_hears_that_it_is_over()

    def whoever_heard_of_it_hears_that_it_is_over(self) -> None:
        """Check it of every alarm that is over, shelved or not, unless the same trouble has begun anew since."""
        kitchen = self.present.kitchen
        every = {**kitchen.past_alarms, **kitchen.alarms}
        for alarm in every.values():
            if alarm.returned_at is None or alarm.id in self.over_told:
                continue
            over_s = self.over_s.setdefault(alarm.id, self.true_s)
            later = [
                a
                for a in every.values()
                if a.condition.key == alarm.condition.key and int(a.id[1:]) > int(alarm.id[1:])
            ]
            if later or self.at - alarm.returned_at > OVER_FOR_S:
                self.over_told.add(alarm.id)
                continue
            heard = {person for _, person, name, _ in self.said if name == alarm.id}
            told = {person for _, person, name, occasion in self.said if (name, occasion) == (alarm.id, "returned")}
            if heard <= told:
                self.over_told.add(alarm.id)
            elif "mail" not in self.broken:
                assert self.true_s - max(over_s, self.heard_from_s) <= SLACK_S, f"{alarm.id}: {heard - told} not told"

    def nothing_is_silent(self) -> None:
        if "mail" in self.broken:
            return
        for alarm in self.present.kitchen.active_alarms():
            heard = [at for at, _, name, _ in self.said if name == alarm.id]
            ended_s = self.shelved_s.get(alarm.id, self.unshelved_s.get(alarm.id, 0.0))
            answered_s = self.answered_s.get(alarm.id, 0.0)
            if not alarm.condition.wakes:
                self.is_told_once(alarm, max(self.raised_s[alarm.id], ended_s), heard)
                continue
            latest = max([self.raised_s[alarm.id], self.heard_from_s, answered_s, ended_s, *heard])
            longest = (AT_MOST_S if alarm.answer == "going" else REPEAT_S) + SLACK_S
            assert self.true_s - latest <= longest, f"{alarm.id}: silent for {self.true_s - latest} s"

    def is_told_once(self, alarm: Alarm, since_s: float, heard: list[float]) -> None:
        """Check that what wakes nobody was told since it began, or since it is no longer shelved, once it could be."""
        waits = waits_for_morning(self.present.kitchen, alarm, self.at) is not None or self.true_s <= self.held_s
        if waits or alarm.acknowledged_at is not None or self.true_s <= since_s or any(at >= since_s for at in heard):
            self.owed_s.pop(alarm.id, None)
            return
        owed_s = max(self.owed_s.setdefault(alarm.id, self.true_s), self.heard_from_s)
        assert self.true_s - owed_s <= SLACK_S, f"{alarm.id}: nobody heard of it for {self.true_s - owed_s} s"

    @invariant()
    def nothing_is_told_of_what_is_shelved(self) -> None:
        assert not self.told_although_shelved

    @invariant()
    def what_wakes_nobody_is_not_repeated(self) -> None:
        heard: set[tuple[str, str, str]] = set()
        for at, person, name, occasion in self.said:
            alarm = self.present.kitchen.alarm(name)
            if alarm is not None and not alarm.condition.wakes and not any(cut >= 0 for cut in self.disturbed_s):
                assert (person, name, occasion) not in heard, f"told twice, the second time at {at}"
                heard.add((person, name, occasion))

    @invariant()
    def nobody_is_told_twice_of_one_step_but_by_the_repeat_or_after_a_cut(self) -> None:
        last: dict[tuple[str, str, str], float] = {}
        for at, *step_of in self.said:
            key = (step_of[0], step_of[1], step_of[2])
            before = last.get(key)
            if before is not None and not any(before <= cut <= at for cut in self.disturbed_s):
                assert at - before >= REPEAT_S
            last[key] = at

    @invariant()
    def a_return_is_the_last_thing_that_a_person_hears_of_an_alarm(self) -> None:
        for alarm in (*self.present.kitchen.alarms.values(), *self.present.kitchen.past_alarms.values()):
            for person in REACH:
                mine = [o for _, p, a, o in self.said if (p, a) == (person, alarm.id)]
                over = [n for n, occasion in enumerate(mine) if occasion == "returned"]
                assert not over or all(occasion == "returned" for occasion in mine[over[0] :])
                unknown = any(t.person == person and t.state == "attempting" for t in alarm.told)
                assert not over or over[0] > 0 or unknown

    @invariant()
    def the_journal_alone_gives_the_same_state(self) -> None:
        assert Present(self.journal, lambda: self.at).catch_up() == self.present.kitchen


TestAlarmLife = AlarmLife.TestCase
TestAlarmLife.settings = settings(max_examples=60, stateful_step_count=25, deadline=None)

"""An alarm's life with everything that goes wrong around it: kills, restarts, dead ways, a clock that is put, DST."""

from datetime import datetime
from zoneinfo import ZoneInfo

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from alerts.alarms import step
from alerts.channels.base import Channel, Sent
from alerts.escalation import REPEAT_S, Telling
from alerts.occasions import AT_MOST_S
from alerts.teller import Teller
from collector.events import AlarmAcknowledged, Draft, RotaDescribed, SiteDescribed, UnitDescribed
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
# The night in which the clocks of London go forward.
START = datetime(2026, 3, 28, 23, 30, tzinfo=ZoneInfo("Europe/London")).timestamp()
STEP_S = 30.0
SLACK_S = 60.0 + 2 * STEP_S
"""When every way had failed the next round waits up to a minute; the machine looks every half minute."""


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
            machine.said.append((machine.true_s, telling.person, telling.alarm, telling.occasion))
        if killed:
            raise KeyboardInterrupt
        return Sent(works)


class AlarmLife(RuleBasedStateMachine):
    """One room; `true_s` is time as it passes, and the domain clock may be an hour off it."""

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
        self.journal = MemoryJournal()
        self.begin()

    @property
    def at(self) -> float:
        return START + self.true_s + self.offset_s

    def begin(self) -> None:
        self.present = Present(self.journal, lambda: self.at)
        ways: dict[str, Channel] = {name: Way(name, self) for name in ("hook", "mail")}
        self.teller = Teller(self.present, lambda: self.at, ways, lambda alarm, person, now: "")
        self.present.catch_up()

    @initialize()
    def describe(self) -> None:
        told = (
            SiteDescribed(Site("s", "S", "Europe/London", "US")),
            UnitDescribed(Unit("room", "s", "R", "cold room")),
            RotaDescribed(ROTA),
        )
        self.present.decide(lambda kitchen: [Draft(self.at, "system", event) for event in told])

    def look(self) -> None:
        sentence = "product_has_passed" if self.passed else "product_may_pass"
        condition = Condition("room", "product_warm", "temperature", True, self.at, ("B1",), sentence=sentence)
        found = [condition] if self.warm else []
        self.present.decide(lambda kitchen: step(kitchen, found, ["room"], self.at))
        for alarm in self.present.kitchen.active_alarms():
            self.raised_s.setdefault(alarm.id, self.true_s)
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
        self.disturbed_s.append(self.true_s)

    @precondition(lambda self: self.present.kitchen.active_alarms())
    @rule(
        person=st.sampled_from(sorted(REACH)), answer=st.sampled_from(["going", "cannot"]), minutes=st.integers(1, 200)
    )
    def somebody_answers(self, person: str, answer: str, minutes: int) -> None:
        alarm = self.present.kitchen.active_alarms()[0]
        there_at = self.at + minutes * 60.0 if answer == "going" else None
        said = AlarmAcknowledged(alarm.id, answer, there_at)
        self.present.decide(lambda kitchen: [Draft(self.at, person, said)])
        self.answered_s[alarm.id] = self.true_s

    @rule(steps=st.sampled_from([1, 15, 30, 100]))
    def time_passes(self, steps: int) -> None:
        for _ in range(steps):
            self.true_s += STEP_S
            self.look()
            self.nothing_is_silent()

    def nothing_is_silent(self) -> None:
        if "mail" in self.broken:
            return
        for alarm in self.present.kitchen.active_alarms():
            heard = [at for at, _, name, _ in self.said if name == alarm.id]
            latest = max([self.raised_s[alarm.id], self.heard_from_s, self.answered_s.get(alarm.id, 0.0), *heard])
            longest = (AT_MOST_S if alarm.answer == "going" else REPEAT_S) + SLACK_S
            assert self.true_s - latest <= longest, f"{alarm.id}: silent for {self.true_s - latest} s"

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
TestAlarmLife.settings = settings(max_examples=100, stateful_step_count=30, deadline=None)
